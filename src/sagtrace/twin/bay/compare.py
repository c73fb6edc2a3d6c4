"""The knowledge beside the plant: how often checks and conditions come out, over many vehicles.

For the calibration of the knowledge. A row of a check says how often each outcome is seen while
nodes are in some states; a condition's causes say how its state follows from theirs. Both are
counted here on vehicles, and a difference means that one of the two is wrong.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np

from sagtrace.errors import InputError
from sagtrace.twin.bay.hidden import chances
from sagtrace.twin.bay.instruments import USUAL, Person
from sagtrace.twin.bay.perform import perform
from sagtrace.twin.bay.vehicle import BayVehicle

__all__ = ["compare_condition", "compare_with_knowledge", "Compared"]

Generator: TypeAlias = np.random.Generator
Causes: TypeAlias = tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """One case of a check or condition: what the knowledge says, and what came out."""

    when: Causes  # nodes and their states; empty: nothing is wrong that it looks at
    vehicles: int
    says: Mapping[str, float]
    came: Mapping[str, float]  # shares of the vehicles
    shown: Mapping[str, float]  # what a perfect observer would answer; shares, where it is told

    @property
    def apart(self) -> float:
        """How far the two lie apart: half the sum of the differences, 0 to 1."""
        return 0.5 * sum(abs(self.came.get(k, 0.0) - p) for k, p in self.says.items())


def compare_with_knowledge(
    vehicles: Iterable[BayVehicle], check_id: str, rng: Generator, *, person: Person = USUAL
) -> tuple[Compared, ...]:
    """Return for each row of a check how often its outcomes came, the row's own shares beside.

    Raises InputError for a check that asks for numbers.
    """
    came: dict[int, Counter[str]] = defaultdict(Counter)
    shown: dict[int, Counter[str]] = defaultdict(Counter)
    check = None
    for vehicle in vehicles:
        check = vehicle.system.check(check_id)
        if check.measure is not None:
            raise InputError(f"{check_id} asks for numbers and has no rows to compare with.")
        answer = perform(vehicle, check_id, rng, person=person)
        came[answer.row][answer.outcome] += 1
        if answer.shown:
            shown[answer.row][answer.shown] += 1
    if check is None:
        return ()
    return tuple(
        Compared(
            when=tuple((node, _one(state)) for node, state in check.rows[at].when.items()),
            vehicles=came[at].total(),
            says=check.rows[at].shows,
            came=_shares(came[at]),
            shown=_shares(shown[at]),
        )
        for at in sorted(came)
    )


def compare_condition(vehicles: Iterable[BayVehicle], node_id: str) -> tuple[Compared, ...]:
    """Return for each set of its causes how often the plant has each state of a condition.

    The states of the causes are the true ones, so each condition is judged by itself.
    """
    came: dict[Causes, Counter[str]] = defaultdict(Counter)
    says: dict[Causes, Mapping[str, float]] = {}
    for vehicle in vehicles:
        node = vehicle.system.node(node_id)
        states = {cause.parent: vehicle.true(cause.parent) for cause in node.causes}
        when = tuple(
            (parent, state)
            for parent, state in states.items()
            if state != vehicle.system.nodes[parent].state_ids[0]
        )
        came[when][vehicle.true(node_id)] += 1
        says[when] = chances(node, states)
    return tuple(
        Compared(when=when, vehicles=count.total(), says=says[when], came=_shares(count), shown={})
        for when, count in came.items()
    )


def _one(state: str | tuple[str, ...]) -> str:
    return state if isinstance(state, str) else " or ".join(state)


def _shares(count: Counter[str]) -> Mapping[str, float]:
    return {name: n / count.total() for name, n in count.items()}
