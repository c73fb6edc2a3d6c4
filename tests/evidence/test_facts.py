"""What is assumed of a vehicle, until somebody types what its manual says."""

from __future__ import annotations

import itertools

import pytest

from sagtrace.errors import DomainError, UnitError, UnknownIdError
from sagtrace.evidence.facts import read_facts, spread_to_si
from sagtrace.units import KINDS
from sagtrace.vehicle.knowledge import Knowledge
from sagtrace.vehicle.layouts import Layout


@pytest.fixture
def rear(rear_pair: Layout) -> Layout:
    return rear_pair


def test_everything_is_assumed_at_first(rear: Layout) -> None:
    facts = read_facts(rear, {})
    assert set(facts.values) == {fact.id for fact in rear.facts}
    assert {fact.id for fact in facts.assumed} == {
        fact.id for fact in rear.facts if fact.id != "springs-filled"
    }


def test_what_is_known_by_construction_is_not_assumed(rear: Layout) -> None:
    facts = read_facts(rear, {})
    assert facts.values["springs-filled"].value == 2.0
    assert facts.values["springs-filled"].std == 0.0


@pytest.mark.arithmetic("110 cm² = 0.0110 m², 5.0 bar = 5e5 Pa, 26 L/min = 4.3333e-4 m³/s")
@pytest.mark.parametrize(
    ("fact", "value", "std"),
    [
        ("spring-area", 0.0110, 0.0022),
        ("spring-volume", 1.8e-3, 0.4e-3),
        ("spring-pressure", 5.0e5, 1.2e5),
        ("pump-delivery", 26e-3 / 60.0, 6e-3 / 60.0),
        ("pump-clearance", 0.05, 0.02),
        ("barometer", 1.0e5, 2.0e3),
        ("bump-travel", 0.085, 0.015),
        ("armature", 0.15, 0.05),
    ],
)
def test_assumed_facts_are_in_si(rear: Layout, fact: str, value: float, std: float) -> None:
    got = read_facts(rear, {}).values[fact]
    assert got.value == pytest.approx(value)
    assert got.std == pytest.approx(std)


@pytest.mark.parametrize("layout", ["rear-pair", "four-corner", "four-corner-reservoir"])
def test_every_fact_is_in_the_unit_of_its_kind_and_within_its_limits(
    knowledge: Knowledge, layout: str
) -> None:
    (one,) = (one for one in knowledge.layouts if one.id == layout)
    for fact in one.facts:
        kind, got = KINDS[fact.kind], read_facts(one, {}).values[fact.id]
        assert got.unit == kind.si_unit
        assert kind.low <= got.value - 2.0 * got.std, fact.id
        assert got.value + 2.0 * got.std <= kind.high, fact.id


def test_what_was_typed_replaces_the_assumption_and_its_spread(rear: Layout) -> None:
    before = read_facts(rear, {})
    after = read_facts(rear, {"spring-area": "95 cm²", "bump-travel": "70"})
    assert after.values["spring-area"].value == pytest.approx(0.0095)
    assert after.values["spring-area"].std < 0.1 * before.values["spring-area"].std
    assert after.values["bump-travel"].value == pytest.approx(0.070)
    gone = {fact.id for fact in before.assumed} - {fact.id for fact in after.assumed}
    assert gone == {"spring-area", "bump-travel"}
    untouched = set(after.values) - gone
    assert all(after.values[name] == before.values[name] for name in untouched)


@pytest.mark.arithmetic("14.7 in² = 94.84 cm², 70 psi = 4.826 bar, 0.32 cu ft/min = 9.06 L/min")
@pytest.mark.parametrize(
    ("fact", "text", "value"),
    [
        ("spring-area", "14.7 in²", 94.838e-4),
        ("spring-pressure", "70 psi", 4.8263e5),
        ("pump-delivery", "0.32 cfm", 9.0614e-3 / 60.0),
        ("spring-volume", "110 in3", 1.80258e-3),
        ("allowed-duty", "5 %", 0.05),
        ("lever-ratio", "0,85", 0.85),
        ("springs-filled", "4", 4.0),
    ],
)
def test_other_units_are_understood(rear: Layout, fact: str, text: str, value: float) -> None:
    assert read_facts(rear, {fact: text}).values[fact].value == pytest.approx(value, rel=1e-4)


def test_typed_with_a_bound(rear: Layout) -> None:
    got = read_facts(rear, {"spring-pressure": "6.0 ± 0.5 bar"}).values["spring-pressure"]
    assert got.std > 0.2e5


@pytest.mark.arithmetic("6.50 bar absolute under 0.90 bar of air is 5.60 bar gauge")
def test_an_absolute_pressure_meets_the_typed_barometer_in_any_order(rear: Layout) -> None:
    typed = {"spring-pressure": "6.50 bar abs", "barometer": "90.0 kPa"}
    for order in itertools.permutations(typed):
        facts = read_facts(rear, {name: typed[name] for name in order})
        assert facts.values["spring-pressure"].value == pytest.approx(5.60e5)
        assert facts.values["barometer"].value == pytest.approx(90.0e3)


def test_an_unknown_fact_gets_the_nearest(rear: Layout) -> None:
    with pytest.raises(UnknownIdError) as caught:
        read_facts(rear, {"spring-aera": "95 cm²"})
    assert str(caught.value).startswith(
        "There is no fact of the vehicle 'spring-aera'. Did you mean 'spring-area'"
    )


def test_a_fact_of_the_wrong_kind_is_named_as_people_know_it(rear: Layout) -> None:
    with pytest.raises(UnitError, match="effective area of one spring = '95 mm'"):
        read_facts(rear, {"spring-area": "95 mm"})


def test_a_fact_beyond_belief_is_refused(rear: Layout) -> None:
    with pytest.raises(DomainError, match="pressure in one spring as parked"):
        read_facts(rear, {"spring-pressure": "500 bar"})


@pytest.mark.arithmetic("a spread has no zero point: 1 °C is 1 K, 1.8 °F is 1 K")
@pytest.mark.parametrize(
    ("spread", "unit", "si"),
    [(1.0, "°C", 1.0), (1.8, "°F", 1.0), (2.0, "mm", 2e-3), (3.0, "%", 0.03), (1.0, "", 1.0)],
)
def test_spreads_to_si(spread: float, unit: str, si: float) -> None:
    assert spread_to_si(spread, unit) == pytest.approx(si)
