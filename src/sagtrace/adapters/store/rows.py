"""Jobs as rows and back."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import asdict, fields
from typing import Any, TypeVar

from sqlalchemy import Connection, Select, Table, bindparam, insert, select

from sagtrace.adapters.store.tables import RECORDS
from sagtrace.adapters.store.texts import sought_in, words_of
from sagtrace.vehicle.job import Approval, Begun, Entry, Job, Note, Recording, Taped, Told, Work

__all__ = ["add_new_records", "job_row", "read_job", "SCALARS"]

_LISTS = {
    "told": ("told", Told),
    "entries": ("entry", Entry),
    "proofs": ("entry", Entry),
    "begun": ("begun", Begun),
    "notes": ("note", Note),
    "recordings": ("recording", Recording),
    "approvals": ("approval", Approval),
    "works": ("work", Work),
}
SCALARS = tuple(f.name for f in fields(Job) if f.name not in _LISTS)

T = TypeVar("T")


def job_row(job: Job) -> dict[str, Any]:
    """Return what the job itself, without its records, has in its row."""
    row = {name: _plain(getattr(job, name)) for name in SCALARS}
    return {**row, "sought": sought_in(words_of(job))}


def add_new_records(connection: Connection, old: Job | None, new: Job, revision: int) -> None:
    """Add the records that the new job has beyond the old one."""
    for kind, (name, _) in _LISTS.items():
        before = len(getattr(old, kind)) if old is not None else 0
        rows = [
            {**row, "job": new.id, "revision": revision, "position": position}
            for position, row in _rows(getattr(new, kind), before)
        ]
        if name == "entry":
            rows = [{**row, "kind": kind} for row in rows]
        if rows:
            connection.execute(insert(RECORDS[name]), rows)


def read_job(connection: Connection, row: Mapping[str, Any]) -> Job:
    """Return the job of a row of `job` with its records."""
    held: dict[str, Any] = {
        kind: _read(connection, row["id"], kind, of) for kind, (_, of) in _LISTS.items()
    }
    scalars = {name: row[name] for name in SCALARS}
    scalars["invented"] = bool(scalars["invented"])
    scalars["access"] = tuple(scalars["access"])
    return Job(**scalars, **held)


def _rows(records: Sequence[Any], before: int) -> Iterator[tuple[int, dict[str, Any]]]:
    for position in range(before, len(records)):
        of = records[position]
        yield position, {f.name: _plain(getattr(of, f.name)) for f in fields(of)}


def _plain(value: Any) -> Any:
    if isinstance(value, bool):
        return int(value)
    if isinstance(value, Mapping):
        return dict(value)
    if isinstance(value, tuple):
        return [asdict(item) if isinstance(item, Taped) else item for item in value]
    return value


def _read(connection: Connection, job: str, kind: str, of: Callable[..., T]) -> tuple[T, ...]:
    rows = connection.execute(_QUERIES[kind], {"of": job}).mappings()
    return tuple(of(**{name: _typed(name, value) for name, value in row.items()}) for row in rows)


def _query(kind: str, table: Table) -> Select[Any]:
    own = [c for c in table.c if c.name not in ("job", "position", "revision", "kind")]
    query = select(*own).where(table.c.job == bindparam("of"))
    if "kind" in table.c:
        query = query.where(table.c.kind == kind)
    return query.order_by(table.c.position)


# Made once, because making one takes as long as carrying it out.
_QUERIES = {kind: _query(kind, RECORDS[name]) for kind, (name, _) in _LISTS.items()}


def _typed(name: str, value: Any) -> Any:
    if name == "withdrawn":
        return bool(value)
    if name == "repairs":
        return tuple(value)
    return tuple(Taped(**taped) for taped in value) if name == "tapes" else value
