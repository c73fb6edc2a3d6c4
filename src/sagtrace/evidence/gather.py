"""All evidence of a job as findings, with what was left out and why."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from sagtrace.errors import DocumentError, InputError
from sagtrace.evidence.facts import Facts
from sagtrace.evidence.findings import Finding, find
from sagtrace.vehicle.job import Entry, Job
from sagtrace.vehicle.system import System

__all__ = ["complaint_finding", "gather", "Gathered", "LeftOut"]

_QUOTES = '"“”„'  # that somebody typed around the words already
COMPLAINT = "complaint"  # the condition that says why anybody brought the vehicle in


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftOut:
    """An entry that is kept but does not count, and why."""

    entry: str
    check: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Gathered:
    """What counts, and what does not."""

    findings: tuple[Finding, ...]
    left_out: tuple[LeftOut, ...]
    answered: frozenset[str]  # checks that need no further answer


def complaint_finding(system: System, text: str) -> Finding:
    """Return the finding that the vehicle was brought in because it rides low."""
    states = system.nodes[COMPLAINT].state_ids
    return Finding(
        id=COMPLAINT,
        source=COMPLAINT,
        name="why the vehicle was brought in",
        text=f"“{text.strip().strip(_QUOTES)}”",
        target=COMPLAINT,
        likelihood=tuple(float(i > 0) for i in range(len(states))),
    )


def _found(system: System, job: Job, entry: Entry, facts: Facts) -> Finding:
    try:
        return find(system, entry, facts)
    except InputError as err:
        raise DocumentError(f"job {job.id}", None, f"entry {entry.id}", str(err)) from None


def _why_not(later: Entry | None) -> str:
    """Return why an entry does not count, from the one that came in its place."""
    if later is None:
        return "answered again later"
    if not later.withdrawn:
        return f"corrected by {later.id}"
    return f"withdrawn: {later.note}" if later.note else "withdrawn, no reason noted"


def gather(system: System, job: Job, facts: Facts, recorded: Iterable[Finding] = ()) -> Gathered:
    """Return the findings of the job's complaint, entries and recordings.

    Raises DocumentError that names the entry that cannot be right.
    """
    current = job.current()
    answered = {entry.check for entry in current}
    findings = [complaint_finding(system, job.complaint)] if job.complaint else []
    left_out = []
    for entry in job.entries:
        if entry.withdrawn or entry in current:
            continue
        later = next((e for e in job.entries if e.supersedes == entry.id), None)
        left_out.append(LeftOut(entry=entry.id, check=entry.check, why=_why_not(later)))
    for entry in current:
        finding = _found(system, job, entry, facts)
        stronger = [c for c in system.checks[entry.check].yields_to if c in answered]
        if stronger:
            why = f"rests on the same data as {stronger[0]}, which says more"
            left_out.append(LeftOut(entry=entry.id, check=entry.check, why=why))
        else:
            findings.append(finding)
    closed = {c for c in system.checks if answered.intersection(system.checks[c].yields_to)}
    return Gathered(
        findings=(*findings, *recorded),
        left_out=tuple(left_out),
        answered=frozenset(answered | closed),
    )
