"""The use cases over jobs that are kept: every change once, whole, and with who made it.

A change is worked out on the newest revision and kept if that is still the newest; if not, it is
worked out again, so that two people can work on one job. A request that was carried out before is
not carried out again: its sender is told what it was told the first time.
"""

from __future__ import annotations

import math
import uuid
from collections import OrderedDict
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from functools import cached_property

from sagtrace.app.approving import allowed, offered
from sagtrace.app.assessing import Assessing, Newest, hold
from sagtrace.app.calculators.records import Calculator
from sagtrace.app.calculators.shelf import all_calculators
from sagtrace.app.kept import Change, Content, JobLines, Kept, Mark, Query
from sagtrace.app.moving import check_moved, check_picture, contents_of
from sagtrace.app.ports import JobFiles, JobStore
from sagtrace.app.practice import Hidden, Trainer, by_plan
from sagtrace.app.records import is_good_id
from sagtrace.app.workshop import COMPLAINT, GUESSED, Workshop
from sagtrace.errors import ChangedError, InputError, SagtraceError, UnknownIdError
from sagtrace.report.assessment import Assessment, Judged, Recorded
from sagtrace.signals.imported import Assignment
from sagtrace.units import METRIC, Reader
from sagtrace.vehicle.job import NOT_DONE, Approval, Begun, Entry, Job, Note, Taped

__all__ = ["Desk", "Done", "Newest", "NO_REVISION"]

NO_REVISION = 0  # no job has it: what a sender saw that was none of ours

_NO_PROOF = "Put that right first; the proof stays due."

_TRIES = 20  # chosen: times that a change is worked out anew because others were faster

Act = Callable[[Job], tuple[Job, Mapping[str, str]]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Done:
    """A job after a change, and what came of it, such as the id of a new entry."""

    kept: Kept
    result: Mapping[str, str]
    again: bool = False  # the same request was carried out before


@dataclass(kw_only=True)
class Desk:
    """The use cases over one store. Safe to use from several threads."""

    workshop: Workshop
    store: JobStore
    trainer: Trainer | None = None  # without one there is no practice
    files: JobFiles | None = None  # without it no job goes in or out as a file
    _planned: OrderedDict[str, tuple[Job, bool]] = field(default_factory=OrderedDict, init=False)
    _assessing: Assessing = field(init=False)

    def __post_init__(self) -> None:
        self._assessing = Assessing(workshop=self.workshop, store=self.store)

    @cached_property
    def calculators(self) -> Mapping[str, Calculator]:
        """The calculators, with what is assumed of a vehicle of the simplest layout."""
        layout = min(self.workshop.knowledge.layouts, key=lambda layout: len(layout.corners))
        proofs = self.workshop.system(layout.id).proofs.values()
        limit = next(p.at_most for p in proofs if p.check.startswith("hold.overnight"))
        return all_calculators(layout, f"{limit:g} mL/min")

    # --- reading

    def jobs(self, query: Query) -> JobLines:
        """Return a page of the list of jobs."""
        return self.store.jobs(query)

    def open(self, job_id: str) -> Kept:
        """Return a job; raise UnknownIdError if there is none."""
        return self.store.load(job_id)

    def changes(self, job_id: str) -> tuple[Change, ...]:
        """Return who changed a job when, oldest first."""
        return self.store.changes(job_id)

    def judged(self, kept: Kept) -> Judged:
        """Return what a job's evidence says."""
        return self._assessing.judged(kept)

    def judged_before(self, kept: Kept, newest: Newest) -> Judged | None:
        """Return what the evidence said before the last change; None if nothing can be said."""
        return self._assessing.judged_before(kept, newest)

    def assessed(self, kept: Kept) -> Assessment:
        """Return everything that follows from a job, and keep its headline for the list."""
        return self._assessing.assessed(kept)

    def warm_up(self) -> None:
        """Make ready what the first answers need: every layout, and the job changed last."""
        for layout in self.workshop.knowledge.layouts:
            self.workshop.reasoner(layout.id)
        for line in self.store.jobs(Query()).lines[:1]:
            with suppress(SagtraceError):  # who opens it is told
                self.assessed(self.open(line.id))

    def recorded(self, kept: Kept, recording_id: str) -> Recorded:
        """Return a recording of the job as read; raise UnknownIdError if there is none."""
        return self._assessing.recorded(kept, recording_id)

    def content(self, kept: Kept, sha256: str) -> Content:
        """Return a recording or picture of this job as it came."""
        known = {r.sha256 for r in kept.job.recordings} | {n.sha256 for n in kept.job.notes}
        if not sha256 or sha256 not in known:
            raise UnknownIdError("file of this job", sha256, ())
        return self.store.content(sha256)

    def papers(self, kept: Kept, reader: Reader = METRIC) -> Mapping[str, bytes]:
        """Return the customer page and the technical record as PDF, by file name."""
        return self.workshop.papers(self.assessed(kept), reader)

    def export(self, kept: Kept) -> bytes:
        """Return a ZIP archive of the job: the job file of the commands, and its files beside it.

        The same job gives the same bytes.
        """
        return self._files().pack(kept.job, self.store.content)

    # --- changing

    def start(self, job: Job, mark: Mark) -> Done:
        """Keep a new job."""
        if done := self._before(mark):
            return done
        job = self.workshop.start(replace(job, title=job.title or job.complaint or COMPLAINT))
        return self._add(job, mark, {"job": job.id})

    def import_(self, data: bytes, mark: Mark) -> Done:
        """Keep the job of an archive that `export` made, or of a bare job file.

        A job whose id is taken here gets a new one, and the result says so. Raises DocumentError
        or InputError, and nothing is kept, for what cannot be right.
        """
        if done := self._before(mark):
            return done
        return self.take_in(*self._files().unpack(data), mark)

    def take_in(self, job: Job, files: Mapping[str, bytes], mark: Mark) -> Done:
        """Keep a job that comes from elsewhere, with its recordings and pictures by SHA-256."""
        check_moved(self.workshop, job, files)
        contents = tuple(contents_of(job, files))
        for content in contents:
            self.store.keep(content)
        result = {"job": job.id}
        if why := self._unusable(job.id):
            result = {"job": f"j{uuid.uuid4().hex[:10]}", "was": job.id}
            result["note"] = f"{why}; here it is {result['job']}."
        return self._add(replace(job, id=result["job"]), mark, result)

    def _unusable(self, job_id: str) -> str:
        """Return why a job from elsewhere cannot keep its id."""
        if not is_good_id(job_id):
            return f"the id {job_id!r} cannot be part of an address"
        try:
            self.store.load(job_id)
        except UnknownIdError:
            return ""
        return f"there is a job {job_id!r} already"

    def _add(self, job: Job, mark: Mark, result: Mapping[str, str]) -> Done:
        try:
            return Done(kept=self.store.add(job, mark, result), result=result)
        except ChangedError:  # the same request came twice at once
            if done := self._before(mark):
                return done
            raise

    def _files(self) -> JobFiles:
        if self.files is None:
            raise InputError("jobs cannot go in or out as files here.")
        return self.files

    def answer(self, job_id: str, entry: Entry, mark: Mark, base: int | None = None) -> Done:
        """Keep the answer to a check; the entry gets its id."""

        def act(job: Job) -> tuple[Job, Mapping[str, str]]:
            numbered = replace(entry, id=job.next_id(), at=entry.at or mark.at, by=mark.by)
            job, finding = self.workshop.answer(_known_begun(job, numbered), numbered)
            return job, {"entry": numbered.id, "finding": f"{finding.name}: {finding.text}"}

        return self._change(job_id, act, mark, base)

    def practise(self, job_id: str, check: str, mark: Mark, *, proof: bool = False) -> Done:
        """Do a check on the invented vehicle of a practice job, and keep what it shows."""

        def act(job: Job) -> tuple[Job, Mapping[str, str]]:
            shown = self._trainer().answer(self.workshop.system(job.layout), job, check)
            ends = next((b.id for b in job.waiting() if b.check == check), "")
            entry = replace(shown, id=job.next_id(), at=mark.at, by=mark.by, ends=ends)
            if proof and entry.outcome == NOT_DONE:
                raise InputError(f"{check}, {entry.note}: nothing is proved. {_NO_PROOF}")
            if proof:
                return self.workshop.prove(job, entry), {"entry": entry.id}
            job, finding = self.workshop.answer(job, entry)
            return job, {"entry": entry.id, "finding": f"{finding.name}: {finding.text}"}

        return self._change(job_id, act, mark, None)

    def by_plan(self, kept: Kept) -> tuple[Job, bool]:
        """Return a practice job as the plan would have checked it, and whether it came to an end.

        What is known of the vehicle is the same; only the checks are the plan's own.
        """
        job = kept.job
        key = repr((job.layout, job.practice, job.complaint, sorted(job.vehicle.items())))
        if key not in self._planned:
            found = by_plan(self.workshop, self._trainer(), job, self._assessing.turn(job.id))
            hold(self._planned, key, found)
        return self._planned[key]

    def hidden(self, kept: Kept) -> tuple[Hidden, ...]:
        """Return what is wrong with the vehicle of a practice job."""
        return self._trainer().hidden(self.workshop.system(kept.job.layout), kept.job)

    def _trainer(self) -> Trainer:
        if self.trainer is None:
            raise InputError("this workbench has no practice.")
        return self.trainer

    def withdraw(self, job_id: str, entry: str, note: str, mark: Mark, base: int | None) -> Done:
        """Let an entry or proof count no longer."""

        def act(job: Job) -> tuple[Job, Mapping[str, str]]:
            new = job.next_id()
            return self.workshop.withdraw(job, entry, note, mark.at, mark.by), {"entry": new}

        return self._change(job_id, act, mark, base)

    def begin(self, job_id: str, begun: Begun, mark: Mark, base: int | None = None) -> Done:
        """Keep that a check was begun which has to wait, with what was read so far."""

        def act(job: Job) -> tuple[Job, Mapping[str, str]]:
            at = begun.at or mark.at
            wait = self.workshop.time_of(job, begun)  # in any case, because it reads the values
            ready = begun.ready or _later(at, wait)
            new = replace(begun, id=job.next_id("b"), at=at, ready=ready, by=mark.by, drops="")
            held = self.workshop.held_after(job, new.check)
            return replace(job, begun=(*job.begun, new), access=held), {"begun": new.id}

        return self._change(job_id, act, mark, base)

    def drop(self, job_id: str, begun: str, note: str, mark: Mark, base: int | None = None) -> Done:
        """Give up a check that was begun."""

        def act(job: Job) -> tuple[Job, Mapping[str, str]]:
            waiting = {b.id for b in job.waiting()}
            if begun not in waiting:
                raise UnknownIdError("begun check that waits", begun, waiting)
            new = Begun(id=job.next_id("b"), drops=begun, note=note, at=mark.at, by=mark.by)
            return replace(job, begun=(*job.begun, new)), {"begun": new.id}

        return self._change(job_id, act, mark, base)

    def note(
        self, job_id: str, note: Note, picture: Content | None, mark: Mark, base: int | None = None
    ) -> Done:
        """Keep a note, with a picture or without."""
        if not note.text.strip() and picture is None:
            raise InputError("a note needs words or a picture.")
        if picture is not None:
            check_picture(picture)

        def act(job: Job) -> tuple[Job, Mapping[str, str]]:
            if note.check:
                self.workshop.system(job.layout).check(note.check)
            new = replace(note, id=job.next_id("n"), at=note.at or mark.at, by=mark.by)
            if picture is not None:  # only now, because what is refused must leave nothing
                new = replace(new, sha256=self.store.keep(picture))
            return replace(job, notes=(*job.notes, new)), {"note": new.id}

        return self._change(job_id, act, mark, base)

    def attach(
        self,
        job_id: str,
        data: bytes,
        file: str,
        mark: Mark,
        assignment: Assignment = GUESSED,
        tapes: Sequence[Taped] = (),
        base: int | None = None,
    ) -> Done:
        """Keep a recording after reading it."""
        media = "application/octet-stream"

        def act(job: Job) -> tuple[Job, Mapping[str, str]]:
            job, _ = self.workshop.attach(job, data, file, mark.at, assignment, tapes)
            self.store.keep(Content(data=data, media=media))
            return job, {"recording": job.recordings[-1].id}

        return self._change(job_id, act, mark, base)

    def approve(self, job_id: str, approval: Approval, mark: Mark, base: int | None = None) -> Done:
        """Keep what the customer was offered and said."""

        def act(job: Job) -> tuple[Job, Mapping[str, str]]:
            system = self.workshop.system(job.layout)
            job = offered(system, job, approval, mark.at, mark.by)
            return job, {"approval": job.approvals[-1].id}

        return self._change(job_id, act, mark, base)

    def repaired(
        self,
        job_id: str,
        repairs: Sequence[str],
        mark: Mark,
        base: int | None = None,
        without_approval: str = "",
    ) -> Done:
        """Keep that these repairs were done.

        `without_approval` is why they were done although the customer's approval does not cover
        them; it is kept as a note. Raises InputError if it is needed and empty.
        """

        def act(job: Job) -> tuple[Job, Mapping[str, str]]:
            if not repairs:
                raise InputError("say which repairs were done.")
            system = self.workshop.system(job.layout)
            job = allowed(system, job, repairs, without_approval, mark.at, mark.by)
            return self.workshop.repaired(job, tuple(repairs), mark.at, mark.by), {}

        return self._change(job_id, act, mark, base)

    def prove(self, job_id: str, entry: Entry, mark: Mark, base: int | None = None) -> Done:
        """Keep the answer to a proof test; the entry gets its id."""

        def act(job: Job) -> tuple[Job, Mapping[str, str]]:
            numbered = replace(entry, id=job.next_id(), at=entry.at or mark.at, by=mark.by)
            return self.workshop.prove(_known_begun(job, numbered), numbered), {
                "entry": numbered.id
            }

        return self._change(job_id, act, mark, base)

    def tell_vehicle(
        self, job_id: str, vehicle: Mapping[str, str], mark: Mark, base: int | None = None
    ) -> Done:
        """Keep what is told of the vehicle; an empty text takes back what was told.

        What was told before stays in the record.
        """

        def act(job: Job) -> tuple[Job, Mapping[str, str]]:
            return self.workshop.start(job.tell(vehicle, mark.at, mark.by)), {}

        return self._change(job_id, act, mark, base)

    def reach(
        self, job_id: str, access: Sequence[str], mark: Mark, base: int | None = None
    ) -> Done:
        """Keep which access states hold now."""

        def act(job: Job) -> tuple[Job, Mapping[str, str]]:
            return self.workshop.start(replace(job, access=tuple(dict.fromkeys(access)))), {}

        return self._change(job_id, act, mark, base)

    def _change(self, job_id: str, act: Act, mark: Mark, base: int | None) -> Done:
        for _ in range(_TRIES):
            if done := self._before(mark):
                return done
            kept = self.store.load(job_id)
            if base is not None and kept.revision != base:
                raise ChangedError(_changed(kept, base))
            job, result = act(kept.job)
            try:
                return Done(kept=self.store.commit(job, kept.revision, mark, result), result=result)
            except ChangedError:
                continue
        raise ChangedError(f"job {job_id} changes all the time; nothing was kept. Do it again.")

    def _before(self, mark: Mark) -> Done | None:
        """Return what came of the request with this key if it was carried out before."""
        change = self.store.change_with(mark.key) if mark.key else None
        if change is None:
            return None
        if change.mark.request != mark.request:
            raise InputError(
                f"the key {mark.key!r} was used for another request; give each its own."
            )
        return Done(kept=self.store.load(change.job), result=change.result, again=True)


def _changed(kept: Kept, base: int) -> str:
    if base == NO_REVISION:
        found = "at another revision than the ETag says."
    else:
        found = f"at revision {kept.revision}, not {base}: somebody else changed it."
    return f"job {kept.job.id} is {found} Nothing was kept; look at it again."


def _known_begun(job: Job, entry: Entry) -> Job:
    """Return the job; raise UnknownIdError if the entry ends what does not wait."""
    waiting = {b.id for b in job.waiting() if b.check == entry.check}
    if entry.ends and entry.ends not in waiting:
        raise UnknownIdError("begun check that waits", entry.ends, waiting)
    return job


def _later(at: str, seconds: float) -> str:
    try:
        moment = datetime.fromisoformat(at)
    except ValueError:
        raise InputError(f"at = {at!r}: expected a moment such as 2026-11-24T17:30:00Z.") from None
    whole = timedelta(seconds=math.ceil(seconds))  # because a second too early is too early
    return (moment + whole).isoformat(timespec="seconds")
