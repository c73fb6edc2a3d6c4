"""Recordings on their way into a job, and those in it: sent, read, corrected, attached, drawn.

Assumes one process: files that were sent and the tasks that read them go with it. What a job keeps
goes through the desk, once a key.
"""

from __future__ import annotations

import re
import threading
import uuid
from collections import OrderedDict
from collections.abc import AsyncIterator, Callable, Mapping
from dataclasses import dataclass, replace
from typing import TypeVar

from starlette.concurrency import run_in_threadpool

from sagtrace.app.desk import Desk
from sagtrace.app.kept import Kept, Mark
from sagtrace.errors import DocumentError, InputError, UnknownIdError
from sagtrace.report.assessment import Recorded
from sagtrace.signals.imported import Assignment, ColumnInfo, ImportReport
from sagtrace.vehicle.job import Taped
from sagtrace.web.plotted import Plotted, make_plotted
from sagtrace.web.tasks import Task, Tasks
from sagtrace.web.uploads import LARGEST, Upload, Uploads
from sagtrace.web.words import _, spoken

__all__ = ["Attach", "Inspected", "Readings", "words_of_the_page"]

HELD = 4  # chosen: recordings that stay at hand; one of 200 000 rows takes some 20 MB
PATIENCE = 0.4  # [s] chosen: a page waits so long before it says that it reads

T = TypeVar("T")
Key = tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Inspected:
    """A file that was sent, with what is in it."""

    upload: Upload
    report: ImportReport | None  # None while a rate is missing
    columns: tuple[ColumnInfo, ...] = ()
    rate: str = ""
    problem: str = ""  # what a person has to say first


@dataclass(frozen=True, slots=True, kw_only=True)
class Attach:
    """What a person says of a file that is to be attached."""

    sha256: str
    file: str
    assignment: Assignment
    tapes: tuple[Taped, ...] = ()
    remember: bool = False


class Readings:
    """Recordings over one desk. Safe to use from several threads."""

    def __init__(self, desk: Desk, largest: int = LARGEST) -> None:
        self.desk = desk
        self.uploads = Uploads(largest)
        self.tasks = Tasks(words_of_the_page)
        self._inspected: OrderedDict[tuple[str, str], Inspected] = OrderedDict()
        self._said: dict[tuple[str, str], Attach] = {}
        self._recorded: OrderedDict[Key, Recorded] = OrderedDict()
        self._plotted: OrderedDict[Key, Plotted] = OrderedDict()
        self._lock = threading.Lock()

    # --- on their way

    async def take(
        self, job: str, name: str, rate: str, parts: AsyncIterator[bytes], told: int
    ) -> Inspected:
        """Keep a file aside and return what is in it; nothing is kept of one that is refused."""
        await run_in_threadpool(self.desk.open, job)
        upload = await self.uploads.take(job, name, parts, told)
        try:
            return await run_in_threadpool(self.inspect, job, upload.sha256, rate)
        except (DocumentError, InputError):
            self.give_up(job, upload.sha256)
            raise

    async def again(self, job: str, sha256: str, rate: str) -> Inspected:
        """Return what is in a file that was sent before, with another rate."""
        return await run_in_threadpool(self.inspect, job, sha256, rate)

    def inspect(self, job: str, sha256: str, rate: str = "") -> Inspected:
        """Return what is in a file that was sent.

        Raises DocumentError for what is no recording, InputError for one that is attached already.
        """
        upload = self.uploads.get(job, sha256)
        for known in self.desk.open(job).job.recordings:
            if known.sha256 == sha256:
                raise InputError(
                    _(
                        "%(file)s is attached already, as %(id)s; it counts once.",
                        file=upload.name,
                        id=known.id,
                    )
                )
        said = Assignment(rate=rate)
        try:
            read = self.desk.workshop.inspect(upload.path, upload.name, said)
            found = Inspected(upload=upload, report=read.report, columns=read.columns, rate=rate)
        except DocumentError as err:
            if rate or not err.problem.startswith("no time column"):
                problem = words_of_the_page(err.problem)
                raise DocumentError(err.file, err.line, err.field, problem) from None
            found = Inspected(upload=upload, report=None, problem=words_of_the_page(str(err)))
        with self._lock:
            self._inspected[job, sha256] = found
        return found

    def inspected(self, job: str, sha256: str) -> Inspected:
        """Return what is in a file that was sent and read before."""
        upload = self.uploads.get(job, sha256)
        with self._lock:
            known = self._inspected.get((job, sha256))
        return known or self.inspect(job, upload.sha256)

    def said(self, job: str, sha256: str) -> Attach | None:
        """Return what was said of a file when it was last tried to attach it."""
        return self._said.get((job, sha256))

    def give_up(self, job: str, sha256: str) -> None:
        """Forget a file that was sent."""
        with self._lock:
            self._inspected.pop((job, sha256), None)
            self._said.pop((job, sha256), None)
        self.uploads.drop(job, sha256)

    def attach(self, job: str, said: Attach, mark: Mark, base: int | None) -> Task:
        """Start to attach a file; return the task that does it, the same for the same key.

        Raises InputError if columns are left of which nobody said what they are.
        """
        upload = self.uploads.get(job, said.sha256)
        said = replace(said, file=said.file or upload.name)
        self._refuse_unsettled(job, said)
        with self._lock:
            self._said[job, said.sha256] = said

        def work(say: Callable[[str], None]) -> Mapping[str, str]:
            say(
                _(
                    "Reading %(file)s and fitting the virtual vehicle to it: some seconds for a "
                    "usual recording, longer for a large one.",
                    file=said.file,
                )
            )
            data = upload.path.read_bytes()
            done = self.desk.attach(job, data, said.file, mark, said.assignment, said.tapes, base)
            result = dict(done.result)
            if said.remember and said.assignment.roles:
                result["remembered"] = str(self._remember(upload, said))
            self.give_up(job, said.sha256)
            say(_("Kept. Putting it beside the other evidence."))
            self._read(done.kept, result["recording"])
            return result

        return self.tasks.start(
            job, mark.key or f"attach {said.sha256} {mark.request} {mark.at}", work,
            what=said.file, subject=said.sha256, request=mark.request,
        )  # fmt: skip

    def _refuse_unsettled(self, job: str, said: Attach) -> None:
        found = self.inspected(job, said.sha256)
        left = [
            c.name for c in found.columns if c.unsettled and c.name not in said.assignment.roles
        ]
        if left:
            names = ", ".join(repr(name) for name in left)
            raise InputError(
                _("say of every marked column what it is, or leave it out: %(names)s.", names=names)
            )

    def _remember(self, upload: Upload, said: Attach) -> int:
        workshop = self.desk.workshop
        used = {n: r for n, r in said.assignment.roles.items() if r != "-"}
        if not used:
            return 0
        read = workshop.inspect(upload.path, upload.name, said.assignment)
        return workshop.remember(read, replace(said.assignment, roles=used))

    # --- in a job

    def recorded(self, kept: Kept, recording: str) -> Recorded | Task:
        """Return a recording as read, or the task that reads it if that takes longer."""
        key = _key(kept, recording)
        with self._lock:
            found = self._recorded.get(key)
        if found is not None:
            return found

        def work(say: Callable[[str], None]) -> Mapping[str, str]:
            say(_("Reading the recording and fitting the virtual vehicle to it."))
            self._read(kept, recording)
            return {"recording": recording}

        names = {r.id: r.file for r in kept.job.recordings}
        if recording not in names:
            raise UnknownIdError("recording", recording, names)
        task = self.tasks.about(kept.job.id, recording)
        if task is not None and task.state == "failed" and not task.told:
            task.told = True  # the next look tries again
            return task
        if task is None or not task.open:
            task = self.tasks.start(
                kept.job.id, uuid.uuid4().hex, work, what=names[recording], subject=recording
            )
        task.over.wait(PATIENCE)
        with self._lock:
            return self._recorded.get(key, task)

    def _read(self, kept: Kept, recording: str) -> Recorded:
        found = self.desk.recorded(kept, recording)
        with self._lock:
            _hold(self._recorded, _key(kept, recording), found)
        self.plotted(kept, recording)
        return found

    def plotted(self, kept: Kept, recording: str) -> Plotted:
        """Return what the plots of a recording draw; raise UnknownIdError if there is none."""
        key = _key(kept, recording)
        told = (*key, spoken().language)  # because it has titles in it
        with self._lock:
            found, recorded = self._plotted.get(told), self._recorded.get(key)
        if found is None:
            found = make_plotted(recorded or self.desk.recorded(kept, recording))
            with self._lock:
                _hold(self._plotted, told, found)
        return found


def _key(kept: Kept, recording: str) -> Key:
    # A recording never changes; what is fitted to it depends on the vehicle's values.
    return kept.job.id, recording, repr(sorted(kept.job.vehicle.items()))


def _hold(held: OrderedDict[Key, T], key: Key, value: T) -> None:
    held[key] = value
    held.move_to_end(key)
    while len(held) > HELD:
        held.popitem(last=False)


_OPTIONS = (
    (r",? for example (--role '[^']*',? ?)+(, or leave one out: --role '[^']*')?", ""),
    (r": --rate '([^']*)'", r", such as \1"),
)


def words_of_the_page(text: str) -> str:
    """Return a message without the options of the command line.

    >>> words_of_the_page("no time column; expected the rate of the samples: --rate '10 Hz'")
    'no time column; expected the rate of the samples, such as 10 Hz'
    """
    for pattern, instead in _OPTIONS:
        text = re.sub(pattern, instead, text)
    return text
