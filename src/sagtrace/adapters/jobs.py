"""Job files: one YAML file a job, its recordings beside it."""

from __future__ import annotations

import fcntl
import os
import stat
import tempfile
from collections.abc import Iterator, Mapping
from dataclasses import MISSING, fields, is_dataclass
from pathlib import Path
from typing import Any

from sagtrace.adapters.documents import json_schema, load_located, write_document
from sagtrace.errors import DocumentError, InputError
from sagtrace.vehicle.job import Job

__all__ = [
    "job_document",
    "job_schema",
    "JobFile",
    "parse_job",
    "read_file",
    "recording_in",
    "write_file",
]


_MOST_JOB = 8_000_000  # [bytes] chosen: above whatever a store keeps as one job
_MOST_RECORDING = 2_000_000_000  # [bytes] chosen: as the import of recordings
_HELD = 1 << 25  # [bytes] chosen: a larger recording is read in parts


class JobFile:
    """A job kept in a file. Written whole or not at all, and never over somebody else's change."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._seen: bytes | None = None  # what was there when it was last read or written

    def load(self) -> Job:
        """Return the job.

        Raises DocumentError with line and field for a damaged file, and if there is none.
        """
        try:
            self._seen = _read(self.path, _MOST_JOB)
            text = self._seen.decode("utf-8")
        except FileNotFoundError:
            problem = "there is no such job file; `sagtrace new` starts one"
            raise DocumentError(str(self.path), None, "", problem) from None
        except (OSError, ValueError) as err:
            problem = f"cannot be read as text ({_reason(err)})"
            raise DocumentError(str(self.path), None, "", problem) from None
        return parse_job(text, str(self.path))

    def save(self, job: Job) -> None:
        """Write the job beside its place and move it there, so that no half file can be left.

        Raises DocumentError, and changes nothing, if the file is no longer what was loaded, or
        if what would be written could not be read back.
        """
        content = job_document(job, str(self.path))
        target = self.path.resolve()  # a link stays a link
        try:
            folder = os.open(target.parent, os.O_RDONLY)
            try:
                fcntl.flock(folder, fcntl.LOCK_EX)  # two writers come one after the other
                self._refuse_if_changed(target)
                _replace(target, content)
            finally:
                os.close(folder)
        except OSError as err:
            problem = f"cannot be written ({_reason(err)}); what was there is untouched"
            raise DocumentError(str(self.path), None, "", problem) from None
        self._seen = content

    def _refuse_if_changed(self, target: Path) -> None:
        now = _read(target, _MOST_JOB) if target.exists() else None
        if self._seen is not None and now != self._seen:
            problem = "was changed by somebody else meanwhile; nothing was written. Do it again"
            raise DocumentError(str(self.path), None, "", problem)

    def recording(self, file: str) -> bytes | Path:
        """Return the recording, which lies beside the job file or below it; see `recording_in`."""
        path = Path(file)
        if path.is_absolute() or ".." in path.parts:
            problem = "a recording lies beside its job file; copy it there and attach it again"
            raise DocumentError(file, None, "", problem)
        return recording_in(self.path.parent / file, file)


def parse_job(text: str, source: str) -> Job:
    """Return the job that a text says; raise DocumentError with the line of a mistake."""
    document = load_located(text, source, _MOST_JOB)
    try:
        return document.into(Job)
    except InputError as err:  # what the record refuses as a whole
        raise DocumentError(source, None, "", str(err)) from None


def job_document(job: Job, source: str) -> bytes:
    """Return the job as a job file; raise DocumentError for what could not be read back."""
    text = write_document(_plain(job))
    try:
        content = text.encode("utf-8")
    except UnicodeEncodeError:
        problem = "a text of it holds half a character; nothing was written. Type it again"
        raise DocumentError(source, None, "", problem) from None
    parse_job(text, source)
    return content


def write_file(path: Path, content: bytes | Iterator[bytes]) -> None:
    """Write a file whole or not at all; a large one comes in parts.

    Raises DocumentError if it cannot be written.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        _replace(path, content)
    except OSError as err:
        problem = f"cannot be written ({_reason(err)})"
        raise DocumentError(str(path), None, "", problem) from None


def read_file(path: Path) -> bytes:
    """Return a recording's content.

    Raises DocumentError if it cannot be read, is no regular file or is too large.
    """
    try:
        return _read(path, _MOST_RECORDING)
    except (OSError, ValueError) as err:
        raise DocumentError(str(path), None, "", f"cannot be read ({_reason(err)})") from None


def recording_in(path: Path, name: str) -> bytes | Path:
    """Return a recording's content, or its place if it is too large to hold beside what it says.

    Raises DocumentError, which calls it `name`, if it cannot be read.
    """
    try:
        large = _size(path, _MOST_RECORDING) > _HELD
        return path if large else _read(path, _MOST_RECORDING)
    except (OSError, ValueError) as err:
        raise DocumentError(name, None, "", f"cannot be read ({_reason(err)})") from None


def _read(path: Path, most: int) -> bytes:
    _size(path, most)
    with path.open("rb") as file:
        return file.read(most + 1)


def _size(path: Path, most: int) -> int:
    """Return a file's size; a device or pipe without end, or a huge file, is refused unread."""
    found = path.stat()
    if stat.S_ISDIR(found.st_mode):
        raise OSError(0, "it is a directory")
    if not stat.S_ISREG(found.st_mode):
        raise OSError(0, "it is no regular file")
    if found.st_size > most:
        raise OSError(0, f"it has {found.st_size} bytes; at most {most} are read")
    return found.st_size


def _replace(target: Path, content: bytes | Iterator[bytes]) -> None:
    mode = stat.S_IMODE(target.stat().st_mode) if target.exists() else 0o644
    handle, name = tempfile.mkstemp(dir=target.parent, suffix=".part")
    try:
        with os.fdopen(handle, "wb") as file:
            for part in (content,) if isinstance(content, bytes) else content:
                file.write(part)
            file.flush()
            os.fsync(file.fileno())
        os.chmod(name, mode)
        os.replace(name, target)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise


def _reason(err: Exception) -> str:
    return err.strerror or str(err) if isinstance(err, OSError) else str(err)


def _plain(value: Any) -> Any:
    """Return a record as plain data, leaving out what is as it would be anyway."""
    if is_dataclass(value) and not isinstance(value, type):
        return {
            f.name: _plain(held)
            for f in fields(value)
            if (held := getattr(value, f.name)) not in ("", (), {}, False)
            or (f.default is MISSING and f.default_factory is MISSING)
        }
    if isinstance(value, Mapping):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, tuple):
        return [_plain(item) for item in value]
    return value


def job_schema() -> dict[str, Any]:
    """Return the JSON schema of a job file."""
    return json_schema(Job)
