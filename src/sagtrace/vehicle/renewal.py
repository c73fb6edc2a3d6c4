"""What the repairs of a job made new, and what is still as it was.

Time runs in steps, one a work. What was found before a work speaks of the vehicle as it was then,
so whatever the work changed exists twice: as it was, and as it is. What it did not change exists
once, and all that was ever learned of it still counts.

A work changes the faults that it fixes, those that it may leave if it is done badly, and every
condition that follows from them. What it does not change: other faults, the damage that they
have already suffered, and conditions that tell of weeks gone by.

A renewed part has its own chance of being at fault (`_bad_work`, `_left`), whatever was found of
the old one. Limits: a renewed part suffers no new damage before the next work, but for what does
it at once (a seized pump and its new fuse); a condition that no fault explains is drawn anew.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cached_property
from math import prod
from types import MappingProxyType

from sagtrace.vehicle.checks import Check
from sagtrace.vehicle.nodes import Cause, Condition, Fault, Node
from sagtrace.vehicle.repairs import Repair
from sagtrace.vehicle.system import System

__all__ = ["looks_at", "Renewal"]

_BAD_WORK = 0.05  # chosen: what renews everything holds 0.94 to 0.97; the rest wears out later
_NEW_PART = 0.2  # chosen: share of bad work that is a faulty new part and not how it was fitted


def looks_at(check: Check) -> tuple[str, ...]:
    """Return the faults and conditions that a check looks at."""
    if check.measure is not None:
        return (check.measure.node,)
    return tuple(dict.fromkeys(node for row in check.rows for node in row.when))


class Renewal:
    """Which version of each fault, condition and check a moment of the job speaks of.

    A moment is the number of works done before it. What holds now has its plain id, so a job
    without works has no other; an older version is called after the work that ended it.
    """

    def __init__(self, system: System, works: Sequence[Sequence[str]] = ()) -> None:
        self.system = system
        self.works = tuple(tuple(system.repair(r) for r in work) for work in works)
        self.changed = tuple(_changed(system, work) for work in self.works)

    def at(self, node: str, time: int) -> str:
        """Return the name of the fault or condition as it was after `time` works."""
        ended = next((k for k in range(time, len(self.works)) if node in self.changed[k]), None)
        return node if ended is None else _before(ended, node)

    def of_check(self, check: str, time: int) -> str:
        """Return the name of the check as it was done after `time` works.

        Two that have the same name asked the same of the same things.
        """
        asked = self._parents[check]
        return next(
            (
                _before(k, check)
                for k in range(time, len(self.works))
                if not asked.isdisjoint(self.changed[k])
            ),
            check,
        )

    def past_checks(self) -> Iterator[tuple[str, str, int]]:
        """Yield name, check and a moment of every version of a check that is over."""
        for check in self.system.checks:
            for k, changed in enumerate(self.changed):
                if not self._parents[check].isdisjoint(changed):
                    yield _before(k, check), check, k

    @cached_property
    def _parents(self) -> Mapping[str, frozenset[str]]:
        return {c.id: frozenset(looks_at(c)) for c in self.system.checks.values()}

    @cached_property
    def nodes(self) -> Mapping[str, Node]:
        """Every version of every fault and condition, parents before children."""
        if not self.works:
            return self.system.nodes
        result: dict[str, Node] = {}
        for time in range(len(self.works) + 1):
            for node in self.system.nodes.values():
                if not time or node.id in self.changed[time - 1]:
                    fresh = time and isinstance(node, Fault)
                    made = self._renewed(node, time) if fresh else self._as_ever(node, time)
                    result[made.id] = made
        return MappingProxyType(result)

    def _as_ever(self, node: Node, time: int) -> Node:
        causes = tuple(replace(c, parent=self.at(c.parent, time)) for c in node.causes)
        return replace(node, id=self.at(node.id, time), causes=causes)

    def _renewed(self, node: Node, time: int) -> Node:
        """Return a fault after the work that fixed it, or that may have brought it."""
        work = self.works[time - 1]
        left = _left(work, node.id)
        old = Cause(
            parent=self.at(node.id, time - 1),
            gives={state: {state: left} for state in node.state_ids[1:]},
            basis=node.basis,
        )
        at_once = (replace(c, parent=self.at(c.parent, time)) for c in node.causes if c.at_once)
        return replace(
            node,
            id=self.at(node.id, time),
            background=_spread(node, _bad_work(work, node.id)),
            causes=(*((old,) if left else ()), *at_once),
        )


def _before(work: int, name: str) -> str:
    return f"before work {work + 1}: {name}"


def _changed(system: System, work: Sequence[Repair]) -> frozenset[str]:
    """Return the faults that a work touches and the conditions that follow from them."""
    changed = {fault for repair in work for fault in (*repair.fixes, *repair.spoils)}
    for node in system.nodes.values():
        follows = any(cause.parent in changed for cause in node.causes)
        if follows and isinstance(node, Condition) and not node.lasting:
            changed.add(node.id)
    return frozenset(changed)


def _bad_work(work: Sequence[Repair], fault: str) -> float:
    """Return the chance that the work itself leaves this fault.

    A repair that does not hold was done badly or with a bad part. How often is known of the
    repair as a whole, so its faults share it: most goes to those that bad work leaves.
    """
    sound = []
    for repair in work:
        risk = min(1.0 - repair.holds, _BAD_WORK)
        spoils = repair.spoils or repair.fixes
        share = _NEW_PART * (fault in repair.fixes) / len(repair.fixes)
        share += (1.0 - _NEW_PART) * (fault in spoils) / len(spoils)
        sound.append(1.0 - risk * share)
    return 1.0 - prod(sound)


def _left(work: Sequence[Repair], fault: str) -> float:
    """Return the chance that this fault, if it was there, is still there.

    What is renewed altogether takes its fault along; some work mends a part of what may be at
    fault, the wire and not the coil behind it.
    """
    return prod(1.0 - repair.cures for repair in work if fault in repair.fixes)


def _spread(node: Node, chance: float) -> Mapping[str, float]:
    """Return the chance spread over the states as they usually come."""
    usual = {s: node.background.get(s, 0.0) for s in node.state_ids[1:]}
    total = sum(usual.values())
    return {s: chance * (p / total if total else 1.0 / len(usual)) for s, p in usual.items()}
