"""Faults and conditions as the knowledge files write them: ordered states and their causes.

A fault is one way in which a part fails (or a reason that needs no part); a condition is a
physical state that a technician can name. Both are nodes of one causal graph and have the
same shape: states ordered from healthy to worst, a background probability, and causes. The
worst contribution wins (noisy-max), so a node with ten causes needs ten short lines and no
table of a thousand rows.

Limits: causes act independently of each other given the states of the parents.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

__all__ = [
    "Axle",
    "Beside",
    "Cause",
    "Condition",
    "Fault",
    "Node",
    "Per",
    "Quantity",
    "Spread",
    "State",
]

Per = Literal["vehicle", "corner"]
Axle = Literal["", "front", "rear"]  # empty: the whole vehicle
Beside = Literal["", "axle", "side"]  # the other corner of its axle, or of its side; empty: itself


@dataclass(frozen=True, slots=True, kw_only=True)
class State:
    """One state of a node, with the sentence that a technician reads."""

    id: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """How a physical quantity is distributed while its node is in one state.

    `lognormal`: `centre` is the median and `width` the factor of one standard deviation.
    `normal`: `centre` is the mean and `width` the standard deviation, in the quantity's unit.
    """

    shape: Literal["lognormal", "normal"]
    centre: float
    width: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Quantity:
    """The number that shows the state of a node: its unit and its spread in every state."""

    name: str
    unit: str
    states: Mapping[str, Spread]
    basis: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Cause:
    """One arc into a node: what a state of the parent contributes to the child.

    `gives[parent state][child state]` is a probability; what is left over contributes the
    healthy state, and so does every parent state that is not listed.
    """

    parent: str
    gives: Mapping[str, Mapping[str, float]]
    basis: str
    story: str = ""  # how the parent damages the child, for the causal story; empty if not a story
    only_with: str = ""  # a layout feature without which the parent contributes nothing
    at_once: bool = False  # it does so to a renewed part as soon as that is put to work
    beside: Beside = ""  # of a corner: the parent is that of its neighbour


@dataclass(frozen=True, slots=True, kw_only=True)
class Node:
    """What faults and conditions have in common."""

    id: str
    name: str
    per: Per = "vehicle"
    states: tuple[State, ...]
    background: Mapping[str, float] = field(default_factory=dict)
    basis: str
    causes: tuple[Cause, ...] = ()
    quantity: Quantity | None = None
    only_with: str = ""  # a layout feature without which the node does not exist
    axle: Axle = ""  # speaks of this axle's corners alone; without any it does not exist

    @property
    def state_ids(self) -> tuple[str, ...]:
        """Ids of the states, healthy first."""
        return tuple(state.id for state in self.states)


@dataclass(frozen=True, slots=True, kw_only=True)
class Condition(Node):
    """A physical state that a technician can name.

    A `lasting` one tells what happened over weeks: no repair makes it undone.
    """

    lasting: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault(Node):
    """One way in which a part fails, or a reason that needs no part.

    `returns` is the chance that the vehicle comes back within the tariff's period if this
    fault is present and left alone.
    """

    component: str
    kind: Literal["part", "no-part", "other"] = "part"
    plain: str  # for the customer, in plain words
    returns: float
