"""A job that comes from elsewhere is checked before it is kept."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from contextlib import suppress
from dataclasses import replace
from datetime import datetime

from sagtrace.app.kept import Content
from sagtrace.app.workshop import Workshop
from sagtrace.errors import ContradictionError, DocumentError, InputError
from sagtrace.evidence.findings import find
from sagtrace.evidence.tapes import read_tapes
from sagtrace.signals.imported import Assignment
from sagtrace.vehicle.job import Job

__all__ = ["check_moved", "contents_of", "is_good_id"]

_ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,79}")  # what an address can hold as it is
_RECORDING = "application/octet-stream"
_BEGINS = ((b"\xff\xd8\xff", "image/jpeg"), (b"\x89PNG\r\n\x1a\n", "image/png"))


def is_good_id(job_id: str) -> bool:
    """Return whether a job can be called this here."""
    return _ID.fullmatch(job_id) is not None


def check_moved(workshop: Workshop, job: Job, files: Mapping[str, bytes]) -> None:
    """Raise InputError or DocumentError unless everything in a job can be worked with here.

    The virtual vehicle is not fitted to its recordings: that takes long and can be done later.
    """
    for field, moment in _moments(job):
        try:
            datetime.fromisoformat(moment)
        except ValueError:
            problem = f"{moment!r} is no moment such as 2026-11-24T08:05:00+00:00"
            raise DocumentError("job.yaml", None, field, problem) from None
    workshop.start(job)
    with suppress(ContradictionError):  # which is a finding about the job, not a mistake in it
        workshop.judge(replace(job, recordings=()))
    system, facts = workshop.system(job.layout), workshop.facts(job)
    for proof in job.proofs:
        if not proof.withdrawn:
            find(system, proof, facts)
    for repair in (*job.repaired, *(r for a in job.approvals for r in a.repairs)):
        system.repair(repair)
    for check in (*(b.check for b in job.begun), *(n.check for n in job.notes)):
        if check:
            system.check(check)
    for recording in job.recordings:
        assignment = Assignment(roles=recording.roles, rate=recording.rate, guess=False)
        trace = workshop.inspect(files[recording.sha256], recording.file, assignment).trace
        read_tapes(system.layout, trace, recording.tapes)


def contents_of(job: Job, files: Mapping[str, bytes]) -> Iterator[Content]:
    """Yield the recordings and pictures of a job; raise InputError for what is no picture."""
    for recording in job.recordings:
        yield Content(data=files[recording.sha256], media=_RECORDING)
    for note in job.notes:
        if note.sha256:
            yield Content(data=files[note.sha256], media=_media(files[note.sha256], note.photo))


def _media(data: bytes, name: str) -> str:
    for begin, media in _BEGINS:
        if data.startswith(begin):
            return media
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return "image/webp"
    raise InputError(f"{name} is no picture that can be kept: JPEG, PNG or WebP is.")


def _moments(job: Job) -> Iterator[tuple[str, str]]:
    named: Iterable[tuple[str, str]] = (
        ("opened", job.opened),
        ("repaired_at", job.repaired_at),
        *((f"entries {e.id}", e.at) for e in (*job.entries, *job.proofs)),
        *((f"begun {b.id}", moment) for b in job.begun for moment in (b.at, b.ready)),
        *((f"notes {n.id}", n.at) for n in job.notes),
        *((f"approvals {a.id}", a.at) for a in job.approvals),
        *((f"recordings {r.id}", r.at) for r in job.recordings),
    )
    return ((field, moment) for field, moment in named if moment)
