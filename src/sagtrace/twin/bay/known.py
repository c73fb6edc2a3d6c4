"""The knowledge's own effects as the way in which faults get into a vehicle in the bay."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np

from sagtrace.twin.bay.vehicle import PartPutIn, PutInPart
from sagtrace.twin.effects import (
    Effects,
    Initial,
    draw_size,
    expressible,
    head_place,
    put_in,
    started,
)
from sagtrace.twin.faults import TimedFault
from sagtrace.twin.parameters import VehicleParameters
from sagtrace.twin.script import Event
from sagtrace.twin.simulate import State

__all__ = ["from_effects"]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Part:
    fault: TimedFault | None
    events: tuple[Event, ...]
    initial: Callable[[State], State] | None


def from_effects(effects: Effects, *, typical: bool = False) -> PutInPart:
    """Return a way to put faults in; their sizes are drawn unless they shall be `typical`."""

    def put(
        vehicle: VehicleParameters, fault: str, state: str, rng: np.random.Generator, /
    ) -> PartPutIn | None:
        if expressible(effects, fault, state):
            return None
        size = 1.0 if typical else draw_size(effects, fault, state, rng)
        part = put_in(effects, vehicle, fault, state, size=size)
        begins = None if part.initial is None else partial(_begun, vehicle, part.initial)
        return _Part(fault=part.fault, events=part.events, initial=begins)

    return put


def _begun(vehicle: VehicleParameters, initial: Initial, state: State) -> State:
    # A rested pump is as warm as the air.
    return started(vehicle, initial, state, float(state.values[head_place(vehicle)]))
