"""When the pump filled, the vent opened or nothing moved, and how the height ran meanwhile.

Assumes that a command is 0 or 1 from its sample to the next. A missing command is neither rest nor
run, and a gap in the samples ends every episode. A hold begins only after the air has settled; what
happened before the recording is not known, so its first rest settles too.
Limits: the height is taken to run straight within an episode; `FittedLine.steady` says whether
it did.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from sagtrace.errors import InputError
from sagtrace.signals._lines import (
    LEAST_SAMPLES,
    Line,
    Pooled,
    median_step,
    pool,
    slope,
)
from sagtrace.signals.trace import Trace

__all__ = [
    "Episode",
    "find_episodes",
    "fit_lines",
    "FittedLine",
    "Kind",
    "LEAST_SAMPLES",
    "Line",
    "median_step",
    "pool",
    "Pooled",
    "run_time",
    "SETTLING",
    "slope",
]

Array = NDArray[np.float64]
Kind = Literal["hold", "fill", "vent"]

SETTLING = 30.0  # [s] chosen: warm fresh air shrinks after a fill; longer leaves less to fit
LEAST_HOLD = 30.0  # [s] chosen: a shorter rest tells little beside its noise
GAP = 5.0  # [s] chosen: between two samples this far apart the command may have changed twice
GAP_IN_STEPS = 5.0  # [-] chosen: a slow recording may have longer steps, but not of a sudden
RUN_UP = 1.0  # [s] chosen: the pump starts and the valves open
LEAST_FILL = 3.0  # [s] chosen: a shorter rise is mostly start and stop
MOVED = 4e-3  # [m] chosen: off the line for several samples, more than a worn sensor's noise
RUNNING_MEDIAN = 5  # [samples] chosen: long enough that single outliers do not count


@dataclass(frozen=True, slots=True, kw_only=True)
class Episode:
    """A stretch of a recording in which one thing was commanded; both ends are samples of it."""

    kind: Kind
    start: float  # [s]
    end: float  # [s]
    first: int
    last: int  # inclusive

    @property
    def duration(self) -> float:
        """Time from the first sample to the last [s]."""
        return self.end - self.start

    @property
    def samples(self) -> slice:
        """The part of every channel that belongs to the episode."""
        return slice(self.first, self.last + 1)


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
    trace: Trace, *, settling: float = SETTLING, least_hold: float = LEAST_HOLD
) -> tuple[Episode, ...]:
    """Return the holds, fills and vents of a recording in their order.

    Raises InputError if the recording has no pump command. A sample with pump and vent both
    commanded is a vent: the air leaves.
    """
    if "pump.command" not in trace.channels:
        hint = "Record when the pump is commanded too; fills and rests cannot be told apart else."
        raise InputError(f"the recording has no channel pump.command. {hint}")
    state = _states(trace)
    apart = (np.diff(state) != 0) | (np.diff(trace.time) > _longest_step(trace))
    edges = np.flatnonzero(apart) + 1
    firsts, lasts = np.r_[0, edges], np.r_[edges, len(state)] - 1
    found = (
        _episode(trace.time, _KINDS[int(state[first])], int(first), int(last), settling, least_hold)
        for first, last in zip(firsts, lasts, strict=True)
    )
    return tuple(episode for episode in found if episode)


_KINDS: dict[int, Kind | None] = {0: "hold", 1: "fill", 2: "vent", 3: None}


def _states(trace: Trace) -> NDArray[np.int64]:
    """Return 0 at rest, 1 while the pump is commanded, 2 while the vent is, 3 if not known."""
    pump = trace.held("pump.command")
    vented = "vent.command" in trace.channels
    vent = trace.held("vent.command") if vented else np.zeros_like(pump)
    state = np.where(vent > 0.5, 2, np.where(pump > 0.5, 1, 0))
    unknown = np.isnan(vent) | (np.isnan(pump) & ~(vent > 0.5))
    return np.where(unknown, 3, state).astype(np.int64)


def _longest_step(trace: Trace) -> float:
    return max(GAP, GAP_IN_STEPS * float(np.median(np.diff(trace.time))))


def _episode(
    time: Array, kind: Kind | None, first: int, last: int, settling: float, least_hold: float
) -> Episode | None:
    if kind is None:
        return None
    if kind == "hold":
        first = int(np.searchsorted(time, time[first] + settling))
        if first > last or time[last] - time[first] < least_hold:
            return None
    return Episode(
        kind=kind, start=float(time[first]), end=float(time[last]), first=first, last=last
    )


def fit_lines(trace: Trace, episodes: Sequence[Episode]) -> tuple[FittedLine, ...]:
    """Return the line of the height in every hold and fill that is long enough for one.

    All lines share one sensor, so none counts as quieter than the usual one of them.
    """
    height = trace.channels["height.rear"]
    parts = [(episode.kind, _fitted_part(trace, episode)) for episode in episodes]
    kept = [(kind, part) for kind, part in parts if kind != "vent" and _enough(trace, part)]
    step = median_step(height)
    first = [slope(trace.time[part], height[part], step=step) for _, part in kept]
    usual = float(np.median([line.scatter for line in first])) if first else 0.0
    return tuple(_fitted(trace, kind, part, step, usual) for kind, part in kept)


def _fitted_part(trace: Trace, episode: Episode) -> slice:
    if episode.kind != "fill":
        return episode.samples
    return slice(int(np.searchsorted(trace.time, episode.start + RUN_UP)), episode.last + 1)


def _enough(trace: Trace, part: slice) -> bool:
    seen = trace.time[part][np.isfinite(trace.channels["height.rear"][part])]
    return seen.size >= LEAST_SAMPLES and bool(np.ptp(seen) >= LEAST_FILL - RUN_UP)


def _fitted(trace: Trace, kind: Kind, part: slice, step: float, usual: float) -> FittedLine:
    time, values = trace.time[part], trace.channels["height.rear"][part]
    line = slope(time, values, step=step, least_scatter=usual)
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
    seen = np.isfinite(command) & (steps <= _longest_step(trace)) & awake[:-1]
    return float(np.sum(steps[seen & (command > 0.5)])), float(np.sum(steps[seen]))
