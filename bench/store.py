"""Speed of the store of jobs with 100 000 jobs in it, and of keeping one change.

`python -m bench.store` prints a line a figure: the list, a search that finds nothing (the whole
table is looked through), a rare stage, loading and changing one job. Medians of 20, in a file.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

from sqlalchemy import insert

from bench.told import Figure, load, median_of, tell
from sagtrace.adapters.store.database import DatabaseStore, file_store
from sagtrace.adapters.store.opening import open_file
from sagtrace.adapters.store.rows import job_row
from sagtrace.adapters.store.tables import change, job, outlook
from sagtrace.app.kept import Content, Mark, Query
from sagtrace.vehicle.job import Entry, Job

JOBS = 100_000
TIMES = 20
AT = "2026-11-24T08:05:00+00:00"
LIST = 0.2  # [s] the bar: a list that opens at once
COMMIT = 0.1  # [s] the bar: kept before the finger is off the screen


def fill(path: Path) -> None:
    """Put the jobs in past the store, because one after the other would take minutes."""
    engine = open_file(path)
    mark = {"at": AT, "by": "", "what": "start", "key": "", "request": "", "result": {}}
    row = {"revision": 1, "changed_at": AT, "changed_by": ""}
    with engine.begin() as connection:
        for start in range(1, JOBS + 1, 5000):
            places = range(start, start + 5000)
            made = {
                n: Job(
                    id=f"j{n}", title=f"Left rear sinks, number {n}", layout="rear-pair",
                    complaint="It goes down overnight and comes up again in the morning.",
                )
                for n in places
            }  # fmt: skip
            connection.execute(
                insert(job), [{**row, **job_row(j), "place": n} for n, j in made.items()]
            )
            connection.execute(
                insert(change),
                [{**mark, "place": n, "job": f"j{n}", "revision": 1} for n in places],
            )
            stages = [
                {
                    "job": f"j{n}", "place": n, "stage": "prove" if n % 10_000 == 0 else "proved",
                    "headline": "", "waits": "", "ready": "",
                }
                for n in places
            ]  # fmt: skip
            connection.execute(insert(outlook), stages)
    engine.dispose()


def grow(store: DatabaseStore, entries: int) -> Callable[[], object]:
    """Return what adds an entry to a job that has this many."""
    made = tuple(Entry(id=f"e{n}", check="story.load", outcome="usual") for n in range(entries))
    big = Job(id=f"big{entries}", title="Many", layout="rear-pair", entries=made)
    store.add(big, Mark(what="start", at=AT), {})

    def once() -> object:
        kept = store.load(big.id)
        entry = Entry(id=kept.job.next_id(), check="story.load", outcome="usual")
        new = replace(kept.job, entries=(*kept.job.entries, entry))
        return store.commit(new, kept.revision, Mark(what="answer", at=AT), {})

    return once


def figures() -> Iterator[Figure]:
    """Yield the figures, each with its bar."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "jobs.db"
        fill(path)
        store = file_store(path)
        far = str(JOBS // 2)
        recording = iter(range(1000))

        def keep() -> object:
            data = next(recording).to_bytes(4, "big") * 5_000_000
            return store.keep(Content(data=data, media="text/csv"))

        acts: list[tuple[str, Callable[[], object], float | None]] = [
            ("first page", lambda: store.jobs(Query()), LIST),
            ("page in the middle", lambda: store.jobs(Query(after=far)), LIST),
            ("search, found on the first page", lambda: store.jobs(Query(text="SINKS")), LIST),
            ("search, found nowhere", lambda: store.jobs(Query(text="nowhere")), LIST),
            ("stage of one job in 10 000", lambda: store.jobs(Query(stage="prove")), LIST),
            ("open an up-to-date file", lambda: file_store(path).close(), None),
            ("load a job", lambda: store.load("j77"), None),
            ("load and change, 0 entries", grow(store, 0), COMMIT),
            ("load and change, 300 entries", grow(store, 300), COMMIT),
            ("keep a recording of 20 MB", keep, None),
        ]
        text = f"{JOBS} jobs, {path.stat().st_size / 1e6:.0f} MB; median of {TIMES}; {load()}"
        for name, act, bar in acts:
            taken = 1e3 * median_of(act, TIMES)
            yield f"store: {name}", taken, "ms", None if bar is None else 1e3 * bar, text
        store.close()


if __name__ == "__main__":
    sys.exit(tell(figures()))
