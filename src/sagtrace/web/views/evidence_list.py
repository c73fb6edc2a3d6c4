"""Everything that was entered for a job, what each says, and who entered it when."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sagtrace.app.kept import Change
from sagtrace.errors import SagtraceError
from sagtrace.evidence.facts import Facts
from sagtrace.evidence.findings import find
from sagtrace.report.assessment import Judged
from sagtrace.report.from_before import COUNTS, from_before
from sagtrace.report.words import sentence
from sagtrace.units import Own
from sagtrace.vehicle.job import NOT_DONE, Entry, Job, Note
from sagtrace.vehicle.system import System
from sagtrace.web.views.moments import Moment, moment
from sagtrace.web.views.people import Person
from sagtrace.web.views.told_list import IdentityField, ToldRow, identity_fields, told_rows
from sagtrace.web.views.vehicle_facts import FactField, facts_of
from sagtrace.web.words import _

__all__ = ["evidence_page", "EvidencePage", "EvidenceRow", "NoteRow", "Past"]


@dataclass(frozen=True, slots=True, kw_only=True)
class EvidenceRow:
    """One entry."""

    id: str
    check: str
    name: str
    typed: str  # the outcome, or the numbers as they were typed
    says: str
    caveats: tuple[str, ...]
    doubt: str  # why it should be looked at again
    counts: bool
    open: bool  # it can be corrected and withdrawn
    why_not: str
    old: str  # how far it still counts if it is from before a repair
    at: Moment
    by: str
    instrument: str
    note: str
    proof: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class NoteRow:
    """A note or picture."""

    id: str
    text: str
    picture: str  # address, or empty
    at: Moment
    by: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Past:
    """One change of the job."""

    revision: int
    what: str
    at: Moment
    by: str


@dataclass(frozen=True, slots=True, kw_only=True)
class EvidencePage:
    """Everything that evidence.html may use."""

    job: str
    complaint: str
    layout: str
    problem: str
    rows: tuple[EvidenceRow, ...]  # newest first
    notes: tuple[NoteRow, ...]
    recordings: tuple[str, ...]
    identity: tuple[IdentityField, ...]
    facts: tuple[FactField, ...]
    told: tuple[ToldRow, ...]  # newest first
    history: tuple[Past, ...]  # newest first


def evidence_page(
    job: Job, system: System, facts: Facts | None, judged: Judged | None, problem: str,
    changes: Sequence[Change], person: Person, now: str,
) -> EvidencePage:  # fmt: skip
    """Return the page; without `judged` every entry is read for itself."""
    bearings = from_before(judged) if judged else ()
    old = {b.finding.id: sentence(f"{COUNTS[b.bears]}: {b.why}") for b in bearings}
    rows = [_row(job, system, facts, judged, e, now, old, proof=False) for e in job.entries]
    rows += [_row(job, system, facts, judged, e, now, old, proof=True) for e in job.proofs]
    return EvidencePage(
        job=job.id,
        complaint=job.complaint,
        layout=sentence(system.layout.name),
        problem=problem,
        rows=tuple(reversed(rows)),
        notes=tuple(_note(job.id, n, now) for n in reversed(job.notes)),
        recordings=tuple(r.file for r in job.recordings),
        identity=identity_fields(job, person),
        facts=facts_of(system.layout, job.vehicle, person),
        told=told_rows(job, system.layout, now),
        history=tuple(
            Past(revision=c.revision, what=c.mark.what, at=moment(c.mark.at, now), by=c.mark.by)
            for c in reversed(changes)
        ),
    )


def _row(
    job: Job, system: System, facts: Facts | None, judged: Judged | None, entry: Entry, now: str,
    old: Mapping[str, str], *, proof: bool,
) -> EvidenceRow:  # fmt: skip
    check = system.checks.get(entry.check)
    says, caveats = _says(system, facts, entry)
    why_not = _why_not(job, judged, entry, proof=proof)
    doubts: Mapping[str, str] = (
        {c.finding: sentence(c.text) for c in judged.verdict.conflicts} if judged else {}
    )
    outcomes = {NOT_DONE: _("could not be done")}
    outcomes |= {o.id: o.text for o in check.outcomes} if check else {}
    asked = {i.name: i.ask for i in check.measure.inputs} if check and check.measure else {}
    numbers = "; ".join(f"{asked.get(k, k)}: {v}" for k, v in entry.values.items())
    return EvidenceRow(
        id=entry.id,
        check=entry.check,
        name=sentence(check.name if check else entry.check).rstrip("."),
        typed=Own(sentence(numbers))
        if numbers
        else sentence(outcomes.get(entry.outcome, entry.outcome)),
        says=says,
        caveats=caveats,
        doubt=doubts.get(entry.id, "") if not why_not else "",
        counts=not why_not,
        why_not=why_not,
        old=old.get(entry.id, "") if not why_not else "",
        at=moment(entry.at, now),
        by=entry.by,
        instrument=entry.instrument,
        note=entry.note,
        proof=proof,
        open=not why_not or (entry.outcome == NOT_DONE and entry in job.current()),
    )


def _says(system: System, facts: Facts | None, entry: Entry) -> tuple[str, tuple[str, ...]]:
    if entry.withdrawn:
        return _("Withdraws %(entry)s.", entry=entry.supersedes), ()
    if facts is None:
        return "", ()
    try:
        finding = find(system, entry, facts)
    except SagtraceError as err:
        return _("It cannot be used: %(why)s", why=err), ()
    said = "" if entry.outcome else sentence(finding.text)
    return said, tuple(c.text for c in finding.caveats)


def _why_not(job: Job, judged: Judged | None, entry: Entry, *, proof: bool) -> str:
    if proof:
        return sentence(job.left_out_proofs().get(entry.id, ""))
    if entry.withdrawn:
        return _("A withdrawal.")
    later = next((e for e in job.entries if e.supersedes == entry.id), None)
    if later is not None:
        done = (
            _("Withdrawn by %(entry)s", entry=later.id)
            if later.withdrawn
            else _("Corrected by %(entry)s", entry=later.id)
        )
        return Own(sentence(f"{done}: {later.note}" if later.note else done))
    left_out = judged.left_out if judged else ()
    why = next((o.why for o in left_out if o.entry == entry.id), "")
    return Own(sentence(why))


def _note(job: str, note: Note, now: str) -> NoteRow:
    picture = f"/api/v1/jobs/{job}/files/{note.sha256}" if note.sha256 else ""
    return NoteRow(id=note.id, text=note.text, picture=picture, at=moment(note.at, now), by=note.by)
