"""A job that comes from elsewhere is checked before it is kept."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import suppress

from sagtrace.app.kept import Content
from sagtrace.app.records import check_records
from sagtrace.app.workshop import Workshop
from sagtrace.errors import ContradictionError, InputError
from sagtrace.evidence.findings import find
from sagtrace.evidence.tapes import read_tapes
from sagtrace.signals.imported import Assignment
from sagtrace.vehicle.job import Job

__all__ = ["check_moved", "check_picture", "contents_of", "media_of"]

_PICTURES = ("image/jpeg", "image/png", "image/webp")
_LARGEST_PICTURE = 12_000_000  # [bytes] chosen: what a tablet's camera makes
_RECORDING = "application/octet-stream"
_BEGINS = ((b"\xff\xd8\xff", "image/jpeg"), (b"\x89PNG\r\n\x1a\n", "image/png"))


def check_moved(workshop: Workshop, job: Job, files: Mapping[str, bytes]) -> None:
    """Raise InputError or DocumentError unless everything in a job can be worked with here.

    The virtual vehicle is not fitted to its recordings: that takes long and can be done later.
    """
    check_records(job)
    workshop.start(job)
    with suppress(ContradictionError):  # which is a finding about the job, not a mistake in it
        workshop.judge(job.unrecorded())
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


def check_picture(picture: Content) -> None:
    """Raise InputError for a picture of another kind, or a larger one, than is kept."""
    if picture.media not in _PICTURES:
        raise InputError(f"a picture of type {picture.media!r} is not kept: JPEG, PNG or WebP is.")
    if len(picture.data) > _LARGEST_PICTURE:
        raise InputError(
            f"the picture has {len(picture.data) / 1e6:.0f} MB; "
            f"up to {_LARGEST_PICTURE / 1e6:.0f} MB is kept. Take it smaller."
        )


def contents_of(job: Job, files: Mapping[str, bytes]) -> Iterator[Content]:
    """Yield the recordings and pictures of a job; raise InputError for what is no picture."""
    for recording in job.recordings:
        yield Content(data=files[recording.sha256], media=_RECORDING)
    for note in job.notes:
        if note.sha256:
            data = files[note.sha256]
            if not (media := media_of(data)):
                raise InputError(
                    f"{note.photo} is no picture that can be kept: JPEG, PNG or WebP is."
                )
            picture = Content(data=data, media=media)
            check_picture(picture)
            yield picture


def media_of(data: bytes) -> str:
    """Return the media type of a picture that can be kept; an empty text if it is none."""
    for begin, media in _BEGINS:
        if data.startswith(begin):
            return media
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return "image/webp"
    return ""
