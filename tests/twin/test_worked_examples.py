"""The whole plant on worked examples: what a pump gives, and how long it takes to fill."""

from __future__ import annotations

import math
from dataclasses import replace

import numba
import numpy as np
import pytest

from printed import printed
from sagtrace.physics.constants import R_AIR
from sagtrace.twin import _slots as s
from sagtrace.twin.faults import FaultParameters, TimedFault
from sagtrace.twin.parameters import Pump, VehicleParameters
from sagtrace.twin.pump_point import pump_point
from sagtrace.twin.script import Script
from sagtrace.twin.simulate import Simulation, simulate
from virtual_vehicles import standard_vehicle

VOLTS = 12.0
NOTHING = 1e-9  # [ohm, N m, m^3/(s Pa)] as good as none
WIDE = 1e3  # [m^3/(s Pa)] no restriction


@numba.njit  # type: ignore[untyped-decorator]
def point(wide: np.ndarray, pressure: float, ambient: float) -> tuple[float, float]:
    found = pump_point(wide, pressure, ambient, ambient, WIDE, VOLTS, NOTHING)
    return found[0], found[4] * found[2]


PAIR = standard_vehicle("rear-pair")


def ideal_pump(swept: float, turns: float, clearance: float = 0.0) -> Pump:
    """A pump that turns at one speed, with nothing in its way and nothing past its ring."""
    return replace(
        PAIR.pump, swept_volume=swept, clearance=clearance, polytropic=1.3, ring_conductance=0.0,
        intake_conductance=WIDE, emf_constant=VOLTS / (2.0 * math.pi * turns),
        friction_torque=0.0, armature=NOTHING, preheat=0.0,
    )  # fmt: skip


@pytest.mark.arithmetic("Eastop & McConkey inputs: 14 m3/min, 1.013 to 7 bar, c = 0.05, n = 1.3")
def test_delivery_of_a_compressor() -> None:
    vehicle = replace(
        PAIR, pump=ideal_pump(0.0281522, 10.0, 0.05),
        surroundings=replace(PAIR.surroundings, barometer=1.013e5),
    )  # fmt: skip
    flow, power = point(s.pack(vehicle).wide, 7e5, 288.0)
    assert flow * R_AIR / 287.0 == printed("0.285964")
    assert power / 1e3 == printed("57.5805")


@pytest.mark.arithmetic("eta = 1 - c (r^(1/n) - 1), n = 1.3")
@pytest.mark.parametrize(
    ("clearance", "ratio", "efficiency"),
    [(0.02, 3, "0.97344"), (0.04, 8, "0.84196"), (0.08, 11, "0.57399"), (0.10, 17, "0.21590")],
)
def test_delivery_falls_with_clearance(clearance: float, ratio: float, efficiency: str) -> None:
    vehicle = replace(PAIR, pump=ideal_pump(1e-5, 30.0, clearance))
    wide = s.pack(vehicle).wide
    flow, _ = point(wide, ratio * wide[s.BARO], 293.15)
    free_air = flow * R_AIR * 293.15 / wide[s.BARO]
    assert free_air / (1e-5 * 30.0) == printed(efficiency)


def filling(volume: float) -> VehicleParameters:
    """Return a vehicle whose gallery is a vessel with warm walls, and a pump of 20 L/min."""
    return replace(
        PAIR,
        block=replace(PAIR.block, volume=volume, heat_conductance=1e4),
        pump=ideal_pump(20e-3 / 60.0 / 30.0, 30.0),
        dryer=replace(PAIR.dryer, conductance=WIDE, choke=0.0),
        electrics=replace(
            PAIR.electrics, rest_voltage_full=VOLTS, rest_voltage_empty=VOLTS,
            battery_resistance=0.0, feed=0.0, relay=0.0, connector=NOTHING, ground=0.0,
        ),
        surroundings=replace(PAIR.surroundings, barometer=101_325.0),
    )  # fmt: skip


def fill(vehicle: VehicleParameters, seconds: float) -> Simulation:
    on = TimedFault(name="on", change=FaultParameters(relay_stuck_on=True))
    return simulate(vehicle, Script(duration=seconds), faults=(on,), rate=10.0, rtol=1e-8)


@pytest.mark.arithmetic("t = V dp/(p_atm FAD): 5 L, 20 L/min")
@pytest.mark.parametrize(
    ("start", "end", "seconds"), [(0.0, 10e5, "148.0385"), (5e5, 10e5, "74.0192")]
)
def test_time_to_fill_a_vessel_with_warm_walls(start: float, end: float, seconds: str) -> None:
    run = fill(filling(5e-3), 160.0)
    assert run.truth is not None
    gauge = run.truth.pressures["gallery"] - 101_325.0
    begin, done = (float(np.interp(p, gauge, run.time)) for p in (start, end))
    assert done - begin == pytest.approx(float(seconds), rel=1e-4)
    assert run.truth.temperatures["gallery"] == pytest.approx(293.15, abs=0.02)
