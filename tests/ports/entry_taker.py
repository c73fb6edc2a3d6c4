"""Takes entries over a pipe and keeps them, until it is killed; then another one goes on.

A parent that has everything imported makes one child after the other, because the imports take a
hundred times as long as keeping an entry. Each child opens the file anew. Lines in: `<KEY TRY`.
Lines out: `pid N` when a child is ready, and `KEY TRY ENTRY again|new` when an entry is kept. The
rest of a line that a killed child had begun to read does not start with `<` and is left out.
"""

from __future__ import annotations

import os
import sys
import time
from pathlib import Path

from sagtrace.adapters.store.database import file_store
from sagtrace.app.desk import Desk, Done
from sagtrace.app.kept import Mark
from sagtrace.bootstrap import open_workshop
from sagtrace.vehicle.job import Entry, Job

AT = "2026-11-24T08:05:00+00:00"
WAY = 0.002  # [s] chosen: an answer takes a while to its sender, and the kill may come then


def line_in() -> str:
    """Return a line read byte by byte, so that a killed child takes no other line with it."""
    found = b""
    while not found.endswith(b"\n"):
        byte = os.read(0, 1)
        if not byte:
            os._exit(0)
        found += byte
    return found.decode().strip()


def take_entries(path: Path) -> None:
    desk = Desk(workshop=open_workshop(), store=file_store(path))
    os.write(1, f"pid {os.getpid()}\n".encode())
    while True:
        line = line_in()
        if not line.startswith("<"):
            continue
        key, attempt = line[1:].split()
        done = answer(desk, key)
        time.sleep(WAY)
        again = "again" if done.again else "new"
        os.write(1, f"{key} {attempt} {done.result['entry']} {again}\n".encode())


def answer(desk: Desk, key: str) -> Done:
    entry = Entry(id="", check="story.load", outcome="usual", note=key)
    mark = Mark(what="answer", at=AT, by="technician 1", key=key, request=key)
    return desk.answer("a", entry, mark)


def rehearse(path: Path) -> None:
    """Do once what every child does, so that no child is the first to do it."""
    desk = Desk(workshop=open_workshop(), store=file_store(path))
    desk.store.add(Job(id="a", title="a", layout="rear-pair"), Mark(what="start", at=AT), {})
    answer(desk, "first")
    answer(desk, "second")
    desk.store.close()


def main() -> None:
    path = Path(sys.argv[1])
    rehearse(path.with_name("rehearsal.db"))
    while True:
        child = os.fork()
        if child == 0:
            take_entries(path)
        _, status = os.waitpid(child, 0)
        if not os.WIFSIGNALED(status):
            break


if __name__ == "__main__":
    main()
