"""What was entered in a job, what of it counts, and who changed what when."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from urllib.parse import quote

from fastapi import APIRouter
from pydantic import Field

from sagtrace.app.kept import Change
from sagtrace.errors import SagtraceError
from sagtrace.evidence.facts import Facts, spread_to_si
from sagtrace.evidence.findings import find
from sagtrace.evidence.gather import gather
from sagtrace.report.history import told_standing
from sagtrace.units import from_si
from sagtrace.vehicle.job import Begun, Entry, Job, Taped, Told
from sagtrace.vehicle.renewal import Renewal
from sagtrace.vehicle.system import System
from sagtrace.web.api.answers import Answer
from sagtrace.web.api.known import AccessAnswer, access_answer
from sagtrace.web.api.paging import After, Limit, cut
from sagtrace.web.api.verdict import EstimateAnswer
from sagtrace.web.asking import Look, Looked

__all__ = ["file_address", "router"]

router = APIRouter(prefix="/jobs/{job}", tags=["record"])

MOMENT = "RFC 3339"


class EntryAnswer(Answer):
    """An answer to a check, and whether it counts."""

    id: str
    check: str
    name: str = Field(description="Of the check")
    outcome: str
    values: dict[str, str] = Field(description="As typed")
    at: str = Field(description=MOMENT)
    by: str
    instrument: str
    note: str
    supersedes: str = Field(description="The entry that it corrects or withdraws")
    withdrawn: bool = Field(description="It withdraws and puts nothing in its place")
    ends: str = Field(description="The begun check that it answers")
    counts: bool
    why_not: str = Field(description="Why it does not count; empty if it does")
    says: str = Field(description="What it says, in words")
    estimate: EstimateAnswer | None


class FiledAnswer(Answer):
    """A recording that belongs to the job."""

    id: str
    file: str
    href: str = Field(description="Where its content is")
    at: str = Field(description=MOMENT)
    note: str
    roles: dict[str, str] = Field(description="What a column is, with its unit, by its name")
    rate: str
    tapes: list[Taped]


class NoteAnswer(Answer):
    """Something that somebody saw."""

    id: str
    text: str
    check: str
    photo: str = Field(description="Name of the picture; empty: none")
    href: str = Field(description="Where the picture is; empty: none")
    at: str = Field(description=MOMENT)
    by: str


class BegunAnswer(Answer):
    """A check that was begun and has to wait."""

    id: str
    check: str
    values: dict[str, str] = Field(description="As typed")
    at: str = Field(description=MOMENT)
    ready: str = Field(description=f"{MOMENT}: from when on it can be read")
    by: str
    note: str
    ended_by: str = Field(description="The entry that answers it, or what gave it up; empty: waits")


class EvidenceAnswer(Answer):
    """Everything that was entered."""

    job: str
    revision: int
    entries: list[EntryAnswer]
    proofs: list[EntryAnswer] = Field(description="Those before the last repair do not count")
    begun: list[BegunAnswer]
    notes: list[NoteAnswer]
    recordings: list[FiledAnswer]


class ChangeAnswer(Answer):
    """One change of the job."""

    revision: int = Field(description="That it led to")
    what: str
    at: str = Field(description=MOMENT)
    by: str
    result: dict[str, str]


class ChangesAnswer(Answer):
    """A page of changes, oldest first."""

    changes: list[ChangeAnswer]
    next: str = Field(description="Pass it as `after` for the next page; empty on the last")


class JobFact(Answer):
    """A number about the job's vehicle."""

    id: str
    name: str
    unit: str = Field(description="Of value and std; taken for a bare number")
    value: float = Field(description="In `unit`")
    std: float = Field(description="One standard deviation, in `unit`")
    typed: str = Field(description="As somebody read it in the manual; empty: assumed")
    source: str = Field(description="Of the assumption; empty if it was typed")


class ToldAnswer(Answer):
    """Something that was told of the vehicle, and whether it counts."""

    id: str
    name: str = Field(description="A fact, or registration, odometer, odometer-out, reference")
    text: str = Field(description="As typed; empty: it takes back what it supersedes")
    at: str = Field(description=MOMENT)
    by: str
    supersedes: str
    counts: bool
    why_not: str = Field(description="Why it does not count; empty if it does")


class VehicleAnswer(Answer):
    """What names the vehicle, its own values, and those that are assumed."""

    job: str
    revision: int
    registration: str
    odometer: str = Field(description="At intake, with its unit")
    odometer_out: str = Field(description="At hand-over, with its unit")
    reference: str = Field(description="The customer's own")
    facts: list[JobFact]
    told: list[ToldAnswer] = Field(description="Everything that was told, oldest first")


class HeldAnswer(AccessAnswer):
    """An access state, and whether it holds now."""

    held: bool


@router.get("/evidence")
def read_evidence(look: Looked, job: str) -> EvidenceAnswer:
    """Return everything that was entered; what does not count says why."""
    kept = look.open(job, derived=True)
    system, facts = look.desk.workshop.system(kept.job.layout), _facts(look, kept.job)
    why = _left_out(look.desk.workshop.reasoner_of(kept.job).renewal, kept.job, facts)
    old = kept.job.left_out_proofs()
    made = _ended(kept.job)
    return EvidenceAnswer(
        job=kept.job.id, revision=kept.revision,
        entries=[_entry(system, facts, entry, why) for entry in kept.job.entries],
        proofs=[_entry(system, facts, entry, old) for entry in kept.job.proofs],
        begun=[_begun(b, made) for b in kept.job.begun if not b.drops],
        notes=[
            NoteAnswer(
                id=note.id, text=note.text, check=note.check, photo=note.photo,
                href=file_address(job, note.sha256) if note.sha256 else "", at=note.at, by=note.by,
            )
            for note in kept.job.notes
        ],
        recordings=[
            FiledAnswer(
                id=r.id, file=r.file, href=file_address(job, r.sha256), at=r.at, note=r.note,
                roles=dict(r.roles), rate=r.rate, tapes=list(r.tapes),
            )
            for r in kept.job.recordings
        ],
    )  # fmt: skip


@router.get("/changes")
def list_changes(look: Looked, job: str, limit: Limit = 50, after: After = "") -> ChangesAnswer:
    """List who changed the job when, oldest first."""
    number: Callable[[Change], str] = lambda change: str(change.revision)  # noqa: E731
    page, following = cut(look.desk.changes(job), number, limit, after)
    found = [
        ChangeAnswer(
            revision=c.revision, what=c.mark.what, at=c.mark.at, by=c.mark.by,
            result=dict(c.result),
        )
        for c in page
    ]  # fmt: skip
    return ChangesAnswer(changes=found, next=following)


@router.get("/vehicle")
def read_vehicle(look: Looked, job: str) -> VehicleAnswer:
    """Return the numbers about the vehicle: its own as typed, and what is assumed of the rest."""
    kept = look.open(job, derived=True)
    system = look.desk.workshop.system(kept.job.layout)
    values, typed = look.desk.workshop.facts(kept.job).values, kept.job.vehicle
    found = [
        JobFact(
            id=fact.id, name=fact.name, unit=fact.unit,
            value=from_si(values[fact.id].value, fact.unit),
            std=values[fact.id].std / spread_to_si(1.0, fact.unit),
            typed=typed.get(fact.id, ""),
            source="" if fact.id in typed else system.sources[fact.basis].text,
        )
        for fact in system.layout.facts
    ]  # fmt: skip
    named = kept.job.identity
    return VehicleAnswer(
        job=kept.job.id, revision=kept.revision, facts=found,
        registration=named.get("registration", ""), odometer=named.get("odometer", ""),
        odometer_out=named.get("odometer-out", ""), reference=named.get("reference", ""),
        told=[_told(kept.job, told) for told in kept.job.told],
    )  # fmt: skip


def _told(job: Job, told: Told) -> ToldAnswer:
    why_not = told_standing(job, told)
    return ToldAnswer(
        id=told.id, name=told.name, text=told.text, at=told.at, by=told.by,
        supersedes=told.supersedes, counts=not why_not, why_not=why_not,
    )  # fmt: skip


@router.get("/access")
def read_access(look: Looked, job: str) -> list[HeldAnswer]:
    """Return the access states of the vehicle in the bay, and which of them hold now."""
    kept = look.open(job, derived=True)
    system = look.desk.workshop.system(kept.job.layout)
    return [
        HeldAnswer(**access_answer(system, s).__dict__, held=s.id in kept.job.access)
        for s in system.access.values()
    ]


def file_address(job: str, sha256: str) -> str:
    """Return where a recording or picture of a job is."""
    return f"/api/v1/jobs/{quote(job, safe='')}/files/{sha256}"


def _facts(look: Look, job: Job) -> Facts | None:
    try:
        return look.desk.workshop.facts(job)
    except SagtraceError:  # what was entered can still be read, and the vehicle's values mended
        return None


def _left_out(renewal: Renewal, job: Job, facts: Facts | None) -> Mapping[str, str]:
    """Return by entry why it does not count."""
    found = {entry.id: "answered again later" for entry in job.entries}
    found |= {e.supersedes: f"corrected by {e.id}" for e in job.entries if e.supersedes}
    found |= {e.supersedes: f"withdrawn by {e.id}" for e in job.entries if e.withdrawn}
    found |= {entry.id: "only withdraws another" for entry in job.entries if entry.withdrawn}
    found = {id_: why for id_, why in found.items() if id_ not in {e.id for e in job.current()}}
    try:
        gathered = gather(renewal, job, facts).left_out if facts is not None else ()
    except SagtraceError:  # an entry that cannot be right says so itself
        gathered = ()
    return {**{one.entry: one.why for one in gathered}, **found}


def _entry(
    system: System, facts: Facts | None, entry: Entry, why: Mapping[str, str]
) -> EntryAnswer:
    says, estimate, problem = "", None, ""
    try:
        if facts is not None and not entry.withdrawn:
            finding = find(system, entry, facts)
            says, estimate = finding.text, finding.estimate
    except SagtraceError as err:
        problem = str(err)
    check = system.checks.get(entry.check)
    why_not = why.get(entry.id, "") or problem
    return EntryAnswer(
        id=entry.id, check=entry.check, name=check.name if check else "", outcome=entry.outcome,
        values=dict(entry.values), at=entry.at, by=entry.by, instrument=entry.instrument,
        note=entry.note, supersedes=entry.supersedes, withdrawn=entry.withdrawn, ends=entry.ends,
        counts=not why_not, why_not=why_not, says=says, estimate=EstimateAnswer.of(estimate),
    )  # fmt: skip


def _ended(job: Job) -> Mapping[str, str]:
    answers = {entry.ends: entry.id for entry in (*job.entries, *job.proofs)}
    return {**{begun.drops: begun.id for begun in job.begun}, **answers}


def _begun(begun: Begun, ended: Mapping[str, str]) -> BegunAnswer:
    return BegunAnswer(
        id=begun.id, check=begun.check, values=dict(begun.values), at=begun.at, ready=begun.ready,
        by=begun.by, note=begun.note, ended_by=ended.get(begun.id, ""),
    )  # fmt: skip
