"""Every check can be performed on the virtual vehicle, and what comes out reads as it should."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from bay_faults import PARAMETERS, SYSTEMS, put_in, vehicle_of

import sagtrace
from sagtrace.errors import DomainError, UnknownIdError
from sagtrace.evidence.facts import read_facts
from sagtrace.evidence.findings import Finding, find
from sagtrace.twin.bay.instruments import Person
from sagtrace.twin.bay.perform import Answer, perform
from sagtrace.twin.bay.vehicle import BayVehicle, bay_vehicle
from sagtrace.vehicle.job import Entry
from virtual_vehicles import LAYOUTS

FACTS = {layout: read_facts(SYSTEMS[layout].layout, {}) for layout in LAYOUTS}
NO_SLIPS = Person(slips=0.0)


@cache
def vehicle(layout: str, *hidden: tuple[str, str]) -> BayVehicle:
    return vehicle_of(layout, dict(hidden))


def read(layout: str, answer: Answer) -> Finding:
    entry = Entry(id="e1", check=answer.check, outcome=answer.outcome, values=answer.values)
    return find(SYSTEMS[layout], entry, FACTS[layout])


def hidden_sets(layout: str) -> list[tuple[tuple[str, str], ...]]:
    corner = "right" if layout == "rear-pair" else "rear-right"
    sensor = "sensor.wiring" if layout == "rear-pair" else f"corner-sensor.wiring@{corner}"
    return [
        (),
        ((f"spring.fold-leak@{corner}", "heavy"), ("pump.worn", "worn")),
        (("connector.heat-damaged", "open"), (f"valve.coil-open@{corner}", "present")),
        (("relay.stuck-on", "present"), (sensor, "present")),
        (("pump.seized", "present"), ("other", "present"), ("use.overloaded", "present")),
    ]


CASES = [(layout, hidden) for layout in LAYOUTS for hidden in hidden_sets(layout)]


@pytest.mark.parametrize(("layout", "hidden"), CASES, ids=str)
def test_every_check_gives_an_answer_that_can_be_entered(
    layout: str, hidden: tuple[tuple[str, str], ...]
) -> None:
    rng = np.random.default_rng(7)
    for check in SYSTEMS[layout].checks:
        answer = perform(vehicle(layout, *hidden), check, rng, person=NO_SLIPS)
        assert answer.is_given or hidden, check
        if answer.is_given:
            finding = read(layout, answer)
            assert max(finding.likelihood) == pytest.approx(1.0)


def test_the_same_seed_gives_the_same_answers_in_any_order() -> None:
    hidden = {"spring.seal-leak@left": "fast", "other": "present"}
    first, second = (vehicle_of("rear-pair", hidden, seed=3) for _ in range(2))
    checks = list(SYSTEMS["rear-pair"].checks)
    here = {c: perform(first, c, np.random.default_rng([5, i])) for i, c in enumerate(checks)}
    there = {
        c: perform(second, c, np.random.default_rng([5, i]))
        for i, c in reversed(list(enumerate(checks)))
    }
    assert here == there


def test_numbers_off_a_sound_vehicle_read_healthy() -> None:
    """All checks that ask for numbers, all layouts.

    Most fit the healthy state best. A short hold cannot tell a slow leak from none, so some fit
    another one a little better; hardly any speaks against a sound vehicle as a slip does.
    """
    best, strong, total = 0, 0, 0
    for layout in LAYOUTS:
        sound = vehicle(layout)
        for i, check in enumerate(c for c in SYSTEMS[layout].checks.values() if c.measure):
            for seed in range(4):
                rng = np.random.default_rng([seed, i])
                finding = read(layout, perform(sound, check.id, rng, person=NO_SLIPS))
                best += finding.likelihood[0] == max(finding.likelihood)
                strong += finding.likelihood[0] < 0.1
                total += 1
    assert total > 150
    assert best / total > 0.8
    assert strong / total < 0.05


def covers(finding: Finding, true: float) -> bool:
    assert finding.estimate is not None
    value, std = finding.estimate.value, finding.estimate.std
    if any(caveat.code == "bump-stop" for caveat in finding.caveats):
        return value - 1.96 * std <= true
    return abs(value - true) <= 1.96 * std


@pytest.mark.parametrize(("check", "state"), [("overnight", "slow"), ("overnight", "fast"),
                                              ("short", "fast"), ("short", "heavy")])  # fmt: skip
def test_a_hold_covers_the_true_leak(check: str, state: str) -> None:
    leaking = vehicle("rear-pair", ("spring.fold-leak@left", state))
    true = 6e7 * leaking.runs.bench.leak("left")
    answers = [
        perform(leaking, f"hold.{check}@left", np.random.default_rng(i), person=NO_SLIPS)
        for i in range(40)
    ]
    covered = [covers(read("rear-pair", a), true) for a in answers]
    assert np.mean(covered) >= 0.9


def test_a_hold_tells_a_fast_leak_from_a_sound_side() -> None:
    """Without a roll bar a side stands for itself; with one the sound side is pulled down too."""
    free = replace(PARAMETERS["rear-pair"], roll_stiffness=0.0)
    read_right = []
    for parameters in (free, PARAMETERS["rear-pair"]):
        leaking = bay_vehicle(
            SYSTEMS["rear-pair"],
            parameters,
            {"spring.fold-leak@left": "fast"},
            put_in=put_in,
            rng=np.random.default_rng(0),
        )
        answer = perform(leaking, "hold.short@right", np.random.default_rng(1), person=NO_SLIPS)
        finding = read("rear-pair", answer)
        assert finding.estimate is not None
        read_right.append(finding.estimate.value / finding.estimate.std)
    assert abs(read_right[0]) < 2.0
    assert read_right[1] > 2.0


def test_a_drop_gives_the_milliohms_of_its_joint() -> None:
    poor = vehicle("rear-pair", ("connector.heat-damaged", "resistive"))
    own = PARAMETERS["rear-pair"].electrics
    whole = own.connector + sum(fault.change.connector for fault in poor.faults)
    found = [
        read(
            "rear-pair", perform(poor, "connector.drop", np.random.default_rng(i), person=NO_SLIPS)
        )
        for i in range(60)
    ]
    assert np.mean([covers(f, 1e3 * whole) for f in found]) >= 0.9
    ground = perform(poor, "ground.drop", np.random.default_rng(1), person=NO_SLIPS)
    assert covers(read("rear-pair", ground), 1e3 * own.ground)


@pytest.mark.parametrize("slips", [1.0, 3.0])
def test_gross_errors_come_at_the_stated_rate(slips: float) -> None:
    sound, rng, n = vehicle("rear-pair"), np.random.default_rng(2), 3000
    person = Person(slips=slips)
    values = []
    for _ in range(n):
        text = perform(sound, "supply.running", rng, person=person).values["value"]
        values.append(float(text.removesuffix(" V")))
    # Two and a half tenths of a volt are eight times the stated error.
    wrong = np.mean(np.abs(np.array(values) - np.median(values)) > 0.25)
    measure = SYSTEMS["rear-pair"].checks["supply.running"].measure
    assert measure is not None
    stated = slips * measure.gross_error
    assert abs(wrong - stated) < 3.0 * np.sqrt(stated * (1.0 - stated) / n)


def test_a_steady_hand_scatters_less() -> None:
    sound = vehicle("rear-pair")

    def spread(person: Person) -> float:
        rng = np.random.default_rng(4)
        texts = (perform(sound, "pump.current-clamp", rng, person=person).values["value"]
                 for _ in range(300))  # fmt: skip
        return float(np.std([float(t.removesuffix(" A")) for t in texts]))

    usual, steady = spread(NO_SLIPS), spread(Person(errors=0.2, slips=0.0))
    assert usual == pytest.approx(0.6, rel=0.2)
    assert steady < 0.4 * usual


def test_nothing_to_read_is_said_and_not_made_up() -> None:
    dead = vehicle("rear-pair", ("fuse.blown", "present"))
    for check in ("connector.drop", "pump.fill-test", "pump.bare-fill"):
        answer = perform(dead, check, np.random.default_rng(0))
        assert not answer.is_given
        assert "pump" in answer.nothing or "current" in answer.nothing
        assert not answer.values


def test_refuses_what_is_none() -> None:
    with pytest.raises(UnknownIdError, match=r"hold\.short@left"):
        perform(vehicle("rear-pair"), "hold.short@leftt", np.random.default_rng(0))
    with pytest.raises(UnknownIdError, match=r"state of pump\.worn"):
        vehicle_of("rear-pair", {"pump.worn": "tired"})
    with pytest.raises(UnknownIdError, match="fault"):
        vehicle_of("rear-pair", {"pump.wornn": "worn"})
    with pytest.raises(DomainError, match="slips"):
        Person(slips=-1.0)


PLAN: Mapping[str, tuple[str, ...]] = {
    "spring.fold-leak@left": ("story.when-low@left", "hold.short@left", "soap.fold-normal@left",
                              "bellows.look@left", "soap.ends@left", "soap.fitting@left"),
    "pump.worn": ("try.lift", "pump.listen", "pump.rise-rate", "pump.fill-test", "pump.bare-fill"),
    "connector.heat-damaged": ("pump.current-clamp", "feed.loss", "connector.drop",
                               "connector.look", "ground.drop"),
}  # fmt: skip


@pytest.mark.parametrize(
    ("fault", "state"),
    [("spring.fold-leak@left", "heavy"), ("pump.worn", "spent"),
     ("connector.heat-damaged", "resistive")],
)  # fmt: skip
def test_the_reasoner_finds_what_is_hidden(fault: str, state: str) -> None:
    job = sagtrace.open_job("rear-pair")
    patient, rng = vehicle("rear-pair", (fault, state)), np.random.default_rng(11)
    for check in PLAN[fault]:
        answer = perform(patient, check, rng, person=NO_SLIPS)
        job.record(check, outcome=answer.outcome, values=answer.values)
    assert next(iter(job.verdict().faults)) == fault
