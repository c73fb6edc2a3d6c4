"""Moments as they are kept: RFC 3339 texts, and what is none."""

from __future__ import annotations

import re
from datetime import datetime

__all__ = ["EXPECTED", "read_moment"]

EXPECTED = "a moment such as 2026-11-24T17:30:00Z"  # what an error says instead
_RFC3339 = re.compile(r"\d{4}-\d\d-\d\d[Tt ]\d\d:\d\d(:\d\d(\.\d+)?)?([Zz]|[+-]\d\d:\d\d)?")
_YEARS = range(1990, 2200)  # chosen: whatever is outside is a slip


def read_moment(text: str) -> datetime | None:
    """Return the moment that a text says, without an offset if it names none; None if it is none.

    >>> read_moment("2026-11-24T17:30:00Z").year, read_moment("0001-01-01T00:00:00Z")
    (2026, None)
    """
    try:
        moment = datetime.fromisoformat(text) if _RFC3339.fullmatch(text) else None
    except ValueError:
        return None
    return moment if moment is not None and moment.year in _YEARS else None
