"""What the newest entry changed and why, in a sentence or two and as bars."""

from __future__ import annotations

from dataclasses import dataclass

from sagtrace.diagnosis.verdict import Belief, Verdict
from sagtrace.report.assessment import Judged
from sagtrace.report.tree import Bar
from sagtrace.report.words import odds, percent, sentence
from sagtrace.vehicle.system import System

__all__ = ["Moved", "moved", "verdict_bars"]

_WORTH_TELLING = 0.01  # chosen: a smaller change of a probability is no news at the bay
_FEW = 3  # chosen: bars that leave the next step in sight on a phone


@dataclass(frozen=True, slots=True, kw_only=True)
class Moved:
    """What the newest entry of a job did to the verdict."""

    entry: str
    said: str  # what was entered, for people
    text: str  # what it changed and why
    bars: tuple[Bar, ...]  # each from where it stood to where it stands; largest change first


def moved(before: Judged, after: Judged) -> Moved | None:
    """Return what the newest entry of `after` did; None if the job has no entry."""
    if not after.job.entries:
        return None
    entry, system = after.job.entries[-1], after.system
    finding = next((f for f in after.verdict.findings if f.id == entry.id), None)
    check = system.checks[entry.check]
    if entry.withdrawn:
        said = sentence(f"{entry.supersedes} was withdrawn: {check.name}")
    else:
        said = sentence(f"{check.name}: {finding.text}" if finding else check.name)
    then = {b.fault: b.probability for b in before.verdict.beliefs}
    by_change = sorted(
        after.verdict.beliefs, key=lambda b: (-abs(b.probability - then[b.fault]), b.fault)
    )
    told = [b for b in by_change if abs(b.probability - then[b.fault]) >= _WORTH_TELLING][:_FEW]
    text = _what(after, then, told)
    if not entry.withdrawn and (why := _why(after, entry.id, told)):
        text = f"{text} {why}"
    bars = tuple(_bar(system, b, then[b.fault], _step(then[b.fault], b.probability)) for b in told)
    return Moved(entry=entry.id, said=said, text=text, bars=bars)


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


def _why(after: Judged, entry: str, told: list[Belief]) -> str:
    """Return why: what the entry by itself does to the fault that moved most."""
    left_out = next((o for o in after.left_out if o.entry == entry), None)
    if left_out is not None:
        return sentence(f"It does not count: it {left_out.why}")
    if not told:
        return "It was expected, or it does not bear on what is likely now."
    fault = told[0].fault
    move = next((m for m in after.verdict.why(fault) if m.finding == entry), None)
    if move is None:
        return "It works through what is left of the other causes, not on this one alone."
    against = "for" if move.log_odds > 0 else "against"
    name = after.system.faults[fault].name
    return sentence(f"by itself it speaks {against} {name} ({odds(move.log_odds)})")
