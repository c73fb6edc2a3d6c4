"""What leaves the virtual vehicle through its leaks, from a run's truth.

Job: the flow to the outside of every volume, as a leak tester would tell it. The plant books mass
and energy only, so each flow is worked out again from the pressures and temperatures of the
samples, with the same formula. Assumes that the non-return valve of the pump leaks while the pump
draws no current. What passes the vent valve on purpose is no leak.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from sagtrace.errors import DomainError
from sagtrace.physics.airflow import iso6358_mass_flow
from sagtrace.physics.constants import M_AIR
from sagtrace.physics.gas import REF_20C_1ATM, molar_flow_to_standard
from sagtrace.twin.faults import FaultParameters, TimedFault
from sagtrace.twin.parameters import VehicleParameters
from sagtrace.twin.simulate import Simulation

__all__ = ["leak_flows"]

Array = NDArray[np.float64]


def leak_flows(
    vehicle: VehicleParameters, faults: Sequence[TimedFault], run: Simulation
) -> Mapping[str, Array]:
    """Return the leak of each volume at 20 °C and 1 atm, outward above zero [m^3/s].

    `faults` are those of the run, which must hold its truth and start at its own time zero.
    """
    if run.truth is None:
        raise DomainError("truth", 0.0, "", "kept", "Simulate with truth=True.")
    resting = run.channels["pump.current"] == 0.0
    return {
        place: _flow(vehicle, run, place, _conductance(faults, place, run.time, resting))
        for place in run.truth.pressures
    }


def _conductance(
    faults: Sequence[TimedFault], place: str, time: Array, resting: NDArray[np.bool_]
) -> Array:
    """Return the conductance of all leaks of a volume to the outside [m^3/(s Pa)]."""
    total = np.zeros(len(time))
    for fault in faults:
        lasting, at_rest = _leaks(fault.change, place)
        total += fault.severity * (time >= fault.onset) * (lasting + resting * at_rest)
    return total


def _leaks(change: FaultParameters, place: str) -> tuple[float, float]:
    """Return what leaks all the time, and what only while the pump rests."""
    if place == "gallery":
        return change.block_leak + change.vent_leak, change.check_valve_leak
    if place == "reservoir":
        return change.reservoir_leak, 0.0
    return (change.corners[place].leak if place in change.corners else 0.0), 0.0


def _flow(vehicle: VehicleParameters, run: Simulation, place: str, conductance: Array) -> Array:
    assert run.truth is not None
    baro = vehicle.surroundings.barometer
    pressure = run.truth.pressures[place]
    inside, outside = run.truth.temperatures[place], run.channels["ambient"]
    flow = iso6358_mass_flow(
        pressure,
        baro,
        np.where(pressure >= baro, inside, outside),
        conductance=conductance,
        critical_ratio=vehicle.valves.leak_critical_ratio,
        laminar_ratio=vehicle.valves.laminar_ratio,
    )
    return molar_flow_to_standard(flow / M_AIR, REF_20C_1ATM)
