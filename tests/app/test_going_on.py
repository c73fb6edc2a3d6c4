"""A job that goes on after a repair: what counts, what is wanted, what comes next."""

from __future__ import annotations

from dataclasses import replace

import pytest

from papers import DEMO, texts
from sagtrace.app.workshop import Workshop
from sagtrace.bootstrap import open_workshop
from sagtrace.errors import InputError
from sagtrace.report.after_repair import (
    checks_after_failure,
    how_things_stand,
    repair_after_failure,
)
from sagtrace.report.assessment import Assessment
from sagtrace.report.customer import customer_paper
from sagtrace.report.from_before import from_before, sum_of
from sagtrace.report.headline import headline
from sagtrace.report.technical import technical_paper
from sagtrace.vehicle.job import NOT_DONE, Entry, Job

FOLD, FITTING = "spring.fold-leak@left", "line.fitting-leak@left"
HOLD, SOAP = "hold.overnight@left", "soap.fold-normal@left"
NIGHT = {"height-start": "403 mm", "time": "12 h", "temperature-start": "9 °C",
         "temperature-end": "9 °C"}  # fmt: skip
SHORT = {"height-start": "403 mm", "height-end": "356 mm", "time": "3 min"}
WEAK = {"height-start": "361 mm", "height-end": "388 mm", "time": "20 s", "supply": "12.6 V"}


@pytest.fixture(scope="module")
def workshop() -> Workshop:
    return open_workshop()


@pytest.fixture(scope="module")
def found(workshop: Workshop) -> Job:
    entries = (
        Entry(id="e1", check="hold.short@left", values=SHORT),
        Entry(id="e2", check=SOAP, outcome="bubbles"),
        Entry(id="e3", check="pump.rise-rate", values=WEAK),
        Entry(id="e4", check="connector.look", outcome="sound"),
        Entry(id="e5", check="valve.port-film@left", outcome="flat"),
    )
    return Job(id="j", title="t", layout="rear-pair", complaint="It sinks.", entries=entries)


@pytest.fixture(scope="module")
def mended(workshop: Workshop, found: Job) -> Job:
    return workshop.repaired(found, ("spring.replace@left",))


def held(workshop: Workshop, job: Job, end: str) -> Job:
    return workshop.prove(job, Entry(id="p1", check=HOLD, values={**NIGHT, "height-end": end}))


@pytest.fixture(scope="module")
def failed(workshop: Workshop, mended: Job) -> Assessment:
    return workshop.assess(held(workshop, mended, "363 mm"))


def chance(a: Assessment, fault: str) -> float:
    return a.verdict.belief(fault).probability


def test_what_was_found_on_the_renewed_part_says_nothing_of_it_now(
    workshop: Workshop, found: Job, mended: Job, failed: Assessment
) -> None:
    assert chance(workshop.assess(found), FOLD) > 0.95
    now = workshop.assess(mended)
    assert chance(now, FOLD) < 0.02
    assert not [m for m in now.verdict.why(FOLD) if m.finding == "e2"]
    assert chance(failed, FOLD) < 0.1
    # The other spring of the axle pulls the body down too, until it is known to hold.
    assert chance(failed, FITTING) > 4 * failed.verdict.belief(FITTING).prior
    level = {"height-start": "403 mm", "height-end": "403 mm", "time": "25 min"}
    job, _ = workshop.answer(failed.job, Entry(id="n1", check="hold.short@right", values=level))
    leaks = [b.fault for b in workshop.assess(job).verdict.beliefs if "leak" in b.fault]
    assert {FITTING, "spring.seal-leak@left"} & set(leaks[:2])


@pytest.mark.common_practice("after a failed hold what was worked on is looked at: fitting, valve")
def test_after_a_failed_hold_the_leak_at_that_corner_is_looked_for(workshop: Workshop) -> None:
    repairs = ("spring.replace@left", "pump.ring-kit")
    a = workshop.assess(held(workshop, workshop.repaired(DEMO.unrecorded(), repairs), "363 mm"))
    first = [a.system.checks[o.check] for o in checks_after_failure(a)[:4]]
    # Some minutes on the wheels may come before half an hour on stands.
    leaks = [c for c in first if "leak" in c.name or "film" in c.name]
    assert [c.id.partition("@")[2] for c in leaks] == ["left", "left"]
    assert all(c.minutes <= 8 and "on-stands" not in c.needs for c in first if c not in leaks)
    assert "now: " in how_things_stand(a)
    assert headline(a) == f"A proof failed, go on: {first[0].name}."


def test_what_was_found_on_an_untouched_part_still_counts(
    workshop: Workshop, found: Job, failed: Assessment
) -> None:
    without = replace(found, entries=found.entries[:4])
    job = held(workshop, workshop.repaired(without, ("spring.replace@left",)), "363 mm")
    valve = "valve.leak-by@left"
    assert chance(failed, valve) < 0.6 * chance(workshop.assess(job), valve)


def test_what_is_known_already_is_repaired_without_further_checks(workshop: Workshop) -> None:
    """The pump alone was done, and the vehicle still sinks: the spring was known to leak."""
    pump = workshop.repaired(DEMO.unrecorded(), ("pump.ring-kit",))
    a = workshop.assess(held(workshop, pump, "363 mm"))
    option = repair_after_failure(a)
    assert option is not None
    assert "spring.replace@left" in option.repairs
    assert checks_after_failure(a) == ()
    assert headline(a).startswith("A proof failed, repair: replace the left rear air spring")


def test_an_answer_after_the_repair_does_not_mix_with_those_before(
    workshop: Workshop, mended: Job
) -> None:
    again, _ = workshop.answer(mended, Entry(id="n1", check=SOAP, outcome="bubbles"))
    a = workshop.assess(again)
    assert chance(a, FOLD) > 10 * chance(workshop.assess(mended), FOLD)
    assert a.left_out == ()
    assert [(f.id, f.after) for f in a.verdict.findings if f.source == SOAP] == [
        ("e2", 0), ("n1", 1),
    ]  # fmt: skip
    # A second look at what was not touched takes the place of the first, as ever.
    twice, _ = workshop.answer(mended, Entry(id="n2", check="valve.port-film@left", outcome="flat"))
    assert [x.entry for x in workshop.assess(twice).left_out] == ["e5"]


def test_a_correction_after_the_repair_speaks_of_the_time_of_what_it_corrects(
    workshop: Workshop, mended: Job
) -> None:
    slip = Entry(id="n1", check=SOAP, outcome="none", supersedes="e2")
    job, _ = workshop.answer(mended, slip)
    assert job.times()["n1"] == 0
    a = workshop.assess(job)
    assert chance(a, FOLD) == pytest.approx(chance(workshop.assess(mended), FOLD), abs=0.002)
    assert a.as_found().verdict.belief(FOLD).probability < 0.9


def test_what_a_customer_tells_late_is_of_the_time_before(workshop: Workshop, mended: Job) -> None:
    told = Entry(id="n1", check="story.when-low@left", outcome="within-hour")
    job, _ = workshop.answer(mended, told)
    a = workshop.assess(job)
    assert [f.after for f in a.verdict.findings if f.id == "n1"] == [0]
    assert chance(a, FOLD) < 0.02
    offered = {o.check for o in a.plan.offers}
    assert not {c for c in offered if a.system.checks[c].of_old}


def test_a_passed_proof_stays_wanted_and_clears_the_verdict(
    workshop: Workshop, mended: Job
) -> None:
    """That the fault is improbable by now is what the proof has shown, not a reason against it."""
    job = held(workshop, mended, "402.5 mm")
    a = workshop.assess(job)
    hold = next(p for p in a.proofs if p.proof.check == HOLD)
    assert hold.judged is not None
    assert hold.judged.result == "passed"
    assert FOLD in hold.faults
    assert chance(a, FOLD) < chance(workshop.assess(mended), FOLD)


def test_papers_tell_what_was_found_and_what_was_done_about_it(
    workshop: Workshop, found: Job, failed: Assessment
) -> None:
    before = workshop.assess(found)
    then = failed.as_found()
    assert [b.probability for b in then.verdict.beliefs] == [
        b.probability for b in before.verdict.beliefs
    ]
    assert then.story == before.story
    names = failed.system.faults
    for paper in (customer_paper(failed), technical_paper(failed)):
        said = " ".join(texts(paper)).lower()
        assert names[FOLD].plain.lower() in said or names[FOLD].name.lower() in said


def test_two_works_are_each_decided_by_what_was_known_before(
    workshop: Workshop, failed: Assessment
) -> None:
    job, _ = workshop.answer(
        failed.job, Entry(id="n1", check="soap.fitting@left", outcome="bubbles")
    )
    assert chance(workshop.assess(job), FITTING) > 0.8
    twice = workshop.repaired(job, ("line.fitting-renew@left",))
    assert [(w.id, w.entries, w.proofs) for w in twice.works] == [("w1", 5, 0), ("w2", 6, 1)]
    a = workshop.assess(twice)
    assert chance(a, FITTING) < 0.2
    found = {b.fault for b in a.as_found().verdict.beliefs if b.probability > 0.8}
    assert {FOLD, FITTING} <= found
    assert HOLD in {p.proof.check for p in a.proofs}
    assert all(p.judged is None for p in a.proofs)  # the failed one was before the second work


def test_it_says_what_counts_from_before_and_why(failed: Assessment) -> None:
    said = {b.finding.id: b for b in from_before(failed)}
    assert {id_: b.bears for id_, b in said.items()} == {
        "complaint": "partly",  # the spring explains it
        "e1": "partly", "e2": "no", "e3": "wholly", "e4": "wholly", "e5": "wholly",
    }  # fmt: skip
    assert "cracked fold" in said["e2"].why
    text = sum_of(from_before(failed))
    assert text.startswith("6 findings are from before the repair. Now 3 count in full")
    assert "2 count in part" in text
    assert "1 counts no longer" in text


def test_what_could_not_be_done_is_no_evidence_and_not_asked_for_again(
    workshop: Workshop, found: Job
) -> None:
    before = workshop.assess(found)
    check = next(o.check for o in before.plan.offers if before.system.checks[o.check].measure)
    cannot = Entry(id="n1", check=check, outcome=NOT_DONE, note="the gauge is lent out")
    job, said = workshop.answer(found, cannot)
    assert said.text == "could not be done: “the gauge is lent out”"
    assert job.access == found.access  # nobody raised or unplugged anything
    a = workshop.assess(job)
    assert a.verdict.beliefs == before.verdict.beliefs
    assert [(x.entry, x.why) for x in a.left_out] == [("n1", said.text)]
    assert check not in {o.check for o in a.plan.offers}
    back = workshop.withdraw(job, "n1", "the gauge is back", "", "A")
    assert check in {o.check for o in workshop.assess(back).plan.offers}


def test_why_something_could_not_be_done_is_said(workshop: Workshop, mended: Job) -> None:
    cannot = Entry(id="n1", check="supply.running", outcome=NOT_DONE)
    with pytest.raises(InputError, match=r"say in the note why supply\.running could not"):
        workshop.answer(mended, cannot)
    both = replace(cannot, note="no meter", values={"value": "12 V"})
    with pytest.raises(InputError, match="either measured or not done"):
        workshop.answer(mended, both)
    with pytest.raises(InputError, match="proves nothing undone"):
        workshop.prove(mended, replace(cannot, check=HOLD, note="no night left"))


def test_what_was_not_done_says_no_more_than_a_weaker_check(workshop: Workshop, found: Job) -> None:
    """A hold that could not be made does not take the place of the look at the night's cooling."""
    night = Entry(id="n1", check="hold.temperature", outcome="unexplained")
    job, _ = workshop.answer(found, night)
    job, _ = workshop.answer(
        job, Entry(id="n2", check=HOLD, outcome=NOT_DONE, note="no room over night")
    )
    assert "n1" in {f.id for f in workshop.assess(job).verdict.findings}


def test_without_a_repair_nothing_is_from_before(workshop: Workshop, found: Job) -> None:
    a = workshop.assess(found)
    assert from_before(a) == ()
    assert sum_of(()) == ""
    assert a.as_found() is a
