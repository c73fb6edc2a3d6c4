"""What the last change of a job changed and why, in a sentence or two and as bars."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from sagtrace.diagnosis.verdict import Belief, Verdict
from sagtrace.report.assessment import Judged
from sagtrace.report.tree import Bar
from sagtrace.report.words import listed, odds, percent, sentence
from sagtrace.vehicle.job import NOT_DONE, Job
from sagtrace.vehicle.system import System

__all__ = ["Moved", "moved", "verdict_bars"]

_WORTH_TELLING = 0.01  # chosen: a smaller change of a probability is no news at the bay
_FEW = 3  # chosen: bars that leave the next step in sight on a phone


@dataclass(frozen=True, slots=True, kw_only=True)
class Moved:
    """What an entry, a recording or a value of the vehicle did to the verdict."""

    entry: str  # empty: it was a value of the vehicle
    said: str  # what was entered, for people
    text: str  # what it changed and why
    bars: tuple[Bar, ...]  # each from where it stood to where it stands; largest change first


def moved(before: Judged, after: Judged) -> Moved | None:
    """Return what came to `after` since `before` did; None if nothing came that can move it."""
    if (news := _news(before, after)) is None:
        return None
    system = after.system
    then = {b.fault: b.probability for b in before.verdict.beliefs}
    by_change = sorted(
        after.verdict.beliefs, key=lambda b: (-abs(b.probability - then[b.fault]), b.fault)
    )
    told = [b for b in by_change if abs(b.probability - then[b.fault]) >= _WORTH_TELLING][:_FEW]
    text = _what(after, then, told)
    if news.findings and (why := _why(after, news.findings, told)):
        text = f"{text} {why}"
    bars = tuple(_bar(system, b, then[b.fault], _step(then[b.fault], b.probability)) for b in told)
    return Moved(entry=news.id, said=news.said, text=text, bars=bars)


@dataclass(frozen=True, slots=True, kw_only=True)
class _News:
    """What came to a job."""

    id: str
    said: str
    findings: tuple[str, ...]  # ids of what it says; empty: it took something away


def _news(before: Judged, after: Judged) -> _News | None:
    old, new = before.job, after.job
    if len(new.entries) > len(old.entries):
        return _entry(after)
    if len(new.recordings) > len(old.recordings):
        recording = new.recordings[-1]
        said = next((r for r in after.recordings if r.id == recording.id), None)
        findings = tuple(f.id for f in said.report.findings) if said else ()
        told = f"{len(findings)} finding{'s' * (len(findings) != 1)}"
        text = sentence(f"recording {recording.file}: {told}")
        return _News(id=recording.id, said=text, findings=findings)
    if new.vehicle != old.vehicle:
        names = [f.name for f in after.system.layout.facts if _differs(old, new, f.id)]
        return _News(id="", said=sentence(f"value of the vehicle: {listed(names)}"), findings=())
    return None


def _differs(old: Job, new: Job, fact: str) -> bool:
    return old.vehicle.get(fact, "") != new.vehicle.get(fact, "")


def _entry(after: Judged) -> _News:
    entry = after.job.entries[-1]
    finding = next((f for f in after.verdict.findings if f.id == entry.id), None)
    check = after.system.checks[entry.check]
    if entry.withdrawn:
        text = sentence(f"{entry.supersedes} was withdrawn: {check.name}")
        return _News(id=entry.id, said=text, findings=())
    said = sentence(f"{check.name}: {finding.text}" if finding else check.name)
    if entry.outcome == NOT_DONE:
        said = sentence(f"{check.name}: could not be done, and is not asked for again")
    return _News(id=entry.id, said=said, findings=(entry.id,))


def verdict_bars(system: System, verdict: Verdict, count: int) -> tuple[Bar, ...]:
    """Return the most probable faults, with where they stood before any evidence."""
    return tuple(_bar(system, b, b.prior, percent(b.probability)) for b in verdict.beliefs[:count])


def _bar(system: System, belief: Belief, before: float, text: str) -> Bar:
    name = sentence(system.faults[belief.fault].name).rstrip(".")
    return Bar(name=name, share=belief.probability, text=text, before=before)


def _step(before: float, after: float) -> str:
    then, now = percent(before), percent(after)
    return now if now == then else f"{then} → {now}"


def _what(after: Judged, then: dict[str, float], told: list[Belief]) -> str:
    if not told:
        return "It changed no fault by more than one part in a hundred."
    parts = [
        f"{after.system.faults[b.fault].name} {'rose' if b.probability > then[b.fault] else 'fell'}"
        f" from {percent(then[b.fault])} to {percent(b.probability)}"
        for b in told[:2]
    ]
    return sentence("; ".join(parts))


def _why(after: Judged, findings: Sequence[str], told: list[Belief]) -> str:
    """Return why: what the findings by themselves do to the fault that moved most."""
    left_out = next((o for o in after.left_out if o.entry in findings), None)
    if left_out is not None and len(findings) == 1:
        why = f"it {left_out.why}" if left_out.why.startswith("rests") else left_out.why
        return sentence(f"It does not count: {why}")
    if not told:
        return "It was expected, or it does not bear on what is likely now."
    fault = told[0].fault
    moves = [m for m in after.verdict.why(fault) if m.finding in findings]
    if not moves:
        return "Other findings already said this; it adds nothing to this fault by itself."
    most = max(moves, key=lambda m: abs(m.log_odds))
    against = "for" if most.log_odds > 0 else "against"
    name = after.system.faults[fault].name
    what = "by itself it" if len(findings) == 1 else f"of what it says, {most.finding} by itself"
    return sentence(f"{what} speaks {against} {name} ({odds(most.log_odds)})")
