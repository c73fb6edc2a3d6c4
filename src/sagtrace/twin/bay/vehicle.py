"""A vehicle in the bay: its hidden fault states, the plant with them put in, and what is true.

The fault states are given. What is true of a condition comes from the plant where the plant has
it, and from the knowledge's own causes where it has not (see `telling`). Where a fault is no change
of the plant, its contribution is drawn once, when the vehicle is made, and stands in (see
`stand_ins`). Everything drawn comes from the generator given, so a seed gives the same vehicle.
"""

from __future__ import annotations

from collections.abc import Callable, Container, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Protocol, TypeAlias

import numpy as np

from sagtrace.errors import UnknownIdError
from sagtrace.twin.bay.hidden import chances, contributed, draw_node, draw_value, worse
from sagtrace.twin.bay.runs import Runs
from sagtrace.twin.bay.stand_ins import stand_in
from sagtrace.twin.bay.telling import FOLLOWS, TOLD
from sagtrace.twin.faults import TimedFault
from sagtrace.twin.parameters import VehicleParameters
from sagtrace.twin.script import Event
from sagtrace.twin.simulate import State
from sagtrace.units import to_si
from sagtrace.vehicle.nodes import Node
from sagtrace.vehicle.system import System, base_id, corner_of

__all__ = ["bay_vehicle", "BayVehicle", "PartPutIn", "PutInPart"]

Generator: TypeAlias = np.random.Generator

MILD, COOL = 1.0, 7.0  # [K] chosen: how far the air cools in a night that is not cold


class PartPutIn(Protocol):
    """What one fault in one state is in the plant; all empty if it is nothing there."""

    @property
    def fault(self) -> TimedFault | None:
        """What changes in the plant."""

    @property
    def events(self) -> Sequence[Event]:
        """What holds or happens outside it, from the start of every run."""

    @property
    def initial(self) -> Callable[[State], State] | None:
        """What is different at the start of a run with the engine."""


class PutInPart(Protocol):
    """How a fault state gets into the plant; None if it can't."""

    def __call__(
        self, vehicle: VehicleParameters, fault: str, state: str, rng: Generator, /
    ) -> PartPutIn | None:
        """Return the part of the plant's faults that this state is."""


@dataclass(frozen=True, kw_only=True)
class BayVehicle:
    """A vehicle whose faults are hidden, ready for every check of its layout."""

    system: System
    parameters: VehicleParameters
    faults: tuple[TimedFault, ...]
    events: tuple[Event, ...] = ()
    initial: tuple[Callable[[State], State], ...] = ()
    states: Mapping[str, str]  # of every fault of the knowledge
    expressed: frozenset[str] = frozenset()  # the present faults that the plant has
    raised: Mapping[str, str] = field(default_factory=dict)  # condition -> state, beside the plant
    drawn: Mapping[str, str] = field(default_factory=dict)  # conditions settled at the making
    facts: Mapping[str, str] = field(default_factory=dict)  # read in its manual, as typed
    night_fall: float = 4.0  # [K] in an ordinary night
    seed: int = 0
    _true: dict[str, str] = field(default_factory=dict, init=False, repr=False, compare=False)

    @cached_property
    def runs(self) -> Runs:
        """The experiments on this vehicle."""
        return Runs(
            parameters=self.parameters,
            faults=self.faults,
            events=self.events,
            initial=self.initial,
            night_fall=self.night_fall,
            reservoir_shut=self.drawn.get("reservoir.path") == "closed",
            seed=self.seed,
        )

    def physics(self, node_id: str) -> str:
        """Return the state that the plant alone gives a node; healthy where it has none."""
        healthy = self.system.node(node_id).state_ids[0]
        if node_id in self.states:
            return self.states[node_id] if node_id in self.expressed else healthy
        node, corner = self.system.nodes[node_id], corner_of(node_id)
        if base_id(node_id) in FOLLOWS:
            states = {cause.parent: self.physics(cause.parent) for cause in node.causes}
            # All its shares are one or, for faults that the plant lacks, nought.
            return max(chances(node, states).items(), key=lambda item: item[1])[0]
        tell = TOLD.get(base_id(node_id))
        if tell is None:
            return healthy
        return self.runs.keep(("told", node_id), lambda: tell(self.runs, node, corner))

    def true(self, node_id: str) -> str:
        """Return the true state of a fault or condition."""
        if node_id in self.states:
            return self.states[node_id]
        if node_id in self.drawn:
            return self.drawn[node_id]
        if node_id not in self._true:
            self._true[node_id] = self._find(self.system.node(node_id))
        return self._true[node_id]

    def _find(self, node: Node) -> str:
        # Each node has a generator of its own, so that the order of asking changes nothing.
        rng = np.random.default_rng([self.seed, list(self.system.nodes).index(node.id)])
        if base_id(node.id) not in (*TOLD, *FOLLOWS):
            states = {cause.parent: self.true(cause.parent) for cause in node.causes}
            return draw_node(node, states, rng)
        state = worse(node, self.physics(node.id), self.raised.get(node.id, node.state_ids[0]))
        for cause in node.causes:
            # What faults do is in the plant or was settled at the making.
            if cause.parent not in self.states and self.is_beside(cause.parent):
                gives = cause.gives.get(self.true(cause.parent), {})
                state = worse(node, state, contributed(node, gives, rng))
        return state

    def is_beside(self, node_id: str) -> bool:
        """Return whether a node's true state is not that of the plant, so that no run shows it."""
        return self.true(node_id) != self.physics(node_id)


def bay_vehicle(
    system: System,
    parameters: VehicleParameters,
    hidden: Mapping[str, str],
    *,
    put_in: PutInPart,
    rng: Generator,
    facts: Mapping[str, str] | None = None,
) -> BayVehicle:
    """Return a vehicle with these fault states; a fault that is not named is absent.

    Raises UnknownIdError for a fault or a state that the layout lacks.
    """
    states = _complete(system, hidden)
    faults: list[TimedFault] = []
    events: list[Event] = []
    initial: list[Callable[[State], State]] = []
    expressed = set()
    for id_, state in _present(system, states).items():
        part = put_in(parameters, id_, state, rng)
        if part is None or not (part.fault or part.events or part.initial):
            continue
        expressed.add(id_)
        faults += [part.fault] if part.fault else []
        events += part.events
        initial += [part.initial] if part.initial else []
    raised = _contributions(system, states, expressed, rng)
    for id_, state in list(raised.items()):
        stood = _stood_in(parameters, system.nodes[id_], state, rng)
        if stood is not None:
            faults.append(stood)
            del raised[id_]
    drawn = _reservoir_path(system, states, rng)
    return BayVehicle(
        system=system,
        parameters=parameters,
        faults=tuple(faults),
        events=tuple(events),
        initial=tuple(initial),
        states=states,
        expressed=frozenset(expressed),
        raised=raised,
        drawn=drawn,
        facts=dict(facts or {}),
        night_fall=float(rng.uniform(MILD, COOL)),
        seed=int(rng.integers(2**31)),
    )


def _complete(system: System, hidden: Mapping[str, str]) -> dict[str, str]:
    for id_, state in hidden.items():
        if id_ not in system.faults:
            raise UnknownIdError("fault", id_, system.faults)
        if state not in system.faults[id_].state_ids:
            raise UnknownIdError(f"state of {id_},", state, system.faults[id_].state_ids)
    return {f.id: hidden.get(f.id, f.state_ids[0]) for f in system.faults.values()}


def _present(system: System, states: Mapping[str, str]) -> Mapping[str, str]:
    return {f: state for f, state in states.items() if state != system.faults[f].state_ids[0]}


def _contributions(
    system: System, states: Mapping[str, str], expressed: Container[str], rng: Generator
) -> dict[str, str]:
    """Return what the faults that the plant lacks make of the conditions that it has."""
    raised: dict[str, str] = {}
    apart = {f: state for f, state in _present(system, states).items() if f not in expressed}
    for node in system.nodes.values():
        if base_id(node.id) not in (*TOLD, *FOLLOWS):
            continue
        state = node.state_ids[0]
        for cause in node.causes:
            gives = cause.gives.get(apart.get(cause.parent, ""), {})
            if gives:
                state = worse(node, state, contributed(node, gives, rng))
        if state != node.state_ids[0]:
            raised[node.id] = state
    return raised


def _stood_in(
    parameters: VehicleParameters, node: Node, state: str, rng: Generator
) -> TimedFault | None:
    size = 0.0
    if node.quantity is not None:
        size = max(to_si(draw_value(node.quantity.states[state], rng), node.quantity.unit), 0.0)
    return stand_in(parameters, base_id(node.id), corner_of(node.id), state, size)


def _reservoir_path(system: System, states: Mapping[str, str], rng: Generator) -> Mapping[str, str]:
    """Return whether air passes the reservoir's valve, which the plant must know beforehand."""
    node = system.nodes.get("reservoir.path")
    return {node.id: draw_node(node, states, rng)} if node else {}
