"""Wear over weeks, and many scenarios at once."""

from __future__ import annotations

import numpy as np
import pytest
from fault_scenarios import random_scenario

from sagtrace.errors import DomainError
from sagtrace.twin.batch import Scenario, simulate_many
from sagtrace.twin.faults import CornerFault, FaultParameters, TimedFault
from sagtrace.twin.script import Engine, Script
from sagtrace.twin.simulate import Simulation, simulate
from sagtrace.twin.wear import Wear, WearLaw, Week, wear_of, weeks_of_use
from virtual_vehicles import standard_vehicle

HOUR = 3600.0
PAIR = standard_vehicle("rear-pair")
DAY = Script(
    duration=24 * HOUR, ambient=288.15,
    events=(Engine(at=8 * HOUR, on=True), Engine(at=16 * HOUR, on=False)),
)  # fmt: skip


def life(size: float, weeks: int, law: WearLaw | None = None) -> tuple[Week, ...]:
    leak = TimedFault(name="leak", change=FaultParameters(corners={"left": CornerFault(leak=size)}))
    # A week counted as four, so that half a year is a few simulated days.
    return weeks_of_use(PAIR, DAY, faults=(leak,), weeks=weeks, law=law, per_week=28.0)


def test_a_leak_left_alone_wears_pump_and_connector() -> None:
    leaky, tight = life(4e-11, 7), life(0.0, 2)
    rings = [week.wear.ring for week in leaky]
    assert np.all(np.diff(rings) > 0.0)
    assert leaky[-1].wear.connector > 5e-3
    assert leaky[-1].hottest_connector > leaky[0].hottest_connector + 3.0
    assert tight[-1].wear == Wear()  # it never ran
    # What has grown costs delivery: a fill takes longer on the last day than on the first.
    first, last = leaky[0].running / leaky[0].starts, leaky[-1].running / leaky[-1].starts
    assert last > 1.1 * first


def test_wear_is_faster_when_hot() -> None:
    run = simulate(
        PAIR, Script(duration=600.0, engine=True), rate=2.0,
        faults=(TimedFault(name="on", change=FaultParameters(relay_stuck_on=True)),),
    )  # fmt: skip
    cool, hot = WearLaw(), WearLaw(head_reference=WearLaw().head_reference - 15.0)
    assert wear_of(run, hot).ring == pytest.approx(2.0 * wear_of(run, cool).ring, rel=1e-12)


def test_wear_needs_the_truth() -> None:
    run = simulate(PAIR, Script(duration=10.0), truth=False)
    with pytest.raises(DomainError, match="truth=True"):
        wear_of(run, WearLaw())


def lowest(run: Simulation) -> float:
    return float(min(values.min() for role, values in run.channels.items() if "height" in role))


def test_a_batch_keeps_order_and_numbers_whatever_the_workers() -> None:
    scenarios = []
    for seed in range(24):
        vehicle, script, faults = random_scenario(seed)
        scenarios.append(Scenario(vehicle=vehicle, script=script, faults=faults, seed=seed))
    told: list[int] = []
    two = list(simulate_many(scenarios, lowest, workers=2, progress=told.append))
    one = list(simulate_many(scenarios, lowest, workers=1))
    assert two == one
    assert told == list(range(1, 25))
    assert len(set(two)) > 10
