"""When the pump filled, the vent opened or nothing moved, and how the height ran meanwhile.

With commands recorded these say so; without them the heights do, as moves towards and away from
their usual level. Assumes that a command is 0 or 1 from its sample to the next. A missing command
is neither rest nor run, and a gap in the samples ends every episode. A hold begins only after the
air has settled; what happened before the recording is not known, so its first rest settles too.
Limits: the height is taken to run straight within an episode; `FittedLine.steady` says whether
it did. From heights alone a fill of less than 3 mm is not seen, and loads may pass for commands.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sagtrace.errors import InputError
from sagtrace.signals._episode import LEAST_HOLD, SETTLING, Episode, Kind, cut, longest_step
from sagtrace.signals._events import (
    engine_starts,
    pauses,
    states_from_heights,
    uncommanded_loads,
)
from sagtrace.signals._heights import read_heights
from sagtrace.signals._lines import (
    LEAST_SAMPLES,
    Line,
    Pooled,
    draw,
    median_step,
    pool,
    slope,
)
from sagtrace.signals._moves import Heights, height_roles
from sagtrace.signals.trace import Trace

__all__ = [
    "Episode",
    "find_episodes",
    "find_events",
    "fit_lines",
    "FittedLine",
    "Heights",
    "Kind",
    "LEAST_SAMPLES",
    "Line",
    "median_step",
    "pool",
    "Pooled",
    "read_heights",
    "run_time",
    "SETTLING",
    "slope",
]

Array = NDArray[np.float64]

RUN_UP = 1.0  # [s] chosen: the pump starts and the valves open
LEAST_FILL = 3.0  # [s] chosen: a shorter rise is mostly start and stop
MOVED = 4e-3  # [m] chosen: off the line for several samples, more than a worn sensor's noise
RUNNING_MEDIAN = 5  # [samples] chosen: long enough that single outliers do not count


@dataclass(frozen=True, slots=True, kw_only=True)
class FittedLine:
    """The straight line of one hold or fill, for the plot and the pool."""

    kind: Kind
    start: float  # [s]
    end: float  # [s]
    h0: float  # [m] at the start
    h1: float  # [m] at the end
    slope: float  # [m/s]
    std: float  # [m/s]
    scatter: float  # [m] robust standard deviation around the line
    missing: int  # samples without a height
    steady: bool  # nothing but a straight line


def find_episodes(
    trace: Trace,
    *,
    settling: float = SETTLING,
    least_hold: float = LEAST_HOLD,
    heights: Heights | None = None,
) -> tuple[Episode, ...]:
    """Return the holds, fills and vents of a recording in their order.

    Raises InputError if the recording has neither a pump command nor a height. A sample with pump
    and vent both commanded is a vent: the air leaves.
    """
    if "pump.command" in trace.channels:
        return cut(trace, _states(trace), settling=settling, least_hold=least_hold)
    if not height_roles(trace):
        hint = (
            "Record when the pump is commanded, or a height; nothing else tells fills from rests."
        )
        raise InputError(f"the recording has no channel pump.command. {hint}")
    state = states_from_heights(trace, heights or read_heights(trace))
    found = cut(trace, state, settling=settling, least_hold=least_hold)
    return tuple(episode for episode in found if episode.kind != "load")


def find_events(
    trace: Trace, episodes: Sequence[Episode], *, heights: Heights | None = None
) -> tuple[Episode, ...]:
    """Return what happens beside holds, fills and vents: loads, engine starts, pauses.

    A pause is the rest in which the control unit kept the pump off although the height was still
    short: after a time-out, for heat or for want of run budget. It lies beside a hold, which
    begins later.
    """
    state = uncommanded_loads(trace, heights or read_heights(trace))
    loads = [e for e in cut(trace, state, settling=0.0, least_hold=0.0) if e.kind == "load"]
    known = sorted([*episodes, *loads], key=lambda episode: episode.first)
    found = [*loads, *(_event(trace, "engine", i, i) for i in engine_starts(trace))]
    found += [_event(trace, "pause", a, b) for a, b in pauses(trace, known) if b >= a]
    return tuple(sorted(found, key=lambda episode: episode.first))


def _event(trace: Trace, kind: Kind, first: int, last: int) -> Episode:
    start, end = float(trace.time[first]), float(trace.time[last])
    return Episode(kind=kind, start=start, end=end, first=first, last=last)


def _states(trace: Trace) -> NDArray[np.int64]:
    """Return 0 at rest, 1 while the pump is commanded, 2 while the vent is, 3 if not known."""
    pump = trace.held("pump.command")
    vented = "vent.command" in trace.channels
    vent = trace.held("vent.command") if vented else np.zeros_like(pump)
    state = np.where(vent > 0.5, 2, np.where(pump > 0.5, 1, 0))
    unknown = np.isnan(vent) | (np.isnan(pump) & ~(vent > 0.5))
    return np.where(unknown, 3, state).astype(np.int64)


def fit_lines(trace: Trace, episodes: Sequence[Episode]) -> tuple[FittedLine, ...]:
    """Return the line of the height in every hold and fill that is long enough for one.

    All lines share one sensor, so none counts as quieter than the usual one of them.
    """
    height = trace.channels["height.rear"]
    parts = [(episode.kind, _fitted_part(trace, episode)) for episode in episodes]
    kept = [(kind, part) for kind, part in parts if kind != "vent" and _enough(trace, part)]
    step = median_step(height)
    drawn = [draw(trace.time[part], height[part]) for _, part in kept]
    usual = float(np.median([line.scatter for line in drawn])) if drawn else 0.0
    lines = [line.line(step=step, least_scatter=usual) for line in drawn]
    return tuple(
        _fitted(trace, kind, part, line) for (kind, part), line in zip(kept, lines, strict=True)
    )


def _fitted_part(trace: Trace, episode: Episode) -> slice:
    if episode.kind != "fill":
        return episode.samples
    return slice(int(np.searchsorted(trace.time, episode.start + RUN_UP)), episode.last + 1)


def _enough(trace: Trace, part: slice) -> bool:
    seen = trace.time[part][np.isfinite(trace.channels["height.rear"][part])]
    return seen.size >= LEAST_SAMPLES and bool(np.ptp(seen) >= LEAST_FILL - RUN_UP)


def _fitted(trace: Trace, kind: Kind, part: slice, line: Line) -> FittedLine:
    time, values = trace.time[part], trace.channels["height.rear"][part]
    rest = values - line.level - line.slope * (time - line.centre)
    return FittedLine(
        kind=kind,
        start=float(time[0]),
        end=float(time[-1]),
        h0=line.at(float(time[0])),
        h1=line.at(float(time[-1])),
        slope=line.slope,
        std=line.std,
        scatter=line.scatter,
        missing=line.missing,
        steady=_steady(rest[np.isfinite(rest)]),
    )


def _steady(rest: Array) -> bool:
    windows = np.lib.stride_tricks.sliding_window_view(rest, RUNNING_MEDIAN)
    return bool(np.max(np.abs(np.median(windows, axis=1))) < MOVED)


def run_time(trace: Trace, awake: NDArray[np.bool_]) -> tuple[float, float]:
    """Return the time that the pump was commanded and the time watched, gaps left out [s]."""
    steps = np.diff(trace.time)
    command = trace.held("pump.command")[:-1]
    seen = np.isfinite(command) & (steps <= longest_step(trace)) & awake[:-1]
    return float(np.sum(steps[seen & (command > 0.5)])), float(np.sum(steps[seen]))
