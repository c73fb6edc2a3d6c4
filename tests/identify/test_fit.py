"""The virtual vehicle fitted to recordings of which the truth is known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sagtrace.errors import EvidenceError, UnknownIdError
from sagtrace.signals.trace import Trace
from sagtrace.twin.faults import CornerFault, FaultParameters, TimedFault
from sagtrace.twin.health import leak_conductance
from sagtrace.twin.identify.commands import commands_of
from sagtrace.twin.identify.fit import fit, search
from sagtrace.twin.identify.problem import Problem
from sagtrace.twin.identify.result import Fit, Tape
from sagtrace.twin.identify.unknowns import Spreads
from sagtrace.twin.parameters import VehicleParameters
from sagtrace.twin.plant import C_PUMP, C_VENT_CMD
from sagtrace.twin.replay import replay
from sagtrace.twin.script import Ambient, Load, Script
from sagtrace.twin.simulate import Simulation, simulate
from virtual_vehicles import standard_vehicle

PAIR, FOUR = standard_vehicle("rear-pair"), standard_vehicle("four-corner")
EXACT = Spreads(area=1e-3, volume=1e-3, lever=1e-3, load=1e-3, heat=1e-3, roll=1e-3, sides=1e-3)
WIDE = Spreads(area=0.115, volume=0.115, lever=0.03, load=0.06, sides=0.03)
ML_MIN = 1e-6 / 60.0
COOLING = (Ambient(at=10.0, to=286.0, over=3000.0),)


def leaking(vehicle: VehicleParameters, **corners: float) -> TimedFault:
    """Return leaks in mL/min at 20 °C and 1 atm."""
    changes = {}
    for name, size in corners.items():
        corner = name.replace("_", "-")
        spring = next(s for s in vehicle.springs if s.corner == corner)
        pressure = vehicle.surroundings.barometer + spring.load / spring.area
        changes[corner] = CornerFault(leak=leak_conductance(vehicle, size * ML_MIN, pressure))
    return TimedFault(name="leak", change=FaultParameters(corners=changes))


def drive(
    vehicle: VehicleParameters, fault: TimedFault, *, duration: float = 3600.0, seed: int = 1,
    more: tuple[Load, ...] = (),
) -> Simulation:  # fmt: skip
    script = Script(duration=duration, engine=True, ambient=290.0, events=(*COOLING, *more))
    return simulate(vehicle, script, faults=(fault,), rate=2.0, seed=seed)


def weaker(vehicle: VehicleParameters, share: float) -> VehicleParameters:
    pump = replace(vehicle.pump, swept_volume=vehicle.pump.swept_volume * share)
    return replace(vehicle, pump=pump)


def fitted(base: VehicleParameters, trace: Trace, spreads: Spreads, *tapes: Tape) -> Fit:
    return fit(base, trace, np.random.default_rng(0), spreads=spreads, tapes=tapes)


@pytest.mark.parametrize(("size", "share"), [(15.0, 1.0), (100.0, 0.8), (600.0, 0.5)])
def test_a_known_vehicle_gives_leak_and_pump(size: float, share: float) -> None:
    run = drive(weaker(PAIR, share), leaking(PAIR, left=size))
    found = fitted(PAIR, run.trace(), EXACT)
    assert found.settled
    assert found.misfit < 1.0
    assert found.leaks["axle"].value / ML_MIN == pytest.approx(size, rel=0.04)
    if size > 50.0:
        assert found.pump is not None
        assert found.pump.value == pytest.approx(share, abs=0.03)


def test_an_unknown_geometry_is_in_the_interval() -> None:
    springs = tuple(replace(s, area=0.9 * s.area, load=1.05 * s.load) for s in PAIR.springs)
    true = replace(PAIR, springs=springs, lever=1.02 * PAIR.lever)
    run = drive(true, leaking(true, right=250.0))
    found = fitted(PAIR, run.trace(), WIDE)
    axle = found.leaks["axle"]
    assert axle.low < 250.0 * ML_MIN < axle.high
    assert 0.02 < axle.std / axle.value < 0.2


def test_sides_are_told_by_tapes_alone() -> None:
    run = drive(PAIR, leaking(PAIR, left=60.0))
    assert run.truth is not None
    blind = fitted(PAIR, run.trace(), WIDE)
    assert not blind.leaks["left"].told
    assert blind.leaks["left"].low == 0.0
    assert any("cannot be told apart" in note for note in blind.notes)
    assert "tape the height at left and right" in blind.wanted
    tapes = [
        Tape(time=float(run.time[i]), corner=c, height=PAIR.level + float(h[i]), std=1e-3)
        for c, h in run.truth.heights.items()
        for end in (10, len(run.time) - 10)
        for i in (end - 4, end, end + 4)
    ]
    told = fitted(PAIR, run.trace(), WIDE, *tapes)
    assert told.leaks["left"].value > 3.0 * told.leaks["right"].value
    assert told.leaks["left"].low < 60.0 * ML_MIN < told.leaks["left"].high


def test_corners_with_sensors_of_their_own() -> None:
    run = drive(FOUR, leaking(FOUR, front_right=120.0), duration=1800.0)
    found = fitted(FOUR, run.trace(), WIDE)
    assert found.leaks["front-right"].low < 120.0 * ML_MIN < found.leaks["front-right"].high
    for corner in ("front-left", "rear-left", "rear-right"):
        assert found.leaks[corner].high < 20.0 * ML_MIN


def test_a_tight_vehicle_has_no_leak_above_a_few() -> None:
    found = fitted(PAIR, drive(PAIR, leaking(PAIR, left=0.0)).trace(), WIDE)
    assert found.leaks["axle"].high < 6.0 * ML_MIN
    assert found.pump is None
    assert any("hardly ran" in note for note in found.notes)


def test_outliers_jitter_gaps_and_somebody_getting_in() -> None:
    load = Load(at=1500.0, kilograms=dict.fromkeys(PAIR.corners, 15.0))
    run = drive(PAIR, leaking(PAIR, left=100.0), more=(load,))
    rng = np.random.default_rng(3)
    kept = (run.time < 700.0) | (run.time > 712.0)
    height = run.channels["height.rear"].copy()
    spikes = rng.choice(len(height), len(height) // 50, replace=False)
    height[spikes] += rng.normal(0.0, 0.05, len(spikes))
    channels = {**run.trace().channels, "height.rear": height}
    time = run.time + rng.uniform(-0.1, 0.1, len(run.time))
    trace = Trace(time=time[kept], channels={r: v[kept] for r, v in channels.items()})
    axle = fitted(PAIR, trace, WIDE).leaks["axle"]
    assert axle.value / ML_MIN == pytest.approx(100.0, rel=0.2)


@pytest.fixture(scope="module")
def leaky() -> Trace:
    return drive(PAIR, leaking(PAIR, left=250.0), duration=1800.0).trace()


def test_a_rough_recording_widens_what_is_told(leaky: Trace) -> None:
    swaying = leaky.channels["height.rear"] + 5e-4 * np.sin(leaky.time / 3.0)
    # With a known geometry, because its spread would hide that of the recording.
    rough = fitted(PAIR, replace(leaky, channels={**leaky.channels, "height.rear": swaying}), EXACT)
    calm = fitted(PAIR, leaky, EXACT)
    assert calm.misfit < 1.0 < 1.5 < rough.misfit
    assert rough.leaks["axle"].std > 1.1 * calm.leaks["axle"].std
    assert any("times as rough" in note for note in rough.notes)


def test_a_bad_start_ends_at_the_same_answer(leaky: Trace) -> None:
    def found(*, bad: bool) -> tuple[float, float, float]:
        problem = Problem(PAIR, leaky, WIDE, ())
        start = problem.guess()
        if bad:
            start[problem.unknowns.places(["leak.left", "leak.right"])] *= 8.0
            start[problem.unknowns.at("pump")], start[problem.unknowns.at("area")] = -1.5, 0.3
        solution = search(problem, start)
        assert solution.settled
        at = problem.unknowns.places(["leak.left", "leak.right"])
        std = np.sqrt(solution.covariance(problem.unknowns.prior)[np.ix_(at, at)].sum())
        return float(solution.parameters[at].sum()), float(std), solution.cost

    (good, std, cost), (other, _, other_cost) = found(bad=False), found(bad=True)
    assert other == pytest.approx(good, abs=0.3 * std)
    assert other_cost == pytest.approx(cost, abs=0.5)


def test_the_commands_of_single_samples_are_their_own() -> None:
    time = np.array([0.0, 1.1, 1.9, 3.1, 3.9, 5.0, 6.2, 6.9, 8.1, 9.0])
    pump = np.array([0, 0, 1, 1, 0, 0, 1, 0, 0, 0.0])
    vent = np.array([0, 0, 0, 0, 1, 0, 0, 0, 0, 0.0])
    height = np.full(len(time), 0.4)
    channels = {"pump.command": pump, "vent.command": vent, "height.rear": height}
    channels |= {"valve.left": pump, "valve.right": pump}
    commands = commands_of(Trace(time=time, channels=channels), PAIR)
    middle = 0.5 * (commands.edges[1:] + commands.edges[:-1])
    for t, on, out in zip(time, pump, vent, strict=True):
        k = int(np.searchsorted(commands.edges, t, side="right")) - 1
        k = min(k, len(middle) - 1)
        assert (commands.table[k, C_PUMP], commands.table[k, C_VENT_CMD]) == (on, out)


def test_a_vent_between_two_samples_is_put_in() -> None:
    time = np.arange(0.0, 60.0, 1.2)
    pump = ((time > 10.0) & (time < 15.0)) | ((time > 40.0) & (time < 45.0))
    vent = np.zeros(len(time))
    vent[np.flatnonzero(np.diff(pump.astype(float)) < 0.0)[0] + 1] = 1.0  # the second is unseen
    channels = {"pump.command": pump.astype(float), "vent.command": vent}
    channels |= {"height.rear": np.full(len(time), 0.4)}
    channels |= {"valve.left": pump.astype(float), "valve.right": pump.astype(float)}
    commands = commands_of(Trace(time=time, channels=channels), PAIR)
    vents = commands.table[:, C_VENT_CMD] > 0.0
    assert np.count_nonzero(vents) == 2
    assert np.all(commands.table[vents, C_PUMP] == 0.0)
    long = np.diff(commands.edges)[vents]
    assert long[1] == pytest.approx(PAIR.control.relief, abs=0.3)


def test_what_cannot_be_fitted_is_refused() -> None:
    run = drive(PAIR, leaking(PAIR, left=100.0), duration=900.0)
    channels = dict(run.trace().channels)
    swaying = channels["height.rear"] + 0.01 * np.sin(run.time / 3.0)
    with pytest.raises(EvidenceError, match="does not describe this recording"):
        fitted(PAIR, Trace(time=run.time, channels={**channels, "height.rear": swaying}), WIDE)
    del channels["pump.command"]
    with pytest.raises(EvidenceError, match=r"no channel pump\.command"):
        fitted(PAIR, Trace(time=run.time, channels=channels), WIDE)
    del channels["height.rear"]
    with pytest.raises(EvidenceError, match=r"no channel height\.rear"):
        fitted(PAIR, Trace(time=run.time, channels=channels), WIDE)
    with pytest.raises(UnknownIdError, match="corner"):
        fitted(PAIR, run.trace(), WIDE, Tape(time=1.0, corner="front", height=0.4))
    short = {role: values[:10] for role, values in run.trace().channels.items()}
    with pytest.raises(EvidenceError, match="too short"):
        fitted(PAIR, Trace(time=run.time[:10], channels=short), WIDE)


def test_a_replay_of_the_true_commands_is_the_run() -> None:
    fault = leaking(PAIR, left=300.0)
    run = simulate(
        PAIR, Script(duration=900.0, engine=True, ambient=288.15), faults=(fault,), rate=20.0
    )
    assert run.truth is not None
    commands = commands_of(run.trace(), PAIR)
    again = replay(PAIR, commands, start=[0.0, 0.0], rate=1.0, faults=(fault,), rtol=1e-6)
    for i, corner in enumerate(PAIR.corners):
        # A command is known to a twentieth of a second, at some 3 mm/s.
        assert again.heights[i] == pytest.approx(run.truth.heights[corner][::20], abs=1.5e-3)
