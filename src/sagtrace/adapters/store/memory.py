"""Jobs kept in memory: for tests and for trying out."""

from __future__ import annotations

import hashlib
import threading
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from sagtrace.adapters.store.texts import page_start, refuse_unkeepable, sought_in, words_of
from sagtrace.app.kept import Change, Content, JobLine, JobLines, Kept, Mark, Query, Waits
from sagtrace.errors import ChangedError, InputError, UnknownIdError
from sagtrace.vehicle.job import Job, only_grown

__all__ = ["MemoryStore"]


@dataclass
class MemoryStore:
    """A `JobStore` that forgets everything when the program ends."""

    _jobs: dict[str, Kept] = field(default_factory=dict)
    _changes: list[Change] = field(default_factory=list)
    _outlook: dict[str, Mapping[str, str]] = field(default_factory=dict)
    _contents: dict[str, Content] = field(default_factory=dict)
    _lock: threading.RLock = field(default_factory=threading.RLock)

    def add(self, job: Job, mark: Mark, result: Mapping[str, str]) -> Kept:
        """Keep a new job as revision 1."""
        refuse_unkeepable(job, mark, result)
        with self._lock:
            self._refuse_used(mark)
            if job.id in self._jobs:
                raise InputError(f"there is a job {job.id!r} already; give this one its own id.")
            return self._keep(job, 1, mark, result)

    def load(self, job_id: str) -> Kept:
        """Return a job."""
        with self._lock:
            if job_id not in self._jobs:
                raise UnknownIdError("job", job_id, self._jobs)
            return self._jobs[job_id]

    def commit(self, job: Job, base: int, mark: Mark, result: Mapping[str, str]) -> Kept:
        """Keep a job that was made from revision `base`."""
        refuse_unkeepable(job, mark, result)
        with self._lock:
            old = self.load(job.id)
            if old.revision != base:
                raise ChangedError(f"job {job.id} is at revision {old.revision}, not {base}.")
            only_grown(old.job, job)
            self._refuse_used(mark)
            return self._keep(job, base + 1, mark, result)

    def _refuse_used(self, mark: Mark) -> None:
        if mark.key and self.change_with(mark.key):
            raise ChangedError(f"the request {mark.key!r} was carried out meanwhile.")

    def _keep(self, job: Job, revision: int, mark: Mark, result: Mapping[str, str]) -> Kept:
        kept = Kept(job=job, revision=revision, changed_at=mark.at, changed_by=mark.by)
        self._jobs[job.id] = kept
        self._changes.append(Change(job=job.id, revision=revision, mark=mark, result=dict(result)))
        self._outlook.pop(job.id, None)
        return kept

    def change_with(self, key: str) -> Change | None:
        """Return the change that carried out the request with this key."""
        with self._lock:
            return next((c for c in self._changes if key and c.mark.key == key), None)

    def changes(self, job_id: str) -> tuple[Change, ...]:
        """Return every change of a job, oldest first."""
        with self._lock:
            self.load(job_id)
            return tuple(c for c in self._changes if c.job == job_id)

    def jobs(self, query: Query) -> JobLines:
        """Return a page of the list."""
        start = page_start(query)
        with self._lock:
            places = {c.job: place for place, c in enumerate(self._changes, 1)}
            lines = [self._line(k) for k in self._jobs.values()]
            words = {k.job.id: sought_in(words_of(k.job)) for k in self._jobs.values()}
        lines.sort(key=lambda line: -places[line.id])
        sought = sought_in(query.text)
        found = [
            line
            for line in lines
            if sought in words[line.id]
            and query.stage in ("", line.stage)
            and query.waits in ("", line.waits)
            and (start is None or places[line.id] < start)
        ]
        page = found[: query.limit]
        more = str(places[page[-1].id]) if len(found) > len(page) else ""
        return JobLines(lines=tuple(page), next=more)

    def _line(self, kept: Kept) -> JobLine:
        job, outlook = kept.job, self._outlook.get(kept.job.id, {})
        line = JobLine(
            id=job.id, title=job.title, complaint=job.complaint, layout=job.layout,
            invented=job.invented, revision=kept.revision, opened=job.opened,
            changed_at=kept.changed_at, changed_by=kept.changed_by,
        )  # fmt: skip
        return replace(line, **outlook)  # type: ignore[arg-type]

    def note_outlook(
        self, job_id: str, revision: int, *, stage: str, headline: str, waits: Waits, ready: str
    ) -> None:
        """Keep what was worked out for the list, unless the job has changed since."""
        with self._lock:
            if self.load(job_id).revision == revision:
                self._outlook[job_id] = {
                    "stage": stage, "headline": headline, "waits": waits, "ready": ready,
                }  # fmt: skip

    def keep(self, content: Content) -> str:
        """Keep a recording or picture and return its SHA-256."""
        digest = hashlib.sha256(content.data).hexdigest()
        with self._lock:
            self._contents.setdefault(digest, content)
        return digest

    def content(self, sha256: str) -> Content:
        """Return a content."""
        with self._lock:
            if sha256 not in self._contents:
                raise UnknownIdError("content", sha256, ())
            return self._contents[sha256]

    def close(self) -> None:
        """Nothing to let go of."""
