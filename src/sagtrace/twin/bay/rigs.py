"""What experiments change on vehicle, faults and the state in which a run starts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from sagtrace.physics.constants import R_AIR
from sagtrace.twin.faults import TimedFault
from sagtrace.twin.parameters import VehicleParameters
from sagtrace.twin.plant import CV, EXTRAS, LEDGERS
from sagtrace.twin.simulate import State

__all__ = ["at_vessel", "changed", "DAY", "drained", "filled", "supported", "without_kick"]

DAY = 293.15  # [K] chosen: the bay and the evening
SUPPORT = 13.2  # [V] chosen: a charger on the battery during long pump tests


def supported(parameters: VehicleParameters) -> VehicleParameters:
    """Return the vehicle with a charger on its battery."""
    charged = replace(parameters.electrics, rest_voltage_full=SUPPORT, rest_voltage_empty=SUPPORT)
    return replace(parameters, electrics=charged)


def filled(state: State, at: int, pressure: float, volume: float) -> State:
    """Return the state with one store at a pressure and the air's temperature."""
    values = state.values.copy()
    stores = (len(values) - EXTRAS - LEDGERS) // 2  # masses, then energies
    place = at if at >= 0 else stores + at
    mass = pressure * volume / (R_AIR * DAY)
    values[place], values[stores + place] = mass, mass * CV * DAY
    return replace(state, values=values)


def drained(state: State, at: int, mass: float) -> State:
    """Return the state with so much less air in one store, at the temperature that it has."""
    values = state.values.copy()
    stores = (len(values) - EXTRAS - LEDGERS) // 2  # masses, then energies
    left = max(1.0 - mass / values[at], 0.05)  # chosen: an empty spring is not quite empty
    values[at] *= left
    values[stores + at] *= left
    return replace(state, values=values)


def changed(fault: TimedFault, **numbers: float) -> TimedFault:
    """Return the fault with some numbers of its change replaced."""
    if not numbers:
        return fault
    return replace(fault, change=replace(fault.change, **numbers))  # type: ignore[arg-type]


def without_kick(fault: TimedFault) -> TimedFault:
    """Return the fault without what it did once, at its onset."""
    return changed(fault, dryer_water=0.0, battery_charge_loss=0.0)


def at_vessel(fault: TimedFault, without: Sequence[str], store: str) -> TimedFault:
    """Return the fault as it acts on a vessel in place of the gallery."""
    change = fault.change
    gone = {name: 0.0 for name in without if hasattr(change, name)}
    if store:
        line = change.block_leak if store == "with line" else 0.0
        gone["block_leak"] = line + change.reservoir_leak
    if store == "alone":
        gone |= {"vent_leak": 0.0, "check_valve_leak": 0.0}
    return changed(fault, **gone)
