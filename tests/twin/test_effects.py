"""Every fault of the knowledge, put into the virtual vehicle, shows what the knowledge says."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import fields
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from sagtrace.bootstrap import virtual
from sagtrace.errors import DomainError, InputError, UnknownIdError
from sagtrace.physics.constants import R_AIR
from sagtrace.twin._effect_laws import NUMBERS, SWITCHES
from sagtrace.twin.effects import (
    Initial,
    PutIn,
    begin,
    draw_size,
    expressible,
    put_in,
    together,
)
from sagtrace.twin.faults import CornerFault, FaultParameters, SensorFault
from sagtrace.twin.script import Ambient, Door, Engine, Event, Load, Mode, Script
from sagtrace.twin.simulate import Simulation, simulate
from sagtrace.vehicle.system import base_id
from virtual_vehicles import LAYOUTS, standard_vehicle

EFFECTS = virtual().effects
PAIR = standard_vehicle("rear-pair")
HOUR = 3600.0
ENGINE = (Engine(at=5.0, on=True),)
LOADED = (*ENGINE, Load(at=10.0, kilograms={"left": 60.0, "right": 60.0}))
ML_MIN = 101_325.0 / (R_AIR * 293.15) * 1e-6 / 60.0  # [kg/s] in a mL/min at 20 °C and 1 atm
PAGE = (Path(__file__).parents[2] / "docs" / "virtual-vehicle.md").read_text()


def shown(
    fault: str,
    state: str = "present",
    *,
    layout: str = "rear-pair",
    seconds: float = 150.0,
    events: tuple[Event, ...] = LOADED,
    rate: float = 4.0,
    size: float = 1.0,
) -> Simulation:
    vehicle = standard_vehicle(layout)
    part = put_in(EFFECTS, vehicle, fault, state, size=size)
    faults, script = together([part], Script(duration=seconds, events=events))
    start = begin(vehicle, script, [part])
    return simulate(vehicle, script, faults=faults, rate=rate, start=start)


def healthy(seconds: float = 150.0, events: tuple[Event, ...] = LOADED) -> Simulation:
    return simulate(PAIR, Script(duration=seconds, events=events), rate=4.0)


def typical(node: str, state: str) -> float:
    """Centre of the quantity of a node in a state, in its own unit."""
    quantity = EFFECTS.nodes[node].quantity
    assert quantity is not None
    return quantity.states[state].centre


def states(layout: str) -> Iterator[tuple[str, str]]:
    for fault, node in EFFECTS.faults(layout).items():
        yield from ((fault, state) for state in node.state_ids[1:])


def codes(run: Simulation) -> list[str]:
    return [code.name for code in run.codes]


def end_heights(run: Simulation) -> list[float]:
    assert run.truth is not None
    return [float(height[-1]) for height in run.truth.heights.values()]


# --- every one


@pytest.mark.parametrize("layout", LAYOUTS)
def test_every_fault_in_every_state_is_put_in_and_simulated_or_says_why_not(layout: str) -> None:
    vehicle = standard_vehicle(layout)
    load = Load(at=20.0, kilograms=dict.fromkeys(vehicle.corners, 60.0))
    plain = Script(duration=60.0, events=(*ENGINE, load))
    left_out = {}
    for fault, state in states(layout):
        if reason := expressible(EFFECTS, fault, state):
            left_out[fault] = reason
            with pytest.raises(InputError, match=re.escape(reason)):
                put_in(EFFECTS, vehicle, fault, state)
            continue
        part = put_in(EFFECTS, vehicle, fault, state)
        assert part != PutIn(), (fault, state)
        faults, script = together([part], plain)
        start = begin(vehicle, script, [part])
        run = simulate(vehicle, script, faults=faults, rate=1.0, start=start)
        # A dead pressure sensor reports nothing.
        dead = fault == "pressure-sensor.wrong" and state == "dead"
        told = [c for role, c in run.channels.items() if not (dead and "pressure" in role)]
        assert all(np.isfinite(channel).all() for channel in told)
        assert run.balance.mass < 1e-9
    assert set(left_out) == {"other"}


def test_all_faults_of_a_vehicle_at_once() -> None:
    sound = ("pump.seized", "use.pump-pausing", "use.stored-code", "other")
    parts = [put_in(EFFECTS, PAIR, f, s) for f, s in states("rear-pair") if f not in sound]
    faults, script = together(parts, Script(duration=60.0, events=LOADED))
    run = simulate(PAIR, script, faults=faults)
    assert len(faults) > 40
    assert all(np.isfinite(channel).all() for channel in run.channels.values())


def test_what_an_effect_may_set_is_what_a_fault_can_change() -> None:
    kinds = {"": FaultParameters, "corner": CornerFault, "sensor": SensorFault}
    there = {
        f"{place}.{f.name}".removeprefix("."): f.type
        for place, kind in kinds.items()
        for f in fields(kind)
    }
    for name in NUMBERS:
        if name.partition(".")[0] not in ("script", "start"):
            assert there.pop(name) == "float", name
    for name in SWITCHES:
        if not name.startswith("script."):
            assert there.pop(name) == "bool", name
    assert set(there) == {"corners", "sensors"}


def test_the_page_names_what_is_not_modelled() -> None:
    reasons = {
        f"| {base_id(fault)} | {state} | {reason} |"
        for layout in LAYOUTS
        for fault, state in states(layout)
        if (reason := expressible(EFFECTS, fault, state))
    }
    _, _, *rows = re.findall(r"^\|.*\|.*\|.*\|$", PAGE, re.MULTILINE)
    assert set(rows) == reasons


def test_the_examples_of_the_page_work() -> None:
    names: dict[str, Any] = {}
    for example in re.findall(r"^```python\n(.*?)^```$", PAGE, re.DOTALL | re.MULTILINE):
        exec(example, names)
    assert names["answer"].values.keys() >= {"height-start", "height-end", "time"}
    run = names["run"]
    assert run.truth.heights["left"].min() < -0.01
    assert run.channels["pump.command"].max() == 1.0


# --- sizes are those of the knowledge


@pytest.mark.arithmetic("mL/min at 20 °C and 1 atm = dm/dt R T/p, from the gas mass in the spring")
@pytest.mark.parametrize("fault", ["spring.fold-leak", "spring.seal-leak", "line.fitting-leak"])
@pytest.mark.parametrize("state", ["slow", "fast", "heavy"])
@pytest.mark.parametrize(
    ("layout", "corner"), [("rear-pair", "left"), ("four-corner", "front-right")]
)
def test_a_leak_loses_what_the_knowledge_says(
    fault: str, state: str, layout: str, corner: str
) -> None:
    run = shown(f"{fault}@{corner}", state, layout=layout, events=(), seconds=120.0, size=1.3)
    assert run.truth is not None
    mass = run.truth.masses[corner]
    lost = (mass[0] - mass[-1]) / 120.0 / ML_MIN
    assert lost == pytest.approx(1.3 * typical("air.escape", state), rel=0.05)


@pytest.mark.parametrize("state", ["slow", "fast"])
def test_a_reservoir_loses_what_the_knowledge_says(state: str) -> None:
    run = shown(
        "reservoir.leak", state, layout="four-corner-reservoir", events=(), seconds=60.0, rate=1.0
    )
    assert run.truth is not None
    mass = run.truth.masses["reservoir"]
    lost = (mass[0] - mass[-1]) / 60.0 / ML_MIN
    assert lost == pytest.approx(typical("reservoir.loss", state), rel=0.05)


def test_a_leaking_valve_seat_lets_air_into_the_gallery_of_a_block_only() -> None:
    block = put_in(EFFECTS, standard_vehicle("four-corner"), "valve.leak-by@rear-left", "fast")
    own = put_in(EFFECTS, PAIR, "valve.leak-by@left", "fast")
    assert block.fault is not None
    assert own.fault is not None
    assert block.fault.change.corners["rear-left"].seat_leak > 0.0
    assert own.fault.change.corners["left"].leak > 0.0


def delivered(run: Simulation) -> float:
    """Air that came in for each second in which the pump was on [kg/s]."""
    on = float((run.channels["pump.command"] > 0.0).sum() * (run.time[1] - run.time[0]))
    return run.balance.mass_in / on


@pytest.mark.parametrize("fault", ["pump.worn", "intake.blocked"])
def test_a_weak_pump_gives_about_half(fault: str) -> None:
    whole = delivered(healthy())
    state = "worn" if fault == "pump.worn" else "present"
    share = delivered(shown(fault, state)) / whole
    assert share == pytest.approx(typical("pump.delivery", "weak") / 100.0, abs=0.08)


def test_a_spent_pump_gives_next_to_nothing_and_the_size_counts_from_healthy() -> None:
    whole = delivered(healthy())
    assert delivered(shown("pump.worn", "spent")) / whole < 0.2
    half_worn = delivered(shown("pump.worn", "worn", size=0.5)) / whole
    centre, full = typical("pump.delivery", "weak"), typical("pump.delivery", "full")
    assert half_worn == pytest.approx((centre + full) / 200.0, abs=0.08)


@pytest.mark.parametrize(
    "fault", ["relay.contacts", "connector.heat-damaged", "feed-wire.corroded", "ground.corroded"]
)
def test_a_joint_has_the_resistance_that_the_knowledge_says(fault: str) -> None:
    def loop(run: Simulation) -> float:
        """Ohms between battery and pump in the first second of running."""
        at = int(np.argmax(run.channels["pump.current"] > 0.0)) + 2
        lost = run.channels["supply"][at] - run.channels["pump.voltage"][at]
        return float(lost / run.channels["pump.current"][at])

    base = {
        "relay.contacts": PAIR.electrics.relay, "connector.heat-damaged": PAIR.electrics.connector,
        "feed-wire.corroded": PAIR.electrics.feed, "ground.corroded": PAIR.electrics.ground,
    }  # fmt: skip
    more = loop(shown(fault, "resistive")) - loop(healthy())
    assert more == pytest.approx(1e-3 * typical(fault, "resistive") - base[fault], rel=0.03)


def test_a_joint_smaller_than_the_healthy_one_changes_nothing() -> None:
    assert put_in(EFFECTS, PAIR, "relay.contacts", "resistive", size=0.05).fault is None


def test_a_weak_battery_sags_to_what_the_knowledge_says() -> None:
    run = shown("battery.weak", rate=10.0)
    running = run.channels["pump.current"] > 1.0
    assert running.any()
    lowest = float(run.channels["supply"][running].min())
    assert lowest == pytest.approx(typical("supply", "low"), abs=0.15)
    assert float(run.channels["supply"][~running].max()) < PAIR.electrics.rest_voltage_full


def test_a_saturated_dryer_holds_all_it_can_and_is_in_the_way() -> None:
    run, sound = shown("dryer.saturated"), healthy()
    assert run.truth is not None
    assert run.truth.water[-1] > PAIR.dryer.capacity
    assert delivered(run) < delivered(sound)
    assert run.channels["pump.current"].max() > sound.channels["pump.current"].max()


# --- consequences that can be seen


def test_a_seized_pump_draws_a_stalled_current_until_its_fuse_blows() -> None:
    run = shown("pump.seized", rate=100.0)
    stalled = PAIR.electrics.charging_voltage / (PAIR.pump.armature + 0.035)
    assert run.channels["pump.current"].max() == pytest.approx(stalled, rel=0.1)
    assert run.changes[:, 4].max() == 1.0  # the fuse
    assert run.balance.mass_in == 0.0


@pytest.mark.parametrize("fault", ["fuse.blown", "pump.motor-open", "relay.coil-open"])
def test_an_open_circuit_carries_nothing_though_the_pump_is_commanded(fault: str) -> None:
    run = shown(fault)
    assert run.channels["pump.command"].max() == 1.0
    assert run.channels["pump.current"].max() < 1e-3
    assert ("pump relay circuit open" in codes(run)) == (fault == "relay.coil-open")


def test_a_control_unit_that_does_not_command_leaves_the_pump_alone() -> None:
    run = shown("controller.no-command")
    assert run.channels["pump.command"].max() == 0.0
    assert max(end_heights(run)) < -PAIR.control.deadband_low


def test_a_stuck_relay_runs_the_pump_uncommanded() -> None:
    run = shown("relay.stuck-on", events=())
    assert run.channels["pump.command"].max() == 0.0
    assert run.channels["pump.current"].min() > 5.0


@pytest.mark.parametrize("fault", ["line.blocked", "valve.stuck-closed", "valve.coil-open"])
def test_a_corner_that_gets_no_air_stays_low(fault: str) -> None:
    run = shown(f"{fault}@left")
    left, right = end_heights(run)
    assert left < -0.008
    assert right > left + 0.008
    assert ("spring valve circuit open" in codes(run)) == (fault == "valve.coil-open")


def test_a_broken_link_reports_one_height_and_the_vehicle_goes_down() -> None:
    run = shown("sensor.link-broken", rate=2.0)
    seen = 1e3 * (run.channels["height.rear"] - PAIR.level)
    assert np.median(seen) == pytest.approx(typical("height.signal", "offset"), abs=1.0)
    assert np.std(seen) < 1.0
    assert max(end_heights(run)) < -0.05


def test_the_corner_of_a_sensor_fault_is_the_one_whose_sensor_lies() -> None:
    part = put_in(
        EFFECTS, standard_vehicle("four-corner"), "corner-sensor.worn@rear-left", "present"
    )
    assert part.fault is not None
    assert list(part.fault.change.sensors) == ["height.rear-left"]
    jumps = part.fault.change.sensors["height.rear-left"].jumps
    assert 1e3 * jumps == pytest.approx(typical("corner-signal", "noisy"))


def test_a_dead_sensor_sets_its_code_and_stops_the_levelling() -> None:
    run = shown("sensor.wiring")
    assert "height signal out of range" in codes(run)
    assert run.channels["pump.command"].max() == 0.0


def test_a_wrong_target_is_where_the_vehicle_goes() -> None:
    run = shown("controller.target-wrong", events=ENGINE)
    assert max(end_heights(run)) == pytest.approx(-0.03, abs=PAIR.control.deadband_high)


def test_switches_whose_plant_terms_are_told_elsewhere_are_set() -> None:
    vehicle = standard_vehicle("four-corner-reservoir")
    for fault, state, name in (
        ("relay.contacts", "open", "relay_open"),
        ("connector.heat-damaged", "open", "connector_open"),
        ("feed-wire.corroded", "open", "feed_open"),
        ("ground.corroded", "open", "ground_open"),
        ("pressure-sensor.wrong", "dead", "pressure_dead"),
        ("reservoir-valve.stuck-closed", "present", "reservoir_valve_stuck_closed"),
        ("reservoir-valve.coil-open", "present", "reservoir_valve_coil_open"),
    ):
        part = put_in(EFFECTS, vehicle, fault, state, onset=30.0)
        assert part.fault is not None
        assert getattr(part.fault.change, name) is True
        assert part.fault.onset == 30.0


def test_a_cold_night_lowers_a_tight_vehicle() -> None:
    run = shown("use.cold-night", events=(), seconds=8 * HOUR, rate=0.01)
    assert run.truth is not None
    assert run.channels["ambient"][-1] == pytest.approx(293.15 - 18.0, abs=0.1)
    assert max(end_heights(run)) < -6e-3
    assert run.balance.mass_out < 1e-6  # what stood in the gallery, at most


def test_a_mode_or_a_pause_holds_the_pump_off() -> None:
    assert shown("use.inhibited").channels["pump.command"].max() == 0.0
    run = shown("use.pump-pausing", seconds=900.0, rate=1.0)
    on = run.channels["pump.command"] > 0.0
    assert not on[run.time < 600.0].any()
    assert on.any()  # it only pauses


def test_an_overload_is_lifted_at_once_more_pressure() -> None:
    run = shown("use.overloaded", events=ENGINE)
    assert run.channels["pump.command"].max() == 1.0
    assert run.truth is not None
    extra = 150.0 * 9.80665 / PAIR.lever / PAIR.springs[0].area
    gained = run.truth.pressures["left"][-1] - run.truth.pressures["left"][0]
    assert gained == pytest.approx(extra, rel=0.1)


def test_a_stored_code_is_there_and_does_not_fail() -> None:
    run = shown("use.stored-code", events=ENGINE, seconds=30.0)
    (code,) = run.codes
    assert code.name == "level not reached in time"
    assert code.status.confirmed
    assert not code.status.test_failed


# --- sizes and spreads


@pytest.mark.parametrize(
    ("fault", "state", "median", "factor"),
    [
        ("spring.fold-leak@left", "slow", 1.0, 2.8),
        ("relay.contacts", "resistive", 1.0, 1.9),
        ("sensor.worn", "present", 1.0, 2.0),
    ],
)
def test_sizes_are_drawn_from_the_spread_of_the_knowledge(
    fault: str, state: str, median: float, factor: float
) -> None:
    rng = np.random.default_rng(3)
    logs = np.log([draw_size(EFFECTS, fault, state, rng) for _ in range(4000)])
    assert np.median(logs) == pytest.approx(math.log(median), abs=0.06)
    assert np.std(logs) == pytest.approx(math.log(factor), rel=0.05)


def test_a_normal_spread_counts_from_the_healthy_state() -> None:
    rng = np.random.default_rng(4)
    drawn = np.array([draw_size(EFFECTS, "pump.worn", "worn", rng) for _ in range(4000)])
    share = 98.0 - drawn * (98.0 - 48.0)
    assert np.mean(share) == pytest.approx(48.0, abs=0.8)
    assert np.std(share) == pytest.approx(15.0, rel=0.05)
    assert drawn.min() >= 0.0


def test_a_switch_has_no_size() -> None:
    rng = np.random.default_rng(0)
    assert draw_size(EFFECTS, "pump.seized", "present", rng) == 1.0
    assert put_in(EFFECTS, PAIR, "pump.seized", "present", size=0.0) == PutIn()


@pytest.mark.parametrize("size", [-1.0, math.nan, math.inf])
def test_refuses_what_is_no_size(size: float) -> None:
    with pytest.raises(DomainError, match="size"):
        put_in(EFFECTS, PAIR, "pump.worn", "worn", size=size)


def test_refuses_a_start_that_comes_later() -> None:
    with pytest.raises(DomainError, match=r"use\.pump-pausing is there at the start"):
        put_in(EFFECTS, PAIR, "use.pump-pausing", "present", onset=5.0)


@pytest.mark.parametrize(
    ("fault", "state", "match"),
    [
        ("spring.fold-leek@left", "slow", "spring.fold-leak@left"),
        ("spring.fold-leak", "slow", "Say which corner: spring.fold-leak@left"),
        ("spring.fold-leak@front-left", "slow", "spring.fold-leak@left"),
        ("reservoir.leak", "slow", "no fault 'reservoir.leak'"),
        ("spring.fold-leak@left", "slwo", "slow"),
        ("spring.fold-leak@left", "absent", "no unhealthy state"),
    ],
)
def test_refuses_an_id_that_the_vehicle_has_not(fault: str, state: str, match: str) -> None:
    with pytest.raises(UnknownIdError, match=re.escape(match)):
        put_in(EFFECTS, PAIR, fault, state)


def test_refuses_an_id_that_nothing_has() -> None:
    rng = np.random.default_rng(0)
    with pytest.raises(UnknownIdError, match=r"pump\.worn"):
        draw_size(EFFECTS, "pump.wornn", "worn", rng)
    with pytest.raises(UnknownIdError, match="worn"):
        expressible(EFFECTS, "pump.worn", "wron")


# --- together


def part(*events: Event) -> PutIn:
    return PutIn(events=events)


def test_without_events_the_script_stays_the_same() -> None:
    script = Script(duration=60.0, events=LOADED)
    faults, same = together([put_in(EFFECTS, PAIR, "pump.worn", "worn", onset=7.0)], script)
    assert same is script
    assert [fault.onset for fault in faults] == [7.0]


def test_loads_add_up() -> None:
    script = Script(
        duration=900.0,
        events=(
            Load(at=100.0, kilograms={"left": 50.0}),
            Load(at=300.0, kilograms={"left": 0.0}),
        ),
    )
    extra = Load(at=200.0, kilograms={"left": 30.0, "right": 20.0})
    _, both = together([part(extra), part(extra)], script)
    run = simulate(PAIR, both, rate=1.0)
    alone = simulate(
        PAIR,
        Script(duration=900.0, events=(Load(at=200.0, kilograms={"left": 60.0, "right": 40.0}),)),
        rate=1.0,
    )
    assert run.truth is not None
    assert alone.truth is not None
    for corner in PAIR.corners:
        a, b = run.truth.pressures[corner], alone.truth.pressures[corner]
        assert a[-1] == pytest.approx(b[-1], rel=1e-3)
    assert run.truth.pressures["left"][150] > alone.truth.pressures["left"][150]


def test_a_fall_of_temperature_counts_from_the_air_that_there_is() -> None:
    script = Script(
        duration=10 * HOUR, ambient=283.15, events=(Ambient(at=HOUR, to=288.15, over=2 * HOUR),)
    )
    night = put_in(EFFECTS, PAIR, "use.cold-night", "present", onset=2 * HOUR)
    _, both = together([night], script)
    air = simulate(PAIR, both, rate=0.01).channels["ambient"]
    at = [int(h * HOUR * 0.01) for h in (1, 2, 3, 10)]
    expected = [283.15, 285.65, 288.15 - 18.0 / 8, 288.15 - 18.0]
    assert list(air[at]) == pytest.approx(expected, abs=0.02)


def test_what_a_fault_holds_the_script_no_longer_lets_go() -> None:
    opened = (Door(at=5.0, open=True), Door(at=20.0, open=False))
    script = Script(duration=60.0, events=(*opened, Mode(at=3.0, on=False)))
    _, held = together([part(Door(at=10.0, open=True))], script)
    doors = [event for event in held.events if isinstance(event, Door)]
    assert doors == [opened[0], Door(at=10.0, open=True)]
    assert Mode(at=3.0, on=False) in held.events


def test_of_two_starts_the_worse_one_counts() -> None:
    hot = [PutIn(initial=Initial(head=20.0, credit=50.0)), PutIn(initial=Initial(head=80.0))]
    state = begin(PAIR, Script(duration=1.0, ambient=280.0), hot)
    assert 360.0 in state.values
    sound = begin(PAIR, Script(duration=1.0, ambient=280.0), [])
    assert 360.0 not in sound.values
