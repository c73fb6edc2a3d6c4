"""Opens a database: refuses what is none of ours, and brings it to the newest form."""

from __future__ import annotations

import contextlib
import importlib.util
import os
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Connection, Engine, create_engine, event, inspect, make_url, text
from sqlalchemy.exc import ArgumentError

from sagtrace.adapters.store.refusals import in_words
from sagtrace.adapters.store.tables import HEAD, METADATA, VERSION_TABLE
from sagtrace.errors import InputError, MissingPartError, StoreError

__all__ = ["MIGRATIONS", "open_file", "open_server", "shown"]

MIGRATIONS = Path(__file__).parent / "migrations"
_WAIT = 10  # [s] chosen: longer than any change takes, shorter than a person's patience
_LOCK = 0x5A67_7472  # any number that is ours
_NEEDS = "a database server needs the library that speaks with it: pip install 'sagtrace[postgres]'"


def open_file(path: Path) -> Engine:
    """Return the SQLite database of this file, made if it is not there.

    Raises StoreError for a file that is no database of this program or of a newer one.
    """
    with in_words(str(path)):
        if path.is_dir():
            raise StoreError(f"{path} is a folder; name a file in it, such as {path / 'jobs.db'}.")
        if not path.parent.is_dir():
            raise StoreError(f"there is no folder {path.parent}; make it first.")
        # Jobs hold what customers said, so nobody else may read a new file.
        with contextlib.suppress(FileExistsError):
            os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))
        url = URL.create("sqlite+pysqlite", database=str(path))
        engine = create_engine(url, pool_size=8, max_overflow=32, connect_args={"timeout": _WAIT})
        event.listen(engine, "connect", _prepare)
        event.listen(engine, "begin", _begin)
        try:
            _bring_up(engine, str(path))
            _write_ahead(engine)
        except BaseException:
            engine.dispose()
            raise
    return engine


def open_server(address: str) -> Engine:
    """Return the PostgreSQL database at an address such as postgresql://user@host/garage."""
    try:
        url = make_url(address)
        url = url.set(drivername="postgresql+psycopg")
    except (ArgumentError, ValueError):  # whose text might show a password
        raise InputError(
            "the address of the database cannot be read; expected one like "
            "postgresql://user@host/database."
        ) from None
    if importlib.util.find_spec("psycopg") is None:
        raise MissingPartError(_NEEDS)
    with in_words(shown(url)):
        more = {} if "connect_timeout" in url.query else {"connect_timeout": _WAIT}
        try:
            engine = create_engine(url, pool_pre_ping=True, max_overflow=32, connect_args=more)
        except ImportError as err:  # the library is there and its own parts are not
            raise MissingPartError(f"{_NEEDS} ({err})") from None
        try:
            _bring_up(engine, shown(url))
        except BaseException:
            engine.dispose()
            raise
    return engine


def shown(url: URL) -> str:
    """Return an address as a person may see it."""
    hidden = url.update_query_dict({"password": "***"}) if "password" in url.query else url
    return hidden.set(drivername="postgresql").render_as_string(hide_password=True)


def _prepare(connection: Any, _: object) -> None:
    connection.isolation_level = None  # because the driver would end transactions on its own
    for setting in (
        "foreign_keys = ON",
        "synchronous = FULL",
        f"busy_timeout = {1000 * _WAIT}",
        "recursive_triggers = ON",  # because REPLACE would delete past the triggers
    ):
        connection.execute(f"PRAGMA {setting}")


def _begin(connection: Connection) -> None:
    connection.exec_driver_sql(connection.get_execution_options().get("begin", "BEGIN"))


def _write_ahead(engine: Engine) -> None:
    """Let readers read while somebody writes. The file remembers it."""
    raw = engine.raw_connection()
    try:
        # Another program that opens it now does the same.
        with contextlib.suppress(Exception):
            raw.cursor().execute("PRAGMA journal_mode = WAL")
    finally:
        raw.close()


def _bring_up(engine: Engine, where: str) -> None:
    with engine.begin() as connection:  # because a lock for writing may take long to get
        if _version(connection, where) == HEAD:
            return
    with engine.execution_options(begin="BEGIN IMMEDIATE").begin() as connection:
        if connection.dialect.name == "postgresql":
            connection.execute(text("SELECT pg_advisory_xact_lock(:lock)"), {"lock": _LOCK})
        version = _version(connection, where)
        if version != HEAD:
            _migrate(connection, version, where)


def _version(connection: Connection, where: str) -> str:
    names = set(inspect(connection).get_table_names())
    if VERSION_TABLE in names:
        return str(connection.execute(text(f"SELECT version_num FROM {VERSION_TABLE}")).scalar())
    # A server may hold other programs' tables beside ours; a file is ours alone.
    strange = names & set(METADATA.tables) if connection.dialect.name == "postgresql" else names
    if strange:
        raise StoreError(
            f"{where} is a database of another program (it has the table {min(strange)!r}); it "
            "was left as it is. Name another place for the jobs."
        )
    return ""


def _migrate(connection: Connection, version: str, where: str) -> None:
    # Imported here, because a database that is up to date needs none of it.
    from alembic.migration import MigrationContext
    from alembic.operations import Operations
    from alembic.script import ScriptDirectory

    steps = ScriptDirectory(str(MIGRATIONS))
    if version and version not in {step.revision for step in steps.walk_revisions()}:
        raise StoreError(
            f"{where} was written by a newer release of this program (form {version}; this one "
            f"knows up to {steps.get_current_head()}). It was left as it is; use that release."
        )
    options = {"version_table": VERSION_TABLE}
    context = MigrationContext.configure(connection, opts=options)
    with Operations.context(context):
        for step in reversed(list(steps.iterate_revisions("head", version or "base"))):
            step.module.upgrade()
    context.stamp(steps, "head")
