"""What the use cases ask of the outside."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Protocol

from sagtrace.evidence.facts import Facts
from sagtrace.report.tree import Paper
from sagtrace.signals.imported import Assignment, Imported
from sagtrace.signals.trace import Trace
from sagtrace.twin.identify.result import Fit, Tape
from sagtrace.vehicle.job import Job
from sagtrace.vehicle.knowledge import Knowledge
from sagtrace.vehicle.layouts import Layout

__all__ = [
    "Fitter",
    "JobPlace",
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


class PaperMaker(Protocol):
    """Puts a paper on pages."""

    def render(self, paper: Paper) -> bytes:
        """Return the paper as PDF."""
