"""Minutes, access and prices, added up by hand from the small tariff: 1 a minute of labour."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from math import sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sagtrace.repair.costs import (
    access_steps,
    check_cost,
    price_of,
    repair_cost,
    undone_first,
    way_cautions,
    way_to,
    way_to_check,
)
from sagtrace.vehicle.checks import Access
from sagtrace.vehicle.system import System
from small_system import small_system

SMALL = small_system()


def state(id_: str, *after: str) -> Access:
    return Access(
        id=id_, name=id_, minutes_on=1.0, minutes_off=1.0, back=id_, after=after, basis="invented"
    )


ACCESS = {
    s.id: s
    for s in (
        state("off"),
        state("up", "off"),
        state("wheel", "up"),
        state("liner", "wheel"),
        state("cover", "up"),
        state("gauge", "cover", "empty"),
        state("empty", "up"),
    )
}


def test_what_must_hold_first_is_reached_first() -> None:
    assert access_steps(ACCESS, ["liner"], []) == ("off", "up", "wheel", "liner")
    assert access_steps(ACCESS, ["liner"], ["off", "up"]) == ("wheel", "liner")
    assert access_steps(ACCESS, ["gauge", "liner"], ["off"]) == (
        "up",
        "cover",
        "empty",
        "gauge",
        "wheel",
        "liner",
    )
    assert access_steps(ACCESS, ["up"], ["up"]) == ()


def test_what_rests_on_it_is_undone_first() -> None:
    held = ("off", "up", "wheel", "liner", "cover")
    assert undone_first(ACCESS, ["up"], held) == ("liner", "wheel", "cover", "up")
    assert undone_first(ACCESS, ["liner"], held) == ("liner",)
    assert undone_first(ACCESS, ["gauge"], held) == ()
    assert undone_first(ACCESS, ["wheel", "up"], held) == ("liner", "wheel", "cover", "up")


@given(
    needs=st.lists(st.sampled_from(sorted(ACCESS)), unique=True),
    held=st.lists(st.sampled_from(sorted(ACCESS)), unique=True),
)
def test_every_step_finds_what_it_rests_on(needs: list[str], held: list[str]) -> None:
    have = set(held)
    for step in access_steps(ACCESS, needs, held):
        assert step not in have
        assert have.issuperset(ACCESS[step].after)
        have.add(step)
    assert have.issuperset(needs)


@given(
    without=st.lists(st.sampled_from(sorted(ACCESS)), unique=True),
    held=st.lists(st.sampled_from(sorted(ACCESS)), unique=True),
)
def test_nothing_is_undone_from_under_something(without: list[str], held: list[str]) -> None:
    have = set(held)
    for step in undone_first(ACCESS, without, held):
        assert step in have
        have.remove(step)
        assert not any(step in ACCESS[other].after for other in have)
    assert not have.intersection(without)


def test_a_way_by_hand() -> None:
    """Undo charger 1 and plug 2, reach up 8 and cover 4, put those back 6 + 5: 26 min."""
    way = way_to(SMALL, ["cover"], ["plugged"], ["plugged", "charger"])
    assert way.undo == ("charger", "plugged")
    assert way.reach == ("up", "cover")
    assert way.minutes == pytest.approx(26.0)
    assert way.held_after(["plugged", "charger"]) == ("up", "cover")


def test_what_is_reached_stays() -> None:
    way = way_to_check(SMALL, SMALL.checks["soap"], ["plugged"])
    assert way.held_after(["plugged"]) == ("plugged", "up")
    assert way_to_check(SMALL, SMALL.checks["soap"], ["plugged", "up"]).minutes == 0.0
    assert way.held_after(["plugged", "up"]) == ("plugged", "up")


@pytest.mark.parametrize(
    ("check", "held", "cost"),
    [
        ("ask", (), 1.0),
        ("soap", (), 5.0 + 14.0),
        ("soap", ("up",), 5.0),
        ("overnight", (), 6.0 + 600.0 * 0.1),
        ("fuse.look", ("plugged",), 5.0 + 2.0 + 14.0 + 9.0),
    ],
)
def test_check_cost_by_hand(check: str, held: tuple[str, ...], cost: float) -> None:
    assert check_cost(SMALL, SMALL.checks[check], held) == pytest.approx(cost)


def test_one_repair_by_hand() -> None:
    """Two rings at 25, 80 min, raised 14, cover 9: 50 + 103. Spread: 2 x 25 x 0.2 and 15 %."""
    price = price_of(SMALL, [SMALL.repairs["pump.kit"]], ())
    assert price.labour_minutes == pytest.approx(103.0)
    assert price.labour == pytest.approx(103.0)
    assert price.parts == pytest.approx(50.0)
    assert price.total == pytest.approx(153.0)
    assert price.std == pytest.approx(sqrt(10.0**2 + (0.15 * 103.0) ** 2))
    assert price.currency == "EUR"
    assert repair_cost(SMALL, SMALL.repairs["pump.kit"], ()) == pytest.approx(153.0)


def test_shared_access_counts_once() -> None:
    """Leak 30 and valve 25 min, raised 14, cover 9, seal 20: 98, not 64 + 48."""
    pair = [SMALL.repairs["leak.mend"], SMALL.repairs["valve.renew"]]
    assert price_of(SMALL, pair, ()).total == pytest.approx(98.0)
    assert sum(repair_cost(SMALL, r, ()) for r in pair) == pytest.approx(64.0 + 48.0)


def test_access_that_is_reached_is_free() -> None:
    pair = [SMALL.repairs["leak.mend"], SMALL.repairs["valve.renew"]]
    assert price_of(SMALL, pair, ["up"]).total == pytest.approx(84.0)
    assert price_of(SMALL, pair, ["cover", "up"]).total == pytest.approx(75.0)


def test_nothing_costs_nothing() -> None:
    price = price_of(SMALL, [], ())
    assert (price.total, price.std, price.labour_minutes) == (0.0, 0.0, 0.0)


def test_together_is_never_dearer_than_one_by_one(system: System) -> None:
    repairs = list(system.repairs.values())
    for one, other in pairwise(repairs):
        both = price_of(system, [one, other], ()).total
        apart = repair_cost(system, one, ()) + repair_cost(system, other, ())
        assert max(repair_cost(system, one, ()), repair_cost(system, other, ())) <= both
        assert both <= apart + 1e-9


def test_no_danger_is_left_out_because_a_state_is_said_to_hold(system: System) -> None:
    for check in system.checks.values():
        fresh = way_cautions(system, check.needs, check.without, ())
        dangers = {c for c in fresh if system.cautions[c].level == "danger"}
        every = access_steps(system.access, check.needs, ())
        assert dangers <= set(way_cautions(system, check.needs, check.without, every))
        lesser = set(fresh) - dangers
        assert not lesser & set(way_cautions(system, check.needs, (), every))


def test_what_is_undone_has_its_own_cautions(system: System) -> None:
    held = access_steps(system.access, ["depressurised"], ())
    cautions = way_cautions(system, (), ["on-stands"], held)
    undone = ("depressurised", "on-stands")
    assert set(cautions) == {c for name in undone for c in system.access[name].cautions_off}
    assert way_cautions(system, (), ["on-stands"], ()) == ()


@pytest.mark.common_practice("the pump that fills the springs needs its plug and the battery")
def test_what_keeps_a_state_from_being_undone_goes_first() -> None:
    access = {
        **ACCESS,
        "empty": replace(ACCESS["empty"], back_without=("battery", "plug")),
        "battery": state("battery"),
        "plug": state("plug", "cover"),
    }
    held = ("off", "up", "empty", "cover", "plug", "battery")
    assert undone_first(access, ["up"], held) == ("plug", "battery", "empty", "cover", "up")
    assert undone_first(access, ["empty"], held) == ("plug", "battery", "empty")
    assert undone_first(access, ["empty"], ("off", "up", "empty")) == ("empty",)
    assert undone_first(access, ["up"], ("off", "up", "battery")) == ("up",)


@pytest.mark.common_practice("a battery is connected before anything is filled or read")
def test_a_hold_after_a_repair_connects_the_battery_before_the_springs_are_filled(
    system: System,
) -> None:
    held = ("levelling-off", "on-stands", "depressurised", "supply-disconnected")
    way = way_to_check(system, system.checks["hold.overnight@left"], held)
    assert way.undo == ("supply-disconnected", "depressurised", "on-stands")
    assert way.held_after(held) == ("levelling-off",)
    assert [system.access[name].back for name in way.undo][:2] == [
        "connect the battery again",
        "fill the air system again, with the body still on its stands",
    ]


@pytest.mark.common_practice("a scan tool talks only with a vehicle that has its battery")
def test_no_check_asks_the_tool_of_a_vehicle_without_battery(system: System) -> None:
    asking = [c for c in system.checks.values() if "tool-connected" in c.needs]
    assert asking
    assert [c.id for c in asking if "supply-disconnected" not in c.without] == []
