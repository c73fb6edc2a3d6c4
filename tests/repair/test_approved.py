"""An approval reaches over the work that it was given for, at the price that was told.

Prices are compared with the sum of the tariff's own lines, added up here.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from sagtrace.repair.approved import covered, price_with_tax, with_price
from sagtrace.vehicle.job import Approval, Job, Work
from sagtrace.vehicle.system import System

SPRING, RING = "spring.replace@left", "pump.ring-kit"
EMPTY = Job(id="j", title="t", layout="rear-pair")


@pytest.fixture(scope="module")
def dryer(system: System) -> str:
    return next(r for r in system.repairs if r.startswith("dryer"))


def said(
    system: System, job: Job, *repairs: str, answer: str = "approved", offered: str = ""
) -> Job:
    new = Approval(id=job.next_id("a"), repairs=repairs, answer=answer, offered=offered)  # type: ignore[arg-type]
    price, currency = with_price(system, job, new)
    return replace(job, approvals=(*job.approvals, replace(new, price=price, currency=currency)))


def test_the_price_is_that_of_the_tariff(system: System) -> None:
    repair, tariff = system.repairs[RING], system.tariff
    prices = {part.id: part.price for part in tariff.parts}
    parts = sum(prices[use.part] * use.quantity for use in repair.parts)
    reached, steps = set(), list(repair.needs)
    while steps:
        name = steps.pop()
        if name not in reached:
            reached.add(name)
            steps += system.access[name].after
    minutes = repair.minutes + sum(
        system.access[a].minutes_on + system.access[a].minutes_off for a in reached
    )
    expected = (parts + minutes * tariff.labour_per_hour / 60.0) * (1.0 + tariff.tax)
    assert price_with_tax(system, EMPTY, (RING,)) == pytest.approx(expected, rel=1e-9)


def test_nothing_is_covered_without_an_answer(system: System) -> None:
    asked = said(system, EMPTY, SPRING, answer="asked")
    for job in (EMPTY, asked):
        cover = covered(system, job, (SPRING,))
        assert (cover.fits, cover.missing, cover.approvals) == (False, (SPRING,), ())


def test_doing_nothing_needs_no_approval(system: System) -> None:
    assert covered(system, EMPTY, ()).fits


def test_what_was_approved_and_any_part_of_it_is_covered(system: System) -> None:
    job = said(system, EMPTY, SPRING, RING)
    for work in ((SPRING, RING), (RING, SPRING), (SPRING,), (RING,)):
        assert covered(system, job, work).fits, work


def test_more_work_than_was_approved_is_not(system: System, dryer: str) -> None:
    job = said(system, EMPTY, SPRING, RING)
    cover = covered(system, job, (SPRING, RING, dryer))
    assert (cover.fits, cover.missing, cover.dearer) == (False, (dryer,), False)
    assert cover.approvals == job.approvals
    elsewhere = covered(system, job, (dryer,))
    assert (elsewhere.fits, elsewhere.approvals) == (False, job.approvals)


def test_a_second_approval_adds_to_the_first(system: System) -> None:
    job = said(system, said(system, EMPTY, SPRING), RING)
    assert covered(system, job, (SPRING, RING)).fits
    assert covered(system, job, (SPRING, RING)).approvals == job.approvals


def test_the_last_answer_to_a_repair_counts(system: System) -> None:
    both = said(system, EMPTY, SPRING, RING)
    less = said(system, both, RING, answer="declined")
    assert covered(system, less, (SPRING,)).fits
    assert covered(system, less, (SPRING, RING)).missing == (RING,)
    none = said(system, both, SPRING, RING, answer="declined")
    assert covered(system, none, (SPRING,)).approvals == ()
    again = said(system, none, SPRING, RING)
    assert covered(system, again, (SPRING, RING)).fits
    asked = said(system, both, SPRING, answer="asked")  # a question takes nothing back
    assert covered(system, asked, (SPRING, RING)).fits


def dearer(system: System, by: float) -> System:
    """Return the system with a tariff whose labour makes the ring kit dearer by this much."""
    before = price_with_tax(system, EMPTY, (RING,))
    for_one = replace(system.tariff, labour_per_hour=system.tariff.labour_per_hour + 1.0)
    step = price_with_tax(replace(system, tariff=for_one), EMPTY, (RING,)) - before
    tariff = replace(system.tariff, labour_per_hour=system.tariff.labour_per_hour + by / step)
    found = replace(system, tariff=tariff)
    assert price_with_tax(found, EMPTY, (RING,)) - before == pytest.approx(by)
    return found


@pytest.mark.parametrize(("by", "fits"), [(-50.0, True), (0.9, True), (1.1, False), (80.0, False)])
def test_a_higher_price_than_was_told_is_not_covered(system: System, by: float, fits: bool) -> None:
    job = said(system, EMPTY, RING)
    cover = covered(dearer(system, by), job, (RING,))
    assert (cover.fits, cover.missing) == (fits, ())
    assert cover.now == pytest.approx(price_with_tax(system, EMPTY, (RING,)) + by)


def test_an_answer_has_the_price_of_the_offer_that_it_answers(system: System) -> None:
    asked = said(system, EMPTY, RING, answer="asked", offered="357 ± 46 EUR")
    late = dearer(system, 80.0)
    answered = said(late, asked, RING, offered="357 ± 46 EUR")
    assert answered.approvals[-1].price == asked.approvals[0].price
    assert not covered(late, answered, (RING,)).fits
    anew = said(late, answered, RING, offered="437 ± 46 EUR")
    assert anew.approvals[-1].price == pytest.approx(asked.approvals[0].price + 80.0)
    assert covered(late, anew, (RING,)).fits


def test_without_a_price_as_told_only_a_waiting_offer_is_answered(system: System) -> None:
    late = dearer(system, 80.0)
    before = price_with_tax(system, EMPTY, (RING,))
    asked = said(system, EMPTY, RING, answer="asked")
    answered = said(late, asked, RING)
    again = said(late, answered, RING)
    for job, price in ((answered, before), (again, before + 80.0)):
        assert job.approvals[-1].price == pytest.approx(price)
    assert said(late, asked, RING, answer="asked").approvals[-1].price == pytest.approx(before + 80)


def test_work_done_shares_the_price_that_was_told(system: System, dryer: str) -> None:
    """Twice half of the approved work must not cost more than all of it was told to."""
    told = said(system, EMPTY, SPRING, RING)
    late = dearer(system, 150.0)
    cheap = price_with_tax(late, EMPTY, (SPRING,))
    assert cheap < told.approvals[0].price
    assert covered(late, told, (SPRING,)).fits
    half = replace(told, works=(Work(id="w1", repairs=(SPRING,)),))
    assert not covered(late, half, (RING,)).fits
    assert covered(late, half, (SPRING,)).fits  # it is done, whatever it would cost now
    both = (Work(id="w1", repairs=(SPRING, dryer)),)
    assert covered(late, replace(half, works=both), (SPRING, dryer)).missing == (dryer,)


def test_practice_needs_no_approval(system: System) -> None:
    job = said(system, replace(EMPTY, practice=3), RING, answer="declined")
    for work in ((), (RING,), (SPRING, RING)):
        assert covered(system, job, work).fits


def test_a_price_that_nobody_worked_out_cannot_be_exceeded(system: System) -> None:
    bare = replace(EMPTY, approvals=(Approval(id="a1", repairs=(RING,), answer="approved"),))
    assert covered(dearer(system, 80.0), bare, (RING,)).fits
    other = replace(bare.approvals[0], price=1.0, currency="XTS")
    assert covered(system, replace(bare, approvals=(other,)), (RING,)).fits
