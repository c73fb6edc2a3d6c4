"""One job's long work holds up no other job, and what the first answers need is made ready."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from sagtrace.app.kept import Mark, Query
from sagtrace.app.workshop import Workshop
from sagtrace.report.assessment import Recorded
from sagtrace.vehicle.job import Entry, Job, Recording
from workbench import fresh_desk

AT = "2026-11-24T08:05:00+00:00"


def mark(what: str) -> Mark:
    return Mark(what=what, at=AT)


@pytest.fixture
def reading(monkeypatch: pytest.MonkeyPatch) -> Iterator[tuple[threading.Event, threading.Event]]:
    """The first recording that is read takes until it is let go: begun, and may end."""
    begun, end = threading.Event(), threading.Event()
    read = Workshop._recorded

    def slow(self: Workshop, job: Job, recording: Recording, imported: object) -> Recorded:
        begun.set()
        assert end.wait(30)
        return read(self, job, recording, imported)  # type: ignore[arg-type]

    monkeypatch.setattr(Workshop, "_recorded", slow)
    yield begun, end
    end.set()


def test_an_answer_to_another_job_does_not_wait_for_a_fit(
    reading: tuple[threading.Event, threading.Event],
) -> None:
    begun, end = reading
    desk = fresh_desk()
    desk.workshop._read.clear()
    desk.start(Job(id="other", title="t", layout="rear-pair"), mark("start"))
    with ThreadPoolExecutor(2) as threads:
        slow = threads.submit(desk.assessed, desk.open("demo"))
        assert begun.wait(30)
        entry = Entry(id="", check="story.load", outcome="usual")
        done = desk.answer("other", entry, mark("answer"))
        quick = threads.submit(desk.assessed, done.kept)
        assert quick.result(timeout=30).job.entries
        assert not slow.done()
        end.set()
        assert slow.result(timeout=30).recordings


def test_one_recording_that_two_ask_for_is_read_once(monkeypatch: pytest.MonkeyPatch) -> None:
    desk, files = fresh_desk(), []
    desk.workshop._read.clear()
    read = Workshop._read_now

    def counted(self: Workshop, job: Job, recording: Recording, source: bytes | Path) -> Recorded:
        files.append(recording.file)
        return read(self, job, recording, source)

    monkeypatch.setattr(Workshop, "_read_now", counted)
    kept = desk.open("demo")
    with ThreadPoolExecutor(4) as threads:
        found = list(threads.map(lambda _: desk.recorded(kept, "r1"), range(8)))
    assert files == ["recording.csv"]
    assert all(each is found[0] for each in found)


def test_warming_up_makes_every_layout_and_the_newest_job_ready() -> None:
    desk = fresh_desk()
    assert [line.stage for line in desk.jobs(Query()).lines] == [""]
    desk.warm_up()
    layouts = {layout.id for layout in desk.workshop.knowledge.layouts}
    assert desk.workshop._reasoners.keys() == layouts
    (line,) = desk.jobs(Query()).lines
    assert line.stage
    assert line.headline


def test_warming_up_passes_over_a_job_that_cannot_be_judged() -> None:
    desk = fresh_desk()
    wrong = Entry(id="e1", check="no.such", outcome="x")
    job = Job(id="odd", title="t", layout="rear-pair", entries=(wrong,))
    desk.store.add(job, mark("start"), {})
    desk.warm_up()
    assert desk.jobs(Query()).lines[0].stage == ""
