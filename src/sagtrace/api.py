"""The Python API: a job opened, answered, judged, priced and proved, in a few names.

>>> import sagtrace
>>> job = sagtrace.open_job("rear-pair", complaint="Left rear is down every morning.")
>>> _ = job.record("story.when-low@left", outcome="within-hour")
>>> next_one = job.next_checks(1)[0]
>>> next_one.minutes > 0
True
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from numpy import float64
from numpy.typing import NDArray

from sagtrace.app.workshop import COMPLAINT, Workshop, content_digest
from sagtrace.bootstrap import (
    fault_book,
    job_place,
    open_workshop,
    read_file,
    read_script,
    recording_in,
    script_from_data,
    write_file,
    write_table,
)
from sagtrace.errors import DocumentError, InputError
from sagtrace.evidence.findings import Finding
from sagtrace.report.assessment import Assessment
from sagtrace.signals.imported import Assignment
from sagtrace.units import Reader
from sagtrace.vehicle.job import Entry, Job, Taped

if TYPE_CHECKING:
    from sagtrace.app.columns import Column

__all__ = [
    "Check",
    "Diagnosis",
    "layouts",
    "load_job",
    "NextCheck",
    "open_job",
    "OpenJob",
    "Proof",
    "RepairOption",
    "simulate",
    "SimulatedRun",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """A check that could be done. Exactly one of `outcomes` and `values` is not empty."""

    id: str
    name: str
    minutes: float
    wait_minutes: float
    outcomes: Mapping[str, str]  # outcome id -> what is seen
    values: Mapping[str, str]  # name -> unit taken for a bare number
    required: tuple[str, ...]  # names of `values` that must be given
    tools: tuple[str, ...]
    cautions: tuple[str, ...]
    steps: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class NextCheck:
    """A check in the order of what it is worth now; money in the tariff's currency."""

    id: str
    name: str
    minutes: float  # with getting there and putting back
    wait_minutes: float
    cost: float
    expected_saving: float  # of the expected total cost, after its own cost
    outcomes: Mapping[str, float]  # what it would show -> probability


@dataclass(frozen=True, slots=True, kw_only=True)
class Diagnosis:
    """Probabilities over faults and fault sets, with what to be careful about."""

    faults: Mapping[str, float]  # fault -> P(present), most probable first
    states: Mapping[str, Mapping[str, float]]  # fault -> state -> probability
    sets: tuple[tuple[frozenset[str], float], ...]  # exactly these faults, most probable first
    links: tuple[tuple[str, str, float], ...]  # cause, effect, P(the one brought the other)
    not_excluded: tuple[str, ...]
    conflicts: tuple[str, ...]  # findings that hardly fit the rest, in words
    caveats: tuple[str, ...]
    log_evidence: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RepairOption:
    """A set of repairs; money without tax in the tariff's currency."""

    repairs: tuple[str, ...]
    fixes: tuple[str, ...]
    price: float
    price_std: float
    minutes: float
    cure: float
    come_back: float
    expected_total: float
    reasons: tuple[str, ...]  # why it may come back


@dataclass(frozen=True, slots=True, kw_only=True)
class Proof:
    """A test that must pass before the repair counts as proved."""

    check: str
    faults: tuple[str, ...]
    limit: str
    shortest_hold: float | None  # [s], for a hold test
    result: str  # "passed", "undecided", "failed" or "" if it was not done
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SimulatedRun:
    """What an invented vehicle did in a script of events. SI throughout, a value a sample."""

    layout: str
    time: NDArray[float64]  # [s]
    channels: Mapping[str, NDArray[float64]]  # what a recorder sees, by role
    truth: Mapping[str, NDArray[float64]]  # what none sees; empty if it was not kept
    codes: Mapping[str, int]  # name -> status byte (ISO 14229-1) at the end
    balance: Mapping[str, float]  # "mass" and "energy" that went missing, as a share
    _seen: tuple[Column, ...] = field(repr=False)
    _hidden: tuple[Column, ...] = field(repr=False)

    def save(self, path: str | Path) -> None:
        """Write the channels as CSV or Parquet, by the path's suffix, with units."""
        write_table(Path(path), self._seen)

    def save_truth(self, path: str | Path) -> None:
        """Write the truth as CSV or Parquet, by the path's suffix, with units."""
        if not self._hidden:
            raise InputError("the truth was not kept; simulate with truth=True.")
        write_table(Path(path), self._hidden)


@dataclass(frozen=True, slots=True)
class _Kept:
    """Where the use cases find a job's recordings."""

    recording: Callable[[str], bytes | Path]


def _parts(path: Path) -> Iterator[bytes]:
    with path.open("rb") as file:
        while part := file.read(1 << 24):
            yield part


class OpenJob:
    """A job at hand. Every answer is validated before it is kept."""

    def __init__(self, workshop: Workshop, job: Job, path: Path | None = None) -> None:
        self._workshop, self._job, self._path = workshop, job, path
        self._sources: dict[str, bytes | Path] = {}
        self._assessed: tuple[Job, Assessment] | None = None

    @property
    def job(self) -> Job:
        """The job as a record."""
        return self._job

    @property
    def stage(self) -> str:
        """What the job waits for: "check", "repair", "prove" or "proved"."""
        return self.assessment().stage

    def faults(self) -> Mapping[str, str]:
        """Return every fault of the layout with its name."""
        system = self._workshop.system(self._job.layout)
        return {fault.id: fault.name for fault in system.faults.values()}

    def checks(self) -> tuple[Check, ...]:
        """Return every check of the layout."""
        system = self._workshop.system(self._job.layout)
        result = []
        for check in system.checks.values():
            slots = check.measure.inputs if check.measure else ()
            result.append(
                Check(
                    id=check.id,
                    name=check.name,
                    minutes=check.minutes,
                    wait_minutes=check.wait_minutes,
                    outcomes={o.id: o.text for o in check.outcomes},
                    values={slot.name: slot.unit for slot in slots},
                    required=tuple(slot.name for slot in slots if slot.required),
                    tools=check.tools,
                    cautions=tuple(system.cautions[c].text for c in check.cautions),
                    steps=check.steps,
                )
            )
        return tuple(result)

    def record(
        self,
        check: str,
        *,
        outcome: str = "",
        values: Mapping[str, str | float] | None = None,
        at: str = "",
        by: str = "",
        instrument: str = "",
        note: str = "",
        supersedes: str = "",
    ) -> Finding:
        """Record an answer: an outcome of the check's list, or its values.

        A value is a text as a person types it ("7.8 bar", "14 3/8 in") or a bare number in
        the unit that `Check.values` names. Returns what it says. Raises `InputError` and
        changes nothing if it cannot be right.
        """
        entry = self._entry(check, outcome, values, at, by, instrument, note, supersedes)
        self._job, finding = self._workshop.answer(self._job, entry)
        return finding

    def _entry(
        self,
        check: str,
        outcome: str,
        values: Mapping[str, str | float] | None,
        at: str = "",
        by: str = "",
        instrument: str = "",
        note: str = "",
        supersedes: str = "",
    ) -> Entry:
        typed = {k: v if isinstance(v, str) else f"{v:.12g}" for k, v in (values or {}).items()}
        return Entry(
            id=self._job.next_id(),
            check=check,
            outcome=outcome,
            values=typed,
            at=at,
            by=by,
            instrument=instrument,
            note=note,
            supersedes=supersedes,
        )

    def attach_recording(
        self,
        path: str | Path,
        *,
        at: str = "",
        roles: Mapping[str, str] | None = None,
        rate: str = "",
        tapes: Sequence[tuple[str, str, str]] = (),
    ) -> tuple[Finding, ...]:
        """Attach a recording and return what it says.

        `roles` maps a column's name to what it is, such as "height.rear [mm]"; `rate` is that of
        the samples of a file without a time, such as "10 Hz". `tapes` are heights taped while it
        recorded, each as time on the recording's clock, corner and height: ("0 min", "left",
        "403 mm").
        """
        file = Path(path)
        source = recording_in(file, str(file))
        said = Assignment(roles=dict(roles or {}), rate=rate)
        taped = [Taped(time=time, corner=corner, height=height) for time, corner, height in tapes]
        self._job, recorded = self._workshop.attach(self._job, source, file.name, at, said, taped)
        self._sources[file.name] = source
        return recorded.report.findings

    def recording(self, file: str) -> bytes:
        """Return an attached recording as it came."""
        source = self._source(file)
        return source if isinstance(source, bytes) else read_file(source)

    def _source(self, file: str) -> bytes | Path:
        """Return an attached recording, or where it lies: a large one is not held."""
        if file not in self._sources and self._path is not None:
            self._sources[file] = job_place(self._path).recording(file)
        return self._sources[file]

    def save(self, path: str | Path) -> None:
        """Write the job file, with its recordings beside it."""
        target = Path(path)
        for recording in self._job.recordings:
            beside = target.parent / recording.file
            source = self._source(recording.file)
            if not beside.exists():
                if content_digest(source, recording.file) != recording.sha256:
                    problem = "was changed since it was attached; attach it again"
                    raise DocumentError(str(source), None, "", problem)
                write_file(beside, source if isinstance(source, bytes) else _parts(source))
            elif content_digest(beside, str(beside)) != recording.sha256:
                problem = "is another recording than the job's and is left as it is; save elsewhere"
                raise DocumentError(str(beside), None, "", problem)
        job_place(target).save(self._job)
        self._path = target

    def assessment(self) -> Assessment:
        """Return everything that follows from the job (see docs/python-api.md)."""
        if self._assessed is None or self._assessed[0] is not self._job:
            self._assessed = (self._job, self._workshop.assess(self._job, _Kept(self._source)))
        return self._assessed[1]

    def verdict(self) -> Diagnosis:
        """Return the probabilities, exact for all evidence together."""
        a = self.assessment()
        names = {f.id: f.name for f in a.verdict.findings}
        caveats = dict.fromkeys(c.text for f in a.verdict.findings for c in f.caveats)
        return Diagnosis(
            faults={b.fault: b.probability for b in a.verdict.beliefs},
            states={b.fault: b.states for b in a.verdict.beliefs},
            sets=tuple((frozenset(s.faults), s.probability) for s in a.verdict.sets),
            links=tuple((k.cause, k.effect, k.together * k.share) for k in a.story if k.counts),
            not_excluded=tuple(b.fault for b in a.verdict.not_excluded),
            conflicts=tuple(f"{names[c.finding]} {c.text}" for c in a.verdict.conflicts),
            caveats=tuple(caveats),
            log_evidence=a.verdict.log_evidence,
        )

    def next_checks(self, limit: int = 5) -> tuple[NextCheck, ...]:
        """Return the checks worth most now, best first; see `stage` for whether to stop."""
        a = self.assessment()
        return tuple(
            NextCheck(
                id=o.check,
                name=a.system.checks[o.check].name,
                minutes=o.minutes,
                wait_minutes=o.wait_minutes,
                cost=o.cost,
                expected_saving=o.saving,
                outcomes={answer.outcome: answer.probability for answer in o.answers},
            )
            for o in a.plan.offers[:limit]
        )

    def options(self) -> tuple[RepairOption, ...]:
        """Return the repair options, the lowest expected total cost first."""
        return tuple(
            RepairOption(
                repairs=o.repairs,
                fixes=o.fixes,
                price=o.price.total,
                price_std=o.price.std,
                minutes=o.price.labour_minutes,
                cure=o.cure,
                come_back=o.come_back,
                expected_total=o.expected_total,
                reasons=tuple(r.text for r in o.reasons),
            )
            for o in self.assessment().options
        )

    def repair(self, *repairs: str) -> None:
        """Note that these repairs were done."""
        self._job = self._workshop.repaired(self._job, repairs)

    def prove(
        self, check: str, *, outcome: str = "", values: Mapping[str, str | float] | None = None
    ) -> None:
        """Record the answer to a proof test."""
        self._job = self._workshop.prove(self._job, self._entry(check, outcome, values))

    def proofs(self) -> tuple[Proof, ...]:
        """Return the proofs due for what was repaired, or for the recommended option."""
        return tuple(
            Proof(
                check=p.proof.check,
                faults=p.faults,
                limit=p.limit,
                shortest_hold=p.hold,
                result=p.judged.result if p.judged else "",
                text=p.judged.text if p.judged else p.proof.text,
            )
            for p in self.assessment().proofs
        )

    def papers(
        self, folder: str | Path, *, imperial: bool = False, decimal_comma: bool = False
    ) -> tuple[Path, ...]:
        """Write the customer page and the technical record as PDF and return their paths."""
        reader = Reader(imperial=imperial, comma=decimal_comma)
        target = Path(folder)
        written = []
        for name, data in self._workshop.papers(self.assessment(), reader).items():
            write_file(target / name, data)
            written.append(target / name)
        return tuple(written)


def layouts() -> Mapping[str, str]:
    """Return the layouts that are known, with their names."""
    return {layout.id: layout.name for layout in open_workshop().knowledge.layouts}


def open_job(
    layout: str = "rear-pair",
    *,
    complaint: str = COMPLAINT,
    vehicle: Mapping[str, str] | None = None,
    title: str = "",
    id: str = "job",  # noqa: A002
    registration: str = "",
    odometer: str = "",
    reference: str = "",
) -> OpenJob:
    """Open a job on a layout. `vehicle` holds facts read in the workshop manual, as typed.

    `odometer` has its unit, such as "84 210 km"; `reference` is the customer's own.
    """
    workshop = open_workshop()
    job = Job(
        id=id,
        title=title or complaint or COMPLAINT,
        layout=layout,
        complaint=complaint,
    )
    named = {"registration": registration, "odometer": odometer, "reference": reference}
    return OpenJob(workshop, workshop.start(job.tell({**named, **(vehicle or {})})))


def load_job(path: str | Path) -> OpenJob:
    """Open the job file at this path."""
    file = Path(path)
    return OpenJob(open_workshop(), job_place(file).load(), file)


def simulate(
    script: str | Path | Mapping[str, Any],
    *,
    rate: float = 10.0,
    seed: int | None = None,
    truth: bool = True,
) -> SimulatedRun:
    """Simulate an invented vehicle through a script: a file's path, or the same fields as data.

    `rate` is in samples a second; `seed` replaces the script's. The first call on a machine
    compiles the plant, once, and says so through the logger `sagtrace`.
    """
    from sagtrace.app.columns import recording_columns, truth_columns
    from sagtrace.app.virtual import run_plan
    from sagtrace.twin.simulate import prepare

    if isinstance(script, Mapping):
        plan, layout = read_script(script_from_data(script), "script")
    else:
        plan, layout = read_script(read_file(Path(script)), str(script))
    plan = plan if seed is None else replace(plan, seed=seed)
    prepare(logging.getLogger("sagtrace").warning, at_once=True)
    run = run_plan(plan, layout, fault_book(), rate=rate, truth=truth)
    seen = recording_columns(run)
    hidden = truth_columns(run) if truth else ()
    return SimulatedRun(
        layout=plan.layout,
        time=run.result.time,
        channels=run.result.channels,
        truth={column.name: column.values for column in hidden[1:]},
        codes={code.name: code.status.to_byte() for code in run.result.codes},
        balance={"mass": run.result.balance.mass, "energy": run.result.balance.energy},
        _seen=seen,
        _hidden=hidden,
    )
