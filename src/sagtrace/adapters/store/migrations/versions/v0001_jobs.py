"""Jobs, their records, changes and contents."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa
from alembic import op

__all__ = [
    "down_revision",
    "records",
    "refuse_changes",
    "revision",
    "text_columns",
    "upgrade",
]

revision = "0001"
down_revision = None

_REAL: sa.Double[float] = sa.Double().with_variant(sa.REAL, "sqlite")
_LARGE = sa.BigInteger().with_variant(sa.Integer, "sqlite")
_CHANGELESS = (
    "told", "entry", "begun", "note", "approval", "recording", "change", "content",
    "content_part",
)  # fmt: skip


def upgrade() -> None:
    """Make the tables."""
    _jobs()
    _records()
    _contents()
    if op.get_bind().dialect.name == "postgresql":
        op.execute(
            "CREATE FUNCTION sagtrace_refuse() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
            "RAISE EXCEPTION 'rows of % are never changed or deleted', TG_TABLE_NAME; END $$"
        )
    for table in _CHANGELESS:
        refuse_changes(table)
    _refuse("job", "DELETE")


def refuse_changes(table: str) -> None:
    """Have the database refuse to change or delete rows of a table."""
    _refuse(table, "UPDATE")
    _refuse(table, "DELETE")


def _refuse(table: str, act: str) -> None:
    name = f"{table}_no_{act.lower()}"
    if op.get_bind().dialect.name != "postgresql":
        op.execute(
            f"CREATE TRIGGER {name} BEFORE {act} ON {table} BEGIN "
            f"SELECT RAISE(ABORT, 'rows of {table} are never changed or deleted'); END"
        )
        return
    for each, acts in (("", act), ("_all", "TRUNCATE")):
        if each and act != "DELETE":
            continue
        level = "STATEMENT" if each else "ROW"
        op.execute(
            f"CREATE TRIGGER {name}{each} BEFORE {acts} ON {table} "
            f"FOR EACH {level} EXECUTE FUNCTION sagtrace_refuse()"
        )


def _table(name: str, *columns: Any) -> None:
    op.create_table(name, *columns, sqlite_strict=True)


def text_columns(*names: str) -> list[sa.Column[str]]:
    """Return columns of texts that are always there."""
    return [sa.Column(name, sa.Text, nullable=False) for name in names]


def _numbers(*names: str) -> list[sa.Column[int]]:
    return [sa.Column(name, sa.Integer, nullable=False) for name in names]


def _jobs() -> None:
    _table(
        "job",
        sa.Column("id", sa.Text, primary_key=True),
        *_numbers("revision"),
        sa.Column("place", _LARGE, nullable=False, index=True),
        *text_columns("changed_at", "changed_by", "sought"),
        *_numbers("format"),
        *text_columns("title", "layout"),
        *_numbers("invented"),
        *text_columns("opened", "complaint", "access", "repaired"),
        *text_columns("repaired_at", "repaired_by"),
        *_numbers("proofs_from", "practice"),
    )
    _table(
        "change",
        sa.Column("place", _LARGE, primary_key=True, autoincrement=True),
        sa.Column("job", sa.Text, sa.ForeignKey("job.id"), nullable=False),
        *_numbers("revision"),
        *text_columns("at", "by", "what", "key", "request", "result"),
        sa.UniqueConstraint("job", "revision", name="change_revision"),
    )
    used = sa.text("key <> ''")
    op.create_index(
        "change_key", "change", ["key"], unique=True, sqlite_where=used, postgresql_where=used
    )
    _table(
        "outlook",
        sa.Column("job", sa.Text, sa.ForeignKey("job.id"), primary_key=True),
        sa.Column("place", _LARGE, nullable=False),
        *text_columns("stage", "headline", "waits", "ready"),
    )
    op.create_index("outlook_stage", "outlook", ["stage", "place"])
    op.create_index("outlook_waits", "outlook", ["waits", "place"])


def records(name: str, *columns: Any) -> None:
    """Make a table of records of jobs, each with the revision that brought it."""
    _table(
        name,
        sa.Column("job", sa.Text, primary_key=True),
        sa.Column("position", sa.Integer, primary_key=True, autoincrement=False),
        *_numbers("revision"),
        *text_columns("id"),
        *columns,
        sa.ForeignKeyConstraint(["job", "revision"], ["change.job", "change.revision"]),
    )


def _records() -> None:
    records(
        "told",
        *text_columns("name", "text", "at", "by", "supersedes"),
        sa.UniqueConstraint("job", "id", name="told_id"),
    )
    records(
        "entry",
        sa.Column("kind", sa.Text, primary_key=True),
        *text_columns("check", "outcome", "values", "at", "by", "instrument", "note", "supersedes"),
        *_numbers("withdrawn"),
        *text_columns("ends"),
        sa.UniqueConstraint("job", "id", name="entry_id"),
    )
    records("begun", *text_columns("check", "values", "at", "ready", "by", "note", "drops"))
    records("note", *text_columns("text", "photo", "sha256", "check", "at", "by"))
    records(
        "approval",
        *text_columns("repairs", "offered"),
        sa.Column("price", _REAL, nullable=False),
        *text_columns("currency", "answer", "how", "who", "at", "by"),
    )
    records("recording", *text_columns("file", "sha256", "at", "note", "roles", "rate", "tapes"))


def _contents() -> None:
    _table(
        "content",
        sa.Column("sha256", sa.Text, primary_key=True),
        *text_columns("media"),
        sa.Column("size", _LARGE, nullable=False),
    )
    _table(
        "content_part",
        sa.Column("sha256", sa.Text, sa.ForeignKey("content.sha256"), primary_key=True),
        sa.Column("position", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("data", sa.LargeBinary, nullable=False),
    )
