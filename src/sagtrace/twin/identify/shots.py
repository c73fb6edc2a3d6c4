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

__all__ = ["Anchors", "anchors", "jumps"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

BEFORE = 15.0  # [s] chosen: how far back a height is looked at to tell it at a moment
WINDOW = 8.0  # [s] chosen: before and after, where heights are compared
JUMP = 2.5e-3  # [m] chosen: a height at rest that moves more in a window did not leak
CALM = 20.0  # [s] chosen: after a command fresh air still settles
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
    most = np.zeros(len(grid))
    for role in roles:
        seen = np.isfinite(trace.channels[role])
        level = _running_median(time[seen], trace.channels[role][seen], grid)
        step = np.abs(level(grid + 0.5 * WINDOW) - level(grid - 0.5 * WINDOW))
        most = np.maximum(most, step)
    # Near a command a height may run by itself.
    marks = edges[1:-1][busy[1:] | busy[:-1]]
    if marks.size:
        after = grid[:, None] - marks[None, :]
        most[np.any((after > -WINDOW) & (after < CALM), axis=1)] = 0.0
    found = np.flatnonzero(most > JUMP)
    if not found.size:
        return np.empty((0, 2))
    parts = np.split(found, np.flatnonzero(np.diff(found) > 4) + 1)
    return np.array([(grid[p[0]] - 0.5 * WINDOW, grid[p[-1]] + 0.5 * WINDOW) for p in parts])


def _running_median(t: Array, h: Array, grid: Array) -> Callable[[Array], Array]:
    """Return a height's median over a window, as a function of time."""
    edges = np.arange(t[0], t[-1] + 0.25 * WINDOW, 0.25 * WINDOW)
    first = np.searchsorted(t, edges - 0.25 * WINDOW)
    last = np.maximum(np.searchsorted(t, edges + 0.25 * WINDOW), first + 1)
    middle = np.array([np.median(h[a:b]) for a, b in zip(first, last, strict=True)])
    good = np.isfinite(middle)
    return lambda at: np.interp(at, edges[good], middle[good])


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
    if last - first < LEAST:
        first, last = max(last - LEAST, 0), max(last, LEAST)
    x, y = t[first:last] - at, h[first:last]
    n = len(x)
    if n <= LEAST or np.ptp(x) <= 0.0:
        return float(np.median(y)), noise
    middle = np.median(y)
    kept = np.abs(y - middle) <= 6.0 * noise + np.ptp(y) * 0.5
    x, y = x[kept], y[kept]
    level = np.polyfit(x, y, 1)[1]
    return float(level), float(noise * 2.0 / np.sqrt(len(x)))
