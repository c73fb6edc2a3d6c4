"""What happens to the virtual vehicle, as a list of events, and the stretches between them.

Inputs are straight lines within a stretch: the ambient temperature and loads go from one value to
the next in a given time, everything else switches.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from sagtrace.errors import DomainError, UnknownIdError
from sagtrace.physics.constants import G_N
from sagtrace.twin import _slots as s
from sagtrace.twin.faults import TimedFault
from sagtrace.twin.parameters import VehicleParameters

__all__ = [
    "Ambient",
    "Door",
    "Engine",
    "Event",
    "Lift",
    "Load",
    "Mode",
    "Script",
    "stretches",
]

Array = NDArray[np.float64]

HANGING = 300.0  # [N] chosen: a free wheel pulls its spring this much
SETTLE = 1.0  # [s] chosen: the shortest time in which a load comes on


@dataclass(frozen=True, slots=True, kw_only=True)
class Ambient:
    """The air outside goes to a temperature in a straight line."""

    at: float  # [s]
    to: float  # [K]
    over: float = 0.0  # [s]


@dataclass(frozen=True, slots=True, kw_only=True)
class Engine:
    """The engine starts or stops."""

    at: float  # [s]
    on: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Load:
    """The extra load at each wheel becomes this; a corner that is not named keeps its own."""

    at: float  # [s]
    kilograms: Mapping[str, float]
    over: float = 5.0  # [s]


@dataclass(frozen=True, slots=True, kw_only=True)
class Door:
    """A door is opened or closed."""

    at: float  # [s]
    open: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Lift:
    """The body is lifted until the wheels hang, or let down."""

    at: float  # [s]
    up: bool
    over: float = 20.0  # [s]


@dataclass(frozen=True, slots=True, kw_only=True)
class Mode:
    """A lifting, towing or transport mode is switched on or off."""

    at: float  # [s]
    on: bool


Event: TypeAlias = Ambient | Engine | Load | Door | Lift | Mode


@dataclass(frozen=True, slots=True, kw_only=True)
class Script:
    """A run: how long, how it starts, and what happens."""

    duration: float  # [s]
    ambient: float = 293.15  # [K] at the start
    engine: bool = False  # at the start
    events: Sequence[Event] = field(default=())

    def __post_init__(self) -> None:
        if not self.duration > 0.0:
            raise DomainError("duration", self.duration, "s", "above zero")
        if not self.ambient > 0.0:
            raise DomainError("ambient", self.ambient, "K", "above zero", "Celsius? Add 273.15.")
        for event in self.events:
            if not event.at >= 0.0:
                raise DomainError("event.at", event.at, "s", "zero or above")


class _Ramp:
    """A value that goes in straight lines."""

    def __init__(self, start: float) -> None:
        self.points = [(0.0, start)]

    def at(self, t: float) -> float:
        times, values = zip(*self.points, strict=True)
        return float(np.interp(t, times, values))

    def go(self, at: float, to: float, over: float) -> None:
        now = self.at(at)
        self.points = [p for p in self.points if p[0] < at]
        self.points += [(at, now), (at + over, to)]

    def slope(self, start: float, end: float) -> float:
        return (self.at(end) - self.at(start)) / (end - start)


def stretches(
    vehicle: VehicleParameters, script: Script, faults: Sequence[TimedFault], start: float
) -> tuple[Array, Array]:
    """Return the times between stretches and the inputs of each."""
    n = len(vehicle.springs)
    air = _Ramp(script.ambient)
    loads = [_Ramp(0.0) for _ in range(n)]
    extra = [0.0] * n
    lifted = False
    switches: list[tuple[float, int, bool]] = [(0.0, s.U_ENGINE, script.engine)]
    for event in sorted(script.events, key=lambda e: e.at):
        match event:
            case Ambient(at=at, to=to, over=over):
                air.go(at, to, max(over, SETTLE))
            case Engine(at=at, on=on):
                switches.append((at, s.U_ENGINE, on))
            case Door(at=at, open=on):
                switches.append((at, s.U_DOOR, on))
            case Mode(at=at, on=on):
                switches.append((at, s.U_MODE, on))
            case Lift(at=at, up=up, over=over):
                switches.append((at, s.U_LIFT, up))
                lifted = up
                for i in range(n):
                    to = -vehicle.springs[i].load - HANGING if up else extra[i]
                    loads[i].go(at, to, max(over, SETTLE))
            case Load(at=at, kilograms=kilograms, over=over):
                for corner, mass in kilograms.items():
                    if corner not in vehicle.corners:
                        raise UnknownIdError("corner", corner, vehicle.corners)
                    i = vehicle.corners.index(corner)
                    extra[i] = mass * G_N / vehicle.lever
                    if not lifted:
                        loads[i].go(at, extra[i], max(over, SETTLE))
    marks = {0.0, script.duration}
    marks |= {t for ramp in (air, *loads) for t, _ in ramp.points}
    marks |= {t for t, _, _ in switches} | {fault.onset for fault in faults}
    times = [t for t in sorted(marks) if t <= script.duration]
    rows = [_row(a, b, air, loads, switches, start) for a, b in pairwise(times)]
    return np.array(times) + start, np.array(rows)


def _row(
    a: float, b: float, air: _Ramp, loads: list[_Ramp], switches: list[tuple[float, int, bool]],
    start: float,
) -> Array:  # fmt: skip
    row = np.zeros(s.N_INPUT)
    row[[s.U_START, s.U_AMBIENT, s.U_SLOPE]] = a + start, air.at(a), air.slope(a, b)
    for i, ramp in enumerate(loads):
        row[[s.U_LOAD + i, s.U_RAMP + i]] = ramp.at(a), ramp.slope(a, b)
    for t, slot, on in switches:
        if t <= a:
            row[slot] = float(on)
    return row
