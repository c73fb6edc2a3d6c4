"""What a shop keeps beside its jobs, each in one small YAML file.

Its own heading for papers, and what the columns of its recordings turned out to be. Assumes one
user at a time; the last one to keep wins. The files may be edited by hand.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sagtrace.adapters.documents import load_located, write_document
from sagtrace.errors import DocumentError
from sagtrace.report.heading import NO_HEADING, Heading

__all__ = ["HeadingFile", "RoleFile"]

MOST = 5000  # [columns] chosen: more than a shop's tools have names; the oldest are forgotten


@dataclass(frozen=True, slots=True, kw_only=True)
class _Column:
    column: str
    unit: str = ""
    role: str  # with its unit, as in an assignment


@dataclass(frozen=True, slots=True, kw_only=True)
class _File:
    columns: tuple[_Column, ...] = ()


class RoleFile:
    """Roles by the exact name and unit of a column; the newest counts."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def recall(self) -> Mapping[tuple[str, str], str]:
        """Return what was kept; nothing if there is no file yet.

        Raises DocumentError with line and field for a damaged file.
        """
        text = _read(self.path)
        if text is None:
            return {}
        columns = load_located(text, str(self.path)).into(_File).columns
        return {(c.column, c.unit): c.role for c in columns}

    def keep(self, roles: Mapping[tuple[str, str], str]) -> None:
        """Keep roles beside what was kept before. Raises DocumentError if it cannot be written."""
        known = {k: v for k, v in self.recall().items() if k not in roles} | dict(roles)
        columns = [
            {"column": name, "unit": unit, "role": role}
            for (name, unit), role in list(known.items())[-MOST:]
        ]
        _write(self.path, {"columns": columns})


class HeadingFile:
    """The workshop's own heading: `name`, and `lines` below it."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def load(self) -> Heading:
        """Return the heading; an empty one if there is no file yet.

        Raises DocumentError with line and field for a damaged file.
        """
        text = _read(self.path)
        return NO_HEADING if text is None else load_located(text, str(self.path)).into(Heading)

    def save(self, heading: Heading) -> None:
        """Keep the heading. Raises DocumentError if it cannot be written."""
        _write(self.path, {"name": heading.name, "lines": list(heading.lines)})


def _read(path: Path) -> str | None:
    """Return a file's text; None if there is none."""
    try:
        return path.read_text(encoding="utf-8")
    except FileNotFoundError:
        return None
    except (OSError, ValueError) as err:
        raise _error(path, f"cannot be read as text ({err})") from None


def _write(path: Path, data: Mapping[str, Any]) -> None:
    """Write a file whole or not at all."""
    part = path.with_suffix(f".{os.getpid()}.part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        part.write_text(write_document(data), encoding="utf-8")
        part.replace(path)
    except (OSError, ValueError) as err:
        with suppress(OSError):  # because the reason stands below
            part.unlink()
        raise _error(path, f"cannot be written ({err})") from None


def _error(path: Path, problem: str) -> DocumentError:
    return DocumentError(str(path), None, "", problem)
