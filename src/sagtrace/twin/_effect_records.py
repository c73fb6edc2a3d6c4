"""The records that say what each fault does to the virtual vehicle, as the data writes them.

A size is that of a quantity of the knowledge (`like` a node in a `state`), so that a leak, a joint
or a pump has one truth, or it is stated with its own spread.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Literal

from sagtrace.errors import InputError, UnknownIdError
from sagtrace.twin.measures import in_si
from sagtrace.vehicle.knowledge import Knowledge
from sagtrace.vehicle.layouts import Layout
from sagtrace.vehicle.nodes import Fault, Node, Spread
from sagtrace.vehicle.system import applies, base_id

__all__ = ["Effect", "Effects", "Outcome", "Size"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Size:
    """How much: like a quantity of the knowledge in a state, or stated with unit and spread."""

    like: str = ""  # fault or condition that has a quantity
    state: str = ""
    value: float | None = None  # typical
    unit: str = ""
    shape: Literal["", "lognormal", "normal"] = ""  # empty: the same whatever the size
    width: float = 0.0  # as in `vehicle.nodes.Spread`
    basis: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What one state of a fault changes. The first size that has a spread is the one drawn."""

    sets: Mapping[str, Size] = field(default_factory=dict)
    switches: tuple[str, ...] = ()
    code: str = ""  # class of a code that stands in the memory at the start
    not_expressible: str = ""  # the reason


@dataclass(frozen=True, slots=True, kw_only=True)
class Effect:
    """What one fault of the knowledge changes in each of its states."""

    fault: str
    only_with: str = ""  # a layout feature without which another record of the fault holds
    states: Mapping[str, Outcome]


@dataclass(frozen=True, kw_only=True)
class Effects:
    """The effects of all faults, with the knowledge that they refer to."""

    records: tuple[Effect, ...]
    knowledge: Knowledge

    @cached_property
    def nodes(self) -> Mapping[str, Node]:
        """Faults and conditions by id, corners not written out."""
        return {node.id: node for node in self.knowledge.nodes()}

    @cached_property
    def layouts(self) -> Mapping[str, Layout]:
        """Layouts by id."""
        return {layout.id: layout for layout in self.knowledge.layouts}

    def faults(self, layout_id: str) -> Mapping[str, Fault]:
        """Return the faults of a layout by full id, every corner written out."""
        if layout_id not in self.layouts:
            raise UnknownIdError("layout", layout_id, self.layouts)
        layout = self.layouts[layout_id]
        return dict(_full(self.knowledge, layout))

    def outcomes(self, fault: str, state: str) -> tuple[tuple[str, Outcome], ...]:
        """Return what the records say, each with the feature that it asks for."""
        node = self.nodes.get(base_id(fault))
        if not isinstance(node, Fault):
            raise UnknownIdError("fault", fault, [f.id for f in self.knowledge.faults])
        if state not in node.state_ids[1:]:
            raise UnknownIdError(f"unhealthy state of {node.id},", state, node.state_ids[1:])
        return tuple(
            (record.only_with, record.states[state])
            for record in self.records
            if record.fault == node.id and state in record.states
        )

    def typical(self, size: Size, si: str, times: float) -> float:
        """Return a size in SI, so many times the typical one.

        Of a lognormal spread the quantity itself is multiplied, of a normal one its distance from
        the healthy state; what has no spread stays as it is.
        """
        spread, healthy, unit = self.spread(size)
        if spread.width == 0.0:
            return in_si(spread.centre, unit, si)
        if spread.shape == "lognormal":
            return in_si(times * spread.centre, unit, si)
        return in_si(healthy + times * (spread.centre - healthy), unit, si)

    def spread(self, size: Size) -> tuple[Spread, float, str]:
        """Return the spread of a size, the healthy state's centre and the unit of both."""
        if not size.like:
            shape = size.shape or "normal"
            centre = 0.0 if size.value is None else size.value
            return Spread(shape=shape, centre=centre, width=size.width), 0.0, size.unit
        node = self.nodes[size.like]
        if node.quantity is None:
            raise InputError(f"{node.id} has no quantity.")
        states = node.quantity.states
        return states[size.state], states[node.state_ids[0]].centre, node.quantity.unit


def _full(knowledge: Knowledge, layout: Layout) -> Iterator[tuple[str, Fault]]:
    for fault in knowledge.faults:
        if not applies(fault, layout):
            continue
        if fault.per == "vehicle":
            yield fault.id, fault
            continue
        for corner in layout.corners:
            if fault.axle in ("", corner.axle):
                yield f"{fault.id}@{corner.id}", fault
