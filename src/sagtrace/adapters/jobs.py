"""Job files: one YAML file a job, its recordings beside it."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from pathlib import Path
from typing import Any

from sagtrace.adapters.documents import json_schema, load_located, write_document
from sagtrace.errors import DocumentError, InputError
from sagtrace.vehicle.job import Job

__all__ = ["job_schema", "JobFile"]


class JobFile:
    """A job kept in a file. Written whole or not at all."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def load(self) -> Job:
        """Return the job.

        Raises DocumentError with line and field for a damaged file, and if there is none.
        """
        try:
            text = self.path.read_text(encoding="utf-8")
        except FileNotFoundError:
            problem = "there is no such job file; `sagtrace new` starts one"
            raise DocumentError(str(self.path), None, "", problem) from None
        except (OSError, UnicodeDecodeError) as err:
            problem = f"cannot be read as text ({_reason(err)})"
            raise DocumentError(str(self.path), None, "", problem) from None
        document = load_located(text, str(self.path))
        try:
            return document.into(Job)
        except InputError as err:  # what the record refuses as a whole
            raise DocumentError(str(self.path), None, "", str(err)) from None

    def save(self, job: Job) -> None:
        """Write the job beside its place and move it there, so that no half file can be left."""
        text = write_document(_plain(job))
        try:
            handle, name = tempfile.mkstemp(dir=self.path.parent, suffix=".part")
            try:
                with os.fdopen(handle, "w", encoding="utf-8") as file:
                    file.write(text)
                    file.flush()
                    os.fsync(file.fileno())
                os.chmod(name, 0o644)
                os.replace(name, self.path)
            except BaseException:
                Path(name).unlink(missing_ok=True)
                raise
        except OSError as err:
            problem = f"cannot be written ({_reason(err)}); the old content is untouched"
            raise DocumentError(str(self.path), None, "", problem) from None

    def recording(self, file: str) -> bytes:
        """Return the recording, which lies beside the job file or below it."""
        path = Path(file)
        if path.is_absolute() or ".." in path.parts:
            problem = "a recording lies beside its job file; copy it there and attach it again"
            raise DocumentError(file, None, "", problem)
        try:
            return (self.path.parent / file).read_bytes()
        except OSError as err:
            raise DocumentError(file, None, "", f"cannot be read ({_reason(err)})") from None


def _reason(err: Exception) -> str:
    return err.strerror or str(err) if isinstance(err, OSError) else str(err)


def _plain(value: Any) -> Any:
    """Return a record as plain data, leaving out what is as it would be anyway."""
    if is_dataclass(value) and not isinstance(value, type):
        return {
            f.name: _plain(held)
            for f in fields(value)
            if (held := getattr(value, f.name)) not in ("", (), {}, False) or f.name == "id"
        }
    if isinstance(value, Mapping):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, tuple):
        return [_plain(item) for item in value]
    return value


def job_schema() -> dict[str, Any]:
    """Return the JSON schema of a job file."""
    return json_schema(Job)
