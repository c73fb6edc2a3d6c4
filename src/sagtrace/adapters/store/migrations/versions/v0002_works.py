"""Each work a record of its own, with how much the job held before it.

A job of the first form knew only all of its repairs together and when the last was done, so they
become one work, done at the revision that brought the last.
"""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa
from alembic import op

from sagtrace.adapters.store.migrations.versions.v0001_jobs import (
    records,
    refuse_changes,
    text_columns,
)

__all__ = ["down_revision", "revision", "upgrade"]

revision = "0002"
down_revision = "0001"

_GONE = ("repaired", "repaired_at", "repaired_by", "proofs_from")


def upgrade() -> None:
    """Make the table, move what was repaired into it, and take the old columns out."""
    counts = [sa.Column(n, sa.Integer, nullable=False) for n in ("entries", "proofs", "recordings")]
    records("work", *text_columns("repairs", "at", "by"), *counts)
    connection = op.get_bind()
    jobs = connection.execute(sa.text(f"SELECT id, revision, {', '.join(_GONE)} FROM job"))
    for job in jobs.mappings().all():
        if job["repaired"] != "[]":
            _move(connection, job)
    refuse_changes("work")
    for column in _GONE:
        op.execute(f"ALTER TABLE job DROP COLUMN {column}")


def _move(connection: sa.Connection, job: Any) -> None:
    def number(query: str, **more: Any) -> int:
        return int(connection.execute(sa.text(query), {"job": job["id"], **more}).scalar() or 0)

    done = number("SELECT max(revision) FROM change WHERE job = :job AND what = 'repair'")
    done = done or job["revision"]
    count = "SELECT count(*) FROM {} WHERE job = :job AND revision <= :done {}"
    row = {
        "job": job["id"],
        "revision": done,
        "repairs": job["repaired"],
        "at": job["repaired_at"],
        "by": job["repaired_by"],
        "entries": number(count.format("entry", "AND kind = 'entries'"), done=done),
        "proofs": job["proofs_from"],
        "recordings": number(count.format("recording", ""), done=done),
    }
    connection.execute(
        sa.text(
            'INSERT INTO work (job, position, revision, id, repairs, "at", "by", entries, proofs, '
            "recordings) VALUES (:job, 0, :revision, 'w1', :repairs, :at, :by, :entries, :proofs, "
            ":recordings)"
        ),
        row,
    )
