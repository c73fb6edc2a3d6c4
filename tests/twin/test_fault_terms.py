"""What each fault does to the vehicle, and that none does anything at severity zero."""

from __future__ import annotations

from dataclasses import fields, replace
from typing import Any

import numba
import numpy as np
import pytest

from sagtrace.errors import UnknownIdError
from sagtrace.twin import _chance
from sagtrace.twin import _slots as s
from sagtrace.twin.faults import CornerFault, FaultParameters, SensorFault, TimedFault
from sagtrace.twin.script import Engine, Load, Script
from sagtrace.twin.simulate import Simulation, Truth, simulate
from virtual_vehicles import LAYOUTS, standard_vehicle

PAIR, FOUR, STORE = (standard_vehicle(layout) for layout in LAYOUTS)
KINDS = (FaultParameters, CornerFault, SensorFault)
EVERY = [(kind, f.name) for kind in KINDS for f in fields(kind) if "dict" not in str(f.type)]


def one_field(kind: type, name: str, corner: str, role: str) -> FaultParameters:
    """Return a fault in which this one field is not what it is by default."""
    default = next(f.default for f in fields(kind) if f.name == name)
    values: dict[str, Any] = {name: True if default is False else 0.3}
    if name == "hangs_at":  # says where, which counts only for a broken link
        values["link_broken"] = True
    if kind is FaultParameters:
        return FaultParameters(**values)
    if kind is CornerFault:
        return FaultParameters(corners={corner: CornerFault(**values)})
    return FaultParameters(sensors={role: SensorFault(**values)})


def written(change: FaultParameters, severity: float, layout: str) -> np.ndarray:
    vehicle = standard_vehicle(layout)
    fault = TimedFault(name="one", change=change, severity=severity)
    pack = s.pack(vehicle, (fault,))
    parts = (pack.wide, pack.springs, pack.sensors, pack.control)
    kicks = severity * np.array([change.dryer_water, change.battery_charge_loss])
    return np.concatenate([*(part.ravel() for part in parts), kicks])


@pytest.mark.parametrize("layout", LAYOUTS)
def test_no_field_does_anything_at_severity_zero_and_each_does_above(layout: str) -> None:
    vehicle = standard_vehicle(layout)
    assert len(EVERY) > 40
    healthy = written(FaultParameters(), 1.0, layout)
    for kind, name in EVERY:
        change = one_field(kind, name, vehicle.corners[-1], vehicle.sensors[-1].role)
        assert np.array_equal(written(change, 0.0, layout), healthy), name
        assert not np.array_equal(written(change, 1e-3, layout), healthy), name


@pytest.mark.parametrize("vehicle", [PAIR, FOUR, STORE], ids=LAYOUTS)
def test_at_severity_zero_a_run_is_that_of_a_healthy_vehicle(vehicle: Any) -> None:
    role = vehicle.sensors[0].role
    events = (Engine(at=20.0, on=True), Load(at=40.0, kilograms={vehicle.corners[0]: 60.0}))
    script = Script(duration=120.0, events=events)
    changes = [one_field(kind, name, vehicle.corners[0], role) for kind, name in EVERY]
    faults = [TimedFault(name="no", severity=0.0, onset=30.5, change=c) for c in changes]
    sick, healthy = simulate(vehicle, script, faults=faults), simulate(vehicle, script)
    assert sick.codes == healthy.codes
    for name, values in healthy.channels.items():
        assert np.array_equal(values, sick.channels[name]), name


def test_a_misspelt_corner_is_told_even_at_severity_zero() -> None:
    change = FaultParameters(corners={"lefd": CornerFault(leak=1e-12)})
    fault = TimedFault(name="typo", change=change, severity=0.0)
    with pytest.raises(UnknownIdError, match="left"):
        simulate(PAIR, Script(duration=1.0), faults=(fault,))


def run_with(vehicle: Any, seconds: float = 300.0, rate: float = 4.0, **change: Any) -> Simulation:
    """All corners loaded while the engine runs, so that the unit must lift."""
    load = Load(at=60.0, kilograms=dict.fromkeys(vehicle.corners, 55.0))
    script = Script(duration=seconds, events=(Engine(at=30.0, on=True), load))
    fault = TimedFault(name="under test", change=FaultParameters(**change))
    return simulate(vehicle, script, faults=(fault,), rate=rate)


def truth(run: Simulation) -> Truth:
    assert run.truth is not None
    return run.truth


def codes(run: Simulation) -> set[str]:
    return {code.name for code in run.codes}


def lowest_end(run: Simulation) -> float:
    return min(float(height[-1]) for height in truth(run).heights.values())


def test_a_leak_across_the_block_goes_from_the_harder_spring_to_the_next() -> None:
    first, second, third, last = FOUR.corners
    load = Load(at=1.0, kilograms={second: 150.0, last: 150.0})
    script = Script(duration=2000.0, events=(load,))
    faults = tuple(
        TimedFault(
            name=corner, change=FaultParameters(corners={corner: CornerFault(cross_leak=2e-12)})
        )
        for corner in (second, last)  # the last leaks into the first
    )
    run = simulate(FOUR, script, faults=faults, rate=0.1)
    masses = truth(run).masses
    gained = {corner: float(mass[-1] / mass[1] - 1.0) for corner, mass in masses.items()}
    assert gained[second] < -0.01
    assert gained[last] < -0.01
    assert gained[third] > 0.01
    assert gained[first] > 0.01
    whole = np.sum([masses[corner] for corner in FOUR.corners], axis=0)
    assert whole == pytest.approx(whole[0], rel=1e-12)  # none of it gets out
    assert all(not leak.any() for leak in truth(run).leaks.values())


def test_a_reservoir_valve_that_does_not_open_keeps_its_air() -> None:
    sound, stuck = run_with(STORE), run_with(STORE, reservoir_valve_stuck_closed=True)
    assert truth(sound).masses["reservoir"].min() < 0.97 * truth(sound).masses["reservoir"][0]
    assert np.ptp(truth(stuck).masses["reservoir"]) == 0.0
    assert truth(stuck).valves["reservoir"].max() == 1.0  # it was asked to open
    assert lowest_end(stuck) < -0.010 < lowest_end(sound)
    assert "reservoir valve circuit open" not in codes(stuck)


def test_an_open_coil_of_the_reservoir_valve_is_seen_and_worked_around() -> None:
    run = run_with(STORE, 500.0, reservoir_valve_coil_open=True)
    assert "reservoir valve circuit open" in codes(run)
    assert np.ptp(truth(run).masses["reservoir"]) < 1e-15
    assert lowest_end(run) > -0.011  # by the pump alone
    assert "reservoir valve circuit open" not in codes(run_with(STORE, 500.0))


def test_air_past_the_reservoirs_seat_fills_the_gallery_at_rest() -> None:
    change = FaultParameters(reservoir_seat_leak=1e-11)
    fault = TimedFault(name="seat", change=change)
    run = simulate(STORE, Script(duration=3600.0), faults=(fault,), rate=0.1)
    pressures = truth(run).pressures
    assert pressures["gallery"][0] == pytest.approx(1e5, rel=1e-3)
    assert pressures["gallery"][-1] == pytest.approx(pressures["reservoir"][-1], rel=0.01)
    both = truth(run).masses["gallery"] + truth(run).masses["reservoir"]
    assert both == pytest.approx(both[0], rel=1e-12)


def test_an_offset_of_the_pressure_sensor_is_recorded_and_believed() -> None:
    assert STORE.reservoir is not None
    empty = replace(STORE, reservoir=replace(STORE.reservoir, pressure=9.5e5))
    script = Script(duration=60.0, engine=True)
    fault = TimedFault(name="high", change=FaultParameters(pressure_offset=2e5))
    honest, wrong = simulate(empty, script), simulate(empty, script, faults=(fault,))
    assert honest.channels["pump.command"].max() == 1.0  # below 10 bar it refills
    assert wrong.channels["pump.command"].max() == 0.0
    told = wrong.channels["pressure.reservoir"] - truth(wrong).pressures["reservoir"]
    assert told == pytest.approx(2e5, rel=1e-9)
    assert codes(wrong) == set()


@pytest.mark.parametrize(
    ("vehicle", "where"), [(FOUR, "gallery"), (STORE, "reservoir")], ids=LAYOUTS[1:]
)
def test_a_dead_pressure_sensor_is_told_and_not_trusted(vehicle: Any, where: str) -> None:
    run, wild = run_with(vehicle, 500.0, pressure_dead=True), run_with(vehicle, pressure_offset=5e6)
    assert np.isnan(run.channels[f"pressure.{where}"]).all()
    for made in (run, wild):
        assert "pressure signal out of range" in codes(made)
        if vehicle is STORE:
            assert truth(made).valves["reservoir"].max() == 0.0
    assert lowest_end(run) > -0.013
    assert "pressure signal out of range" not in codes(run_with(vehicle, 500.0))


@pytest.mark.parametrize("broken", ["relay_open", "connector_open", "feed_open", "ground_open"])
def test_a_break_in_the_pumps_loop_stops_it_without_a_coil_code(broken: str) -> None:
    run = run_with(PAIR, 200.0, **{broken: True})
    assert run.channels["pump.command"].max() == 1.0
    assert not run.channels["pump.current"].any()
    assert not run.channels["pump.voltage"].any()
    assert not truth(run).delivery.any()
    assert "pump relay circuit open" not in codes(run)
    assert "pump relay circuit open" in codes(run_with(PAIR, 200.0, relay_coil_open=True))


def test_a_worn_track_jumps_alike_for_control_unit_and_recording() -> None:
    @numba.njit  # type: ignore[untyped-decorator]
    def one_by_one(seed: int, times: np.ndarray, out: np.ndarray) -> None:
        for i in range(len(times)):
            out[i] = _chance.worn_track(seed, 1, times[i])

    times = np.linspace(0.0, 5000.0, 20_001)
    seen = np.empty(len(times))
    one_by_one(7, times, seen)
    assert seen == pytest.approx(_chance.bursts(7, 1, times), abs=1e-12)
    jumping = seen != 0.0
    assert jumping.mean() == pytest.approx(_chance.BURST_SHARE, rel=0.15)
    assert seen[jumping].std() == pytest.approx(1.0, rel=0.1)
    assert not np.array_equal(seen, _chance.bursts(8, 1, times))
    assert not np.array_equal(seen, _chance.bursts(7, 2, times))


def test_a_jumping_sensor_shows_bursts_in_the_recording() -> None:
    worn = SensorFault(jumps=0.03)
    run = run_with(PAIR, 60.0, sensors={"height.rear": worn})
    height = run.channels["height.rear"] - PAIR.level
    far = np.abs(height - np.median(height)) > 0.01
    assert 0.01 < far.mean() < 0.15
    sound = run_with(PAIR, 60.0).channels["height.rear"] - PAIR.level
    assert np.abs(sound - np.median(sound)).max() < 0.005
    again = run_with(PAIR, 60.0, sensors={"height.rear": worn})
    assert np.array_equal(run.channels["height.rear"], again.channels["height.rear"])


def test_deafening_jumps_make_the_unit_act_on_what_it_sees() -> None:
    wild = run_with(PAIR, 600.0, sensors={"height.rear": SensorFault(jumps=0.2)})
    assert "height signal out of range" not in codes(run_with(PAIR, 600.0))
    assert (
        wild.channels["pump.command"].sum() != run_with(PAIR, 600.0).channels["pump.command"].sum()
    )


@pytest.mark.parametrize("vehicle", [PAIR, FOUR, STORE], ids=LAYOUTS)
def test_delivery_and_leaks_add_up_to_what_came_in_and_went_out(vehicle: Any) -> None:
    corners = {vehicle.corners[0]: CornerFault(leak=3e-11)}
    run = run_with(vehicle, 400.0, 50.0, corners=corners, block_leak=2e-11, reservoir_leak=1e-11)
    told = truth(run)
    came = float(np.trapezoid(told.delivery, run.time))
    assert came == pytest.approx(run.balance.mass_in, rel=2e-3)
    vent = run.channels["vent.command"] > 0.0
    assert vent.any()  # so some left by the vent, which is no leak
    lost = sum(float(np.trapezoid(leak, run.time)) for leak in told.leaks.values())
    assert 0.2 * run.balance.mass_out < lost < run.balance.mass_out
    assert set(told.leaks) == set(told.masses)
    assert told.leaks[vehicle.corners[0]].min() > 0.0
    assert not told.leaks[vehicle.corners[1]].any()


@pytest.mark.parametrize("vehicle", [PAIR, FOUR, STORE], ids=LAYOUTS)
def test_a_recording_has_these_channels(vehicle: Any) -> None:
    run = run_with(vehicle, 200.0)
    expected = {sensor.role for sensor in vehicle.sensors}
    expected |= {f"valve.{corner}" for corner in vehicle.corners}
    expected |= {"pump.current", "pump.voltage", "supply", "pump.command", "vent.command"}
    expected |= {"pump.temperature", "ambient", "engine"}
    expected |= {"pressure.gallery"} if vehicle is FOUR else set()
    expected |= {"pressure.reservoir"} if vehicle is STORE else set()
    assert set(run.channels) == expected
    head = truth(run).temperatures["head"]
    assert run.channels["pump.temperature"] == pytest.approx(head, abs=0.5)
    for corner in vehicle.corners:
        assert set(run.channels[f"valve.{corner}"]) == {0.0, 1.0}
        assert np.array_equal(run.channels[f"valve.{corner}"], truth(run).valves[corner])
