"""A large recording is never held as bytes: it is read from where it lies, with the same result."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

import sagtrace
from sagtrace.adapters import jobs
from sagtrace.bootstrap import demo_folder
from sagtrace.errors import DocumentError

DEMO = demo_folder() / "recording.csv"


@pytest.fixture
def tiny(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let every file count as large."""
    monkeypatch.setattr(jobs, "_HELD", 0)


@pytest.mark.usefixtures("tiny")
def test_a_large_recording_is_read_from_its_place(tmp_path: Path) -> None:
    assert jobs.recording_in(DEMO, "x") == DEMO
    shutil.copy(DEMO, tmp_path / "drive.csv")
    job = sagtrace.open_job()
    job.attach_recording(tmp_path / "drive.csv")
    (tmp_path / "kept").mkdir()
    job.save(tmp_path / "kept" / "job.yaml")
    assert (tmp_path / "kept" / "drive.csv").read_bytes() == DEMO.read_bytes()
    again = sagtrace.load_job(tmp_path / "kept" / "job.yaml")
    assert again.recording("drive.csv") == DEMO.read_bytes()
    assert again.verdict().faults == job.verdict().faults


@pytest.mark.usefixtures("tiny")
def test_a_large_recording_that_changed_meanwhile_is_refused(tmp_path: Path) -> None:
    shutil.copy(DEMO, tmp_path / "drive.csv")
    job = sagtrace.open_job()
    job.attach_recording(tmp_path / "drive.csv")
    (tmp_path / "drive.csv").write_text("something else\n")
    (tmp_path / "kept").mkdir()
    with pytest.raises(DocumentError, match="changed since it was attached"):
        job.save(tmp_path / "kept" / "job.yaml")
    assert not list((tmp_path / "kept").iterdir())
