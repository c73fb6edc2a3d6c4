"""The use cases: start a job, answer a check, assess, repair, prove, print.

A job is a value. Every use case takes one and returns the next; keeping it is the caller's.
"""

from __future__ import annotations

import hashlib
import threading
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from sagtrace.app.ports import (
    Fitter,
    HeadingPlace,
    KnowledgeSource,
    PaperMaker,
    RecordingReader,
    Recordings,
    RoleMemory,
)
from sagtrace.diagnosis.outlook import look_ahead
from sagtrace.diagnosis.story import tell_story
from sagtrace.diagnosis.verdict import Reasoner
from sagtrace.errors import DocumentError, EvidenceError, InputError, UnknownIdError
from sagtrace.evidence.facts import Facts, read_facts
from sagtrace.evidence.findings import Finding, find, read_given
from sagtrace.evidence.gather import dated, gather
from sagtrace.evidence.recording import check_channels, read_recording
from sagtrace.evidence.tapes import read_tapes, tapes_by_channel
from sagtrace.plan.next_check import choose
from sagtrace.repair.costs import way_to, way_to_check
from sagtrace.repair.options import repair_options
from sagtrace.repair.proofs import hold_needed, proofs_due
from sagtrace.report.assessment import Assessment, Before, Judged, Recorded
from sagtrace.report.customer import customer_paper
from sagtrace.report.heading import NO_HEADING, Heading
from sagtrace.report.technical import technical_paper
from sagtrace.report.to_prove import faults_to_prove
from sagtrace.signals.imported import Assignment, Imported
from sagtrace.signals.trace import Trace
from sagtrace.twin.identify.result import Fit, Tape
from sagtrace.units import METRIC, Reader, as_read
from sagtrace.vehicle.identity import check_identity, check_line
from sagtrace.vehicle.job import NOT_DONE, Begun, Entry, Job, Recording, Taped, Work
from sagtrace.vehicle.knowledge import Knowledge
from sagtrace.vehicle.system import System, expand

__all__ = ["COMPLAINT", "content_digest", "GUESSED", "Workshop"]

COMPLAINT = "The vehicle rides low."  # what a job is about unless the customer says more

LOOKED_AT = "recording"  # the id of a recording that is not attached

GUESSED = Assignment()  # nothing was said about the columns of a recording

_HELD = 8  # chosen: recordings that stay read; one of 200 000 rows takes some 20 MB


@dataclass(kw_only=True)
class Workshop:
    """The use cases over one set of adapters. Compiled systems are kept for the next question."""

    knowledge_source: KnowledgeSource
    recording_reader: RecordingReader
    paper_maker: PaperMaker
    version: str
    role_memory: RoleMemory | None = None  # without one nothing is remembered
    headings: HeadingPlace | None = None  # without one papers carry no workshop's name
    fitter: Fitter | None = None  # without one recordings are read by straight lines alone
    _knowledge: Knowledge | None = field(default=None, init=False)
    _reasoners: dict[str, Reasoner] = field(default_factory=dict, init=False)
    _renewed: dict[tuple[str, tuple[tuple[str, ...], ...]], Reasoner] = field(
        default_factory=dict, init=False
    )
    _read: dict[str, Recorded] = field(default_factory=dict, init=False)
    _reading: threading.Lock = field(default_factory=threading.Lock, init=False)

    @property
    def knowledge(self) -> Knowledge:
        """The knowledge, loaded at the first use."""
        if self._knowledge is None:
            self._knowledge = self.knowledge_source.load()
        return self._knowledge

    def reasoner(self, layout: str) -> Reasoner:
        """Return the compiled system of a layout."""
        if layout not in self._reasoners:
            self._reasoners[layout] = Reasoner(expand(self.knowledge, layout))
        return self._reasoners[layout]

    def reasoner_of(self, job: Job) -> Reasoner:
        """Return the compiled system of a job's layout and of what was repaired."""
        if not job.works:
            return self.reasoner(job.layout)
        key = job.layout, tuple(work.repairs for work in job.works)
        found = self._renewed.pop(key, None)
        if found is None:
            found = Reasoner(self.system(job.layout), [work.repairs for work in job.works])
        self._renewed[key] = found  # the newest is last
        while len(self._renewed) > _HELD:
            self._renewed.pop(next(iter(self._renewed)), None)
        return found

    def system(self, layout: str) -> System:
        """Return the system of a layout."""
        return self.reasoner(layout).system

    def start(self, job: Job) -> Job:
        """Return a job after checking its layout, what is told of the vehicle, access states."""
        check_identity(job.identity)
        for told in job.told:
            check_line(told.name, told.text)
        self.facts(job)
        self._know_access(job)
        return job

    def _know_access(self, job: Job) -> None:
        known = self.system(job.layout).access
        for name in job.access:
            if name not in known:
                raise UnknownIdError("access state", name, known)

    def facts(self, job: Job) -> Facts:
        """Return the facts of the job's vehicle."""
        return read_facts(self.system(job.layout).layout, job.vehicle)

    def answer(self, job: Job, entry: Entry) -> tuple[Job, Finding]:
        """Return the job with the entry and the access that it took, and what the entry says.

        Raises InputError, and nothing is changed, if the entry cannot be right.
        """
        system = self.system(job.layout)
        _same_check(job, entry)
        finding = find(system, entry, self.facts(job))
        stays = entry.supersedes or entry.outcome == NOT_DONE
        held = job.access if stays else self.held_after(job, entry.check)
        return replace(job, entries=(*job.entries, entry), access=held), finding

    def held_after(self, job: Job, check: str) -> tuple[str, ...]:
        """Return the access states that hold once a check was made, or begun.

        A correction moves no part of the vehicle, so it does not go this way.
        """
        system = self.system(job.layout)
        return way_to_check(system, system.check(check), job.access).held_after(job.access)

    def withdraw(self, job: Job, entry_id: str, note: str, at: str, by: str) -> Job:
        """Return the job in which an entry or proof no longer counts; both stay in the record."""
        known = {entry.id: entry for entry in (*job.entries, *job.proofs)}
        if entry_id not in known:
            raise UnknownIdError("entry", entry_id, known)
        if known[entry_id].withdrawn:
            raise InputError(f"{entry_id} only withdraws {known[entry_id].supersedes}.")
        every = (*job.entries, *job.proofs)
        if later := next((e for e in every if e.supersedes == entry_id), None):
            how = "withdrawn" if later.withdrawn else "corrected"
            raise InputError(f"{entry_id} was {how} by {later.id} and counts no longer.")
        entry = Entry(
            id=job.next_id(),
            check=known[entry_id].check,
            supersedes=entry_id,
            withdrawn=True,
            note=note,
            at=at,
            by=by,
        )
        if known[entry_id] in job.proofs:
            return replace(job, proofs=(*job.proofs, entry))
        return replace(job, entries=(*job.entries, entry))

    def inspect(
        self, source: bytes | Path, file: str, assignment: Assignment = GUESSED
    ) -> Imported:
        """Return what a recording holds, with the roles that are sure and the proposals.

        Raises DocumentError for a recording that cannot be read.
        """
        memory = self.role_memory if assignment.guess else None
        remembered = memory.recall() if memory is not None else {}
        return self.recording_reader.read(source, file, assignment, remembered)

    def remember(self, imported: Imported, assignment: Assignment) -> int:
        """Keep what a person said about the columns of a recording; return of how many."""
        if self.role_memory is None:
            raise InputError("there is no place to remember roles in.")
        said = {
            (column.name, column.unit): f"{column.role} [{column.role_unit or '-'}]"
            for column in imported.columns
            if column.role
            and {column.name, f"{column.name} [{column.unit}]"} & assignment.roles.keys()
        }
        if not said:
            raise InputError("nothing was said about the columns; say it with --role first.")
        self.role_memory.keep(said)
        return len(said)

    def attach(
        self,
        job: Job,
        source: bytes | Path,
        file: str,
        at: str,
        assignment: Assignment = GUESSED,
        tapes: Sequence[Taped] = (),
    ) -> tuple[Job, Recorded]:
        """Return the job with a recording, after reading it.

        Raises DocumentError for a recording that cannot be read or has columns of which a person
        must say what they are, and InputError for one that is attached already, because it would
        count twice. The job keeps what every column was taken for.
        """
        digest = content_digest(source, file)
        for known in job.recordings:
            if known.sha256 == digest:
                raise InputError(f"{file} is attached already, as {known.id}; it counts once.")
            if known.file == file:
                raise InputError(
                    f"{file} has other content than when it was attached as {known.id}; "
                    "give the new recording a name of its own."
                )
        imported = self.inspect(source, file, assignment)
        _refuse_unsettled(imported, file)
        recording = Recording(
            id=f"r{len(job.recordings) + 1}",
            file=file,
            sha256=digest,
            at=at,
            roles=imported.assignment(),
            rate=assignment.rate,
            tapes=tuple(tapes),
        )
        recorded = self._recorded(job, recording, imported)
        return replace(job, recordings=(*job.recordings, recording)), recorded

    def look(
        self,
        job: Job,
        imported: Imported,
        rate: str = "",
        tapes: Sequence[Taped] = (),
    ) -> Recorded:
        """Return what a recording says of the job's vehicle; the job does not get it.

        Raises DocumentError for columns of which a person must say what they are.
        """
        report = imported.report
        _refuse_unsettled(imported, report.file)
        recording = Recording(
            id=LOOKED_AT,
            file=report.file,
            sha256=report.sha256,
            roles=imported.assignment(),
            rate=rate,
            tapes=tuple(tapes),
        )
        return self._recorded(job, recording, imported)

    def _recorded(self, job: Job, recording: Recording, imported: Imported) -> Recorded:
        system, trace = self.system(job.layout), imported.trace
        check_channels(system, trace)  # before the fit, which takes its time
        facts = self.facts(job)
        tapes = read_tapes(system.layout, trace, recording.tapes)
        seen, alone = tapes_by_channel(system.layout, trace, tapes)
        fit, why_not = self._fit(system, facts, recording, trace, tapes)
        report = read_recording(system, trace, facts, id=recording.id, fit=fit, tapes=seen)
        refused = (f"No fit of the virtual vehicle: {why_not}",) if why_not else ()
        report = replace(report, notes=(*refused, *report.notes, *alone))
        return Recorded(id=recording.id, trace=trace, report=report, imported=imported.report)

    def _fit(
        self,
        system: System,
        facts: Facts,
        recording: Recording,
        trace: Trace,
        tapes: Sequence[Tape],
    ) -> tuple[Fit | None, str]:
        """Return the fit of a recording, or why there is none."""
        if self.fitter is None:
            return None, ""
        # Neither name nor moment, so that a look before it is attached serves the job too.
        read = (recording.sha256, sorted(recording.roles.items()), recording.rate, tapes)
        said = repr((self.version, system.layout.id, read, sorted(facts.values.items())))
        key = hashlib.sha256(said.encode()).hexdigest()[:32]
        try:
            return self.fitter.fit(system.layout, facts, trace, key, tapes), ""
        except EvidenceError as err:
            return None, str(err)

    def recorded(self, job: Job, place: Recordings | None) -> tuple[Recorded, ...]:
        """Return the job's recordings as read.

        Raises DocumentError for one whose file is not the one that was attached.
        """
        if not job.recordings:
            return ()
        if place is None:
            raise InputError("the job has recordings but no place to read them from.")
        result = []
        for recording in job.recordings:
            source = place.recording(recording.file)
            if content_digest(source, recording.file) != recording.sha256:
                problem = "the file is not the one that was attached (its content changed)"
                raise DocumentError(recording.file, None, "", problem)
            said = repr((recording, job.layout, sorted(self.facts(job).values.items())))
            found = self._read.get(said)
            if found is None:
                with self._reading:  # whoever needs no recording read goes on meanwhile
                    found = self._read.get(said) or self._read_now(job, recording, source)
                    while len(self._read) >= _HELD:
                        self._read.pop(next(iter(self._read)))
                    self._read[said] = found
            result.append(found)
        return tuple(result)

    def _read_now(self, job: Job, recording: Recording, source: bytes | Path) -> Recorded:
        kept = Assignment(roles=recording.roles, rate=recording.rate, guess=False)
        imported = self.recording_reader.read(source, recording.file, kept, {})
        return self._recorded(job, recording, imported)

    def judge(self, job: Job, place: Recordings | None = None) -> Judged:
        """Return what the job's evidence says; `assess` goes on from there.

        Raises DocumentError that names an entry which cannot be right, InputError for other
        content of the job, and ContradictionError if nothing explains the evidence together.
        """
        self._know_access(job)
        judged = self._judged(job, place)
        earlier = [self._judged(job.before(work), place) for work in range(len(job.works))]
        return replace(judged, earlier=tuple(Before(e.verdict, e.story) for e in earlier))

    def _judged(self, job: Job, place: Recordings | None) -> Judged:
        reasoner, facts = self.reasoner_of(job), self.facts(job)
        recordings = self.recorded(job, place)
        recorded = [
            dated(reasoner.renewal, finding, job.recorded_after(r.id))
            for r in recordings
            for finding in r.report.findings
        ]
        evidence = gather(reasoner.renewal, job, facts, recorded)
        verdict = reasoner.judge(evidence.findings)
        return Judged(
            job=job,
            system=reasoner.system,
            facts=facts,
            recordings=recordings,
            left_out=evidence.left_out,
            answered=evidence.answered,
            verdict=verdict,
            story=tell_story(reasoner, verdict, facts.values),
        )

    def assess(
        self, job: Job, place: Recordings | None = None, judged: Judged | None = None
    ) -> Assessment:
        """Return everything that follows from the job; `judged` saves judging it again.

        Raises what `judge` raises.
        """
        if judged is None or judged.job is not job:
            judged = self.judge(job, place)
        reasoner, system, verdict = self.reasoner_of(job), judged.system, judged.verdict
        open_checks = [check for check in system.checks if check not in judged.answered]
        plan = choose(system, look_ahead(reasoner, verdict.findings, open_checks), job.access)
        options = repair_options(reasoner, verdict, judged.story, job.access)
        repaired = faults_to_prove(system, judged, options)
        return Assessment(
            job=job,
            system=system,
            facts=judged.facts,
            recordings=judged.recordings,
            left_out=judged.left_out,
            verdict=verdict,
            story=judged.story,
            earlier=judged.earlier,
            plan=plan,
            options=options,
            proofs=proofs_due(system, repaired, judged.facts, job),
            version=self.version,
            digest=_digest(job),
        )

    def repaired(self, job: Job, repairs: tuple[str, ...], at: str = "", by: str = "") -> Job:
        """Return the job after these repairs, with the access that they took."""
        system = self.system(job.layout)
        needs = dict.fromkeys(n for repair in repairs for n in system.repair(repair).needs)
        work = Work(
            id=job.next_id("w"),
            repairs=tuple(dict.fromkeys(repairs)),
            at=at,
            by=by,
            entries=len(job.entries),
            proofs=len(job.proofs),
            recordings=len(job.recordings),
        )
        return replace(
            job,
            access=way_to(system, needs, (), job.access).held_after(job.access),
            works=(*job.works, work),
        )

    def time_of(self, job: Job, begun: Begun) -> float:
        """Return how long a check that is begun has to wait before it can be read [s].

        After a repair a hold lasts at least as long as it takes to prove the repair. Raises
        what an answer would raise for the numbers read so far, because nobody can read them again.
        """
        system, facts = self.system(job.layout), self.facts(job)
        check = system.check(begun.check)
        read_given(check, Entry(id="", check=check.id, values=begun.values), facts)
        needed = hold_needed(system, check.id, facts) if job.repaired else 0.0
        return max(60.0 * check.wait_minutes, needed)

    def prove(self, job: Job, entry: Entry) -> Job:
        """Return the job with the answer to a proof test and the access that it took.

        Raises InputError, and nothing is changed, if the answer cannot be right.
        """
        system = self.system(job.layout)
        _same_check(job, entry)
        if entry.outcome == NOT_DONE:
            raise InputError(f"{entry.check} proves nothing undone; leave it due, or note why.")
        find(system, entry, self.facts(job))
        known = [proof.id for proof in job.valid_proofs()]
        if entry.supersedes and entry.supersedes not in known:
            raise UnknownIdError("proof made after the last repair", entry.supersedes, known)
        held = job.access if entry.supersedes else self.held_after(job, entry.check)
        return replace(job, proofs=(*job.proofs, entry), access=held)

    def heading(self) -> Heading:
        """Return the workshop's own heading; raise DocumentError if it cannot be read."""
        return self.headings.load() if self.headings is not None else NO_HEADING

    def keep_heading(self, heading: Heading) -> None:
        """Keep the workshop's own heading, which papers carry from now on."""
        if self.headings is None:
            raise InputError("there is no place to keep the workshop's heading in.")
        self.headings.save(heading)

    def papers(self, assessment: Assessment, reader: Reader = METRIC) -> Mapping[str, bytes]:
        """Return the customer page and the technical record as PDF, by file name."""
        made = {"customer.pdf": customer_paper, "technical.pdf": technical_paper}
        heading = self.heading()
        return {
            name: self.paper_maker.render(as_read(make(assessment, heading), reader))
            for name, make in made.items()
        }


def _same_check(job: Job, entry: Entry) -> None:
    """Raise InputError if an entry corrects the answer to another check."""
    for before in (*job.entries, *job.proofs):
        if before.id == entry.supersedes and before.check != entry.check:
            raise InputError(
                f"{before.id} answers {before.check}, which an answer to {entry.check} cannot "
                f"correct. Withdraw {before.id}, and answer {entry.check} as well."
            )


def _refuse_unsettled(imported: Imported, file: str) -> None:
    """Raise DocumentError if a person must say what a column is, or if none is anything."""
    named = [
        f"{c.name!r}{f' [{c.unit}]' if c.unit else ''}: "
        + " or ".join(f"{g.role} ({100 * g.confidence:.0f} %)" for g in c.guesses)
        for c in imported.unsettled
    ]
    if named:
        column = imported.unsettled[0]
        guess = column.guesses[0]
        said = f"{column.name}={guess.role} [{guess.unit or '-'}]"
        say = f"--role {said!r}"
        problem = (
            f"it is not clear what {len(named)} column(s) are. {'; '.join(named)}. Say it, for "
            f"example {say}, or leave one out: --role {f'{column.name}=-'!r}"
        )
        raise DocumentError(file, None, "", problem)
    if not imported.trace.channels:
        names = ", ".join(repr(c.name) for c in imported.columns[:12])
        problem = (
            f"no column is known by its name or its values ({names}). Say what they are, for "
            "example --role 'Name=height.rear [mm]' --role 'Other=pump.command'"
        )
        raise DocumentError(file, None, "", problem)


def content_digest(source: bytes | Path, file: str) -> str:
    """Return the SHA-256 of a recording, which is read in parts if it is on disk."""
    if isinstance(source, bytes):
        return hashlib.sha256(source).hexdigest()
    try:
        with source.open("rb") as content:
            return hashlib.file_digest(content, "sha256").hexdigest()
    except OSError as err:
        raise DocumentError(file, None, "", f"cannot be read ({err.strerror})") from None


def _digest(job: Job) -> str:
    return hashlib.sha256(repr(job).encode()).hexdigest()
