"""Speed and memory of import, audit and episodes of recordings, beside bare reading of the file.

`python -m bench.recordings` prints these figures alone. Ratios within one run on one machine: file
and bare read in turns, the median of the rounds' ratios, because others share the machine. The bare
read is `polars.read_csv`, which uses all cores. The file is a virtual vehicle's sweep with its
noise, repeated. The large one goes through the command line in a process of its own, whose greatest
memory counts; its heights are noise alone.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import polars as pl
from tools.virtual_recordings import sampled, sweep

from sagtrace.adapters.recordings.read import import_recording
from sagtrace.adapters.words import load_words
from sagtrace.signals.audit import audit_heights, read_heights
from sagtrace.signals.decimate import decimate
from sagtrace.signals.episodes import find_episodes, find_events
from sagtrace.signals.trace import ROLES, Trace
from sagtrace.units import KINDS

Figure = tuple[str, float, str, float | None, str]

ROWS, LARGE, RATE, CHANNELS = 200_000, 10_000_000, 50, 12
ROUNDS = 15
PIECE = 1_000_000  # rows written at a time
FOUR_CORNERS = 1  # the seed of such a vehicle


def figures() -> Iterator[Figure]:
    """Yield name, value, unit, bar and reference of each figure."""
    trace = recording()
    many = np.array(list(trace.channels.values()))
    taken = min(_timed(lambda: decimate(trace.time, many, 1000)) for _ in range(7))
    yield (
        "thin a plot to 1000 columns",
        1e3 * taken,
        "ms",
        20.0,
        f"{ROWS} rows, {CHANNELS} channels",
    )
    with tempfile.TemporaryDirectory() as folder:
        yield from _speed(Path(folder) / "drive.csv", trace)
        path = Path(folder) / "large.csv"
        write(path, LARGE)
        yield from _memory(path)


def recording() -> Trace:
    """Return twelve channels, five of them heights, with moves every two minutes."""
    made = sampled(sweep(FOUR_CORNERS), RATE, None, np.random.default_rng(0))
    channels = {r: np.tile(v, ROWS // v.size + 1)[:ROWS] for r, v in made.channels.items()}
    channels["height.rear"] = channels["height.rear-left"]
    wanted = sorted(channels, key=lambda role: not role.startswith(("height", "pump", "vent")))
    return Trace(
        time=np.arange(ROWS) / RATE, channels={role: channels[role] for role in wanted[:CHANNELS]}
    )


def _save(path: Path, trace: Trace) -> None:
    columns = {"time [s]": trace.time}
    for role, values in trace.channels.items():
        unit = KINDS[ROLES[role]].si_unit if ROLES[role] != "count" else "-"
        millimetres = role.startswith("height")
        columns[f"{role} [{'mm' if millimetres else unit}]"] = (
            1e3 if millimetres else 1.0
        ) * values
    pl.DataFrame(columns).write_csv(path, float_precision=4)


def _timed(action: Callable[[], object]) -> float:
    start = time.perf_counter()
    action()
    return time.perf_counter() - start


def _speed(path: Path, trace: Trace) -> Iterator[Figure]:
    _save(path, trace)
    words = load_words()
    parts: dict[str, list[float]] = {"bare": [], "import": [], "audit": [], "episodes": []}
    for k in range(ROUNDS + 2):
        bare = _timed(lambda: pl.read_csv(path))
        start = time.perf_counter()
        seen = import_recording(path, path.name, words=words).trace
        read = time.perf_counter()
        heights = read_heights(seen)
        audit_heights(seen, heights=heights)
        audited = time.perf_counter()
        find_events(seen, find_episodes(seen, heights=heights), heights=heights)
        end = time.perf_counter()
        for name, taken in zip(
            parts, (bare, read - start, audited - read, end - audited), strict=True
        ):
            if k > 1:  # what is loaded and compiled once does not count
                parts[name].append(taken)
    whole = [sum(round_) for round_ in zip(*list(parts.values())[1:], strict=True)]
    ratio = statistics.median(w / b for w, b in zip(whole, parts["bare"], strict=True))
    told = ", ".join(f"{name} {1e3 * statistics.median(v):.0f} ms" for name, v in parts.items())
    text = f"{ROWS} rows, {CHANNELS} channels, 5 heights; {told}; load {os.getloadavg()[0]:.1f}"
    yield "import, audit and episodes beside a bare read", ratio, "x", 3.0, text


def _memory(path: Path) -> Iterator[Figure]:
    """The greatest memory of each road that a large file may take, a new fit included."""
    call = (
        "import resource, sys; from sagtrace.cli.main import main; code = main(); "
        "print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss, file=sys.stderr); sys.exit(code)"
    )
    job = str(path.parent / "job.yaml")
    roads = {
        "sagtrace recording": ["recording", str(path)],
        "sagtrace recording --layout": ["recording", str(path), "--layout", "rear-pair"],
        "sagtrace attach": ["attach", job, str(path)],
    }
    text = f"{LARGE} rows, {CHANNELS} channels, {path.stat().st_size / 1e6:.0f} MB as CSV"
    for name, words in {"sagtrace new": ["new", job], **roads}.items():
        # A cache of its own, so that no road finds the fit of another.
        kept = {"XDG_CACHE_HOME": str(path.parent / name), "PYTHONPATH": ":".join(sys.path)}
        told = subprocess.run(
            [sys.executable, "-c", call, *words],
            check=True, capture_output=True, text=True, env={**os.environ, **kept},
        ).stderr  # fmt: skip
        if name in roads:
            yield f"memory of {name}", float(told.split()[-1]) / 2**20, "GiB", 2.0, text


def write(path: Path, rows: int) -> None:
    """Write an invented table of twelve channels at 50 Hz, a piece at a time."""
    with path.open("wb") as file:
        for start in range(0, rows, PIECE):
            part = frame(start, min(PIECE, rows - start))
            part.write_csv(file, include_header=start == 0)


def frame(start: int, rows: int) -> pl.DataFrame:
    """Return some rows of that table."""
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


def main() -> None:
    for name, value, unit, bar, reference in figures():
        verdict = (
            "" if bar is None else f" (bar {bar:g} {unit}: {'ok' if value <= bar else 'MISSED'})"
        )
        print(f"{name}: {value:.3g} {unit}{verdict}; {reference}", flush=True)


if __name__ == "__main__":
    main()
