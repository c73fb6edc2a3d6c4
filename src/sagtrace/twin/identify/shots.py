"""A recording in shots: each begins where air starts to move, from the height measured there.

Run in one piece, a replay would add up what the moments of the commands are uncertain by, until its
heights are no longer those of the vehicle. So each fill or vent begins anew at the measured height,
together with the rest that follows it; temperatures go on. A height that jumps at rest (somebody
got in) begins a shot too.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sagtrace.signals.trace import Trace

__all__ = ["Anchors", "anchors", "gaps_at", "HOLE", "jumps", "rise_between"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

BEFORE = 15.0  # [s] chosen: how far back a height is looked at to tell it at a moment
WINDOW = 8.0  # [s] chosen: before and after, where heights are compared
JUMP = 2.5e-3  # [m] chosen: a height at rest that moves more in a window did not leak
HOLE = 3.0  # [s] chosen: a gap that may hide a fill
NEAR, CALM = 6.0, 20.0  # [s] chosen: after a command a height runs on, and fresh air settles
LIVELY_JUMP = 3.5e-3  # [m] chosen: what counts as a jump while fresh air settles
FEW = 6  # [-] chosen: samples that tell a height beside a gap
LEAST = 3  # [-] chosen: with fewer samples the nearest ones must do


@dataclass(frozen=True, slots=True, kw_only=True)
class Anchors:
    """The height that one channel shows where each shot begins."""

    stretch: NDArray[np.int64]  # with which stretch each shot begins, the first with 0
    height: Array  # [m]
    std: Array  # [m]


def jumps(trace: Trace, roles: Sequence[str], edges: Array, busy: Flags) -> Array:
    """Return stretches (begin, end) in which a height jumps though nothing is commanded [s].

    Somebody got in or out, or a gap in the recording hides a fill.
    """
    time = trace.time - trace.time[0]
    grid = np.arange(WINDOW, time[-1] - WINDOW, 0.25 * WINDOW)
    # Near a command a height may run by itself.
    marks = edges[1:-1][busy[1:] | busy[:-1]]
    after = grid[:, None] - marks[None, :]
    near = np.any((after > -WINDOW) & (after < NEAR), axis=1)
    calm = ~np.any((after > -WINDOW) & (after < CALM), axis=1)
    limit = np.where(calm, JUMP, LIVELY_JUMP)
    most = np.zeros(len(grid))
    for role in roles:
        seen = np.isfinite(trace.channels[role])
        level = _running_median(time[seen], trace.channels[role][seen], grid)
        step = level(grid + 0.5 * WINDOW) - level(grid - 0.5 * WINDOW)
        # A large leak sinks as far in a window as somebody does who gets in, but in all of them.
        usual = float(np.median(step[calm])) if calm.any() else 0.0
        most = np.maximum(most, np.where(near, 0.0, np.abs(step - usual)))
    found = np.flatnonzero(most > limit)
    if not found.size:
        return np.empty((0, 2))
    parts = np.split(found, np.flatnonzero(np.diff(found) > 4) + 1)
    away = [(grid[p[0]] - 0.5 * WINDOW, grid[p[-1]] + 0.5 * WINDOW) for p in parts]
    # Where the recording has a gap there, the moment may be anywhere in it.
    holes = np.flatnonzero(np.diff(time) > HOLE)
    for k, (low, high) in enumerate(away):
        for hole in holes:
            if time[hole] < high and time[hole + 1] > low:
                away[k] = (min(away[k][0], time[hole]), max(away[k][1], time[hole + 1]))
    return np.array(away)


def _running_median(t: Array, h: Array, grid: Array) -> Callable[[Array], Array]:
    """Return a height's median over a window, as a function of time."""
    edges = np.arange(t[0], t[-1] + 0.25 * WINDOW, 0.25 * WINDOW)
    first = np.searchsorted(t, edges - 0.25 * WINDOW)
    last = np.maximum(np.searchsorted(t, edges + 0.25 * WINDOW), first + 1)
    middle = np.array([np.median(h[a:b]) for a, b in zip(first, last, strict=True)])
    good = np.isfinite(middle)
    return lambda at: np.interp(at, edges[good], middle[good])


def rise_between(trace: Trace, role: str, begin: float, end: float, quiet: Array) -> float:
    """Return how far a height jumped between two moments, beside what it did before and after [m].

    `quiet` says from when to when no air was moved. Before and after, the height is taken to sink
    equally fast, so that a leak is no part of the jump.
    """
    time, height = trace.time - trace.time[0], trace.channels[role]
    near = np.isfinite(height) & (time >= max(begin - BEFORE, quiet[0]))
    near &= (time <= min(end + BEFORE, quiet[1])) & ((time <= begin) | (time >= end))
    t, h = time[near], height[near]
    later = t >= end
    if min(np.count_nonzero(later), np.count_nonzero(~later)) < LEAST:
        return 0.0
    middle = t - 0.5 * (begin + end)
    table = np.column_stack([np.ones(len(t)), later, middle])
    return float(np.linalg.lstsq(table, h, rcond=None)[0][1])


def gaps_at(trace: Trace, edges: Array) -> Array:
    """Return how far the two samples lie apart between which each edge falls [s]."""
    time = trace.time - trace.time[0]
    after = np.clip(np.searchsorted(time, edges, side="left"), 1, len(time) - 1)
    return np.asarray(time[after] - time[after - 1])


def anchors(
    trace: Trace, role: str, edges: Array, begins: NDArray[np.int64], after: frozenset[int],
    noise: float,
) -> Anchors:  # fmt: skip
    """Return the anchors of a height channel; `noise` is that of one sample [m].

    `begins` are the stretches that begin a shot, `after` those of them whose height is told by
    their own first seconds.
    """
    time = trace.time - trace.time[0]
    seen = np.isfinite(trace.channels[role])
    t, h = time[seen], trace.channels[role][seen]
    rows = [_at(t, h, edges, k, k in after, noise) for k in begins.tolist()]
    height, std = (np.array(column) for column in zip(*rows, strict=True))
    return Anchors(stretch=begins, height=height, std=std)


def _at(t: Array, h: Array, edges: Array, k: int, own: bool, noise: float) -> tuple[float, float]:
    """Return the height where a stretch begins, from a line through the rest before it.

    `own`: what lies before is no rest, so the stretch's own first seconds tell.
    """
    at = edges[k]
    low, high = (
        (at, min(at + BEFORE, edges[k + 1])) if own else (max(at - BEFORE, edges[k - 1]), at)
    )
    first, last = np.searchsorted(t, [low, high], side="left")
    if last - first < LEAST:  # a gap: what comes next on that side
        first, last = (first, first + FEW) if own else (last - FEW, last)
        last = min(max(last, FEW), len(t))
        first = max(min(first, len(t) - FEW), 0)
    x, y = t[first:last] - at, h[first:last]
    middle = np.median(y)
    kept = np.abs(y - middle) <= 6.0 * noise + np.ptp(y) * 0.5
    x, y = x[kept], y[kept]
    n, spread = len(x), float(np.sum((x - x.mean()) ** 2))
    if n <= LEAST or spread <= 0.0:
        return float(np.median(y)), noise
    level = np.polyfit(x, y, 1)[1]
    return float(level), float(noise * np.sqrt(1.0 / n + x.mean() ** 2 / spread))
