"""What the use cases ask of the outside."""

from __future__ import annotations

from typing import Protocol

from sagtrace.report.tree import Paper
from sagtrace.signals.trace import Trace
from sagtrace.vehicle.job import Job
from sagtrace.vehicle.knowledge import Knowledge

__all__ = ["JobPlace", "KnowledgeSource", "PaperMaker", "RecordingReader", "Recordings"]


class KnowledgeSource(Protocol):
    """Where the knowledge comes from."""

    def load(self) -> Knowledge:
        """Return the knowledge; raise DocumentError at its first mistake."""


class Recordings(Protocol):
    """Where the recordings of one job are kept."""

    def recording(self, file: str) -> bytes:
        """Return a recording as it came."""


class JobPlace(Recordings, Protocol):
    """Where one job and its recordings are kept."""

    def load(self) -> Job:
        """Return the job; raise DocumentError with the line of a mistake."""

    def save(self, job: Job) -> None:
        """Keep the job, whole or not at all."""


class RecordingReader(Protocol):
    """Turns a file into a recording."""

    def read(self, data: bytes, name: str) -> Trace:
        """Return the recording; raise DocumentError with the line of a mistake."""


class PaperMaker(Protocol):
    """Puts a paper on pages."""

    def render(self, paper: Paper) -> bytes:
        """Return the paper as PDF."""
