"""The program is killed in the middle of its work: what it said was kept is kept, once."""

from __future__ import annotations

import contextlib
import http.client
import json
import os
import random
import re
import signal
import sqlite3
import statistics
import subprocess
import sys
import threading
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from sagtrace.adapters.store.database import file_store
from some_jobs import job, mark

HERE = Path(__file__).parent
KILLS = 100


class Answer(NamedTuple):
    """What a taker told: the entry that a key led to."""

    key: str
    attempt: int
    entry: str
    again: str


class Taker:
    """Somebody who takes entries and can be killed."""

    def __init__(self, path: Path) -> None:
        command = [sys.executable, str(HERE / "entry_taker.py"), str(path)]
        self.process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE)
        self.pid = self._ready(self.line())

    @staticmethod
    def _ready(line: str) -> int:
        word, number = line.split()
        assert word == "pid"
        return int(number)

    def line(self) -> str:
        assert self.process.stdout is not None
        found = self.process.stdout.readline().decode()
        assert found, "the taker of entries ended by itself"
        return found.strip()

    def send(self, key: str, attempt: int = 1) -> None:
        assert self.process.stdin is not None
        self.process.stdin.write(f"<{key} {attempt}\n".encode())
        self.process.stdin.flush()

    def answer(self) -> Answer:
        key, attempt, entry, again = self.line().split()
        return Answer(key, int(attempt), entry, again)

    def kill(self) -> list[str]:
        """Kill it, wait for its follower, and return what it still said."""
        os.kill(self.pid, signal.SIGKILL)
        said = []
        while not (line := self.line()).startswith("pid "):
            said.append(line)
        self.pid = self._ready(line)
        return said


@pytest.fixture
def path(tmp_path: Path) -> Path:
    found = tmp_path / "jobs.db"
    store = file_store(found)
    store.add(job(), mark(what="start"), {})
    store.close()
    return found


@pytest.fixture
def taker(path: Path) -> Iterator[Taker]:
    found = Taker(path)
    yield found
    with found.process as process:
        assert process.stdin is not None
        process.stdin.close()  # which ends it


def check_kept(path: Path, told: dict[str, str]) -> None:
    """Check that every entry that was told is there once, and nothing else is."""
    with contextlib.closing(sqlite3.connect(path)) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert connection.execute("PRAGMA foreign_key_check").fetchall() == []
    store = file_store(path)
    kept = store.load("a")
    assert {e.note: e.id for e in kept.job.entries} == told
    assert len(kept.job.entries) == len(told) == len(set(told.values()))
    changes = store.changes("a")[1:]
    assert {c.mark.key: c.result["entry"] for c in changes} == told
    assert [c.revision for c in changes] == list(range(2, len(told) + 2))
    assert kept.revision == len(told) + 1
    store.close()


@pytest.mark.slow
def test_a_hundred_kills_lose_and_double_nothing(path: Path, taker: Taker) -> None:
    chance = random.Random(20261124)
    told: dict[str, str] = {}
    seen: Counter[str] = Counter()
    times: list[float] = []
    for number in range(KILLS):
        calm, hit = f"calm-{number}", f"hit-{number}"
        start = time.perf_counter()
        taker.send(calm)
        told[calm] = taker.answer().entry
        times.append(time.perf_counter() - start)
        taker.send(hit)
        time.sleep(chance.uniform(0, 1.2 * statistics.median(times)))
        before = [Answer(*line.split()) for line in taker.kill()]  # type: ignore[arg-type]
        taker.send(hit, 2)  # as its sender does who was told nothing
        # What nobody had read yet is there for the follower, which then answers both.
        after = [taker.answer()]
        while after[-1].attempt != 2:
            after.append(taker.answer())
        assert {answer.key for answer in (*before, *after)} == {hit}
        (told[hit],) = {answer.entry for answer in (*before, *after)}
        seen["told" if before else f"not told, {after[0].again}"] += 1
    assert taker.process.stdin is not None
    taker.process.stdin.close()
    taker.process.wait(timeout=10)
    assert len(told) == 2 * KILLS
    check_kept(path, told)
    # Kills came before an entry was kept, between keeping and telling, and after telling.
    assert min(seen[way] for way in ("told", "not told, new", "not told, again")) > 0, seen


@contextlib.contextmanager
def serving(path: Path) -> Iterator[tuple[subprocess.Popen[str], int]]:
    """Run the real server on a free port."""
    command = [sys.executable, "-m", "sagtrace.cli.main", "serve", "--store", str(path)]
    process = subprocess.Popen([*command, "--port", "0"], stderr=subprocess.PIPE, text=True)
    with process:
        assert process.stderr is not None
        said = process.stderr.readline()
        found = re.search(r"http://127\.0\.0\.1:(\d+)/", said)
        assert found is not None, said
        try:
            yield process, int(found[1])
        finally:
            process.kill()


def post(port: int, key: str) -> dict[str, Any]:
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
    body = json.dumps({"check": "story.load", "outcome": "usual", "note": key, "by": "one"})
    headers = {"Content-Type": "application/json", "Idempotency-Key": key}
    with contextlib.closing(connection):
        connection.request("POST", "/api/v1/jobs/a/entries", body, headers)
        answer = connection.getresponse()
        found: dict[str, Any] = json.loads(answer.read())
        assert answer.status == 201, found
        return found


@pytest.mark.slow
def test_the_real_server_is_killed_while_it_takes_entries(path: Path) -> None:
    told: dict[str, str] = {}
    sent = threading.Event()
    last = ""
    with serving(path) as (process, port):

        def kill() -> None:
            sent.wait()
            time.sleep(0.1)
            process.kill()

        killer = threading.Thread(target=kill)
        killer.start()
        with contextlib.suppress(OSError, http.client.HTTPException, ValueError):
            for number in range(10_000):
                last = f"k{number}"
                told[last] = post(port, last)["result"]["entry"]
                sent.set()
        sent.set()
        killer.join()
        assert process.wait(timeout=10) == -signal.SIGKILL
    assert last not in told
    with serving(path) as (_, port):
        again = [post(port, key) for key in (last, last, *told)]
    told[last] = again[0]["result"]["entry"]
    assert [a["again"] for a in again[1:]] == [True] * (len(again) - 1)
    assert len(told) > 1
    check_kept(path, told)
