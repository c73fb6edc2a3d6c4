"""Speed of audit and episodes on a large recording, beside bare reading of the same file.

Ratios within one run on one machine: 200 000 rows of 12 channels, five of them heights. The file is
made from a virtual vehicle's sweep, repeated.

Run: PYTHONPATH=src:tools python bench/audit.py
"""

from __future__ import annotations

import io
import time
from collections.abc import Callable

import numpy as np
import polars as pl

from sagtrace.adapters.files import read_csv_recording
from sagtrace.signals.audit import audit_heights, read_heights
from sagtrace.signals.decimate import decimate
from sagtrace.signals.episodes import find_episodes, find_events
from sagtrace.signals.trace import Trace
from virtual_recordings import sampled, sweep

ROWS, RATE, CHANNELS = 200_000, 50, 12
BAR_AUDIT, BAR_RATIO = 0.15, 3.0  # [s], [-]


def fastest(action: Callable[[], object], times: int = 7) -> float:
    """Return the shortest time of an action [s]; others share the machine."""
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        action()
        taken.append(time.perf_counter() - start)
    return min(taken)


def recording() -> Trace:
    made = sweep(1)  # four corners
    trace = sampled(made, RATE, None, np.random.default_rng(0))
    repeat = ROWS // trace.time.size + 1
    channels = {role: np.tile(v, repeat)[:ROWS] for role, v in trace.channels.items()}
    channels["height.rear"] = channels["height.rear-left"]
    channels = dict(list(channels.items())[: CHANNELS - 1]) | {"engine": channels["engine"]}
    return Trace(time=np.arange(ROWS) / RATE, channels=channels)


def as_csv(trace: Trace) -> bytes:
    columns = {"time [s]": trace.time}
    for role, values in trace.channels.items():
        unit = "mm" if role.startswith("height") else None
        unit = unit or (
            "K" if role in ("ambient", "pump.temperature") else "A" if "current" in role else None
        )
        unit = unit or ("V" if role in ("supply", "pump.voltage") else "-")
        unit = "Pa" if role.startswith("pressure") else unit
        columns[f"{role} [{unit}]"] = (1e3 if unit == "mm" else 1.0) * values
    out = io.BytesIO()
    pl.DataFrame(columns).write_csv(out, float_precision=4)
    return out.getvalue()


def main() -> None:
    trace = recording()
    many = np.array(list(trace.channels.values()))
    plotted = fastest(lambda: decimate(trace.time, many, 1000))
    print(f"{ROWS} x {CHANNELS} to 1000 columns: {1e3 * plotted:.1f} ms (bar 20 ms)")
    data = as_csv(trace)
    print(f"{ROWS} rows, {len(trace.channels)} channels, {len(data) / 1e6:.0f} MB")
    bare = fastest(lambda: pl.read_csv(io.BytesIO(data)))
    read = fastest(lambda: read_csv_recording(data, "bench.csv"), 3)
    blind = Trace(
        time=trace.time,
        channels={r: v for r, v in trace.channels.items() if not r.endswith("command")},
    )

    def work(of: Trace) -> None:
        heights = read_heights(of)
        audit_heights(of, heights=heights)
        find_events(of, find_episodes(of, heights=heights), heights=heights)

    told, alone = fastest(lambda: work(trace)), fastest(lambda: work(blind))
    print(f"bare polars read_csv: {bare:.3f} s; the import: {read:.3f} s")
    for name, taken in (("with commands", told), ("from heights alone", alone)):
        ratio = (read + taken) / bare
        print(
            f"audit and episodes {name}: {taken:.3f} s (bar {BAR_AUDIT} s: "
            f"{'ok' if taken <= BAR_AUDIT else 'MISSED'}); import and these {ratio:.1f} x bare "
            f"reading (bar {BAR_RATIO:g}: {'ok' if ratio <= BAR_RATIO else 'MISSED'})"
        )


if __name__ == "__main__":
    main()
