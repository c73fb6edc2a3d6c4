"""What the control unit does and what faults look like from outside."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from sagtrace.errors import DomainError, UnknownIdError
from sagtrace.twin.faults import CornerFault, FaultParameters, SensorFault, TimedFault
from sagtrace.twin.script import Door, Engine, Load, Mode, Script
from sagtrace.twin.simulate import Simulation, simulate
from virtual_vehicles import LAYOUTS, standard_vehicle

LOADED = (Engine(at=30.0, on=True), Load(at=60.0, kilograms={"left": 60.0, "right": 60.0}))
PAIR = standard_vehicle("rear-pair")


def with_fault(seconds: float = 400.0, events=LOADED, **change) -> Simulation:  # type: ignore[no-untyped-def]
    fault = TimedFault(name="under test", change=FaultParameters(**change))
    return simulate(PAIR, Script(duration=seconds, events=events), faults=(fault,))


def pumped(run: Simulation) -> float:
    """Seconds in which the pump drew current."""
    return float((run.channels["pump.current"] > 0.0).sum() * (run.time[1] - run.time[0]))


def end_height(run: Simulation) -> float:
    assert run.truth is not None
    return float(np.mean([height[-1] for height in run.truth.heights.values()]))


def test_a_loaded_vehicle_is_lifted_back_after_the_delay() -> None:
    run = with_fault()
    start = run.time[np.argmax(run.channels["pump.command"] > 0.0)]
    assert 60.0 + PAIR.control.delay_fill < start < 60.0 + PAIR.control.delay_fill + 15.0
    assert end_height(run) == pytest.approx(0.0, abs=PAIR.control.deadband_low)
    assert run.codes == ()
    assert run.channels["pump.command"][-1] == 0.0


@pytest.mark.parametrize(
    "hold", [Door(at=40.0, open=True), Mode(at=40.0, on=True), Engine(at=40.0, on=False)]
)
def test_does_not_lift_when_held_off(hold: Door | Mode | Engine) -> None:
    run = with_fault(events=(*LOADED, hold))
    assert pumped(run) == 0.0
    assert end_height(run) < -0.010


def test_unloaded_again_it_vents() -> None:
    heavy, none = {"left": 110.0, "right": 110.0}, {"left": 0.0, "right": 0.0}
    events = (LOADED[0], Load(at=60.0, kilograms=heavy), Load(at=300.0, kilograms=none))
    run = with_fault(700.0, events)
    venting = run.channels["vent.command"] > 0.0
    assert venting[(run.time > 300.0) & (run.time < 330.0)].any()
    assert abs(end_height(run)) < PAIR.control.deadband_high


@pytest.mark.parametrize(
    ("change", "turns"),
    [
        ({"motor_open": True}, False),
        ({"fuse_blown": True}, False),
        ({"relay_coil_open": True}, False),
        ({"no_command": True}, False),
        ({"connector": 100.0}, False),
        ({"ring_leak": 1e-8}, True),
        ({"corners": {c: CornerFault(valve_stuck_closed=True) for c in PAIR.corners}}, True),
    ],
)
def test_what_stops_it_from_lifting(change: dict[str, Any], turns: bool) -> None:
    run = with_fault(**change)
    assert end_height(run) < -0.010
    assert bool(run.channels["pump.current"].max() > 5.0) is turns


@pytest.mark.common_practice("a stalled motor draws several times its running current")
def test_a_seized_pump_blows_its_fuse_and_a_bad_joint_does_not() -> None:
    healthy, seized, joint = with_fault(), with_fault(seized=True), with_fault(connector=0.09)
    assert seized.channels["pump.current"].max() > 3.0 * healthy.channels["pump.current"].max()
    assert seized.changes[-1, 4] == 1.0
    assert seized.channels["pump.current"][-1] == 0.0
    assert not joint.changes[:, 4].any()
    assert pumped(joint) > pumped(healthy)
    assert joint.truth is not None
    assert healthy.truth is not None
    warm = joint.truth.temperatures["connector"].max() - 293.15
    assert warm > 5.0 * (healthy.truth.temperatures["connector"].max() - 293.15)


def test_a_blocked_way_makes_it_give_up_with_a_code() -> None:
    shut = {c: CornerFault(valve_stuck_closed=True) for c in PAIR.corners}
    run = with_fault(corners=shut)
    assert "level not reached in time" in {code.name for code in run.codes}
    code = next(c for c in run.codes if c.name == "level not reached in time")
    assert code.status.confirmed
    assert code.first_seen > 60.0 + PAIR.control.run_timeout


def test_a_code_stays_as_history_when_the_next_fill_reaches_the_level() -> None:
    shut = FaultParameters(corners={c: CornerFault(valve_stuck_closed=True) for c in PAIR.corners})
    script = Script(duration=400.0, events=LOADED)
    ill = simulate(PAIR, script, faults=(TimedFault(name="shut", change=shut),))
    on = Script(duration=1200.0, engine=True, events=(replace(LOADED[1], at=0.0),))
    well = simulate(PAIR, on, start=ill.end)
    before, after = (
        next(c.status for c in run.codes if c.name == "level not reached in time")
        for run in (ill, well)
    )
    assert before.test_failed
    assert before.confirmed
    assert end_height(well) > -PAIR.control.deadband_low
    assert not after.test_failed
    assert after.confirmed


def test_an_open_coil_is_seen_but_only_at_its_circuit() -> None:
    run = with_fault(corners={"left": CornerFault(coil_open=True)})
    assert {code.name for code in run.codes} >= {"spring valve circuit open"}


def test_a_weak_battery_holds_lifting_off() -> None:
    weak = replace(PAIR.electrics, charging_voltage=10.6, rest_voltage_full=10.8)
    run = simulate(replace(PAIR, electrics=weak), Script(duration=300.0, events=LOADED))
    assert pumped(run) == 0.0
    assert "supply voltage low" in {code.name for code in run.codes}


@pytest.mark.parametrize(
    ("sensed", "shown"),
    [
        (SensorFault(offset=0.02), 0.02),
        (SensorFault(link_broken=True, hangs_at=0.05), 0.05),
        (SensorFault(bent_link=0.2), 0.0179),
    ],
)
def test_a_lying_sensor_makes_a_sound_vehicle_move(sensed: SensorFault, shown: float) -> None:
    at_rest = with_fault(20.0, (), sensors={"height.rear": sensed})
    assert at_rest.channels["height.rear"].mean() - PAIR.level == pytest.approx(shown, abs=5e-4)
    run = with_fault(300.0, (Engine(at=10.0, on=True),), sensors={"height.rear": sensed})
    assert end_height(run) < -0.010


def test_an_open_sensor_circuit_stops_everything() -> None:
    run = with_fault(sensors={"height.rear": SensorFault(open_circuit=True)})
    assert pumped(run) == 0.0
    assert "height signal out of range" in {code.name for code in run.codes}


def test_the_run_budget_pauses_a_pump_that_cannot_keep_up() -> None:
    leaks = {c: CornerFault(leak=1.5e-10) for c in PAIR.corners}
    run = with_fault(1800.0, corners=leaks)
    credit = PAIR.control
    most = credit.credit_max + 1800.0 * credit.credit_rate + credit.credit_restart
    assert 0.5 * most < pumped(run) < most
    assert "run budget used up" in {code.name for code in run.codes}


def test_it_sleeps_after_the_engine_stops() -> None:
    events = (Engine(at=30.0, on=True), Engine(at=100.0, on=False))
    run = with_fault(4000.0, events, corners={"left": CornerFault(leak=1e-11)})
    assert not np.any(run.changes[run.changes[:, 0] > 100.0 + PAIR.control.after_run, 1:4])


def test_dryer_fills_with_what_is_pumped_and_dries_with_what_is_vented() -> None:
    leaky = {c: CornerFault(leak=1e-10) for c in PAIR.corners}
    run = with_fault(3000.0, corners=leaky)
    stuck = with_fault(3000.0, corners=leaky, vent_stuck_closed=True)
    assert run.truth is not None
    assert stuck.truth is not None
    start = PAIR.dryer.water
    assert start < run.truth.water[-1] < stuck.truth.water[-1] <= PAIR.dryer.capacity


@pytest.mark.parametrize("layout", LAYOUTS)
def test_every_layout_levels_a_load(layout: str) -> None:
    vehicle = standard_vehicle(layout)
    load = Load(at=60.0, kilograms=dict.fromkeys(vehicle.corners, 50.0))
    script = Script(duration=600.0, events=(Engine(at=30.0, on=True), load))
    run = simulate(vehicle, script)
    assert run.truth is not None
    for corner, height in run.truth.heights.items():
        assert height.min() < -0.010, corner
        assert abs(height[-1]) < 0.013, corner
    assert run.codes == ()
    if vehicle.reservoir is not None:
        assert run.truth.valves["reservoir"].max() == 1.0
    assert set(run.trace().channels) <= set(run.channels)


def test_refuses_what_cannot_be() -> None:
    with pytest.raises(UnknownIdError, match="left"):
        with_fault(corners={"lefd": CornerFault(leak=1e-12)})
    with pytest.raises(DomainError, match="rate"):
        simulate(PAIR, Script(duration=1.0), rate=0.0)
    with pytest.raises(DomainError, match="Celsius"):
        Script(duration=1.0, ambient=-5.0)
