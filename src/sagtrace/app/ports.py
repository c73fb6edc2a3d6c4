"""What the use cases ask of the outside."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Protocol

from sagtrace.app.kept import Change, Content, JobLines, Kept, Mark, Query, Waits
from sagtrace.evidence.facts import Facts
from sagtrace.report.heading import Heading
from sagtrace.report.tree import Paper
from sagtrace.signals.imported import Assignment, Imported
from sagtrace.signals.trace import Trace
from sagtrace.twin.identify.result import Fit, Tape
from sagtrace.vehicle.job import Job
from sagtrace.vehicle.knowledge import Knowledge
from sagtrace.vehicle.layouts import Layout

__all__ = [
    "Fitter",
    "HeadingPlace",
    "JobFiles",
    "JobPlace",
    "JobStore",
    "KnowledgeSource",
    "PaperMaker",
    "RecordingReader",
    "Recordings",
    "RoleMemory",
]


class KnowledgeSource(Protocol):
    """Where the knowledge comes from."""

    def load(self) -> Knowledge:
        """Return the knowledge; raise DocumentError at its first mistake."""


class Recordings(Protocol):
    """Where the recordings of one job are kept."""

    def recording(self, file: str) -> bytes | Path:
        """Return a recording as it came, or where it lies."""


class JobPlace(Recordings, Protocol):
    """Where one job and its recordings are kept."""

    def load(self) -> Job:
        """Return the job; raise DocumentError with the line of a mistake."""

    def save(self, job: Job) -> None:
        """Keep the job, whole or not at all."""


class JobStore(Protocol):
    """Where all jobs of a garage are kept, with every change and who made it.

    A change is kept whole before the call returns, or not at all. What was entered is never
    changed or deleted (`vehicle.job.only_grown`).
    """

    def add(self, job: Job, mark: Mark, result: Mapping[str, str]) -> Kept:
        """Keep a new job as revision 1.

        Raises InputError if its id is taken, ChangedError if the mark's key was used meanwhile.
        """

    def load(self, job_id: str) -> Kept:
        """Return a job; raise UnknownIdError if there is none."""

    def commit(self, job: Job, base: int, mark: Mark, result: Mapping[str, str]) -> Kept:
        """Keep a job that was made from revision `base`.

        Raises ChangedError, and changes nothing, if the job has another revision by now or the
        mark's key was used meanwhile; InputError if something entered were changed.
        """

    def change_with(self, key: str) -> Change | None:
        """Return the change that carried out the request with this key, if one did."""

    def changes(self, job_id: str) -> tuple[Change, ...]:
        """Return every change of a job, oldest first; raise UnknownIdError if there is none."""

    def jobs(self, query: Query) -> JobLines:
        """Return a page of the list; raise InputError for a query that cannot be right."""

    def note_outlook(
        self, job_id: str, revision: int, *, stage: str, headline: str, waits: Waits, ready: str
    ) -> None:
        """Keep what was worked out for the list, unless the job has changed since."""

    def keep(self, content: Content) -> str:
        """Keep a recording or picture and return its SHA-256; the same content is kept once."""

    def content(self, sha256: str) -> Content:
        """Return a content; raise UnknownIdError if there is none."""

    def close(self) -> None:
        """Let go of files and connections."""


class JobFiles(Protocol):
    """Turns a job with its recordings and pictures into one file and back."""

    def pack(self, job: Job, content: Callable[[str], Content]) -> bytes:
        """Return an archive of the job file with its recordings and pictures beside it.

        `content` returns what has a SHA-256. The same job gives the same bytes.
        """

    def unpack(self, data: bytes) -> tuple[Job, Mapping[str, bytes]]:
        """Return the job of an archive or of a bare job file, and its files by SHA-256.

        Raises DocumentError for what is neither, names files that are not there or are not what
        was attached, leads out of its folder, or is far larger than it looks.
        """


class Fitter(Protocol):
    """Fits the virtual vehicle to recordings."""

    def fit(
        self, layout: Layout, facts: Facts, trace: Trace, key: str, tapes: Sequence[Tape] = ()
    ) -> Fit:
        """Return the fit; raise EvidenceError with the reason if there can be none.

        `key` stands for the content of everything given: a fit with the same key is the same.
        """


class RecordingReader(Protocol):
    """Turns a file into a recording."""

    def read(
        self,
        source: bytes | Path,
        name: str,
        assignment: Assignment,
        remembered: Mapping[tuple[str, str], str],
    ) -> Imported:
        """Return the recording; raise DocumentError with the line of a mistake.

        `remembered` maps a column's name and unit to the role that it had before.
        """


class RoleMemory(Protocol):
    """Where a shop keeps what the columns of its recordings turned out to be."""

    def recall(self) -> Mapping[tuple[str, str], str]:
        """Return role and unit by column name and unit; raise DocumentError for a mistake."""

    def keep(self, roles: Mapping[tuple[str, str], str]) -> None:
        """Keep roles by column name and unit; the newest counts."""


class HeadingPlace(Protocol):
    """Where the workshop's own heading is kept."""

    def load(self) -> Heading:
        """Return the heading, an empty one if none was kept; raise DocumentError for a mistake."""

    def save(self, heading: Heading) -> None:
        """Keep the heading, whole or not at all; raise DocumentError if it cannot be kept."""


class PaperMaker(Protocol):
    """Puts a paper on pages."""

    def render(self, paper: Paper) -> bytes:
        """Return the paper as PDF."""
