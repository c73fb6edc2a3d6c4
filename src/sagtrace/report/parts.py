"""Pieces that both papers share: the cause in words, the chain, options and proofs."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from sagtrace.diagnosis.story import Link
from sagtrace.diagnosis.verdict import Belief
from sagtrace.plan.meanwhile import leaves_alone
from sagtrace.plan.next_check import Offer
from sagtrace.repair.costs import way_cautions
from sagtrace.repair.options import Option
from sagtrace.repair.proofs import DueProof
from sagtrace.report.assessment import Assessment, Judged
from sagtrace.report.tree import Bar, Bars, Box, Chain
from sagtrace.report.words import duration, percent, sentence
from sagtrace.units import Own
from sagtrace.vehicle.checks import Caution
from sagtrace.vehicle.identity import IDENTITY
from sagtrace.vehicle.job import Job
from sagtrace.vehicle.system import System

__all__ = [
    "belief_bars",
    "by_gravity",
    "chain_of",
    "come_back_text",
    "come_back_ways",
    "identity_facts",
    "in_order",
    "leading_beliefs",
    "mark",
    "no_part",
    "open_offers",
    "option_name",
    "present_text",
    "proof_text",
    "repair_cautions",
    "SHOWN",
    "state_text",
    "time_text",
]

_TOLD = 0.02  # chosen: a way to come back that is less likely goes with the others
SHOWN = 0.5  # chosen: a fault more likely present than not is called found


def identity_facts(job: Job) -> tuple[tuple[str, str], ...]:
    """Return what names the vehicle and the visit, for the head of a paper."""
    told = ((sentence(IDENTITY[n]).rstrip("."), Own(text)) for n, text in job.identity.items())
    return tuple(told)


def mark(assessment: Assessment) -> str:
    """Return what is printed on every page of an invented job."""
    return "Invented job for demonstration" if assessment.job.invented else ""


def leading_beliefs(assessment: Assessment | Judged) -> tuple[Belief, ...]:
    """Return the faults that are more likely present than not, most probable first."""
    return tuple(b for b in assessment.verdict.beliefs if b.probability > SHOWN)


def no_part(assessment: Assessment) -> bool:
    """Return whether the best thing to do is to repair no part."""
    fixes = assessment.options[0].fixes if assessment.options else ()
    faults = assessment.system.faults
    return assessment.stage == "repair" and all(faults[f].kind == "no-part" for f in fixes)


def open_offers(assessment: Assessment) -> tuple[Offer, ...]:
    """Return the checks to do next, best first, without those that were begun and wait.

    Nor is there one that would spoil what waits.
    """
    system, job = assessment.system, assessment.job
    waiting = {begun.check: system.checks[begun.check] for begun in job.waiting()}
    return tuple(
        o
        for o in assessment.plan.offers
        if o.check not in waiting
        and leaves_alone(system, waiting.values(), system.checks[o.check], job.access)
    )


def state_text(system: System, belief: Belief) -> str:
    """Return what the fault's likely state says."""
    states = system.faults[belief.fault].states
    return next(state.text for state in states if state.id == belief.likely_state)


def belief_bars(assessment: Assessment, count: int) -> Bars:
    """Return the most probable faults as bars, with where they stood before any evidence."""
    faults = assessment.system.faults
    bars = tuple(
        Bar(
            name=sentence(faults[b.fault].name).rstrip("."),
            share=b.probability,
            text=percent(b.probability),
            before=b.prior,
        )
        for b in assessment.verdict.beliefs[:count]
    )
    text = (
        "How probable each fault is, all evidence weighed together; several may be present at once."
    )
    return Bars(title="Probability of each fault", bars=bars, text=text)


def in_order(links: Sequence[Link]) -> list[Link]:
    """Return the longest way through the links that starts at a cause nothing explains."""
    by_cause: dict[str, list[Link]] = {}
    for link in links:
        by_cause.setdefault(link.cause, []).append(link)

    def way(fault: str, seen: frozenset[str]) -> list[Link]:
        best: list[Link] = []
        for link in by_cause.get(fault, ()):
            if link.effect not in seen:
                rest = [link, *way(link.effect, seen | {link.effect})]
                if len(rest) > len(best):
                    best = rest
        return best

    effects = {link.effect for link in links}
    roots = [cause for cause in by_cause if cause not in effects] or list(by_cause)[:1]
    return max((way(root, frozenset({root})) for root in roots), key=len, default=[])


def present_text(belief: Belief) -> str:
    """Return how sure it is that the fault is there."""
    return f"present: {percent(belief.probability)}"


def chain_of(
    assessment: Assessment | Judged, detail: Callable[[Belief], str] = present_text
) -> Chain | None:
    """Return the causal chain among the faults found, or None if there is none.

    `detail` says of each fault how sure it is.
    """
    found = {b.fault: b for b in leading_beliefs(assessment)}
    links = [k for k in assessment.story if k.cause in found and k.effect in found and k.counts]
    way = in_order(links)
    if not way:
        return None
    names = assessment.system.faults

    def box(fault: str, how: str = "", doubtful: bool = False) -> Box:
        return Box(
            title=sentence(names[fault].name).rstrip("."),
            detail=detail(found[fault]),
            how=how,
            doubtful=doubtful,
        )

    effects = (box(link.effect, link.text, doubtful=link.share < SHOWN) for link in way)
    boxes = (box(way[0].cause), *effects)
    numbers = [link.support.text for link in way if link.support]
    return Chain(title="What led to what", boxes=boxes, text=sentence("; ".join(numbers)))


def by_gravity(system: System, cautions: Iterable[str]) -> tuple[Caution, ...]:
    """Return the cautions, dangers first."""
    order = {"danger": 0, "warning": 1, "notice": 2}
    return tuple(sorted((system.cautions[c] for c in cautions), key=lambda c: order[c.level]))


def repair_cautions(assessment: Assessment, repairs: Sequence[str]) -> tuple[Caution, ...]:
    """Return the cautions of these repairs and of getting there, the gravest first."""
    system = assessment.system
    used: dict[str, None] = {}
    for repair in (system.repairs[r] for r in repairs):
        names = way_cautions(system, repair.needs, (), assessment.job.access)
        used |= dict.fromkeys([*names, *repair.cautions])
    return by_gravity(system, used)


def option_name(system: System, option: Option) -> str:
    """Return what the option does, in a few words."""
    if not option.repairs:
        return "Do nothing"
    return "; ".join(system.repairs[r].name for r in option.repairs)


def come_back_ways(system: System, option: Option, most: int = 3) -> tuple[tuple[str, str], ...]:
    """Return the likeliest ways in which the vehicle may come back, and what they leave over.

    Each is a phrase and its chance. Chances are rounded before they are subtracted, so that what
    is printed adds up. Ways that can meet add up to more than the whole; then nothing is left.
    """
    told = _told_ways(system, option, most)
    rest = _whole(option.come_back) - sum(_whole(chance) for chance, _ in told)
    left = [("other reasons", percent(rest / 100))] if told and rest > 0 else []
    return (*((text, percent(chance)) for chance, text in told), *left)


def come_back_text(system: System, option: Option, most: int = 3) -> str:
    """Return the same in a phrase; empty if no way is worth telling."""
    told = _told_ways(system, option, most)
    ways = [f"{text} ({chance})" for text, chance in come_back_ways(system, option, most)]
    meet = sum(_whole(chance) for chance, _ in told) > _whole(option.come_back)
    return "; ".join(ways) + (", some of them together" if meet else "")


def _told_ways(system: System, option: Option, most: int) -> list[tuple[float, str]]:
    ways = [(reason.chance, reason.text) for reason in option.reasons]
    ways += [
        (1.0 - system.repairs[r].holds, f"the work may not last: {system.repairs[r].name}")
        for r in option.repairs
    ]
    return [way for way in sorted(ways, key=lambda way: -way[0])[:most] if way[0] >= _TOLD]


def _whole(chance: float) -> int:
    return min(99, round(100 * chance))


def time_text(offer: Offer) -> str:
    """Return the minutes of work and, apart, the time that nobody has to stand there."""
    text = f"{offer.minutes:.0f} min"
    return f"{text} + {duration(60 * offer.wait_minutes)} wait" if offer.wait_minutes else text


def proof_text(system: System, due: DueProof) -> str:
    """Return the proof in a sentence, with its limit and the shortest hold."""
    check = system.checks[due.proof.check]
    text = f"{sentence(check.name).rstrip('.')}: {due.limit}"
    if due.fall is not None:
        text += f", about {1e3 * due.fall:.0f} mm in 12 h at one temperature"
    if due.hold is not None:
        text += f"; the hold lasts at least {duration(due.hold)}, both temperatures noted"
    return sentence(text)
