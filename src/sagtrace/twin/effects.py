"""What each fault of the knowledge does to the virtual vehicle, put into it.

The records come from the knowledge's folder `virtual`. `size` times the typical one: of a lognormal
spread the quantity itself grows with it, of a normal one its distance from the healthy state.
What a number of the records means is told in `_effect_laws`; two faults at once add up.
Limits: what a fault changes at the start of a run (a hot pump, a stored code) has no later onset.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from sagtrace.errors import DomainError, InputError, UnknownIdError
from sagtrace.twin._effect_laws import NUMBERS, happenings, to_change
from sagtrace.twin._effect_records import Effect, Effects, Outcome, Size
from sagtrace.twin._merge import merged
from sagtrace.twin.codes import CODE_CLASSES
from sagtrace.twin.controller import M_BUDGET, M_CREDIT, M_HOT, M_STATUS
from sagtrace.twin.faults import FaultParameters, TimedFault
from sagtrace.twin.parameters import VehicleParameters
from sagtrace.twin.script import Event, Script
from sagtrace.twin.simulate import State, initial_state
from sagtrace.vehicle.nodes import Spread
from sagtrace.vehicle.system import base_id, corner_of

__all__ = [
    "begin",
    "draw_size",
    "Effect",
    "Effects",
    "expressible",
    "head_place",
    "Initial",
    "Outcome",
    "put_in",
    "PutIn",
    "Size",
    "started",
    "together",
]

# ISO 14229-1, status byte: confirmed, failed since last cleared; not yet tested in this cycle.
STORED = 0x08 | 0x20 | 0x40


@dataclass(frozen=True, slots=True, kw_only=True)
class Initial:
    """What is different at the start of a run."""

    head: float | None = None  # [K] how much warmer than the air the pump's head is
    credit: float | None = None  # [s] run budget that is left
    code: str = ""  # class of a code that stands in the memory, from a past that is over


@dataclass(frozen=True, slots=True, kw_only=True)
class PutIn:
    """A fault put into a vehicle: what it changes, what happens, how the run starts."""

    fault: TimedFault | None = None
    events: tuple[Event, ...] = ()  # temperatures are told for air of 20 °C
    initial: Initial | None = None


def expressible(effects: Effects, fault: str, state: str) -> str:
    """Return why the virtual vehicle can't show this state of a fault; empty if it can."""
    said = [outcome.not_expressible for _, outcome in effects.outcomes(fault, state)]
    return "" if "" in said else " ".join(said)


def draw_size(effects: Effects, fault: str, state: str, rng: np.random.Generator) -> float:
    """Return a size from the spread of the state, one being typical; one if it has no spread."""
    for _, outcome in effects.outcomes(fault, state)[:1]:
        for size in outcome.sets.values():
            spread, healthy, _ = effects.spread(size)
            if spread.width > 0.0:
                return _drawn(spread, healthy, float(rng.standard_normal()))
    return 1.0


def _drawn(spread: Spread, healthy: float, normal: float) -> float:
    if spread.shape == "lognormal":
        return math.exp(normal * math.log(spread.width))
    away = spread.centre - healthy
    return max((away + normal * spread.width) / away, 0.0)


def put_in(
    effects: Effects,
    vehicle: VehicleParameters,
    fault: str,
    state: str,
    *,
    size: float = 1.0,
    onset: float = 0.0,
) -> PutIn:
    """Return a fault in one of its unhealthy states as what it changes on this vehicle.

    `fault` is the full id, with its corner where it has one; `onset` in s. A size of zero changes
    nothing.

    Raises
    ------
    UnknownIdError
        The vehicle's layout has no such fault, or the fault no such state.
    InputError
        The virtual vehicle can't show it (see `expressible`), or `size` or `onset` is none.

    """
    if not 0.0 <= size < math.inf:
        raise DomainError("size", size, "", "zero or above, and finite")
    outcome = _outcome(effects, vehicle, fault, state)
    if size == 0.0:
        return PutIn()
    sizes = outcome.sets.items()
    amounts = {name: effects.typical(given, NUMBERS[name], size) for name, given in sizes}
    initial = Initial(
        head=amounts.get("start.head"), credit=amounts.get("start.credit"), code=outcome.code
    )
    starts = initial != Initial()
    if starts and onset > 0.0:
        raise DomainError("onset", onset, "s", "zero", f"{fault} is there at the start or not.")
    change = to_change(vehicle, amounts, outcome.switches, corner_of(fault))
    changed = change != FaultParameters()
    return PutIn(
        fault=TimedFault(name=fault, change=change, onset=onset) if changed else None,
        events=tuple(happenings(vehicle, amounts, outcome.switches, onset)),
        initial=initial if starts else None,
    )


def _outcome(effects: Effects, vehicle: VehicleParameters, fault: str, state: str) -> Outcome:
    known = effects.faults(vehicle.layout)
    if fault not in known:
        corners = [name for name in known if base_id(name) == fault]
        hint = f"Say which corner: {', '.join(corners)}." if corners else ""
        raise UnknownIdError("fault", fault, known, hint)
    features = ("", *effects.layouts[vehicle.layout].features)
    outcome = next(o for need, o in effects.outcomes(fault, state) if need in features)
    if outcome.not_expressible:
        raise InputError(f"{fault}, {state}: {outcome.not_expressible}")
    return outcome


def together(parts: Iterable[PutIn], script: Script) -> tuple[tuple[TimedFault, ...], Script]:
    """Return the faults of all parts, and the script with the events of all parts.

    Loads and falls of temperature add up; what a part holds (a door, a mode) the script no longer
    lets go. The start of the run is told by `begin`.
    """
    all_parts = tuple(parts)
    added = [event for part in all_parts for event in part.events]
    faults = tuple(part.fault for part in all_parts if part.fault is not None)
    return faults, replace(script, events=merged(script, added)) if added else script


def begin(vehicle: VehicleParameters, script: Script, parts: Iterable[PutIn]) -> State:
    """Return the state in which a run with these parts starts; of two hot pumps the hotter one."""
    state = initial_state(vehicle, script)
    for initial in (part.initial for part in parts if part.initial is not None):
        state = started(vehicle, initial, state, script.ambient)
    return state


def started(vehicle: VehicleParameters, initial: Initial, state: State, air: float) -> State:
    """Return the state with what is different at the start put in, its arrays changed in place.

    `air` is the temperature that the head is told against [K].
    """
    if initial.head is not None:
        head = head_place(vehicle)
        state.values[head] = max(state.values[head], air + initial.head)
        if state.values[head] > vehicle.control.hot_resume:
            state.memory[M_HOT] = 1.0
    if initial.credit is not None:
        state.memory[M_CREDIT] = min(state.memory[M_CREDIT], initial.credit)
        if state.memory[M_CREDIT] < vehicle.control.credit_restart:
            state.memory[M_BUDGET] = 1.0
    if initial.code:
        state.memory[M_STATUS + CODE_CLASSES.index(initial.code)] = STORED
    return state


def head_place(vehicle: VehicleParameters) -> int:
    """Return where the head's temperature stands in a state's values."""
    return 2 * (len(vehicle.springs) + (1 if vehicle.reservoir is None else 2))
