"""What was worked out of kept jobs, at hand until it is asked for again."""

from __future__ import annotations

import threading
from collections import OrderedDict
from contextlib import suppress
from dataclasses import dataclass, field, replace
from typing import Literal, TypeVar

from sagtrace.app.kept import Kept, Waits
from sagtrace.app.ports import JobStore
from sagtrace.app.workshop import Workshop
from sagtrace.errors import (
    ContradictionError,
    DocumentError,
    InputError,
    StoreError,
    UnknownIdError,
)
from sagtrace.report.assessment import Assessment, Judged, Recorded
from sagtrace.report.headline import headline
from sagtrace.vehicle.job import Job

__all__ = ["Assessing", "hold", "Newest", "waits_for"]

_HELD = 32  # chosen: jobs whose assessment stays at hand

K = TypeVar("K")
T = TypeVar("T")

Newest = Literal["entries", "recordings", "vehicle"]


@dataclass(frozen=True, slots=True)
class _Place:
    """Where the recordings of one kept job are."""

    store: JobStore
    job: Job

    def recording(self, file: str) -> bytes:
        digest = next(r.sha256 for r in self.job.recordings if r.file == file)
        return self.store.content(digest).data


@dataclass(kw_only=True)
class Assessing:
    """Works out what follows from kept jobs, each once. Safe to use from several threads."""

    workshop: Workshop
    store: JobStore
    _turns: dict[str, threading.RLock] = field(default_factory=dict, init=False)
    _judged: OrderedDict[tuple[str, int], Judged] = field(default_factory=OrderedDict, init=False)
    _assessed: OrderedDict[tuple[str, int], Assessment] = field(
        default_factory=OrderedDict, init=False
    )
    _earlier: OrderedDict[tuple[str, int], Judged] = field(default_factory=OrderedDict, init=False)

    def judged(self, kept: Kept) -> Judged:
        """Return what a job's evidence says."""
        key = (kept.job.id, kept.revision)
        with self.turn(kept.job.id):
            found = self._judged.get(key)
            if found is None:
                last = self._judged.get((kept.job.id, kept.revision - 1))
                if last is not None and _same_evidence(last.job, kept.job):
                    found = replace(last, job=kept.job)  # an approval, say, tells nothing new
                else:
                    found = self.workshop.judge(kept.job, _Place(self.store, kept.job))
                hold(self._judged, key, found)
            return found

    def judged_before(self, kept: Kept, newest: Newest) -> Judged | None:
        """Return what the evidence said before the last change; None if nothing can be said.

        `newest` is where the change put something.
        """
        key = (kept.job.id, kept.revision)
        with self.turn(kept.job.id):
            last = self._judged.get((kept.job.id, kept.revision - 1))
            if last is not None:
                return last
            earlier = _without_newest(kept, newest)
            if earlier == kept.job:
                return None
            found = self._earlier.get(key)
            if found is None:
                try:
                    found = self.workshop.judge(earlier, _Place(self.store, earlier))
                except (ContradictionError, DocumentError, InputError):
                    return None  # the newest entry put it right, or a work came after it
                hold(self._earlier, key, found)
            return found

    def assessed(self, kept: Kept) -> Assessment:
        """Return everything that follows from a job, and keep its headline for the list."""
        key = (kept.job.id, kept.revision)
        with self.turn(kept.job.id):
            found = self._assessed.get(key)
            if found is None:
                judged = self.judged(kept)
                place = _Place(self.store, kept.job)
                found = self.workshop.assess(judged.job, place, judged)
                hold(self._assessed, key, found)
                waits, ready = waits_for(kept.job, found.stage)
                with suppress(StoreError):  # a full disk must not hide what is kept
                    self.store.note_outlook(
                        *key, stage=found.stage, headline=headline(found), waits=waits, ready=ready
                    )
            return found

    def turn(self, job_id: str) -> threading.RLock:
        """Return the lock of a job, so that one job's long fit stops no other job."""
        return self._turns.setdefault(job_id, threading.RLock())

    def recorded(self, kept: Kept, recording_id: str) -> Recorded:
        """Return a recording of the job as read; raise UnknownIdError if there is none.

        The job is not judged, so that a recording can be looked at even if nothing explains it.
        """
        known = [r.id for r in kept.job.recordings]
        if recording_id not in known:
            raise UnknownIdError("recording", recording_id, known)
        with self.turn(kept.job.id):
            found = self.workshop.recorded(kept.job, _Place(self.store, kept.job))
        return found[known.index(recording_id)]


def waits_for(job: Job, stage: str) -> tuple[Waits, str]:
    """Return what has to happen before anybody can go on, and when a hold can be read."""
    if waiting := job.waiting():
        return "hold", min(b.ready for b in waiting)
    if stage == "prove":
        return "proof", ""
    asked = job.approvals and job.approvals[-1].answer == "asked"
    return ("approval", "") if asked and stage in ("check", "repair") else ("", "")


def _without_newest(kept: Kept, newest: Newest) -> Job:
    """Return the job without what the last change put in; one form tells several values."""
    job = kept.job
    if newest == "vehicle":
        return replace(job, told=tuple(t for t in job.told if t.at != kept.changed_at))
    return replace(job, **{newest: getattr(job, newest)[:-1]})


def _same_evidence(job: Job, other: Job) -> bool:
    kinds = ("entries", "proofs", "works", "recordings", "vehicle", "complaint")
    return all(getattr(job, kind) == getattr(other, kind) for kind in kinds)


def hold(held: OrderedDict[K, T], key: K, value: T) -> None:
    """Put a value at hand; the oldest makes room."""
    held[key] = value
    while len(held) > _HELD:
        held.popitem(last=False)
