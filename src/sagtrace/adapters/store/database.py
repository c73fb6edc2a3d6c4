"""Jobs kept in a database: SQLite in a file, or PostgreSQL on a server.

A change is one transaction. Two writers of one job come one after the other, and the second is told
that it was too late; the same key is taken once, because the database lets it in once.
"""

from __future__ import annotations

import hashlib
import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, nullcontext
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, delete, insert, select, update
from sqlalchemy.exc import IntegrityError

from sagtrace.adapters.store.contents import has_content, keep_content, read_content
from sagtrace.adapters.store.listing import list_jobs
from sagtrace.adapters.store.opening import open_file, open_server, shown
from sagtrace.adapters.store.refusals import in_words
from sagtrace.adapters.store.rows import add_new_records, job_row, read_job
from sagtrace.adapters.store.tables import change, job, outlook
from sagtrace.adapters.store.texts import is_text, refuse_unkeepable
from sagtrace.app.kept import Change, Content, JobLines, Kept, Mark, Query, Waits
from sagtrace.errors import ChangedError, InputError, StoreError, UnknownIdError
from sagtrace.vehicle.job import Job, only_grown

__all__ = ["DatabaseStore", "file_store", "server_store"]

_NAMED = 200  # chosen: the newest jobs, among which an unknown id may be meant


def file_store(path: Path) -> DatabaseStore:
    """Return the jobs of a file, which is made if it is not there."""
    return DatabaseStore(open_file(path), str(path))


def server_store(address: str) -> DatabaseStore:
    """Return the jobs of a PostgreSQL database."""
    engine = open_server(address)
    return DatabaseStore(engine, shown(engine.url))


class DatabaseStore:
    """A `JobStore` in a database. Safe to use from several threads and processes."""

    def __init__(self, engine: Engine, where: str) -> None:
        self._engine, self._where = engine, where
        self._writer = engine.execution_options(begin="BEGIN IMMEDIATE")
        self._reader = engine
        if engine.dialect.name == "postgresql":  # else a read could see half a change
            self._reader = engine.execution_options(isolation_level="REPEATABLE READ")
        # SQLite lets one write at a time, and whoever waits longest may wait for ever.
        one_by_one = engine.dialect.name == "sqlite"
        self._turn = threading.Lock() if one_by_one else nullcontext()

    # --- jobs

    def add(self, job: Job, mark: Mark, result: Mapping[str, str]) -> Kept:
        """Keep a new job as revision 1."""
        refuse_unkeepable(job, mark, result)
        try:
            with self._writing() as connection:
                self._refuse_taken(connection, job.id, mark)
                return _keep_change(connection, None, job, 1, mark, result)
        except IntegrityError as err:  # on a server another one was faster by a hair
            with self._reading() as connection:
                self._refuse_taken(connection, job.id, mark)
            raise self._broken() from err

    def load(self, job_id: str) -> Kept:
        """Return a job."""
        with self._reading() as connection:
            return self._load(connection, job_id)

    def commit(self, job: Job, base: int, mark: Mark, result: Mapping[str, str]) -> Kept:
        """Keep a job that was made from revision `base`."""
        refuse_unkeepable(job, mark, result)
        try:
            with self._writing() as connection:
                old = self._load(connection, job.id, lock=True)
                if old.revision != base:
                    raise ChangedError(f"job {job.id} is at revision {old.revision}, not {base}.")
                only_grown(old.job, job)
                return _keep_change(connection, old.job, job, base + 1, mark, result)
        except IntegrityError as err:  # the key, because the job itself is locked
            if self.change_with(mark.key) is None:
                raise self._broken() from err
            raise _carried_out(mark) from None

    def change_with(self, key: str) -> Change | None:
        """Return the change that carried out the request with this key."""
        if not key or not is_text(key):
            return None
        with self._reading() as connection:
            found = connection.execute(select(change).where(change.c.key == key)).mappings().first()
            return _change(found) if found else None

    def changes(self, job_id: str) -> tuple[Change, ...]:
        """Return every change of a job, oldest first."""
        query = select(change).where(change.c.job == job_id).order_by(change.c.revision)
        with self._reading() as connection:
            found = connection.execute(query).mappings().all() if is_text(job_id) else []
            if not found:
                raise self._unknown(connection, job_id)
            return tuple(_change(row) for row in found)

    # --- the list

    def jobs(self, query: Query) -> JobLines:
        """Return a page of the list."""
        with self._reading() as connection:
            return list_jobs(connection, query)

    def note_outlook(
        self, job_id: str, revision: int, *, stage: str, headline: str, waits: Waits, ready: str
    ) -> None:
        """Keep what was worked out for the list, unless the job has changed since."""
        if not is_text(job_id):
            raise UnknownIdError("job", job_id, ())
        row = {"stage": stage, "headline": headline, "waits": waits, "ready": ready}
        with self._writing() as connection:
            newest = select(job.c.revision, job.c.place).where(job.c.id == job_id).with_for_update()
            found = connection.execute(newest).first()
            if found is None:
                raise self._unknown(connection, job_id)
            if found.revision == revision:
                connection.execute(delete(outlook).where(outlook.c.job == job_id))
                connection.execute(insert(outlook).values(job=job_id, place=found.place, **row))

    # --- contents

    def keep(self, content: Content) -> str:
        """Keep a recording or picture and return its SHA-256."""
        digest = hashlib.sha256(content.data).hexdigest()
        if not self._has(digest):
            try:
                with self._writing() as connection:
                    keep_content(connection, digest, content)
            except IntegrityError as err:  # the same came twice at once
                if not self._has(digest):
                    raise self._broken() from err
        return digest

    def content(self, sha256: str) -> Content:
        """Return a content."""
        if not is_text(sha256):
            raise UnknownIdError("content", sha256, ())
        with self._reading() as connection:
            return read_content(connection, sha256)

    def close(self) -> None:
        """Let go of files and connections."""
        self._engine.dispose()

    # --- inside

    @contextmanager
    def _reading(self) -> Iterator[Connection]:
        with in_words(self._where), self._reader.begin() as connection:
            yield connection

    @contextmanager
    def _writing(self) -> Iterator[Connection]:
        with self._turn, in_words(self._where), self._writer.begin() as connection:
            yield connection

    def _has(self, digest: str) -> bool:
        with self._reading() as connection:
            return has_content(connection, digest)

    def _broken(self) -> StoreError:
        return StoreError(f"the jobs in {self._where} contradict each other; restore a copy.")

    def _load(self, connection: Connection, job_id: str, lock: bool = False) -> Kept:
        query = select(job).where(job.c.id == job_id)
        row = None
        if is_text(job_id):
            found = connection.execute(query.with_for_update() if lock else query)
            row = found.mappings().first()
        if row is None:
            raise self._unknown(connection, job_id)
        return Kept(
            job=read_job(connection, dict(row)), revision=row["revision"],
            changed_at=row["changed_at"], changed_by=row["changed_by"],
        )  # fmt: skip

    def _unknown(self, connection: Connection, job_id: str) -> UnknownIdError:
        last = select(job.c.id).order_by(job.c.place.desc()).limit(_NAMED)
        return UnknownIdError("job", job_id, tuple(connection.execute(last).scalars()))

    def _refuse_taken(self, connection: Connection, job_id: str, mark: Mark) -> None:
        used = select(change.c.place).where(change.c.key == mark.key)
        if mark.key and connection.execute(used).first():
            raise _carried_out(mark)
        if connection.execute(select(job.c.id).where(job.c.id == job_id)).first():
            raise InputError(f"there is a job {job_id!r} already; give this one its own id.")


def _keep_change(
    connection: Connection,
    old: Job | None,
    new: Job,
    revision: int,
    mark: Mark,
    result: Mapping[str, str],
) -> Kept:
    row = {
        **job_row(new), "revision": revision, "changed_at": mark.at, "changed_by": mark.by,
    }  # fmt: skip
    if old is None:
        connection.execute(insert(job).values(**row, place=0))
    made = connection.execute(
        insert(change).values(
            job=new.id, revision=revision, at=mark.at, by=mark.by, what=mark.what, key=mark.key,
            request=mark.request, result=dict(result),
        )
    )  # fmt: skip
    assert made.inserted_primary_key is not None
    place = made.inserted_primary_key[0]
    connection.execute(update(job).where(job.c.id == new.id).values(**row, place=place))
    connection.execute(delete(outlook).where(outlook.c.job == new.id))
    add_new_records(connection, old, new, revision)
    return Kept(job=new, revision=revision, changed_at=mark.at, changed_by=mark.by)


def _change(row: Mapping[Any, Any]) -> Change:
    mark = Mark(**{name: row[name] for name in ("what", "at", "by", "key", "request")})
    return Change(job=row["job"], revision=row["revision"], mark=mark, result=row["result"])


def _carried_out(mark: Mark) -> ChangedError:
    return ChangedError(f"the request {mark.key!r} was carried out meanwhile.")
