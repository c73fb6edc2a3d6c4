"""The tables that jobs are kept in, as the newest migration leaves them.

What a person entered stands in `told`, `entry`, `begun`, `note`, `approval`, `work` and
`recording`, each row with the revision that brought it. Rows of these, of `change` and of the
contents are only ever added; the database itself refuses to change or delete them.
"""

from __future__ import annotations

import json
from typing import Any

from sqlalchemy import (
    REAL,
    BigInteger,
    Column,
    Dialect,
    Double,
    ForeignKey,
    ForeignKeyConstraint,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    Table,
    Text,
    TypeDecorator,
    UniqueConstraint,
    text,
)

__all__ = [
    "change",
    "CHANGELESS",
    "content",
    "content_part",
    "HEAD",
    "job",
    "Json",
    "METADATA",
    "outlook",
    "RECORDS",
    "VERSION_TABLE",
]

HEAD = "0002"  # the newest migration
VERSION_TABLE = "sagtrace_version"
CHANGELESS = (
    "told", "entry", "begun", "note", "approval", "recording", "work", "change", "content",
    "content_part",
)  # fmt: skip

METADATA = MetaData()


class Json(TypeDecorator[Any]):
    """Plain data as JSON text, which both databases keep as it was written."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: Any, dialect: Dialect) -> str:
        """Return the text."""
        return json.dumps(value, ensure_ascii=False)

    def process_result_value(self, value: Any, dialect: Dialect) -> Any:
        """Return the data."""
        return json.loads(value)


_REAL: Double[float] = Double().with_variant(REAL, "sqlite")  # a strict table knows no other name
_LARGE = BigInteger().with_variant(Integer, "sqlite")


def _table(name: str, *columns: Any) -> Table:
    return Table(name, METADATA, *columns, sqlite_strict=True)


def _texts(*names: str) -> list[Column[str]]:
    return [Column(name, Text, nullable=False) for name in names]


def _json(name: str) -> Column[Any]:
    return Column(name, Json, nullable=False)


def _number(name: str) -> Column[int]:
    return Column(name, Integer, nullable=False)


job = _table(
    "job",
    Column("id", Text, primary_key=True),
    _number("revision"),
    # The last change, which the list is ordered by.
    Column("place", _LARGE, nullable=False, index=True),
    *_texts("changed_at", "changed_by", "sought"),
    _number("format"),
    *_texts("title", "layout"),
    _number("invented"),
    *_texts("opened", "complaint"),
    _json("access"),
    _number("practice"),
)

change = _table(
    "change",
    Column("place", _LARGE, primary_key=True, autoincrement=True),
    Column("job", Text, ForeignKey("job.id"), nullable=False),
    _number("revision"),
    *_texts("at", "by", "what", "key", "request"),
    _json("result"),
    UniqueConstraint("job", "revision", name="change_revision"),
)
Index(
    "change_key", change.c.key, unique=True,
    sqlite_where=text("key <> ''"), postgresql_where=text("key <> ''"),
)  # fmt: skip


def _records(name: str, *columns: Any) -> Table:
    return _table(
        name,
        Column("job", Text, primary_key=True),
        Column("position", Integer, primary_key=True, autoincrement=False),
        _number("revision"),
        *_texts("id"),
        *columns,
        ForeignKeyConstraint(["job", "revision"], ["change.job", "change.revision"]),
    )


RECORDS = {
    "told": _records(
        "told", *_texts("name", "text", "at", "by", "supersedes"),
        UniqueConstraint("job", "id", name="told_id"),
    ),
    "entry": _records(
        "entry",
        Column("kind", Text, primary_key=True),  # "entries" or "proofs"
        *_texts("check", "outcome"),
        _json("values"),
        *_texts("at", "by", "instrument", "note", "supersedes"),
        _number("withdrawn"),
        *_texts("ends"),
        UniqueConstraint("job", "id", name="entry_id"),
    ),
    "begun": _records(
        "begun", *_texts("check"), _json("values"), *_texts("at", "ready", "by", "note", "drops")
    ),
    "note": _records("note", *_texts("text", "photo", "sha256", "check", "at", "by")),
    "approval": _records(
        "approval", _json("repairs"), *_texts("offered"),
        Column("price", _REAL, nullable=False),
        *_texts("currency", "answer", "how", "who", "at", "by"),
    ),
    "work": _records(
        "work", _json("repairs"), *_texts("at", "by"),
        *map(_number, ("entries", "proofs", "recordings")),
    ),
    "recording": _records(
        "recording", *_texts("file", "sha256", "at", "note"), _json("roles"), *_texts("rate"),
        _json("tapes"),
    ),
}  # fmt: skip

content = _table(
    "content",
    Column("sha256", Text, primary_key=True),
    *_texts("media"),
    Column("size", _LARGE, nullable=False),
)

content_part = _table(
    "content_part",
    Column("sha256", Text, ForeignKey("content.sha256"), primary_key=True),
    Column("position", Integer, primary_key=True, autoincrement=False),
    Column("data", LargeBinary, nullable=False),
)

# What was worked out for the list. It can be worked out again, so it is no record.
outlook = _table(
    "outlook",
    Column("job", Text, ForeignKey("job.id"), primary_key=True),
    Column("place", _LARGE, nullable=False),  # of the job, so that the list needs one index
    *_texts("stage", "headline", "waits", "ready"),
)
Index("outlook_stage", outlook.c.stage, outlook.c.place)
Index("outlook_waits", outlook.c.waits, outlook.c.place)
