"""All evidence of a job as findings, with what was left out and why."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from sagtrace.errors import DocumentError, InputError
from sagtrace.evidence.facts import Facts
from sagtrace.evidence.findings import Finding, check_leaf, find
from sagtrace.vehicle.checks import Check
from sagtrace.vehicle.job import NOT_DONE, Entry, Job
from sagtrace.vehicle.renewal import Renewal
from sagtrace.vehicle.system import System

__all__ = ["complaint_finding", "dated", "gather", "Gathered", "LeftOut"]

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
        raise _not_right(job, entry, err) from None


def _why_not(later: Entry | None) -> str:
    """Return why an entry does not count, from the one that came in its place."""
    if later is None:
        return "answered again later"
    if not later.withdrawn:
        return f"corrected by {later.id}"
    return f"withdrawn: {later.note}" if later.note else "withdrawn, no reason noted"


def gather(renewal: Renewal, job: Job, facts: Facts, recorded: Iterable[Finding] = ()) -> Gathered:
    """Return the findings of the job's complaint, entries, proofs and recordings.

    Each speaks of the vehicle as it was when it was found; how it came in is of the time before any
    work. Raises DocumentError that names the entry that cannot be right.
    """
    system = renewal.system
    asked = _asked(renewal, job)
    entries = {entry.id for entry in job.entries}
    last = {version: entry for entry, version, _ in asked}  # the last answer to the same question
    done = {version for version, entry in last.items() if entry.outcome != NOT_DONE}
    findings = [complaint_finding(system, job.complaint)] if job.complaint else []
    findings = [dated(renewal, finding, 0) for finding in findings]
    left_out = [
        LeftOut(entry=e.id, check=e.check, why=_why_not(_later(job.entries, e)))
        for e in job.entries
        if not e.withdrawn and last.get(_version(asked, e)) is not e
    ]
    for entry, version, time in asked:
        if last[version] is not entry:
            continue
        finding = dated(renewal, _found(system, job, entry, facts), time)
        stronger = [
            c for c in system.checks[entry.check].yields_to if renewal.of_check(c, time) in done
        ]
        if entry.outcome == NOT_DONE:
            left_out.append(LeftOut(entry=entry.id, check=entry.check, why=finding.text))
        elif not stronger:
            findings.append(finding)
        elif entry.id in entries:
            why = f"rests on the same data as {stronger[0]}, which says more"
            left_out.append(LeftOut(entry=entry.id, check=entry.check, why=why))
    answered = {check for check in system.checks if check in last}
    closed = {c for c in system.checks if done.intersection(system.checks[c].yields_to)}
    if job.works:  # how the vehicle came in is no longer to be seen
        closed |= {check.id for check in system.checks.values() if check.of_old}
    return Gathered(
        findings=(*findings, *recorded),
        left_out=tuple(left_out),
        answered=frozenset(answered | closed),
    )


def dated(renewal: Renewal, finding: Finding, time: int) -> Finding:
    """Return what was found after `time` works, as it bears on the vehicle of that time."""
    if finding.target == check_leaf(finding.source):
        version = check_leaf(renewal.of_check(finding.source, time))
    else:
        version = renewal.at(finding.target, time)
    return replace(finding, after=time, past="" if version == finding.target else version)


_Asked = tuple[Entry, str, int]  # an answer, the version of its check, and how many works before


def _asked(renewal: Renewal, job: Job) -> tuple[_Asked, ...]:
    """Return the answers that were neither corrected nor withdrawn, oldest first."""
    every = (*job.entries, *job.proofs)
    replaced = {entry.supersedes for entry in every if entry.supersedes}
    times = job.times()
    found = []
    for entry in every:
        if entry.id in replaced or entry.withdrawn:
            continue
        of_old = _known(renewal.system, job, entry).of_old
        time = 0 if of_old else times[entry.id]
        found.append((entry, renewal.of_check(entry.check, time), time))
    return tuple(sorted(found, key=lambda one: one[2]))


def _known(system: System, job: Job, entry: Entry) -> Check:
    try:
        return system.check(entry.check)
    except InputError as err:
        raise _not_right(job, entry, err) from None


def _not_right(job: Job, entry: Entry, err: InputError) -> DocumentError:
    return DocumentError(f"job {job.id}", None, f"entry {entry.id}", str(err))


def _version(asked: Iterable[_Asked], entry: Entry) -> str:
    return next((version for e, version, _ in asked if e is entry), "")


def _later(entries: Iterable[Entry], entry: Entry) -> Entry | None:
    return next((e for e in entries if e.supersedes == entry.id), None)
