"""What was written down beside the evidence: notes, begun checks, approvals and every proof."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from sagtrace.repair.proofs import ProofEntry, proof_log
from sagtrace.report.assessment import Assessment
from sagtrace.report.tree import Block, Bullets, Column, Para, Table
from sagtrace.report.words import listed, sentence
from sagtrace.units import Own
from sagtrace.vehicle.identity import IDENTITY
from sagtrace.vehicle.job import Approval, Job, Told
from sagtrace.vehicle.layouts import Fact
from sagtrace.vehicle.system import System

__all__ = [
    "approvals",
    "begun_checks",
    "notes",
    "proof_entries",
    "repairs_named",
    "told_name",
    "told_standing",
    "told_values",
    "when",
    "who",
]

_ANSWERS = {"asked": "asked, no answer noted", "approved": "approved", "declined": "declined"}


def when(at: str) -> str:
    """Return a kept time as people read it.

    >>> when("2026-11-24T08:05:00+00:00"), when("")
    ('2026-11-24 08:05 UTC', 'time not noted')
    """
    if not at:
        return "time not noted"
    zone = " UTC" if at.endswith(("Z", "+00:00")) else f" {at[-6:]}" if at[-6:-5] in "+-" else ""
    return at[:16].replace("T", " ") + zone


def who(by: str) -> str:
    """Return the name, or that there is none."""
    return by or "by whom: not noted"


def repairs_named(system: System, repairs: tuple[str, ...]) -> str:
    """Return the names of the repairs; one that is known no longer keeps its id."""
    return listed([system.repairs[r].name if r in system.repairs else r for r in repairs])


def _check_named(system: System, check: str) -> str:
    return system.checks[check].name if check in system.checks else check


def _typed(values: Mapping[str, str]) -> str:
    return ", ".join(f"{name.replace('-', ' ')} {typed}" for name, typed in values.items())


def _joined(*parts: str) -> str:
    return ", ".join(part for part in parts if part)


def notes(assessment: Assessment) -> tuple[Block, ...]:
    """Return what people wrote down or photographed; none of it moves a probability."""
    items = tuple(Own(item) for item in _notes(assessment))
    if not items:
        return ()
    return (
        Para(text="Notes and pictures move no probability.", tone="quiet"),
        Bullets(items=items),
    )


def _notes(assessment: Assessment) -> Iterator[str]:
    job, system = assessment.job, assessment.system
    for note in job.notes:
        seen_at = f"at {_check_named(system, note.check)}" if note.check else ""
        picture = f"picture kept as {note.photo}, SHA-256 {note.sha256}" if note.photo else ""
        said = "; ".join(part for part in (note.text, picture) if part)
        head = _joined(f"{note.id}, {when(note.at)}", who(note.by), seen_at)
        yield f"{head}: {said}"
    for entry in (*job.entries, *job.proofs):
        if entry.note and not entry.withdrawn:  # a withdrawal's reason stands with what it ended
            head = f"{entry.id}, {when(entry.at)}, {who(entry.by)}"
            yield f"{head}, with {_check_named(system, entry.check)}: {entry.note}"
    for recording in job.recordings:
        if recording.note:
            yield f"{recording.id}, {when(recording.at)}, with the recording: {recording.note}"


def begun_checks(assessment: Assessment) -> tuple[Block, ...]:
    """Return the checks that were begun and given up, and those that still wait."""
    job, system = assessment.job, assessment.system
    begun = {b.id: b for b in job.begun}
    items = []
    for end in job.begun:
        if end.drops and (start := begun.get(end.drops)):
            told = _joined(
                f"{_check_named(system, start.check)} [{start.id}]: begun {when(start.at)}",
                who(start.by),
                _typed(start.values),
                start.note,
            )
            gone = _joined(f"given up {when(end.at)}", who(end.by))
            items.append(f"{told}; {gone}: {end.note or 'no reason noted'}")
    for start in job.waiting():
        told = _joined(
            f"{_check_named(system, start.check)} [{start.id}]: begun {when(start.at)}",
            who(start.by),
            _typed(start.values),
            start.note,
        )
        ready = f"can be read from {when(start.ready)}" if start.ready else "not read yet"
        items.append(f"{told}; {ready}")
    return (Bullets(items=tuple(Own(sentence(item)) for item in items)),) if items else ()


def told_values(assessment: Assessment) -> tuple[Block, ...]:
    """Return everything that was told of the vehicle, also what was corrected later."""
    job, facts = assessment.job, assessment.system.layout.facts
    if not job.told:
        return ()
    rows = tuple(
        (
            told.id,
            told_name(told.name, facts),
            Own(told.text or "taken back"),
            Own(f"{when(told.at)}, {who(told.by)}"),
            told_standing(job, told) or "counts",
        )
        for told in job.told
    )
    columns = (
        Column(title="Entry", share=0.8),
        Column(title="What", share=3.2),
        Column(title="As typed", share=2.2),
        Column(title="When, by", share=2.6),
        Column(title="Standing", share=1.8),
    )
    return (Table(columns=columns, rows=rows),)


def told_name(name: str, facts: Sequence[Fact]) -> str:
    """Return what a value told is called."""
    names = {fact.id: fact.name for fact in facts}
    return sentence(IDENTITY.get(name) or names.get(name, name)).rstrip(".")


def told_standing(job: Job, told: Told) -> str:
    """Return why a value told does not count; empty if it does."""
    later = next((t for t in job.told if t.supersedes == told.id), None)
    if later is not None:
        return f"{'corrected' if later.text else 'taken back'} by {later.id}"
    if job.told_last()[told.name] is not told:
        return "told again later"
    return "" if told.text else f"takes back {told.supersedes}"


def approvals(assessment: Assessment) -> tuple[Block, ...]:
    """Return what the customer was offered and said, the oldest first."""
    rows = tuple(_approval(assessment.system, a) for a in assessment.job.approvals)
    if not rows:
        return ()
    columns = (
        Column(title="When, asked by", share=2),
        Column(title="Offered", share=3),
        Column(title="Price as told", share=1.7),
        Column(title="Answer", share=2.6),
    )
    return (Table(columns=columns, rows=rows, caption="What was offered and said."),)


def _approval(system: System, approval: Approval) -> tuple[str, ...]:
    said = f"said by {approval.who}" if approval.who else ""
    return (
        Own(f"{when(approval.at)}, {who(approval.by)}"),
        sentence(repairs_named(system, approval.repairs)).rstrip(".") or "Nothing",
        Own(approval.offered or "not noted"),
        Own(_joined(_ANSWERS[approval.answer], approval.how, said)),
    )


def proof_entries(assessment: Assessment) -> tuple[Block, ...]:
    """Return every answer to a proof test, also those that do not count."""
    log = proof_log(assessment.system, assessment.facts, assessment.job)
    if not log:
        return ()
    columns = (
        Column(title="Entry", share=0.9),
        Column(title="Test", share=2.2),
        Column(title="Result", share=1.3),
        Column(title="What came out", share=3.6),
        Column(title="When, by", share=1.8),
    )
    rows = tuple(_proof(assessment.system, logged) for logged in log)
    return (Table(columns=columns, rows=rows, caption="Every proof entry, counted or not."),)


def _proof(system: System, logged: ProofEntry) -> tuple[str, ...]:
    entry, judged = logged.entry, logged.judged
    typed = entry.outcome or _typed(entry.values)
    came_out = judged.text if judged else f"can no longer be read; as typed: '{typed}'"
    if judged and entry.values and not logged.counts:  # of those that count a table tells more
        came_out += f". Typed: '{typed}'."
    return (
        entry.id,
        sentence(_check_named(system, entry.check)).rstrip("."),
        judged.result if judged else "not judged",
        sentence(came_out) + ("" if logged.counts else f" Not counted: {logged.why}."),
        Own(f"{when(entry.at)}, {who(entry.by)}"),
    )
