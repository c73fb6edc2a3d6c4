"""What the columns of a shop's recordings turned out to be, in one small YAML file.

Assumes one user at a time; the last one to keep wins. The file may be edited by hand.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from sagtrace.adapters.documents import load_located, write_document
from sagtrace.errors import DocumentError

__all__ = ["RoleFile"]

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
        try:
            text = self.path.read_text(encoding="utf-8")
        except FileNotFoundError:
            return {}
        except (OSError, ValueError) as err:
            raise self._error(f"cannot be read as text ({err})") from None
        columns = load_located(text, str(self.path)).into(_File).columns
        return {(c.column, c.unit): c.role for c in columns}

    def keep(self, roles: Mapping[tuple[str, str], str]) -> None:
        """Keep roles beside what was kept before. Raises DocumentError if it cannot be written."""
        known = {k: v for k, v in self.recall().items() if k not in roles} | dict(roles)
        columns = [
            {"column": name, "unit": unit, "role": role}
            for (name, unit), role in list(known.items())[-MOST:]
        ]
        part = self.path.with_suffix(f".{os.getpid()}.part")
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            part.write_text(write_document({"columns": columns}), encoding="utf-8")
            part.replace(self.path)
        except (OSError, ValueError) as err:
            part.unlink(missing_ok=True)
            raise self._error(f"cannot be written ({err})") from None

    def _error(self, problem: str) -> DocumentError:
        return DocumentError(str(self.path), None, "", problem)
