"""Which air-spring system a vehicle has, and what is assumed of it until the manual is read."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

__all__ = ["Component", "Corner", "Fact", "Layout", "Source"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """Where a number comes from. Every record of the knowledge names one by id in `basis`."""

    id: str
    kind: Literal["published", "common_practice", "from_memory", "chosen", "physics"]
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Corner:
    """One air spring's place on the vehicle."""

    id: str
    name: str
    axle: Literal["front", "rear"] = "rear"


@dataclass(frozen=True, slots=True, kw_only=True)
class Fact:
    """A number about the vehicle with a wide prior, replaced by the workshop manual's value."""

    id: str
    name: str
    kind: str  # a quantity kind of units.KINDS
    unit: str
    value: float
    std: float
    basis: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Component:
    """A part of the system that faults belong to."""

    id: str
    name: str
    group: Literal["air", "electric", "sense", "control", "use"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """One kind of system: its corners, features and assumed facts."""

    id: str
    name: str
    description: str
    corners: tuple[Corner, ...]
    features: tuple[str, ...] = ()
    facts: tuple[Fact, ...]
    basis: str
