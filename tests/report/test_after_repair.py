"""After a repair: what was, what is, what is still off, and no danger left out."""

from __future__ import annotations

from dataclasses import replace

import pytest

from papers import DEMO
from sagtrace.app.workshop import Workshop
from sagtrace.bootstrap import open_workshop
from sagtrace.report.after_repair import (
    checks_after_failure,
    declined,
    handover,
    how_things_stand,
    open_proofs,
    proof_cautions,
    repair_after_failure,
    still_there,
    suspects,
)
from sagtrace.report.assessment import Assessment
from sagtrace.report.headline import DECLINED, headline
from sagtrace.report.parts import leading_beliefs
from sagtrace.report.words import percent
from sagtrace.vehicle.job import Approval, Entry, Job, Work

HOLD = "hold.overnight@left"
NIGHT = {"height-start": "403 mm", "time": "12 h", "temperature-start": "9 °C",
         "temperature-end": "9 °C"}  # fmt: skip


@pytest.fixture(scope="module")
def workshop() -> Workshop:
    return open_workshop()


@pytest.fixture(scope="module")
def found(workshop: Workshop) -> Job:
    short = {"height-start": "403 mm", "height-end": "356 mm", "time": "3 min"}
    entries = (
        Entry(id="e1", check="hold.short@left", values=short),
        Entry(id="e2", check="soap.fold-normal@left", outcome="bubbles"),
    )
    return Job(id="j", title="t", layout="rear-pair", complaint="It sinks.", entries=entries)


@pytest.fixture(scope="module")
def repaired(workshop: Workshop, found: Job) -> Job:
    return workshop.repaired(found, ("spring.replace@left",))


def proved(workshop: Workshop, repaired: Job, end: str) -> Assessment:
    test = Entry(id="p1", check=HOLD, values={**NIGHT, "height-end": end})
    lift = Entry(id="p2", check="try.lift", outcome="normal")
    return workshop.assess(workshop.prove(workshop.prove(repaired, lift), test))


def test_how_things_stand_is_told_as_it_was_before_the_repair(
    workshop: Workshop, found: Job, repaired: Job
) -> None:
    before = workshop.assess(found)
    told = [percent(b.probability) for b in leading_beliefs(before)]
    assert told
    assert how_things_stand(before).startswith("More likely present than not: ")
    for a, begins in (
        (workshop.assess(repaired), "Repaired, not proved; before the repair: "),
        (proved(workshop, repaired, "403 mm"), "Repaired and proved; before the repair: "),
        (proved(workshop, repaired, "380 mm"), "Repaired, but a proof failed; before the repair: "),
    ):
        text = how_things_stand(a)
        assert text.startswith(begins)
        assert all(chance in text for chance in told)


def test_what_was_found_and_not_repaired_is_named(workshop: Workshop) -> None:
    a = workshop.assess(workshop.repaired(DEMO.unrecorded(), ("pump.ring-kit",)))
    assert a.stage == "prove"
    assert "cracked fold in the left rear air spring" in still_there(a)
    whole = workshop.repaired(DEMO.unrecorded(), ("pump.ring-kit", "spring.replace@left"))
    assert still_there(workshop.assess(whole)) == ""


def test_after_a_failed_proof_the_checks_go_on(workshop: Workshop, repaired: Job) -> None:
    failed = proved(workshop, repaired, "380 mm")
    offers = checks_after_failure(failed)
    assert offers
    assert HOLD not in {o.check for o in offers}
    assert headline(failed).startswith("A proof failed, go on: ")
    undecided = proved(workshop, repaired, "398 mm")
    assert checks_after_failure(undecided) == ()
    assert headline(undecided).startswith("Prove the repair: ")


def test_a_proof_that_stays_open_is_not_repeated_for_ever(
    workshop: Workshop, repaired: Job
) -> None:
    """The second time, other causes are looked for; a reading corrected is not a second time."""
    once = proved(workshop, repaired, "398 mm")
    values = {**NIGHT, "height-end": "397.5 mm"}
    mended = Entry(id="p3", check=HOLD, values=values, supersedes="p1")
    assert open_proofs(workshop.assess(workshop.prove(once.job, mended))) == ()
    twice = workshop.assess(workshop.prove(once.job, Entry(id="p3", check=HOLD, values=values)))
    assert [p.proof.check for p in open_proofs(twice)] == [HOLD]
    assert HOLD not in {o.check for o in checks_after_failure(twice)}
    assert headline(twice).startswith("A proof stays open, ")


def test_a_failed_proof_is_done_again_before_anything_is_looked_for_in_vain(
    workshop: Workshop, repaired: Job
) -> None:
    """Once, and only where no check pays: a slip is likelier than a fault nothing points at."""
    failed = proved(workshop, repaired, "380 mm")
    for plan in (
        replace(failed.plan, action="check", pursuing=True),
        replace(failed.plan, action="repair", undecided=True),
    ):
        once = replace(failed, plan=plan)
        assert checks_after_failure(once) == ()
        assert repair_after_failure(once) is None
        assert headline(once) == "Prove the repair: overnight hold of the left rear."
        values = {**NIGHT, "height-end": "380 mm"}
        job = workshop.prove(failed.job, Entry(id="p3", check=HOLD, values=values))
        twice = replace(once, job=job)
        assert checks_after_failure(twice) or repair_after_failure(twice)


def test_an_undecided_end_is_told_as_one(workshop: Workshop, found: Job) -> None:
    a = workshop.assess(found)
    assert not a.plan.undecided
    open_ = replace(a, plan=replace(a.plan, action="repair", faults=(), undecided=True))
    assert headline(open_).startswith("Undecided, repair and prove: ")
    assert suspects(open_).startswith(a.system.faults[a.verdict.beliefs[0].fault].name)


def test_every_repair_is_proved_on_the_whole_vehicle(workshop: Workshop, repaired: Job) -> None:
    """A spring that holds says nothing of a battery that was weak before it leaked."""
    test = Entry(id="p1", check=HOLD, values={**NIGHT, "height-end": "403 mm"})
    held = workshop.prove(repaired, test)
    assert headline(workshop.assess(held)) == "Prove the repair: lift of the body on demand."
    stays = Entry(id="p2", check="try.lift", outcome="stays")
    failed = workshop.assess(workshop.prove(held, stays))
    assert failed.stage == "prove"
    assert headline(failed).startswith("A proof failed, ")


def test_what_is_still_off_is_put_back_before_the_hand_over(
    workshop: Workshop, repaired: Job
) -> None:
    a = proved(workshop, repaired, "403 mm")
    found = handover(a)
    assert found is not None
    assert found.back == ("levelling-off",)  # the hold needs it, all else was undone for it
    assert [c.id for c in found.cautions] == ["levelling-on-last", "sudden-move"]
    assert "put back" in headline(a)
    back = workshop.assess(replace(a.job, access=()))
    assert handover(back) is None
    assert headline(back) == "Proved: print the papers."


def test_what_rests_on_something_is_put_back_first(workshop: Workshop, repaired: Job) -> None:
    a = proved(workshop, repaired, "403 mm")
    a = workshop.assess(replace(a.job, access=repaired.access))
    found = handover(a)
    assert found is not None
    assert set(found.back) == set(repaired.access)
    for name in found.back:
        below = a.system.access[name].after
        assert all(found.back.index(name) < found.back.index(b) for b in below)


@pytest.mark.common_practice("an air spring is seated and filled before it carries weight")
@pytest.mark.parametrize("entered", [None, ()])
def test_a_proof_on_the_wheels_warns_of_the_empty_spring(
    workshop: Workshop, repaired: Job, entered: tuple[str, ...] | None
) -> None:
    """Also if somebody entered that nothing is off any more."""
    job = repaired if entered is None else replace(repaired, access=entered)
    system = workshop.system("rear-pair")
    cautions = proof_cautions(system, job, system.checks[HOLD])
    ids = [c.id for c in cautions]
    assert {"empty-spring", "spring-seated", "levelling-on-last", "sudden-move"} <= set(ids)
    levels = [c.level for c in cautions]
    assert levels == sorted(levels, key=["danger", "warning", "notice"].index)
    unrepaired = proof_cautions(system, replace(job, works=(), access=()), system.checks[HOLD])
    assert "empty-spring" not in {c.id for c in unrepaired}  # so the search above can fail


def test_a_declined_offer_is_next(workshop: Workshop, found: Job) -> None:
    a = replace(workshop.assess(found), plan=replace(workshop.assess(found).plan, action="repair"))
    assert headline(a).startswith("Repair: ")
    answer = Approval(id="a1", repairs=("spring.replace@left",), answer="declined")
    no = replace(found, approvals=(answer,))
    assert declined(no)
    assert headline(replace(a, job=no)) == DECLINED
    yes = replace(no, approvals=(answer, replace(answer, id="a2", answer="approved")))
    assert headline(replace(a, job=yes)).startswith("Repair as approved: ")
    assert not declined(replace(no, works=(Work(id="w1", repairs=("spring.replace@left",)),)))
