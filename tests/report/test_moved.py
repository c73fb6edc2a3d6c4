"""What the newest entry changed is told by the verdicts before and after it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from sagtrace.app.desk import Desk
from sagtrace.bootstrap import open_workshop
from sagtrace.report.assessment import Judged
from sagtrace.report.moved import moved, verdict_bars
from sagtrace.vehicle.job import Entry, Job
from workbench import fresh_desk

BEGUN = Job(id="j", title="t", layout="rear-pair", complaint="It sinks over night.")


@pytest.fixture(scope="module")
def demo() -> Desk:
    return fresh_desk()


def judged(*entries: Entry) -> Judged:
    return open_workshop().judge(replace(BEGUN, entries=entries))


def entry(n: int, check: str, outcome: str, **more: object) -> Entry:
    return Entry(id=f"e{n}", check=check, outcome=outcome, **more)  # type: ignore[arg-type]


BUBBLES = entry(1, "soap.fold-normal@left", "bubbles")


@pytest.mark.common_practice("a stream of bubbles at the fold shows a leak at the fold")
def test_bubbles_at_the_fold_speak_for_the_fold() -> None:
    found = moved(judged(), judged(BUBBLES))
    assert found is not None
    assert "bubbles grow at a fold of the left rear bellows" in found.said
    assert found.text.startswith("Cracked fold in the left rear air spring rose from ")
    assert "By itself it speaks for cracked fold in the left rear air spring" in found.text


def test_bars_stand_where_the_verdicts_stand() -> None:
    before, after = judged(), judged(BUBBLES)
    found = moved(before, after)
    assert found is not None
    names = {each.name: each for each in found.bars}
    bar = names["Cracked fold in the left rear air spring"]
    fault = "spring.fold-leak@left"
    assert bar.share == after.verdict.belief(fault).probability
    assert bar.before == before.verdict.belief(fault).probability
    changes = [abs(b.share - (b.before or 0.0)) for b in found.bars]
    assert changes == sorted(changes, reverse=True)
    assert min(changes) >= 0.01


def test_a_withdrawal_goes_the_way_back() -> None:
    gone = Entry(id="e2", check=BUBBLES.check, supersedes="e1", withdrawn=True)
    found = moved(judged(BUBBLES), judged(BUBBLES, gone))
    assert found is not None
    assert found.said.startswith("E1 was withdrawn")
    assert "fell from" in found.text


def test_the_same_answer_again_changes_nothing() -> None:
    first = entry(1, "story.where-low@left", "low")
    same = replace(first, id="e2")
    found = moved(judged(first), judged(first, same))
    assert found is not None
    assert found.bars == ()
    assert found.text.startswith("It changed no fault by more than one part in a hundred.")


def test_an_entry_that_does_not_count_says_why() -> None:
    values = {"height-start": "403 mm", "height-end": "380 mm", "time": "10 h"}
    hold = entry(1, "hold.overnight@left", "", values=values)
    weaker = entry(2, "hold.temperature", "unexplained")
    found = moved(judged(hold), judged(hold, weaker))
    assert found is not None
    assert "It does not count: it rests on the same data as hold.overnight@left" in found.text


def test_a_job_without_entries_moved_nothing() -> None:
    assert moved(judged(), judged()) is None


@pytest.mark.common_practice("a larger spring area means more air for the same drop")
def test_a_value_of_the_vehicle_is_told() -> None:
    values = {"height-start": "403 mm", "height-end": "393 mm", "time": "10 h"}
    hold = entry(1, "hold.overnight@left", "", values=values)
    before = judged(hold)
    told = before.job.tell({"spring-area": "30 ± 1 cm²"})
    found = moved(before, open_workshop().judge(told))
    assert found is not None
    assert found.entry == ""
    assert found.said.startswith("Value of the vehicle: ")
    assert "area" in found.said
    assert "by itself" not in found.text


def test_a_value_that_bears_on_nothing_says_so() -> None:
    before = judged()
    found = moved(before, open_workshop().judge(before.job.tell({"spring-area": "100 cm²"})))
    assert found is not None
    assert found.bars == ()
    assert found.text == "It changed no fault by more than one part in a hundred."


def test_a_recording_is_told_with_what_it_says(demo: Desk) -> None:
    kept = demo.open("demo")
    after, bare = demo.judged(kept), replace(kept.job, recordings=())
    found = moved(open_workshop().judge(bare), after)
    assert found is not None
    assert found.entry == kept.job.recordings[-1].id
    count = len(after.recordings[-1].report.findings)
    assert found.said == f"Recording {kept.job.recordings[-1].file}: {count} findings."
    assert found.text


def test_the_short_verdict_is_the_head_of_the_verdict() -> None:
    found = judged(BUBBLES)
    bars = verdict_bars(found.system, found.verdict, 3)
    assert [b.share for b in bars] == [b.probability for b in found.verdict.beliefs[:3]]
