"""The list of jobs, newest change first."""

from __future__ import annotations

from dataclasses import fields
from typing import Any

from sqlalchemy import Connection, Select, func, select

from sagtrace.adapters.store.tables import job, outlook
from sagtrace.adapters.store.texts import is_text, page_start, sought_in
from sagtrace.app.kept import JobLine, JobLines, Query

__all__ = ["list_jobs"]

_OUTLOOK = ("stage", "headline", "waits", "ready")
_OWN = tuple(f.name for f in fields(JobLine) if f.name not in _OUTLOOK)


def list_jobs(connection: Connection, query: Query) -> JobLines:
    """Return a page of the list; raise InputError for a query that cannot be right."""
    start = page_start(query)
    if not (is_text(query.text) and is_text(query.stage)):
        return JobLines(lines=())
    wanted = _wanted(query, start, connection.dialect.name).limit(query.limit + 1)
    rows = connection.execute(wanted).mappings().all()
    page = rows[: query.limit]
    more = str(page[-1]["place"]) if len(rows) > len(page) else ""
    return JobLines(lines=tuple(_line(dict(row)) for row in page), next=more)


def _wanted(query: Query, start: int | None, dialect: str) -> Select[Any]:
    # The index of the outlook has the place too, so that a rare stage is found without a look at
    # every job.
    by_outlook = bool(query.stage or query.waits)
    place = outlook.c.place if by_outlook else job.c.place
    columns = [*(job.c[name] for name in _OWN), *(outlook.c[name] for name in _OUTLOOK)]
    joined = job.join(outlook, outlook.c.job == job.c.id, isouter=not by_outlook)
    wanted = select(*columns, place).select_from(joined)
    if query.stage:
        wanted = wanted.where(outlook.c.stage == query.stage)
    if query.waits:
        wanted = wanted.where(outlook.c.waits == query.waits)
    if query.text:
        found_at = func.strpos if dialect == "postgresql" else func.instr
        wanted = wanted.where(found_at(job.c.sought, sought_in(query.text)) > 0)
    if start is not None:
        wanted = wanted.where(place < start)
    return wanted.order_by(place.desc())


def _line(row: dict[str, Any]) -> JobLine:
    row.pop("place")
    found = {name: value for name, value in row.items() if value is not None}
    return JobLine(**{**found, "invented": bool(row["invented"])})
