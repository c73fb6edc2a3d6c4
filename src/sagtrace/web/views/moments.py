"""Moments as people at this machine read them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sagtrace.web.words import day_text

__all__ = ["Moment", "moment", "since"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Moment:
    """A moment: for programs and for people."""

    iso: str
    text: str


def moment(iso: str, now: str = "") -> Moment:
    """Return a moment in this machine's own time; the day stands there unless it is today."""
    try:
        local = datetime.fromisoformat(iso).astimezone()
    except (ValueError, OverflowError):  # near the first or the last year that there is
        return Moment(iso=iso, text=iso)
    here = datetime.fromisoformat(now).astimezone() if now else None
    if here is None or local.year != here.year:
        return Moment(iso=iso, text=f"{day_text(local, year=True)}, {local:%H:%M}")
    day = "" if local.date() == here.date() else f"{day_text(local, year=False)}, "
    return Moment(iso=iso, text=f"{day}{local:%H:%M}")


def since(start: str, end: str) -> float:
    """Return the seconds from one moment to another; NaN if one of them is none."""
    try:
        return (datetime.fromisoformat(end) - datetime.fromisoformat(start)).total_seconds()
    except (ValueError, TypeError):
        return float("nan")
