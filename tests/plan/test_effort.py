"""What checks took is what the plan would have said of each as the vehicle stood."""

from __future__ import annotations

from dataclasses import replace

import pytest

from sagtrace.bootstrap import open_workshop
from sagtrace.plan.effort import effort_of
from sagtrace.vehicle.job import Entry, Job

NEW = Job(id="j", title="t", layout="rear-pair", complaint="low")
SYSTEM = open_workshop().system("rear-pair")
CHECKS = ("soap.fitting@left", "hold.short@left", "soap.ends@left")


def entry(n: int, check: str, **more: object) -> Entry:
    return Entry(id=f"e{n}", check=check, **more)  # type: ignore[arg-type]


def test_each_check_takes_what_the_plan_said_it_would() -> None:
    workshop, job = open_workshop(), NEW
    minutes = waited = cost = 0.0
    answers = {"soap.fitting@left": "none", "soap.ends@left": "none"}
    values = {"height-start": "403 mm", "height-end": "356 mm", "time": "3 min"}
    for n, check in enumerate(CHECKS):
        offers = workshop.assess(job).plan.offers
        offer = next(o for o in offers if o.check == check)
        minutes, waited = minutes + offer.minutes, waited + offer.wait_minutes
        cost += offer.cost
        outcome = answers.get(check, "")
        said = entry(n, check, outcome=outcome, values={} if outcome else values)
        job, _ = workshop.answer(job, said)
    took = effort_of(SYSTEM, job.entries)
    assert took.checks == CHECKS
    assert took.minutes == pytest.approx(minutes)
    assert took.wait_minutes == pytest.approx(waited)
    assert took.cost == pytest.approx(cost)


def test_what_is_reached_already_is_not_reached_again() -> None:
    one, other = entry(1, "soap.fitting@left"), entry(2, "soap.ends@left")
    apart = effort_of(SYSTEM, [one]).minutes + effort_of(SYSTEM, [other]).minutes
    assert effort_of(SYSTEM, [one, other]).minutes < apart


def test_a_withdrawal_takes_no_time() -> None:
    one = entry(1, "soap.fitting@left")
    gone = replace(entry(2, "soap.fitting@left"), supersedes="e1", withdrawn=True)
    assert effort_of(SYSTEM, [one, gone]) == effort_of(SYSTEM, [one])
