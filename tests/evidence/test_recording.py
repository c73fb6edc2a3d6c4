"""What a recording says: recovered from invented vehicles whose truth is known, and laws."""

from __future__ import annotations

import importlib.util
import sys
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
from numpy.typing import NDArray

from sagtrace.adapters.files import read_csv_recording
from sagtrace.errors import InputError
from sagtrace.evidence.facts import Facts, read_facts
from sagtrace.evidence.findings import Finding
from sagtrace.evidence.recording import RecordingReport, read_recording
from sagtrace.physics.estimate import Estimate
from sagtrace.signals.trace import Trace
from sagtrace.vehicle.system import System

Array = NDArray[np.float64]

DEMO = Path(__file__).parents[2] / "src/sagtrace/demo/recording.csv"
TOOL = Path(__file__).parents[2] / "tools" / "make_demo_recording.py"
TRUE_LEAK, TRUE_HEALTH = 1100.0, 45.0  # mL/min, %


@pytest.fixture(scope="module")
def facts(system: System) -> Facts:
    return read_facts(system.layout, {})


@pytest.fixture(scope="module")
def tool() -> ModuleType:
    spec = importlib.util.spec_from_file_location("make_demo_recording", TOOL)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def demo() -> Trace:
    return read_csv_recording(DEMO.read_bytes(), "recording.csv")


@pytest.fixture(scope="module")
def report(system: System, facts: Facts, demo: Trace) -> RecordingReport:
    return read_recording(system, demo, facts, id="rec-1")


def by_part(report: RecordingReport) -> Mapping[str, Finding]:
    return {finding.id.rpartition(".")[2]: finding for finding in report.findings}


def estimate(finding: Finding) -> Estimate:
    assert finding.estimate is not None
    return finding.estimate


def codes(finding: Finding) -> set[str]:
    return {caveat.code for caveat in finding.caveats}


def exactly(facts: Facts, **values: float) -> Facts:
    """Return the facts without spread, some of them set."""
    known = {name: replace(fact, std=0.0) for name, fact in facts.values.items()}
    for name, value in values.items():
        id_ = name.replace("_", "-")
        known[id_] = replace(known[id_], value=value)
    return Facts(values=known, assumed=())


def without(trace: Trace, *roles: str) -> Trace:
    kept = {role: values for role, values in trace.channels.items() if role not in roles}
    return Trace(time=trace.time, channels=kept)


def changed(trace: Trace, **channels: Array) -> Trace:
    named = {role.replace("_", "."): values for role, values in channels.items()}
    return Trace(time=trace.time, channels={**trace.channels, **named})


def still(rate: float, *, minutes: float = 20.0, noise: float = 2e-4, seed: int = 3) -> Trace:
    """Return a vehicle at rest whose mean height changes by `rate` [m/s]."""
    t = np.arange(0.0, 60.0 * minutes, 0.5)
    height = 0.4 + rate * t + np.random.default_rng(seed).normal(0.0, noise, t.shape)
    flat = np.ones_like(t)
    return Trace(
        time=t,
        channels={"height.rear": height, "pump.command": 0.0 * flat, "ambient": 282.15 * flat},
    )


# --- the demo


def test_the_demo_is_recovered_within_its_own_interval(report: RecordingReport) -> None:
    found = by_part(report)
    assert set(found) == {"leak", "pump", "duty", "rear"}  # the last is the audit of height.rear
    low, high = estimate(found["leak"]).interval()
    assert low < TRUE_LEAK < high
    low, high = estimate(found["pump"]).interval()
    assert low < TRUE_HEALTH < high


def test_the_demo_reads_as_what_it_is(report: RecordingReport, system: System) -> None:
    for part, node, state in (
        ("leak", "air.escape-axle", "heavy"),
        ("pump", "pump.delivery", "weak"),
        ("duty", "overrun", "excessive"),
    ):
        finding = by_part(report)[part]
        likely = dict(zip(system.nodes[node].state_ids, finding.likelihood, strict=True))
        assert finding.target == node
        assert finding.source == "rec-1"
        assert likely[state] == 1.0
        assert sum(likely.values()) < 1.5
        assert finding.fit > 0.05


def test_the_spread_says_that_the_vehicle_data_set_it(report: RecordingReport) -> None:
    for part in ("leak", "pump"):
        assert "vehicle-data" in codes(by_part(report)[part])
    assert "one-axle-sensor" in codes(by_part(report)["leak"])


def test_recordings_are_recovered_with_the_true_vehicle_data(
    system: System, facts: Facts, tool: ModuleType
) -> None:
    """With exact facts only the recording's own spread is left, a fiftieth for the leak."""
    truth = tool.Truth()
    known = exactly(
        facts,
        spring_area=truth.area,
        spring_pressure=truth.gauge,
        lever_ratio=truth.lever,
        pump_delivery=truth.delivery,
        pump_clearance=truth.clearance,
        pump_current=truth.current,
        armature=truth.armature,
        barometer=truth.barometer,
    )
    z: dict[str, list[float]] = {"leak": [], "pump": []}
    for seed in range(12):
        csv = tool.recorded(truth, seed).encode()
        found = by_part(read_recording(system, read_csv_recording(csv, "r.csv"), known, id="r"))
        for part, true in (("leak", TRUE_LEAK), ("pump", TRUE_HEALTH)):
            e = estimate(found[part])
            assert e.std < 0.07 * true
            assert "vehicle-data" not in codes(found[part])
            z[part].append((e.value - true) / e.std)
    for part, values in z.items():
        assert np.max(np.abs(values)) < 1.96, part


def test_the_tool_makes_the_same_bytes_twice(tool: ModuleType, tmp_path: Path) -> None:
    truth = tool.Truth()
    assert tool.recorded(truth, tool.SEED) == tool.recorded(truth, tool.SEED)
    assert tool.recorded(truth, tool.SEED) != tool.recorded(truth, tool.SEED + 1)


@pytest.mark.regression
def test_the_shipped_demo_is_what_the_tool_makes(tool: ModuleType) -> None:
    made = tool.recorded(tool.Truth(), tool.SEED).encode()
    assert made == DEMO.read_bytes()
    assert len(made) < 150_000


# --- the leak


@pytest.mark.arithmetic("2 · 600 kPa · 110 cm² · 0.9 · 0.1 mm/s · 293.15/282.15 / 101 325 Pa")
def test_a_leak_by_hand(system: System, facts: Facts) -> None:
    """The product is 1.188 Pa m³/s, at 20 °C and 1 atm 12.182 cm³/s, or 730.9 mL/min."""
    trace = still(-1e-4, minutes=8.0, noise=1e-6)
    found = by_part(read_recording(system, trace, exactly(facts, bump_travel=1.0), id="r"))
    assert estimate(found["leak"]).value == pytest.approx(730.9, rel=2e-3)
    assert estimate(found["leak"]).unit == "mL/min"


def test_a_tight_axle_reads_tight(system: System, facts: Facts) -> None:
    found = by_part(read_recording(system, still(0.0), facts, id="r"))
    e = estimate(found["leak"])
    assert abs(e.value) < 2.0 * e.std
    assert e.std < 3.0
    assert found["leak"].likelihood[3] < 0.05


def test_cooling_alone_is_not_a_leak(system: System, facts: Facts) -> None:
    """A tight spring of 1.8 L and 110 cm² shrinks by V/A dT/T: with 3 K of cooling 1.7 mm."""
    minutes, fall = 20.0, 3.0
    t = np.arange(0.0, 60.0 * minutes, 0.5)
    ambient = 285.15 - fall * t / t[-1]
    sunk = (1.8e-3 / 110e-4) * (ambient - ambient[0]) / ambient[0] / 0.9
    trace = changed(still(0.0, minutes=minutes, noise=1e-5), ambient=ambient)
    trace = changed(trace, height_rear=trace.channels["height.rear"] + sunk)
    e = estimate(by_part(read_recording(system, trace, exactly(facts), id="r"))["leak"])
    assert abs(e.value) < 0.3
    blind = estimate(
        by_part(read_recording(system, without(trace, "ambient"), exactly(facts), id="r"))["leak"]
    )
    assert blind.value > 5.0
    assert blind.std > e.std


def test_without_a_temperature_the_leak_is_wider_and_says_so(system: System, facts: Facts) -> None:
    warm = by_part(read_recording(system, still(0.0), facts, id="r"))["leak"]
    blind = by_part(read_recording(system, without(still(0.0), "ambient"), facts, id="r"))["leak"]
    assert estimate(blind).std > 1.5 * estimate(warm).std
    assert "no-temperature" in codes(blind) - codes(warm)


def test_rests_that_disagree_widen_the_leak(
    system: System, facts: Facts, demo: Trace, report: RecordingReport
) -> None:
    t, height = demo.time, demo.channels["height.rear"].copy()
    late = t > t[-1] / 2.0
    height[late] -= 5e-5 * (t[late] - t[late][0])  # the leak grows in the second half
    grown = by_part(read_recording(system, changed(demo, height_rear=height), facts, id="r"))
    assert "disagree" in codes(grown["leak"])
    assert "disagree" not in codes(by_part(report)["leak"])


def test_a_fall_towards_the_stop_says_at_least(system: System, facts: Facts) -> None:
    trace = still(-1e-4, minutes=12.0)
    found = by_part(read_recording(system, trace, facts, id="r"))["leak"]
    assert "bump-stop" in codes(found)
    assert "at least" in found.text


def test_a_rest_with_a_load_change_is_left_out(system: System, facts: Facts) -> None:
    trace = still(-2e-5)
    height = trace.channels["height.rear"].copy()
    height[1500:] -= 0.02
    report = read_recording(system, changed(trace, height_rear=height), facts, id="r")
    assert set(by_part(report)) == {"rear"}  # the audit of the signal, and no leak
    assert any("did not run straight" in note for note in report.notes)


# --- the pump


def test_the_leak_is_added_back_to_the_pump(
    system: System, facts: Facts, demo: Trace, report: RecordingReport
) -> None:
    """Without rests the rise alone is left: 1.365 of 1.512 mm/s, so a tenth less."""
    t = demo.time
    fills = demo.channels["pump.command"] > 0.5
    near = np.convolve(fills, np.ones(81), mode="same") > 0.0
    assert near[t > 210.0].any()
    command = np.where(near, demo.channels["pump.command"], np.nan)
    blind = by_part(read_recording(system, changed(demo, pump_command=command), facts, id="r"))
    assert "leak" not in blind
    assert "leak-unknown" in codes(blind["pump"])
    assert "at least" in blind["pump"].text
    ratio = estimate(blind["pump"]).value / estimate(by_part(report)["pump"]).value
    assert ratio == pytest.approx(1.365 / 1.512, abs=0.02)


def test_a_weak_feed_is_not_a_worn_pump(system: System, facts: Facts, demo: Trace) -> None:
    """The same rise at a lower voltage is a better pump."""
    low = changed(demo, pump_voltage=0.75 * demo.channels["pump.voltage"])
    at_proper = by_part(read_recording(system, demo, facts, id="r"))["pump"]
    at_low = by_part(read_recording(system, low, facts, id="r"))["pump"]
    assert estimate(at_low).value > 1.2 * estimate(at_proper).value


def test_a_pump_without_voltage_is_not_judged(system: System, facts: Facts, demo: Trace) -> None:
    dead = changed(demo, pump_voltage=0.0 * demo.channels["pump.voltage"])
    report = read_recording(system, dead, facts, id="r")
    assert "pump" not in by_part(report)
    assert any("look at its feed" in note for note in report.notes)


def test_an_unrecorded_pump_voltage_is_allowed_for(
    system: System, facts: Facts, demo: Trace
) -> None:
    supply = by_part(read_recording(system, without(demo, "pump.voltage"), facts, id="r"))["pump"]
    nothing = by_part(
        read_recording(system, without(demo, "pump.voltage", "supply"), facts, id="r")
    )["pump"]
    assert "no-pump-voltage" in codes(supply)
    assert "no-supply" in codes(nothing)
    for finding in (supply, nothing):
        low, high = estimate(finding).interval()
        assert low < TRUE_HEALTH < high


# --- duty and the rest


def test_duty_is_that_of_the_commands_while_awake(demo: Trace, report: RecordingReport) -> None:
    awake = demo.channels["engine"] > 0.5
    share = float(demo.channels["pump.command"][awake].mean())
    assert estimate(by_part(report)["duty"]).value == pytest.approx(100.0 * share, rel=2e-3)
    whole = float(demo.channels["pump.command"].mean())
    assert report.run_share == pytest.approx(whole, rel=2e-3)


def test_duty_is_not_judged_from_a_short_look(system: System, facts: Facts, demo: Trace) -> None:
    part = demo.time < 800.0
    short = Trace(time=demo.time[part], channels={k: v[part] for k, v in demo.channels.items()})
    report = read_recording(system, short, facts, id="r")
    assert "duty" not in by_part(report)
    assert any("it takes 15" in note for note in report.notes)


def test_duty_is_not_judged_after_lowering(system: System, facts: Facts, demo: Trace) -> None:
    vent = np.zeros_like(demo.time)
    vent[1000:1004] = 1.0
    report = read_recording(system, changed(demo, vent_command=vent), facts, id="r")
    assert "duty" not in by_part(report)
    assert any("was lowered" in note for note in report.notes)


def test_a_pump_that_never_runs_counts_only_if_the_control_was_awake(
    system: System, facts: Facts
) -> None:
    trace = still(0.0)
    assert "duty" not in by_part(read_recording(system, trace, facts, id="r"))
    awake = changed(trace, engine=np.ones_like(trace.time))
    duty = by_part(read_recording(system, awake, facts, id="r"))["duty"]
    assert estimate(duty).value == 0.0
    assert duty.likelihood[0] == 1.0


def test_a_stuck_height_says_nothing(system: System, facts: Facts, demo: Trace) -> None:
    stuck = changed(demo, height_rear=np.full_like(demo.time, 0.4))
    report = read_recording(system, stuck, facts, id="r")
    found = by_part(report)
    assert set(found) == {"duty", "rear"}
    rear = found["rear"]
    states = dict(zip(system.node(rear.target).state_ids, rear.likelihood, strict=True))
    assert states["agrees"] < 0.1 * states["invalid"]
    assert any("may be stuck" in note for note in report.notes)


def test_missing_samples_are_told(system: System, facts: Facts, demo: Trace) -> None:
    height = demo.channels["height.rear"].copy()
    height[::7] = np.nan
    holed = read_recording(system, changed(demo, height_rear=height), facts, id="r")
    assert any(f"{np.isnan(height).sum()} samples" in note for note in holed.notes)
    low, high = estimate(by_part(holed)["leak"]).interval()
    assert low < TRUE_LEAK < high


def test_what_is_needed_is_asked_for(system: System, facts: Facts, demo: Trace) -> None:
    with pytest.raises(InputError, match=r"no height of this vehicle, which are height\.rear"):
        read_recording(system, without(demo, "height.rear"), facts, id="r")
    with pytest.raises(InputError, match=r"no channel pump\.command"):
        read_recording(system, without(demo, "pump.command"), facts, id="r")
