"""The next thing to do in one line: nothing that waits already, and no part that is not needed."""

from __future__ import annotations

from dataclasses import replace

import pytest

from papers import DEMO
from sagtrace.bootstrap import open_workshop
from sagtrace.repair.options import Option
from sagtrace.report.assessment import Assessment
from sagtrace.report.headline import headline
from sagtrace.report.parts import open_offers
from sagtrace.report.words import sentence
from sagtrace.vehicle.job import Approval, Begun, Entry, Job

NEW = Job(id="j", title="t", layout="rear-pair", complaint="It sinks over night.")
COLD = {"temperature-start": "20", "temperature-end": "0", "time": "12 h",
        "height-start": "404", "height-end": "394"}  # fmt: skip


def begun(check: str) -> Begun:
    return Begun(id=f"b-{check}", check=check, at="2026-11-24T08:00:00+00:00")


@pytest.fixture(scope="module")
def fresh() -> Assessment:
    return open_workshop().assess(NEW)


@pytest.fixture(scope="module")
def cold() -> Assessment:
    said = {
        "story.cold-night": "fell-far", "hold.temperature": "explained",
        "story.when-low@left": "overnight", "story.when-low@right": "overnight",
        "codes.height": "clear", "codes.lifting": "clear", "story.pump-noise": "usual",
    }  # fmt: skip
    entries = [Entry(id=c, check=c, outcome=o) for c, o in said.items()]
    entries += [
        Entry(id=c, check=c, values=COLD) for c in ("hold.overnight@left", "hold.overnight@right")
    ]
    return open_workshop().assess(replace(NEW, entries=tuple(entries)))


def test_a_check_that_waits_is_not_next(fresh: Assessment) -> None:
    first, second = fresh.plan.offers[:2]
    system = fresh.system
    assert headline(fresh) == sentence(system.checks[first.check].name)
    waiting = replace(fresh, job=replace(fresh.job, begun=(begun(first.check),)))
    assert headline(waiting) == sentence(system.checks[second.check].name)
    assert [o.check for o in open_offers(waiting)] == [o.check for o in fresh.plan.offers[1:]]


def test_nothing_that_would_spoil_a_hold_is_next(fresh: Assessment) -> None:
    waiting = replace(fresh, job=replace(fresh.job, begun=(begun("hold.overnight@left"),)))
    offered = [fresh.system.checks[o.check] for o in open_offers(waiting)]
    assert offered
    assert not any("on-stands" in c.needs or "sudden-move" in c.cautions for c in offered)


def test_what_the_customer_approved_is_what_to_repair() -> None:
    a = open_workshop().assess(DEMO.unrecorded())
    best, less = a.options[0].repairs, ("spring.replace@left",)
    assert set(less) < set(best)
    yes = Approval(id="a1", repairs=less, offered="506 EUR", answer="approved")
    approved = replace(a, job=replace(a.job, approvals=(yes,)))
    name = a.system.repairs[less[0]].name
    assert headline(approved) == sentence(f"repair as approved: {name}")
    asked = replace(a, job=replace(a.job, approvals=(replace(yes, answer="asked"),)))
    assert headline(asked) == headline(a) != headline(approved)


def test_with_everything_begun_it_says_to_wait(fresh: Assessment) -> None:
    plan = replace(fresh.plan, offers=fresh.plan.offers[:1])
    job = replace(fresh.job, begun=(begun(plan.offers[0].check),))
    assert headline(replace(fresh, plan=plan, job=job)).startswith("Wait for what was begun: ")


@pytest.mark.common_practice("10 mm over a night that is 20 K colder is no leak")
def test_a_cause_that_needs_no_part_is_said_so(cold: Assessment) -> None:
    assert cold.stage == "repair"
    assert headline(cold).startswith("No part is to be repaired: ")
    assert "cold" in headline(cold)


def test_a_part_that_is_the_best_repair_is_named(cold: Assessment) -> None:
    def fixes_a_part(option: Option) -> bool:
        return any(cold.system.faults[f].kind == "part" for f in option.fixes)

    best = next(o for o in cold.options if fixes_a_part(o))
    rest = tuple(o for o in cold.options if o is not best)
    assert headline(replace(cold, options=(best, *rest))).startswith("Repair: ")
