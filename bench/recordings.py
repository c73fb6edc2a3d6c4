"""Speed and memory of the import of recordings against a bare read of the same file.

`python -m bench.recordings` prints a line a figure. Ratios within one run on one machine, the
fastest of several, because others share the machine. The large file is read by a process of its
own, whose greatest memory counts; `--large` because it takes a minute and a gigabyte of disk.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import polars as pl

from sagtrace.adapters.recordings.read import import_recording
from sagtrace.adapters.words import load_words
from sagtrace.signals.episodes import find_episodes, fit_lines

ROWS, LARGE = 200_000, 10_000_000
MEMORY = 2.0  # [GiB] the bar
RATIO, RATIO_WITH_EPISODES = 2.0, 3.0  # [-] the bars
PIECE = 1_000_000  # rows written at a time


def frame(start: int, rows: int) -> pl.DataFrame:
    """Return twelve channels at 50 Hz, invented."""
    rng = np.random.default_rng(start)
    t = (start + np.arange(rows)) / 50.0
    run = (t % 600.0 < 20.0).astype(np.int64)
    columns: dict[str, object] = {"Time [s]": np.round(t, 3)}
    for place in ("front left", "front right", "rear left"):
        columns[f"Height {place} [mm]"] = np.round(400.0 + rng.normal(0.0, 1.0, rows), 1)
    columns["Rear axle height [mm]"] = np.round(400.0 + rng.normal(0.0, 1.0, rows), 1)
    columns["Compressor relay"] = run
    columns["Compressor current [A]"] = np.round(18.0 * run + rng.normal(0.0, 0.1, rows), 2)
    columns["Compressor voltage [V]"] = np.round(12.0 * run + rng.normal(0.0, 0.05, rows), 2)
    columns["Battery voltage [V]"] = np.round(12.4 + rng.normal(0.0, 0.05, rows), 2)
    columns["Exhaust valve"] = np.zeros(rows, dtype=np.int64)
    columns["Outside temperature [°C]"] = np.round(9.0 + rng.normal(0.0, 0.1, rows), 1)
    columns["Engine speed [rpm]"] = np.round(800.0 + rng.normal(0.0, 5.0, rows))
    columns["Reservoir pressure [bar]"] = np.round(7.0 + rng.normal(0.0, 0.1, rows), 2)
    return pl.DataFrame(columns)


def write(path: Path, rows: int) -> None:
    """Write the table a piece at a time."""
    with path.open("wb") as file:
        for start in range(0, rows, PIECE):
            part = frame(start, min(PIECE, rows - start))
            part.write_csv(file, include_header=start == 0)


def fastest(*actions: Callable[[], object], times: int = 15) -> list[float]:
    """Return the shortest time of each action [s], taken in turn."""
    taken: list[list[float]] = [[] for _ in actions]
    for _ in range(times):
        for action, kept in zip(actions, taken, strict=True):
            start = time.perf_counter()
            action()
            kept.append(time.perf_counter() - start)
    return [min(kept) for kept in taken]


def compare(path: Path) -> None:
    """Print the time of an import beside that of a bare read."""
    words = load_words()

    def whole() -> None:
        trace = import_recording(path, path.name, words=words).trace
        find_episodes(trace)

    def lines() -> None:
        trace = import_recording(path, path.name, words=words).trace
        fit_lines(trace, find_episodes(trace))

    bare, read, with_episodes, with_lines = fastest(
        lambda: pl.read_csv(path),
        lambda: import_recording(path, path.name, words=words),
        whole,
        lines,
    )
    print(f"bare polars read_csv of {ROWS} x 12: {1e3 * bare:.0f} ms")
    for name, taken, bar in (
        ("import", read, RATIO),
        ("import and episodes", with_episodes, RATIO_WITH_EPISODES),
        ("import, episodes and lines", with_lines, None),
    ):
        ratio = taken / bare
        said = "" if bar is None else f" (bar {bar:g} x: {'ok' if ratio <= bar else 'MISSED'})"
        print(f"{name}: {1e3 * taken:.0f} ms, {ratio:.2f} x{said}", flush=True)


def alone(path: str) -> None:
    """Import one file and print rows, time and the greatest memory of this process."""
    words = load_words()
    start = time.perf_counter()
    found = import_recording(Path(path), "large.csv", words=words)
    taken = time.perf_counter() - start
    used = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20
    channels = len(found.trace.channels)
    verdict = "ok" if used <= MEMORY else "MISSED"
    print(f"{found.report.samples} rows x {channels}: {taken:.1f} s, {used:.2f} GiB "
          f"(bar {MEMORY:g} GiB: {verdict})")  # fmt: skip


def main() -> None:
    if sys.argv[1:2] == ["--alone"]:
        alone(sys.argv[2])
        return
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "drive.csv"
        write(path, ROWS)
        compare(path)
        if "--large" in sys.argv:
            write(path, LARGE)
            print(f"large file: {path.stat().st_size / 1e6:.0f} MB", flush=True)
            command = [sys.executable, "-m", "bench.recordings", "--alone", str(path)]
            subprocess.run(command, check=True)


if __name__ == "__main__":
    main()
