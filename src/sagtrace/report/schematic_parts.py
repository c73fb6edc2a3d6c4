"""The parts of a system as a drawing shows them: suspicion, readings, and checks within reach."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from graphlib import TopologicalSorter
from typing import Literal

from sagtrace.diagnosis.verdict import Belief
from sagtrace.evidence.findings import Finding
from sagtrace.repair.costs import way_to_check
from sagtrace.report.assessment import Judged
from sagtrace.report.parts import SHOWN
from sagtrace.report.schematic_rules import Drawing
from sagtrace.report.words import between
from sagtrace.vehicle.checks import Check
from sagtrace.vehicle.nodes import Fault
from sagtrace.vehicle.system import System, base_id, corner_of

__all__ = [
    "corner_part",
    "led_to",
    "Measured",
    "NOT_EXCLUDED",
    "Part",
    "part_ids",
    "parts_of",
    "parts_of_check",
    "Step",
    "WHOLE",
]

WHOLE = "vehicle"  # the part that stands for the vehicle as a whole
NOT_EXCLUDED = 0.02  # as in a verdict: a fault above it is not excluded, so its number is drawn

Reach = Literal["none", "free", "reached", "covered"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """A number that was measured at a part, as text with its interval and unit."""

    finding: str
    word: str
    interval: str
    of: str = ""

    @property
    def text(self) -> str:
        """The whole reading."""
        return " ".join(t for t in (self.word, self.interval, self.of) if t)


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One part: its faults, most probable first, what was measured, and what can be done.

    `reach` tells of the checks that are still open: none is, one needs nothing taken off (free),
    one is within reach by what is off or raised already (reached), or all need more (covered).
    """

    id: str  # component, or component@corner
    component: str
    corner: str
    label: str
    corner_name: str
    beliefs: tuple[Belief, ...]
    measured: tuple[Measured, ...]
    checks: tuple[str, ...]
    reach: Reach

    @property
    def worst(self) -> Belief | None:
        """The most probable fault of the part."""
        return self.beliefs[0] if self.beliefs else None

    @property
    def name(self) -> str:
        """What people call it, with its corner."""
        return f"{self.label}, {self.corner_name}" if self.corner_name else self.label


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One station of what led to what: a fault, its part, and how an earlier one led to it."""

    number: int
    part: str
    fault: str
    how: str = ""


def led_to(judged: Judged, drawing: Drawing) -> tuple[Step, ...]:
    """Return the faults that were found and hang together, every cause before its effects."""
    found = {b.fault for b in judged.verdict.beliefs if b.probability > SHOWN}
    links = [k for k in judged.story if k.counts and {k.cause, k.effect} <= found]
    before: dict[str, set[str]] = {}
    for link in links:
        before.setdefault(link.cause, set())
        before.setdefault(link.effect, set()).add(link.cause)
    how = {link.effect: link.text for link in reversed(links)}
    return tuple(
        Step(
            number=i, fault=fault, how=how.get(fault, ""),
            part=_part_of(drawing, judged.system.faults[fault]),
        )
        for i, fault in enumerate(TopologicalSorter(before).static_order(), start=1)
    )  # fmt: skip


def corner_part(drawing: Drawing, component: str, corner: str) -> str:
    """Return the id of the part that has a fault of this component at this corner."""
    rule = drawing.by_component.get(component)
    if not corner or (rule is not None and rule.together):
        return component
    return f"{component}@{corner}"


def part_ids(system: System, drawing: Drawing) -> tuple[str, ...]:
    """Return every part of a system, in the order of the drawing's data and of the corners."""
    place = {component: i for i, component in enumerate(drawing.labels)}
    corner = {c.id: i for i, c in enumerate(system.layout.corners, start=1)}
    found = {_part_of(drawing, fault) for fault in system.faults.values()}
    order = sorted(found, key=lambda p: (place[base_id(p)], corner.get(corner_of(p), 0)))
    return (*order, WHOLE)


def _part_of(drawing: Drawing, fault: Fault) -> str:
    return corner_part(drawing, fault.component, corner_of(fault.id))


def parts_of_check(system: System, drawing: Drawing, check: Check) -> tuple[str, ...]:
    """Return the parts that a check tells of; the whole vehicle if it tells of no part."""
    return _told(system, drawing, check, frozenset(part_ids(system, drawing)))


def _told(system: System, drawing: Drawing, check: Check, known: frozenset[str]) -> tuple[str, ...]:
    nodes = [node for row in check.rows for node in row.when]
    if check.measure is not None:
        nodes.append(check.measure.node)
    parts = dict.fromkeys(p for node in nodes for p in _shown(system, drawing, node, known))
    return tuple(p for p in parts if p in known) or (WHOLE,)


def _shown(system: System, drawing: Drawing, node: str, known: frozenset[str]) -> Iterator[str]:
    """Yield the parts that a node speaks of."""
    fault = system.faults.get(node)
    if fault is not None:
        yield _part_of(drawing, fault)
        return
    shows = drawing.shown.get(base_id(node))
    if shows is not None:
        for component in shows.parts:
            yield _at_corner(drawing, component, corner_of(node), known)


def _at_corner(drawing: Drawing, component: str, corner: str, known: frozenset[str]) -> str:
    here = corner_part(drawing, component, corner)
    return here if here in known else component


def parts_of(judged: Judged, drawing: Drawing) -> Mapping[str, Part]:
    """Return every part with what is known of it, by id."""
    system = judged.system
    ids = part_ids(system, drawing)
    beliefs: dict[str, list[Belief]] = {id_: [] for id_ in ids}
    for belief in judged.verdict.beliefs:  # most probable first
        beliefs[_part_of(drawing, system.faults[belief.fault])].append(belief)
    checks: dict[str, list[str]] = {id_: [] for id_ in ids}
    for check in system.checks.values():
        for id_ in _told(system, drawing, check, frozenset(ids)):
            checks[id_].append(check.id)
    measured = _measured(judged, drawing, frozenset(ids))
    corners = {corner.id: corner.name for corner in system.layout.corners}
    both = {base_id(id_) for id_ in ids if corner_of(id_)}

    def part(id_: str) -> Part:
        component, corner = base_id(id_), corner_of(id_)
        rule = drawing.by_component.get(component)
        apart = rule.vehicle if rule is not None and not corner and component in both else None
        label = apart.label if apart else drawing.labels.get(component, "The whole vehicle")
        return Part(
            id=id_, component=component, corner=corner, label=label,
            corner_name=corners.get(corner, ""), beliefs=tuple(beliefs[id_]),
            measured=tuple(measured.get(id_, ())), checks=tuple(checks[id_]),
            reach=_reach(judged, checks[id_]),
        )  # fmt: skip

    return {id_: part(id_) for id_ in ids}


def _measured(
    judged: Judged, drawing: Drawing, known: frozenset[str]
) -> Mapping[str, list[Measured]]:
    """Return what was measured, by part; of several numbers of one state the surest."""
    best: dict[str, Finding] = {}
    for finding in judged.verdict.findings:
        if finding.estimate is None:
            continue
        held = best.get(finding.target)
        if held is None or held.estimate is None or finding.estimate.std < held.estimate.std:
            best[finding.target] = finding
    found: dict[str, list[Measured]] = {}
    for node, finding in best.items():
        shows = drawing.shown.get(base_id(node))
        if shows is None:
            where, word, of = WHOLE, judged.system.nodes[node].name, ""
        else:
            where = _at_corner(drawing, shows.parts[0], corner_of(node), known)
            word, of = shows.word, shows.of
        assert finding.estimate is not None
        low, high = finding.estimate.interval()
        # A unit never stands on a line of its own.
        interval = "\u00a0".join(between(low, high, finding.estimate.unit).rsplit(" ", 1))
        found.setdefault(where, []).append(
            Measured(finding=finding.id, word=word, interval=interval, of=of)
        )
    return found


def _reach(judged: Judged, checks: Iterable[str]) -> Reach:
    system, held = judged.system, judged.job.access
    still = [system.checks[c] for c in checks if c not in judged.answered]
    if not still:
        return "none"
    ready = [c for c in still if not (w := way_to_check(system, c, held)).reach and not w.undo]
    if any(c.needs for c in ready):
        return "reached"
    return "free" if ready else "covered"
