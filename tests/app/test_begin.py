"""When what was begun can be read: after the check's own wait, and after a repair long enough."""

from __future__ import annotations

from datetime import datetime

import pytest

from sagtrace.adapters.store.memory import MemoryStore
from sagtrace.app.desk import Desk
from sagtrace.app.kept import Mark
from sagtrace.bootstrap import open_workshop
from sagtrace.vehicle.job import Begun, Job

AT = "2026-11-24T17:00:00+01:00"
MARK = Mark(what="begin", at=AT)
HOLD = "hold.overnight@left"
# A large volume over a small area: cooling hides much, so a hold has to be long.
LONG = {"spring-volume": "10 ± 0.5 L", "spring-area": "400 ± 5 cm²"}


def desk_with(vehicle: dict[str, str]) -> Desk:
    desk = Desk(workshop=open_workshop(), store=MemoryStore())
    job = Job(id="j", title="t", layout="rear-pair", complaint="low").tell(vehicle)
    desk.start(job, MARK)
    return desk


def waited(desk: Desk, begun: Begun) -> float:
    ready = desk.begin("j", begun, MARK).kept.job.waiting()[-1].ready
    return (datetime.fromisoformat(ready) - datetime.fromisoformat(AT)).total_seconds()


def shortest(desk: Desk) -> float:
    due = next(p for p in desk.assessed(desk.open("j")).proofs if p.proof.check == HOLD)
    assert due.hold is not None
    return due.hold


def test_without_a_repair_it_is_the_wait_of_the_check() -> None:
    desk = desk_with(LONG)
    wait = 60.0 * desk.workshop.system("rear-pair").checks[HOLD].wait_minutes
    assert waited(desk, Begun(id="", check=HOLD)) == wait


@pytest.mark.parametrize("vehicle", [{}, LONG], ids=["usual", "long"])
def test_a_proof_lasts_at_least_as_long_as_it_takes_to_tell(vehicle: dict[str, str]) -> None:
    desk = desk_with(vehicle)
    desk.repaired("j", ["spring.replace@left"], MARK, without_approval="practice")
    wait = 60.0 * desk.workshop.system("rear-pair").checks[HOLD].wait_minutes
    needed, took = shortest(desk), waited(desk, Begun(id="", check=HOLD))
    assert 0.0 <= took - max(wait, needed) <= 1.0
    assert (needed > wait) is bool(vehicle)  # so that both sides are tried


def test_a_moment_that_a_person_names_is_kept() -> None:
    desk = desk_with({})
    assert waited(desk, Begun(id="", check=HOLD, ready="2026-11-24T18:00:00+01:00")) == 3600.0
