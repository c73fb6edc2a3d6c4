"""A vehicle that is run through scripts: its faults, what holds around it, and runs kept once made.

Hidden fault states hold while the vehicle is in the bay, so a fuse that is whole stays whole,
whatever the pump draws.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TypeVar

from sagtrace.physics.constants import P_ATM, R_AIR, T_20C
from sagtrace.twin.bay.bench import Bench, paused
from sagtrace.twin.bay.rigs import DAY, drained, filled, without_kick
from sagtrace.twin.faults import TimedFault
from sagtrace.twin.parameters import VehicleParameters
from sagtrace.twin.script import Ambient, Door, Event, Lift, Load, Mode, Script
from sagtrace.twin.simulate import Simulation, State, initial_state, simulate

__all__ = ["Runner"]

T = TypeVar("T")

COOLING = 8 * 3600.0  # [s] chosen: the time in which the air cools down
SHUT = 1e-15  # [m^3/(s Pa)] a reservoir valve that lets nothing through
# [kg] that a spring has lost to which no air comes: nobody brings the vehicle in on the first day.
# Chosen: three weeks of the 0.12 mL/min that the knowledge's tight spring loses.
UNFILLED = 21 * 24 * 60 * 0.12e-6 * P_ATM / (R_AIR * T_20C)
NEVER_OPENS = 20.0  # [-] chosen: how much larger the fuse is then


@dataclass(kw_only=True)
class Runner:
    """A vehicle to run, and the runs that are kept."""

    parameters: VehicleParameters
    faults: tuple[TimedFault, ...] = ()
    events: tuple[Event, ...] = ()
    initial: Sequence[Callable[[State], State]] = ()
    night_fall: float = 4.0  # [K]
    reservoir_shut: bool = False  # no air passes the reservoir's valve
    fuse_holds: bool = True  # whatever the pump draws
    seed: int = 0
    _kept: dict[object, object] = field(default_factory=dict, init=False, repr=False)

    def keep(self, key: object, make: Callable[[], T]) -> T:
        """Return what this key stands for, made at the first call."""
        if key not in self._kept:
            self._kept[key] = make()
        return self._kept[key]  # type: ignore[return-value]

    @property
    def bench(self) -> Bench:
        """The vehicle as numbers."""
        return self.keep("bench", lambda: Bench(parameters=self.parameters, faults=self.faults))

    @property
    def plant(self) -> VehicleParameters:
        """The vehicle as it runs here."""
        return self.keep("plant", self._plant)

    def _plant(self) -> VehicleParameters:
        built, store = self.parameters, self.parameters.reservoir
        if store is not None and self.reservoir_shut:
            built = replace(built, reservoir=replace(store, valve_conductance=SHUT))
        if self.fuse_holds:
            rating = NEVER_OPENS * built.electrics.fuse_rating
            built = replace(built, electrics=replace(built.electrics, fuse_rating=rating))
        return built

    def _standing(self) -> tuple[Event, ...]:
        return tuple(e for e in self.events if isinstance(e, Load))

    def _parked(self) -> tuple[Event, ...]:
        night = tuple(e for e in self.events if isinstance(e, Ambient))
        usual = Ambient(at=0.0, to=DAY - self.night_fall, over=COOLING)
        return (*self._standing(), *(night or (usual,)))

    def _moving(self) -> tuple[Event, ...]:
        return tuple(e for e in self.events if isinstance(e, Load | Door | Mode | Lift))

    def _burden(self, kilograms: float) -> Mapping[str, float]:
        """Return the load at each wheel with this much on top of what is there already."""
        there = dict.fromkeys(self.parameters.corners, 0.0)
        for event in self._standing():
            if isinstance(event, Load):
                there |= event.kilograms
        return {corner: mass + kilograms for corner, mass in there.items()}

    def _run(
        self, script: Script, rate: float, *, start: State | None = None,
        parameters: VehicleParameters | None = None, faults: Sequence[TimedFault] | None = None,
    ) -> Simulation:  # fmt: skip
        put_in = tuple(self.faults if faults is None else faults)
        if start is not None and start.time > 0.0:
            put_in = tuple(map(without_kick, put_in))
        vehicle = parameters or self.plant
        return simulate(vehicle, script, faults=put_in, seed=self.seed, rate=rate, start=start)

    @property
    def used_up(self) -> float:
        """Pressure of a reservoir that has lifted all it can [Pa]."""
        return self.bench.highest + 0.9 * self.parameters.control.margin

    def _at_rest(self, reservoir: float | None) -> State:
        state = initial_state(self.parameters, Script(duration=1.0, ambient=DAY))
        for i, corner in enumerate(self.parameters.corners):
            if not self.bench.opens(corner):
                state = drained(state, i, UNFILLED)
        if reservoir is not None and self.parameters.reservoir is not None:
            state = filled(state, -1, reservoir, self.parameters.reservoir.volume)
        return state

    def level(self, reservoir: float | None = None) -> State:
        """Return the vehicle level at rest, what holds the pump off included.

        `reservoir` is its pressure [Pa], the usual one if left out.
        """
        state = self._at_rest(reservoir)
        for change in self.initial:
            state = change(state)
        return state

    @property
    def pausing(self) -> bool:
        """Whether the control unit holds the pump off now."""
        return paused(self.level())
