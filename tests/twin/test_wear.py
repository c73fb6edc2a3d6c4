"""Wear over weeks, and many scenarios at once."""

from __future__ import annotations

import numpy as np
import pytest
from fault_scenarios import random_scenario

from sagtrace.errors import DomainError
from sagtrace.twin.batch import Scenario, simulate_many
from sagtrace.twin.faults import CornerFault, FaultParameters, TimedFault
from sagtrace.twin.script import Engine, Event, Load, Script
from sagtrace.twin.simulate import Simulation, simulate
from sagtrace.twin.wear import Wear, WearLaw, wear_of, weeks_of_use
from sagtrace.vehicle.knowledge import Knowledge
from sagtrace.vehicle.nodes import Spread
from virtual_vehicles import standard_vehicle

HOUR = 3600.0
MONTH = 28.0  # days; half a year is a few simulated days
PAIR = standard_vehicle("rear-pair")
RIDE = Engine(at=8 * HOUR, on=True), Engine(at=16 * HOUR, on=False)
PASSENGERS = tuple(
    Load(at=at * HOUR, kilograms=dict.fromkeys(PAIR.corners, mass))
    for at, mass in ((8.5, 60.0), (9.5, 0.0), (14.0, 60.0), (15.0, 0.0))
)


def day(*events: Event) -> Script:
    return Script(duration=24 * HOUR, ambient=288.15, events=events)


def state_of(knowledge: Knowledge, fault: str, value: float) -> str:
    """Return in which of a fault's states this value is the most probable."""
    quantity = next(f.quantity for f in knowledge.faults if f.id == fault)
    assert quantity is not None
    assert quantity.unit == "mΩ"

    def density(spread: Spread) -> float:
        width = np.log(spread.width)
        return float(-0.5 * (np.log(1e3 * value / spread.centre) / width) ** 2 - np.log(width))

    return max(quantity.states, key=lambda state: density(quantity.states[state]))


def test_a_leak_left_alone_makes_the_faults_that_come_after_it(knowledge: Knowledge) -> None:
    """Half a year with a leak that the pump cannot keep up with: pump, plug and relay suffer."""
    leak = CornerFault(leak=2e-10)
    fault = TimedFault(name="leak", change=FaultParameters(corners={"left": leak}))
    weeks = weeks_of_use(PAIR, day(*RIDE), faults=(fault,), weeks=7, per_week=MONTH, rate=0.5)
    start, end = weeks[0], weeks[-1]
    electrics = PAIR.electrics
    assert state_of(knowledge, "connector.heat-damaged", electrics.connector) == "absent"
    assert state_of(knowledge, "relay.contacts", electrics.relay) == "absent"
    plug, relay = electrics.connector + end.wear.connector, electrics.relay + end.wear.contacts
    assert state_of(knowledge, "connector.heat-damaged", plug) == "resistive"
    assert state_of(knowledge, "relay.contacts", relay) == "resistive"
    # "gives about half of what it should" is how the knowledge describes a worn pump.
    assert 0.35 < end.delivery / start.delivery < 0.6
    assert end.hottest_connector > start.hottest_connector + 50.0
    told = [week.wear for week in weeks]
    for name in ("ring", "brushes", "connector", "contacts"):
        assert np.all(np.diff([getattr(wear, name) for wear in told]) > 0.0), name
    # The plug heats itself, so that its growth feeds on itself.
    grown = np.diff([wear.connector for wear in told])
    assert grown[-1] > 2.0 * grown[0]


def test_a_tight_vehicle_in_daily_use_stays_healthy(knowledge: Knowledge) -> None:
    weeks = weeks_of_use(PAIR, day(*RIDE, *PASSENGERS), weeks=3, per_week=3 * MONTH, rate=0.5)
    end = weeks[-1]
    assert end.starts >= 1  # it does run, for the passengers
    assert end.running > 3.0
    plug, relay = (
        PAIR.electrics.connector + end.wear.connector, PAIR.electrics.relay + end.wear.contacts
    )  # fmt: skip
    assert state_of(knowledge, "connector.heat-damaged", plug) == "absent"
    assert state_of(knowledge, "relay.contacts", relay) == "absent"
    assert end.delivery > 0.97 * weeks[0].delivery
    assert end.codes == ()
    left_alone = weeks_of_use(PAIR, day(*RIDE), weeks=2, per_week=MONTH, rate=0.5)
    assert left_alone[-1].wear == Wear()  # it never ran


def test_contacts_burn_at_every_start_and_not_in_between() -> None:
    on = TimedFault(name="on", change=FaultParameters(relay_stuck_on=True), onset=20.0)
    run = simulate(PAIR, Script(duration=600.0), rate=2.0, faults=(on,))
    law = WearLaw(doubling=1e9)  # without regard to heat
    assert wear_of(run, law).contacts == pytest.approx(law.contacts, rel=1e-6)
    running = wear_of(run, law).brushes / law.brushes
    assert running == pytest.approx(580.0, abs=2.0)
    broken = TimedFault(name="winding", change=FaultParameters(motor_open=True))
    still = simulate(PAIR, Script(duration=60.0), rate=2.0, faults=(on, broken))
    assert still.channels["pump.voltage"].max() > 10.0
    assert wear_of(still, law) == Wear()  # what trickles through turns nothing


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
