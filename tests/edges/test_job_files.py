"""Job files under attack: two writers, endless devices, links, half characters."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path

import pytest

from sagtrace.adapters.jobs import JobFile, read_file, write_file
from sagtrace.errors import DocumentError
from sagtrace.vehicle.job import Entry, Job
from some_jobs import full_job

JOB = Job(id="j", title="Left rear is low", layout="rear-pair", complaint="It is low.")


@pytest.fixture
def file(tmp_path: Path) -> Path:
    JobFile(tmp_path / "job.yaml").save(JOB)
    return tmp_path / "job.yaml"


def with_entry(job: Job, note: str = "") -> Job:
    entry = Entry(id=job.next_id(), check="story.load", outcome="usual", note=note)
    return replace(job, entries=(*job.entries, entry))


def test_what_was_saved_is_loaded(file: Path) -> None:
    assert JobFile(file).load() == JOB


@pytest.mark.parametrize(
    "job", [full_job(), Job(id="", title="", layout="")], ids=["full", "empty"]
)
def test_every_field_is_loaded_as_it_was_saved(tmp_path: Path, job: Job) -> None:
    JobFile(tmp_path / "every.yaml").save(job)
    assert repr(JobFile(tmp_path / "every.yaml").load()) == repr(job)


def test_the_second_of_two_writers_is_refused_and_nothing_is_lost(file: Path) -> None:
    first, second = JobFile(file), JobFile(file)
    one, two = first.load(), second.load()
    first.save(with_entry(one, "from the first"))
    with pytest.raises(DocumentError, match="changed by somebody else meanwhile"):
        second.save(with_entry(two, "from the second"))
    (kept,) = JobFile(file).load().entries
    assert kept.note == "from the first"


def test_one_writer_may_save_again_and_again(file: Path) -> None:
    place = JobFile(file)
    job = place.load()
    for _ in range(3):
        job = with_entry(job)
        place.save(job)
    assert len(JobFile(file).load().entries) == 3


def test_half_a_character_is_refused_before_anything_is_written(file: Path) -> None:
    before = file.read_bytes()
    place = JobFile(file)
    with pytest.raises(DocumentError, match="half a character"):
        place.save(with_entry(place.load(), "bad \udcff byte"))
    assert file.read_bytes() == before


def test_a_link_stays_a_link(file: Path, tmp_path: Path) -> None:
    link = tmp_path / "link.yaml"
    link.symlink_to(file)
    place = JobFile(link)
    place.save(with_entry(place.load()))
    assert link.is_symlink()
    assert len(JobFile(file).load().entries) == 1


def test_the_permissions_of_the_file_are_kept(file: Path) -> None:
    file.chmod(0o600)
    place = JobFile(file)
    place.save(with_entry(place.load()))
    assert file.stat().st_mode & 0o777 == 0o600


@pytest.mark.parametrize("kind", ["device", "pipe", "folder"])
def test_only_a_regular_file_is_read(tmp_path: Path, kind: str) -> None:
    path = tmp_path / "odd"
    if kind == "device":
        path = Path(os.devnull)
    elif kind == "pipe":
        os.mkfifo(path)
    else:
        path.mkdir()
    with pytest.raises(DocumentError, match=r"regular file|directory"):
        JobFile(path).load()
    with pytest.raises(DocumentError, match=r"regular file|directory"):
        read_file(path)


def test_a_file_is_written_whole_or_not_at_all(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    target = tmp_path / "new" / "paper.pdf"
    write_file(target, b"old")

    def full(fd: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(DocumentError, match="No space left"):
        write_file(target, b"new")
    assert target.read_bytes() == b"old"
    assert [p.name for p in target.parent.iterdir()] == ["paper.pdf"]
