"""Which fault caused which, with the number that supports it.

A link counts only where the physics allows it: a leak wears a pump only if making up for it
needs more of the pump's time than it is built for.

A step from one node to the next was at work if it contributed anything but the healthy state.
Its share is exact, by inclusion and exclusion over the steps that were not. Several causes may
have been at work at once, so shares of one effect may add up to more than 1.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise, product
from statistics import NormalDist

import numpy as np

from sagtrace.diagnosis.faultsets import restrict
from sagtrace.diagnosis.verdict import Reasoner, Verdict
from sagtrace.evidence.facts import spread_to_si
from sagtrace.evidence.findings import Finding, combined
from sagtrace.evidence.models import duty_of_leak
from sagtrace.physics.estimate import Estimate, propagate
from sagtrace.units import to_si
from sagtrace.vehicle.layouts import Layout
from sagtrace.vehicle.nodes import Cause
from sagtrace.vehicle.system import corner_of

__all__ = ["Link", "Support", "tell_story"]

_BOTH = 0.20  # chosen: a link is told if cause and effect are together at least this probable
_AT_WORK = 0.2  # chosen: less likely than that, the cause has an alibi
_SUPPORTED = 0.5  # chosen: the duty is more likely than not beyond what the pump is built for
_AXLE_LEAKS = {"rear": "air.escape-axle", "front": "air.escape-front"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Support:
    """The number behind a link, and whether it carries it."""

    estimate: Estimate
    limit: float
    chance: float  # that the limit is passed
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Link:
    """One fault brought about another, perhaps by way of a condition."""

    cause: str
    via: str  # the condition between, or empty
    effect: str
    together: float  # P(cause and effect are both present | evidence)
    share: float  # P(every step from cause to effect was at work | both present, evidence)
    text: str
    support: Support | None = None

    @property
    def counts(self) -> bool:
        """Whether the cause may have done it, and the physics, as far as measured, allows it."""
        return self.share >= _AT_WORK and (
            self.support is None or self.support.chance >= _SUPPORTED
        )


def tell_story(
    reasoner: Reasoner, verdict: Verdict, facts: Mapping[str, Estimate]
) -> tuple[Link, ...]:
    """Return the links between probable faults, most probable first."""
    chance = {b.fault: b.probability for b in verdict.beliefs}
    links = [
        link
        for cause, via, effect, arcs in _paths(reasoner)
        if min(chance[cause], chance[effect]) >= _BOTH
        for link in _link(reasoner, verdict, facts, cause, via, effect, arcs)
    ]
    return tuple(sorted(links, key=lambda link: -link.together * link.share))


def _paths(reasoner: Reasoner) -> Iterator[tuple[str, str, str, tuple[Cause, ...]]]:
    """Yield cause, condition between, effect and the arcs, for arcs that tell a story."""
    faults, stories = reasoner.system.faults, reasoner.system.stories
    for (parent, child), arc in stories.items():
        if parent not in faults or not reasoner.links(parent, child):
            continue
        if child in faults:
            yield parent, "", child, (arc,)
            continue
        for (between, effect), onward in stories.items():
            if between == child and effect in faults and reasoner.links(between, effect):
                yield parent, child, effect, (arc, onward)


def _link(
    reasoner: Reasoner,
    verdict: Verdict,
    facts: Mapping[str, Estimate],
    cause: str,
    via: str,
    effect: str,
    arcs: tuple[Cause, ...],
) -> Iterator[Link]:
    given = {name: v[None] for name, v in combined(verdict.findings).items()}
    held = dict(given)
    for fault in (cause, effect):
        both = restrict(reasoner.sizes[fault], present=True)[None]
        held[fault] = held[fault] * both if fault in held else both
    steps = tuple(pairwise((cause, via, effect) if via else (cause, effect)))
    # Every combination of steps that were not at work, beginning with none.
    quiet = np.array(list(product([False, True], repeat=len(steps))))
    silent = {step: quiet[:, i] for i, step in enumerate(steps)}
    chances = reasoner.elimination.ask(held, [], len(quiet), silent).evidence
    p = float(chances[0] / reasoner.elimination.ask(given, []).evidence[0])
    if p < _BOTH:
        return
    at_work = float((-1.0) ** quiet.sum(axis=1) @ chances / chances[0])
    share = min(max(at_work, 0.0), 1.0)  # rounding can leave it a hair outside
    support = _duty(reasoner.system.layout, verdict, facts, cause) if via == "overrun" else None
    text = "; ".join(arc.story for arc in arcs)
    yield Link(
        cause=cause, via=via, effect=effect, together=p, share=share, text=text, support=support
    )


def _duty(
    layout: Layout, verdict: Verdict, facts: Mapping[str, Estimate], cause: str
) -> Support | None:
    """Return the duty that the measured leak asks of a healthy pump, if the leak was measured."""
    leak = _measured_leak(layout, verdict, corner_of(cause))
    if leak is None or leak.estimate is None:
        return None
    flow = Estimate(
        value=to_si(leak.estimate.value, leak.estimate.unit),
        std=spread_to_si(leak.estimate.std, leak.estimate.unit),
        unit="m³/s",
    )

    names = ("pump-delivery", "pump-clearance", "spring-pressure", "barometer")
    inputs = [flow, *(facts[name] for name in names)]
    value, std = propagate(duty_of_leak, [e.value for e in inputs], [e.std**2 for e in inputs])
    allowed = facts["allowed-duty"]
    apart = math.hypot(std, allowed.std)
    chance = NormalDist().cdf((value - allowed.value) / apart)
    text = (
        f"making up for this leak takes {100 * value:.2g} ± {100 * std:.2g} % of a healthy pump's "
        f"time; it is built for about {100 * allowed.value:.2g} %"
    )
    estimate = Estimate(value=100 * value, std=100 * std, unit="%")
    return Support(estimate=estimate, limit=100 * allowed.value, chance=chance, text=text)


def _measured_leak(layout: Layout, verdict: Verdict, corner_id: str) -> Finding | None:
    """Return the tightest measurement of the leak at the corner, or else of its own axle.

    What has no corner (a welded relay, a worn sensor) makes the pump run for another reason
    than the springs' leak, so no measurement of that leak speaks for or against it.
    """
    corner = next((c for c in layout.corners if c.id == corner_id), None)
    if corner is None:
        return None
    for target in (f"air.escape@{corner.id}", f"sag@{corner.id}", _AXLE_LEAKS[corner.axle]):
        found = [f for f in verdict.findings if f.target == target and f.estimate is not None]
        if found:
            return min(found, key=lambda f: f.estimate.std if f.estimate else math.inf)
    return None
