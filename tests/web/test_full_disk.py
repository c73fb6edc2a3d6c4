"""A disk that takes no more, and what an earlier process left on it."""

from __future__ import annotations

import errno
import fcntl
import logging
import os
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from local import client_of, small_desk

from sagtrace.web.serving import Seldom
from sagtrace.web.uploads import IN_USE, OLD, PREFIX, Uploads

PICTURE = b"\xff\xd8\xff\xe0" + bytes(2_000_000)  # larger than what waits in memory


@pytest.fixture(scope="module")
def api() -> Iterator[TestClient]:
    with client_of(small_desk()) as client:
        yield client


@pytest.fixture(params=[errno.ENOSPC, errno.EDQUOT, errno.EACCES])
def full(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> int:
    """Let no temporary file be made, as on a disk without room for one."""

    def refuse(*_: Any, **__: Any) -> None:
        raise OSError(request.param, os.strerror(request.param))

    monkeypatch.setattr(tempfile, "_mkstemp_inner", refuse)
    monkeypatch.setattr(tempfile, "TemporaryFile", refuse)
    found: int = request.param
    return found


def test_a_picture_that_finds_no_room_can_be_sent_later(api: TestClient, full: int) -> None:
    told = api.post("/api/v1/jobs/small/photos", files={"file": ("a.jpg", PICTURE)})
    assert told.status_code == 503, told.text
    said = told.json()
    assert said["type"] == "/api/v1/problems/store"
    assert "Nothing of it was kept" in said["detail"]
    assert ("full" in said["detail"]) is (full != errno.EACCES)
    page = api.post("/jobs/small/photos", files={"file": ("a.jpg", PICTURE)})
    assert page.status_code == 503
    assert "Nothing of it was kept" in page.text


def test_a_recording_that_finds_no_room_can_be_sent_later(api: TestClient, full: int) -> None:
    url = "/api/v1/jobs/small/recordings/inspect"
    told = api.post(url, content=b"time [s],height.rear [mm]\n0,1\n")
    assert told.status_code == 503, told.text
    assert "Nothing of it was kept" in told.json()["detail"]


def left(place: Path, name: str, age: float, lock: bool, inside: str = "tmp_a1b2c3d") -> Path:
    folder = place / f"{PREFIX}{name}"
    folder.mkdir()
    (folder / inside).write_bytes(b"x")
    for path in [folder / IN_USE] * lock:
        path.touch()
        os.utime(path, (time.time() - age,) * 2)
    os.utime(folder, (time.time() - age,) * 2)
    return folder


def test_what_dead_processes_left_is_tidied(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    dead = left(tmp_path, "dead____", 3600, lock=True)
    old = left(tmp_path, "old_____", OLD + 60, lock=False)
    young = left(tmp_path, "young___", 3600, lock=False)
    just = left(tmp_path, "just____", 0, lock=True)
    alive = left(tmp_path, "alive___", 3600, lock=True)
    named = left(tmp_path, "my-notes", OLD + 60, lock=False)
    notes = left(tmp_path, "my_notes", OLD + 60, lock=False, inside="notes.txt")
    other = tmp_path / "another-program"
    other.mkdir()
    (tmp_path / f"{PREFIX}link").symlink_to(other)
    with (alive / IN_USE).open("wb") as held:
        os.utime(alive / IN_USE, (time.time() - 3600,) * 2)
        fcntl.flock(held, fcntl.LOCK_EX)
        first, second = Uploads(), Uploads()
    assert [p.exists() for p in (dead, old)] == [False, False]
    assert all(p.exists() for p in (young, just, alive, named, notes, other))
    assert len([p for p in tmp_path.glob(f"{PREFIX}*") if not p.is_symlink()]) == 7
    del first, second  # which takes their folders away
    assert len([p for p in tmp_path.glob(f"{PREFIX}*") if not p.is_symlink()]) == 5


def test_the_log_says_the_same_once_a_minute() -> None:
    now = [0.0]
    seldom = Seldom(lambda: now[0])
    full = logging.makeLogRecord({"msg": "Exceeded concurrency limit."})
    other = logging.makeLogRecord({"msg": "other"})
    defect = logging.makeLogRecord({"msg": "defect", "exc_info": (None, None, None)})
    assert [seldom.filter(r) for r in (full, full, other, full)] == [True, False, True, False]
    assert [seldom.filter(defect) for _ in range(2)] == [True, True]
    now[0] = 61.0
    assert seldom.filter(full)
