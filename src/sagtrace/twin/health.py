"""From what a technician would measure to the change of the virtual vehicle that shows it.

A leak in mL/min, a pump as a share of a healthy one, a supply voltage under load: each becomes the
number that the plant works with, so that the plant shows what was asked for.
Assumes a leak told at 20 °C and 1 atm, out of the pressure as parked; a cold pump at the voltage of
the fact `pump-delivery`, against the springs' pressure; the battery with the engine off.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

import numba
import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from sagtrace.physics.airflow import iso6358_mass_flow
from sagtrace.physics.constants import T_20C
from sagtrace.physics.gas import REF_20C_1ATM, mass_from_molar, standard_to_molar_flow
from sagtrace.twin import _slots as s
from sagtrace.twin._compiled import entrance
from sagtrace.twin._kernels import LINE, NUMBER
from sagtrace.twin.faults import FaultParameters, TimedFault
from sagtrace.twin.layouts import DELIVERY_VOLTS
from sagtrace.twin.parameters import VehicleParameters
from sagtrace.twin.pump_point import pump_point

__all__ = [
    "battery_ohms",
    "intake_for",
    "leak_conductance",
    "parked_pressure",
    "pump_flow",
    "ring_for",
]

PAIR = numba.types.UniTuple(NUMBER, 2)

WORST_RING = 1e-6  # [m^3/(s Pa)] chosen: a hole past which no pump here delivers
WORST_INTAKE = 0.999  # [-] chosen: share of the intake that is blocked, nearly all
LEAST_SHARE = 0.005  # [-] chosen: a pump that gives less gives nothing
CLOSE = 1e-9  # [-] chosen: of the larger end of a bracket, far below any size's spread


def _point(
    wide: NDArray[np.float64], pressure: float, temp: float, volts: float
) -> tuple[float, float]:
    """Return flow [kg/s] and current [A] of a cold pump and a dry dryer, this voltage on it."""
    point = pump_point(wide, pressure, temp, temp, wide[s.C_DRYER], volts, wide[s.R_ARM])
    return point[0], point[1]


@cache
def _working_point() -> Callable[..., tuple[float, float]]:
    """Return `_point` compiled, when it is first needed."""
    return entrance(_point, PAIR(LINE, NUMBER, NUMBER, NUMBER))


def parked_pressure(vehicle: VehicleParameters) -> float:
    """Return the highest pressure of the springs as parked [Pa]."""
    most = max(spring.load / spring.area for spring in vehicle.springs)
    return vehicle.surroundings.barometer + most


def leak_conductance(vehicle: VehicleParameters, volume_flow: float, pressure: float) -> float:
    """Return the conductance that loses this much from this pressure [m^3/(s Pa)].

    `volume_flow` in m^3/s at 20 °C and 1 atm.
    """
    flow = mass_from_molar(standard_to_molar_flow(volume_flow, REF_20C_1ATM))
    each = iso6358_mass_flow(
        pressure,
        vehicle.surroundings.barometer,
        T_20C,
        conductance=1.0,
        critical_ratio=vehicle.valves.leak_critical_ratio,
        laminar_ratio=vehicle.valves.laminar_ratio,
    )
    return float(flow / each)


def pump_flow(vehicle: VehicleParameters, change: FaultParameters | None = None) -> float:
    """Return what the pump gives at its proper voltage against the springs' pressure [kg/s]."""
    faults = () if change is None else (TimedFault(name="pump", change=change),)
    wide = s.pack(vehicle, faults).wide
    return _working_point()(wide, parked_pressure(vehicle), T_20C, DELIVERY_VOLTS)[0]


def ring_for(vehicle: VehicleParameters, share: float) -> float:
    """Return the leak past the ring that leaves this share of the delivery [m^3/(s Pa)]."""
    return _until(vehicle, share, WORST_RING, lambda x: FaultParameters(ring_leak=x))


def intake_for(vehicle: VehicleParameters, share: float) -> float:
    """Return the share of the intake that is blocked if this share of the delivery is left [-]."""
    return _until(vehicle, share, WORST_INTAKE, lambda x: FaultParameters(intake_loss=x))


def _until(
    vehicle: VehicleParameters, share: float, worst: float, make: Callable[[float], FaultParameters]
) -> float:
    if share >= 1.0:
        return 0.0
    wanted = max(share, LEAST_SHARE) * pump_flow(vehicle)

    def excess(x: float) -> float:
        return pump_flow(vehicle, make(x)) - wanted

    if excess(worst) >= 0.0:
        return worst
    return float(brentq(excess, 0.0, worst, xtol=CLOSE * worst))


def battery_ohms(vehicle: VehicleParameters, volts: float, charge_loss: float) -> float:
    """Return what its battery must have more inside to show this voltage under the pump [ohm]."""
    e = vehicle.electrics
    charge = max(e.battery_charge - charge_loss, 0.0)
    rest = e.rest_voltage_empty + (e.rest_voltage_full - e.rest_voltage_empty) * charge
    pressure = parked_pressure(vehicle)
    _, current = _working_point()(s.pack(vehicle).wide, pressure, T_20C, DELIVERY_VOLTS)
    return max((rest - volts) / current - e.battery_resistance, 0.0)
