"""Work goes ahead with an approval that covers it, with a reason, or on an invented vehicle."""

from __future__ import annotations

from dataclasses import replace

import pytest

from sagtrace.adapters.store.memory import MemoryStore
from sagtrace.app.desk import Desk
from sagtrace.app.kept import Mark
from sagtrace.bootstrap import open_workshop
from sagtrace.errors import InputError
from sagtrace.vehicle.job import Approval, Job

AT = "2026-11-24T08:05:00+00:00"
MARK = Mark(what="repair", at=AT, by="technician 1")
SPRING, RING = "spring.replace@left", "pump.ring-kit"
JOB = Job(id="j", title="t", layout="rear-pair", complaint="low")


def desk_with(job: Job) -> Desk:
    desk = Desk(workshop=open_workshop(), store=MemoryStore())
    desk.store.add(job, MARK, {})
    return desk


def approve(desk: Desk, *repairs: str, answer: str = "approved") -> Approval:
    new = Approval(id="", repairs=repairs, answer=answer, offered="as told")  # type: ignore[arg-type]
    return desk.approve("j", new, MARK).kept.job.approvals[-1]


def test_an_approval_keeps_what_it_is_for() -> None:
    kept = approve(desk_with(JOB), RING)
    tariff = open_workshop().system("rear-pair").tariff
    assert kept.repairs == (RING,)
    assert kept.currency == tariff.currency
    assert kept.price > 0.0
    assert (kept.at, kept.by) == (AT, "technician 1")


def test_more_than_was_approved_needs_a_reason_and_says_what_was_approved() -> None:
    desk = desk_with(JOB)
    approve(desk, RING)
    with pytest.raises(InputError) as caught:
        desk.repaired("j", [RING, SPRING], MARK)
    said = str(caught.value)
    assert said.startswith("the approval of 2026-11-24 08:05 UTC was for overhaul the pump")
    assert "as told; this is more (also replace the left" in said
    assert "ask again" in said
    assert "without_approval" in said
    assert desk.open("j").job.repaired == ()
    kept = desk.repaired("j", [RING, SPRING], MARK, without_approval="it was leaking").kept.job
    assert kept.repaired == (RING, SPRING)
    assert kept.notes[-1].text == "Repaired without the customer's approval: it was leaking"


def test_what_was_approved_needs_none() -> None:
    desk = desk_with(JOB)
    approve(desk, RING, SPRING)
    assert desk.repaired("j", [RING], MARK).kept.job.notes == ()
    assert desk.repaired("j", [SPRING], MARK).kept.job.notes == ()


def test_an_old_approval_stands_beside_a_later_question() -> None:
    desk = desk_with(JOB)
    approve(desk, RING)
    approve(desk, SPRING, answer="declined")
    assert desk.repaired("j", [RING], MARK).kept.job.repaired == (RING,)


@pytest.mark.parametrize("answer", ["", "asked", "declined"])
def test_practice_needs_no_reason(answer: str) -> None:
    desk = desk_with(replace(JOB, practice=3))
    if answer:
        approve(desk, RING, answer=answer)
    kept = desk.repaired("j", [RING, SPRING], MARK).kept.job
    assert kept.repaired == (RING, SPRING)
    assert kept.notes == ()


def test_an_offer_of_nothing_or_of_what_does_not_exist_is_refused() -> None:
    desk = desk_with(JOB)
    with pytest.raises(InputError, match="at least one repair"):
        approve(desk)
    with pytest.raises(InputError, match=r"no repair 'pump\.ringkit'"):
        approve(desk, "pump.ringkit")


def test_a_corrected_value_stays_in_the_record() -> None:
    desk = desk_with(JOB)
    desk.tell_vehicle("j", {"spring-area": "112 cm2", "registration": "INVENTED 1"}, MARK)
    later = replace(MARK, at="2026-11-24T09:00:00+00:00", by="technician 2")
    told = desk.tell_vehicle("j", {"spring-area": "109 cm2", "registration": "INVENTED 1"}, later)
    job = told.kept.job
    assert [(t.id, t.text, t.supersedes, t.by) for t in job.told] == [
        ("v1", "112 cm2", "", "technician 1"),
        ("v2", "INVENTED 1", "", "technician 1"),
        ("v3", "109 cm2", "v1", "technician 2"),
    ]
    assert job.vehicle == {"spring-area": "109 cm2"}
    assert job.identity == {"registration": "INVENTED 1"}
    back = desk.tell_vehicle("j", {"spring-area": " "}, later).kept.job
    assert back.vehicle == {}
    assert (back.told[-1].text, back.told[-1].supersedes) == ("", "v3")
    with pytest.raises(InputError, match="km or mi"):
        desk.tell_vehicle("j", {"odometer": "84210"}, later)
    assert desk.open("j").job == back


def test_what_a_value_moved_can_be_said_from_the_record_alone() -> None:
    first = desk_with(JOB)
    first.tell_vehicle("j", {"spring-area": "112 cm2"}, MARK)
    later = replace(MARK, at="2026-11-24T09:00:00+00:00")
    kept = first.tell_vehicle("j", {"spring-area": "30 cm2", "pump-delivery": "26 L/min"}, later)
    another = Desk(workshop=first.workshop, store=first.store)  # has nothing at hand
    before = another.judged_before(kept.kept, "vehicle")
    assert before is not None
    assert before.job.vehicle == {"spring-area": "112 cm2"}
    same = first.tell_vehicle("j", {"spring-area": "30 cm2"}, replace(later, at=AT[:-6] + "Z"))
    assert Desk(workshop=first.workshop, store=first.store).judged_before(
        same.kept, "vehicle"
    ) is None  # fmt: skip
