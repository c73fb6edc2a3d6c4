"""Laws that hold for any vehicle: mirror images, more leak, no negative mass, finer steps."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import Any

import numba
import numpy as np
import pytest
from fault_scenarios import random_scenario
from hypothesis import given, settings
from hypothesis import strategies as st

from sagtrace.twin import _slots as s
from sagtrace.twin._kernels import pointers
from sagtrace.twin.faults import CornerFault, FaultParameters, TimedFault
from sagtrace.twin.script import Ambient, Engine, Load, Script
from sagtrace.twin.simulate import RTOL, Simulation, initial_state, simulate
from virtual_vehicles import LAYOUTS, standard_vehicle

HOUR = 3600.0
SIDES = {"left": "right", "right": "left"}
few = settings(max_examples=12, deadline=None, derandomize=True)


def swapped(name: str) -> str:
    for side, other in SIDES.items():
        if name.endswith(side):
            return name.removesuffix(side) + other
    raise AssertionError(name)


def heights(run: Simulation) -> dict[str, np.ndarray]:
    assert run.truth is not None
    return dict(run.truth.heights)


def quiet_run(layout: str, faults: tuple[TimedFault, ...], loads: dict[str, float]) -> Simulation:
    """A run in which the unit works, with sensors that have no noise of their own."""
    vehicle = standard_vehicle(layout)
    quiet = tuple(replace(sensor, noise=0.0) for sensor in vehicle.sensors)
    events = (
        Engine(at=30.0, on=True),
        Load(at=60.0, kilograms=loads),
        Ambient(at=100.0, to=278.15, over=HOUR),
    )
    script = Script(duration=400.0, events=events)
    return simulate(replace(vehicle, sensors=quiet), script, faults=faults, rate=1.0, rtol=1e-7)


@few
@given(
    layout=st.sampled_from(LAYOUTS), leak=st.floats(-13, -10), seat=st.floats(-13, -11),
    stuck=st.sampled_from(["", "valve_stuck_open", "valve_stuck_closed"]),
    heavy=st.floats(10, 90), light=st.floats(10, 90),
)  # fmt: skip
def test_a_mirrored_vehicle_does_the_mirror_image(
    layout: str, leak: float, seat: float, stuck: str, heavy: float, light: float
) -> None:
    corners = standard_vehicle(layout).corners
    ill = corners[0]
    wrong = CornerFault(leak=10**leak, seat_leak=10**seat, **({stuck: True} if stuck else {}))
    loads = {corner: heavy if i % 2 else light for i, corner in enumerate(corners)}
    runs = []
    for name in (ill, swapped(ill)):
        fault = TimedFault(name="ill", change=FaultParameters(corners={name: wrong}))
        runs.append(quiet_run(layout, (fault,), loads))
        loads = {swapped(corner): mass for corner, mass in loads.items()}
    one, other = (heights(run) for run in runs)
    for corner in corners:
        assert one[corner] == pytest.approx(other[swapped(corner)], abs=2e-5), corner


@few
@given(layout=st.sampled_from(LAYOUTS), leak=st.floats(-13.5, -10.5), times=st.floats(1.2, 8.0))
def test_a_bigger_leak_sags_faster(layout: str, leak: float, times: float) -> None:
    vehicle = standard_vehicle(layout)
    corner = vehicle.corners[-1]
    sizes = (0.0, 10**leak, times * 10**leak)
    runs = []
    for size in sizes:
        change = FaultParameters(corners={corner: CornerFault(leak=size)})
        fault = TimedFault(name="leak", change=change)
        runs.append(simulate(vehicle, Script(duration=HOUR), faults=(fault,), rate=0.05))
    for small, big in pairwise(heights(run)[corner] for run in runs):
        # Until the bigger leak has let the body down on its bump stop: there all end alike.
        stop = 0.93 * vehicle.springs[-1].bump_at / vehicle.lever
        free = np.minimum.accumulate(big > stop).astype(bool)
        fallen = (small - big)[free]
        assert len(fallen) > 3
        assert np.all(np.diff(fallen) > 0.0)


@pytest.mark.parametrize("part", range(3))
def test_no_scenario_runs_out_of_gas_or_loses_any(part: int) -> None:
    for seed in range(100 + part, 160, 3):
        vehicle, script, faults = random_scenario(seed)
        run = simulate(vehicle, script, faults=faults, seed=seed, rate=2.0)
        assert run.truth is not None
        for name, mass in run.truth.masses.items():
            assert mass.min() > 0.0, (seed, name)
            assert run.truth.pressures[name].min() > 0.8 * vehicle.surroundings.barometer
            # Colder than by expanding from 20 bar without heat it cannot get: 290 K / 20^0.286.
            assert run.truth.temperatures[name].min() > 123.0, (seed, name)
        assert run.truth.water.min() >= 0.0
        assert run.balance.mass < 1e-9, seed
        assert run.balance.energy < 1e-9, seed


@few
@given(layout=st.sampled_from(LAYOUTS), leak=st.floats(-12.5, -10), mass=st.floats(20, 150))
def test_a_finer_tolerance_leaves_less_error(layout: str, leak: float, mass: float) -> None:
    """With the engine off: no decision of the unit can fall on another tick."""
    vehicle = standard_vehicle(layout)
    change = FaultParameters(corners={vehicle.corners[0]: CornerFault(leak=10**leak)})
    fault = TimedFault(name="leak", change=change)
    load = Load(at=100.0, kilograms={vehicle.corners[1]: mass})
    script = Script(duration=2 * HOUR, events=(load, Ambient(at=600.0, to=273.15, over=HOUR)))
    found = [
        np.array(list(heights(simulate(
            vehicle, script, faults=(fault,), rate=0.1, rtol=rtol
        )).values()))
        for rtol in (1e-9, 1e-7, 0.5 * RTOL, RTOL)
    ]  # fmt: skip
    fine, half, usual = (float(np.abs(other - found[0]).max()) for other in found[1:])
    assert usual < 5e-5  # [m] a quarter of what is promised, at the default
    assert half < 5e-5
    assert fine < max(0.2 * usual, 1e-6)


@numba.njit  # type: ignore[untyped-decorator]
def fixed_steps(
    rates: Any, heights: Any, jacobian: Any, attempt: Any, steps: int, h: float, y: np.ndarray,
    x: np.ndarray, tables: Any, room: np.ndarray,
) -> None:  # fmt: skip
    """Go so many steps of one length, as the run does between two decisions."""
    wide, springs, links, u, size = tables
    total, t = len(y), 0.0
    f, aux, by_time, y1, cmd = room[0], room[1], room[2], room[3], room[4]
    jac, matrix = room[5 : 5 + total], room[5 + total : 5 + 2 * total]
    k, spare, work = room[60:66], room[66:72], room[72:80]
    for _ in range(steps):
        rates(heights, t, y, wide, springs, links, u, cmd, x, f, aux, work)
        jacobian(
            rates, heights, t, y, f, size, wide, springs, links, u, cmd, x, jac, by_time, work,
            spare,
        )  # fmt: skip
        attempt(
            rates, heights, t, h, y, f, jac, by_time, size, 1e-5, wide, springs, links, u, cmd, x,
            k, y1, matrix, work, spare,
        )  # fmt: skip
        t += h
        for i in range(total):
            y[i] = y1[i]


def test_half_the_step_leaves_a_sixteenth_of_the_error_or_less() -> None:
    """Its order is at least four: coefficients and the plant's derivatives are right."""
    vehicle = standard_vehicle("rear-pair")
    leak = TimedFault(
        name="leak", change=FaultParameters(corners={"left": CornerFault(leak=5e-10)})
    )
    pack, start = s.pack(vehicle, (leak,)), initial_state(vehicle, Script(duration=1.0))
    u = np.zeros(s.N_INPUT)
    u[s.U_AMBIENT], u[s.U_SLOPE] = 293.15, -0.05
    size = np.maximum(np.abs(start.values), 1e-3)
    rates, _, jacobian, attempt, _, newton, _ = pointers()
    ends = []
    for steps in (256, 2, 4, 8, 16):
        y, x, room = start.values.copy(), np.zeros(2), np.zeros((80, 28))
        tables = (pack.wide, pack.springs, s.coupling(vehicle), u, size)
        fixed_steps(rates, newton, jacobian, attempt, steps, 16.0 / steps, y, x, tables, room)
        ends.append(y)
    errors = [float(np.abs((y - ends[0])[:3] / ends[0][:3]).max()) for y in ends[1:]]
    assert errors[0] > 1e-9  # otherwise there is nothing to halve
    for coarse, fine in pairwise(errors):
        assert np.log2(coarse / fine) > 3.8  # three would mean a wrong coefficient
