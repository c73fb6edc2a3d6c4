"""Practice: what is hidden follows from the seed, shows in the checks and goes with its repair."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sagtrace.adapters.store.memory import MemoryStore
from sagtrace.app.desk import Desk
from sagtrace.app.kept import Kept, Mark
from sagtrace.app.practice import Trainer, practice_job
from sagtrace.bootstrap import open_workshop, virtual
from sagtrace.errors import InputError
from sagtrace.twin.bay.known import from_effects
from sagtrace.twin.bay.vehicle import bay_vehicle
from sagtrace.vehicle.job import NOT_DONE, Begun, Job

AT = "2026-11-24T08:00:00+00:00"
MARK = Mark(what="practise", at=AT)
LINK = 89  # the seed hides a broken linkage and nothing else


@pytest.fixture(scope="module")
def desk() -> Desk:
    return Desk(workshop=open_workshop(), store=MemoryStore(), trainer=Trainer(known=virtual))


def started(desk: Desk, id_: str, seed: int, layout: str = "rear-pair") -> Kept:
    job = Job(id=id_, title="", layout=layout, complaint="It rides low.", practice=seed)
    return desk.start(job, MARK).kept


def test_following_the_plan_finds_what_is_hidden(desk: Desk) -> None:
    kept = started(desk, "p1", LINK)
    hidden = {h.fault for h in desk.hidden(kept)}
    assert "sensor.link-broken" in hidden
    for _ in range(20):
        assessment = desk.assessed(kept)
        if assessment.stage != "check":
            break
        kept = desk.practise("p1", assessment.plan.offers[0].check, MARK).kept
    assert assessment.stage == "repair"
    assert assessment.verdict.beliefs[0].fault == "sensor.link-broken"


def test_the_same_seed_hides_and_shows_the_same(desk: Desk) -> None:
    one, other, third = (started(desk, f"s{i}", seed) for i, seed in enumerate((7, 7, 8)))
    assert desk.hidden(one) == desk.hidden(other) != desk.hidden(third)
    shown = [
        desk.practise(kept.job.id, "hold.short@left", MARK).kept.job.entries[-1].values
        for kept in (one, other)
    ]
    assert shown[0] == shown[1]
    again = desk.practise(one.job.id, "hold.short@left", MARK).kept.job.entries[-1].values
    assert again != shown[0]  # somebody reads the tape anew


@pytest.mark.common_practice("a vehicle that stands at its height is not brought in for riding low")
@pytest.mark.parametrize("layout", ["rear-pair", "four-corner", "four-corner-reservoir"])
def test_what_is_hidden_lets_the_vehicle_ride_low(layout: str) -> None:
    """Nothing of a fault that only the knowledge expects to show: the vehicle itself sinks."""
    workshop, trainer = open_workshop(), Trainer(known=virtual)
    system = workshop.system(layout)
    put, seen = from_effects(virtual().effects), 0
    for seed in range(500, 508):
        job = Job(id="low", title="", layout=layout, practice=seed)
        hidden = {h.fault: h.state for h in trainer.hidden(system, job)}
        vehicle = bay_vehicle(
            system, virtual().vehicles[layout], hidden, put_in=put,
            rng=np.random.default_rng([seed, 1]),
        )  # fmt: skip
        assert hidden
        assert vehicle.true("complaint") == "rides-low"
        seen += any(
            vehicle.true(f"{what}@{corner.id}") != healthy
            for corner in system.layout.corners
            for what, healthy in (("stand", "holds"), ("ride", "level"))
        )
    assert seen >= 6  # now and then a code alone brings somebody in


def test_a_sound_pump_can_be_proved_with_what_the_manual_says(desk: Desk) -> None:
    """Without its figures the proof stays open for ever: a pump may give a quarter more or less."""
    workshop, system = desk.workshop, desk.workshop.system("rear-pair")
    job = practice_job(system.layout, name="m", seed=LINK)
    assert set(job.vehicle) == {"pump-delivery", "pump-current"}
    assert desk.trainer is not None
    bare = replace(job, told=())
    results = []
    for told in (job, bare):
        after = workshop.repaired(told, ("pump.ring-kit",))
        shown = desk.trainer.answer(system, after, "pump.fill-test")
        after = workshop.prove(after, replace(shown, id="p1"))
        (due,) = [p for p in workshop.assess(after).proofs if p.proof.check == "pump.fill-test"]
        assert due.judged is not None
        results.append(due.judged.result)
    assert results == ["passed", "undecided"]


def test_a_repair_takes_the_fault_out(desk: Desk) -> None:
    kept = started(desk, "r1", LINK)
    (link,) = [h for h in desk.hidden(kept) if h.fault == "sensor.link-broken"]
    system = desk.workshop.system("rear-pair")
    repair = next(r.id for r in system.repairs.values() if link.fault in r.fixes)
    kept = desk.repaired("r1", [repair], MARK, without_approval="practice").kept
    assert [h.repaired for h in desk.hidden(kept) if h.fault == link.fault] == [True]
    proof = system.proof_for(link.fault)
    assert proof is not None
    kept = desk.practise("r1", proof.check, MARK, proof=True).kept
    assert [p.check for p in kept.job.proofs] == [proof.check]


def test_the_way_of_the_plan_is_what_following_it_does(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sagtrace.app.practice.LONGEST", 2)
    kept = started(desk, "w1", 3)
    way, ended = desk.by_plan(kept)
    assert not ended
    for entry in way.entries:
        kept = desk.practise("w1", desk.assessed(kept).plan.offers[0].check, MARK).kept
        shown = kept.job.entries[-1]
        assert (shown.check, shown.outcome, shown.values) == (
            entry.check, entry.outcome, entry.values,
        )  # fmt: skip
    assert sum(entry.outcome != NOT_DONE for entry in way.entries) == 2


def test_what_was_begun_is_ended_by_what_the_vehicle_shows(desk: Desk) -> None:
    started(desk, "b1", 3)
    desk.begin("b1", Begun(id="", check="hold.short@left"), MARK)
    kept = desk.practise("b1", "hold.short@left", MARK).kept
    assert kept.job.waiting() == ()


def test_nothing_is_hidden_in_a_real_vehicle(desk: Desk) -> None:
    kept = desk.start(Job(id="real", title="", layout="rear-pair"), MARK).kept
    with pytest.raises(InputError, match="no practice"):
        desk.hidden(kept)
    with pytest.raises(InputError, match="no practice"):
        desk.practise("real", "hold.short@left", MARK)
