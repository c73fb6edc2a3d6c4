"""The one place that chooses adapters."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from importlib.metadata import version
from pathlib import Path
from typing import Any

from sagtrace.app.ports import JobPlace, RoleMemory
from sagtrace.app.workshop import Workshop
from sagtrace.evidence.models import MODELS
from sagtrace.report.tree import Paper
from sagtrace.signals.imported import Assignment, Imported
from sagtrace.vehicle.knowledge import Knowledge

__all__ = [
    "demo_folder",
    "job_place",
    "job_schema",
    "open_workshop",
    "read_file",
    "write_file",
]

# Adapters are imported where they are first needed: the PDF maker and the reader of
# recordings are large, and most commands use neither.


class _Shipped:
    def load(self) -> Knowledge:
        from platformdirs import user_cache_path

        from sagtrace.adapters.knowledge import SHIPPED, load_knowledge

        return load_knowledge(SHIPPED, MODELS, user_cache_path("sagtrace", appauthor=False))


class _Reader:
    def read(
        self,
        source: bytes | Path,
        name: str,
        assignment: Assignment,
        remembered: Mapping[tuple[str, str], str],
    ) -> Imported:
        from sagtrace.adapters.recordings.read import import_recording
        from sagtrace.adapters.words import load_words

        return import_recording(
            source, name, words=load_words(), assignment=assignment, remembered=remembered
        )


class _Memory:
    def recall(self) -> Mapping[tuple[str, str], str]:
        return self._file().recall()

    def keep(self, roles: Mapping[tuple[str, str], str]) -> None:
        self._file().keep(roles)

    @staticmethod
    def _file() -> RoleMemory:
        from platformdirs import user_data_path

        from sagtrace.adapters.remembered import RoleFile

        return RoleFile(user_data_path("sagtrace", appauthor=False) / "roles.yaml")


class _Maker:
    def render(self, paper: Paper) -> bytes:
        from sagtrace.adapters.pdf import render_pdf

        return render_pdf(paper)


@cache
def open_workshop() -> Workshop:
    """Return the use cases over the shipped knowledge, made once a process."""
    return Workshop(
        knowledge_source=_Shipped(),
        recording_reader=_Reader(),
        paper_maker=_Maker(),
        version=version("sagtrace"),
        role_memory=_Memory(),
    )


def job_place(path: Path) -> JobPlace:
    """Return the place of the job file at this path."""
    from sagtrace.adapters.jobs import JobFile

    return JobFile(path)


def job_schema() -> dict[str, Any]:
    """Return the JSON schema of a job file."""
    from sagtrace.adapters.jobs import job_schema as schema

    return schema()


def read_file(path: Path) -> bytes:
    """Return a file's content; what is no regular file or too large is refused."""
    from sagtrace.adapters.jobs import read_file as read

    return read(path)


def write_file(path: Path, content: bytes) -> None:
    """Write a file whole or not at all."""
    from sagtrace.adapters.jobs import write_file as write

    write(path, content)


def demo_folder() -> Path:
    """Return the folder of the demonstration job and its recording."""
    return Path(__file__).parent / "demo"
