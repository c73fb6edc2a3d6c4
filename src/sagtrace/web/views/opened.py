"""A job as a page opens it: with everything that follows from it, or with why nothing does.

A job whose evidence cannot be right, or contradicts itself, must still open: what is wrong can only
be put right on its pages.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import groupby

from sagtrace.app.desk import Desk
from sagtrace.app.kept import Kept
from sagtrace.errors import DocumentError, EvidenceError, InputError
from sagtrace.report.assessment import Assessment
from sagtrace.vehicle.checks import Caution
from sagtrace.web.words import _

__all__ = ["CautionGroup", "evidence_link", "grouped", "Moment", "moment", "open_job", "Opened"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Opened:
    """A kept job and what follows from it; without an assessment `problem` says why."""

    kept: Kept
    assessment: Assessment | None
    problem: str = ""


def open_job(desk: Desk, job_id: str) -> Opened:
    """Return a job; raise UnknownIdError if there is none."""
    kept = desk.open(job_id)
    try:
        return Opened(kept=kept, assessment=desk.assessed(kept))
    except (EvidenceError, DocumentError, InputError) as err:
        return Opened(kept=kept, assessment=None, problem=str(err))


def evidence_link(job_id: str, finding_id: str) -> str:
    """Return where an entry, or what a recording says, can be looked at again."""
    if finding_id.startswith("r"):
        return f"/jobs/{job_id}/recordings"
    return f"/jobs/{job_id}/evidence#{finding_id}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Moment:
    """A moment for a machine and in words; the page turns the words to the reader's own clock."""

    at: str  # RFC 3339, empty if it was not noted
    text: str


def moment(at: str) -> Moment:
    """Return a moment as people read it.

    >>> moment("2026-11-24T08:05:00+00:00").text, moment("").text
    ('2026-11-24 08:05 UTC', 'time not noted')
    """
    if not at:
        return Moment(at="", text=_("time not noted"))
    zone = at[19:].lstrip("0123456789.")
    shown = {"": "", "Z": " UTC", "+00:00": " UTC"}.get(zone, f" {zone}")
    return Moment(at=at, text=f"{at[:10]} {at[11:16]}{shown}")


@dataclass(frozen=True, slots=True, kw_only=True)
class CautionGroup:
    """Cautions of one gravity."""

    level: str
    texts: tuple[str, ...]


def grouped(cautions: Iterable[Caution]) -> tuple[CautionGroup, ...]:
    """Return cautions, sorted by gravity, as a group a level."""
    return tuple(
        CautionGroup(level=level, texts=tuple(c.text for c in group))
        for level, group in groupby(cautions, key=lambda c: c.level)
    )
