"""A recording in shots: each begins where air starts to move, from the height measured there.

Run in one piece, a replay would add up what the moments of the commands are uncertain by, until its
heights are no longer those of the vehicle. So each fill or vent begins anew at the measured height,
together with the rest that follows it; temperatures go on. A height that jumps at rest (somebody
got in) begins a shot too.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sagtrace.signals.trace import Trace

__all__ = ["Anchors", "anchors"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

BEFORE = 15.0  # [s] chosen: how far back a height is looked at to tell it at a moment
LEAST = 3  # [-] chosen: with fewer samples the nearest ones must do


@dataclass(frozen=True, slots=True, kw_only=True)
class Anchors:
    """The height that one channel shows where each shot begins."""

    stretch: NDArray[np.int64]  # with which stretch each shot begins, the first with 0
    height: Array  # [m]
    std: Array  # [m]


def anchors(trace: Trace, role: str, edges: Array, busy: Flags, noise: float) -> Anchors:
    """Return the anchors of a height channel; `noise` is that of one sample [m]."""
    time = trace.time - trace.time[0]
    seen = np.isfinite(trace.channels[role])
    t, h = time[seen], trace.channels[role][seen]
    begins = np.flatnonzero(busy & ~np.concatenate([[True], busy[:-1]]))
    stretch = np.unique(np.concatenate([[0], begins]))
    rows = [_at(t, h, edges, k, noise) for k in stretch.tolist()]
    height, std = (np.array(column) for column in zip(*rows, strict=True))
    return Anchors(stretch=stretch, height=height, std=std)


def _at(t: Array, h: Array, edges: Array, k: int, noise: float) -> tuple[float, float]:
    """Return the height where a stretch begins, from a line through the rest around it."""
    at = edges[k]
    # The first shot has nothing before it, so its own first seconds tell.
    low, high = (at, min(at + BEFORE, edges[1])) if k == 0 else (max(at - BEFORE, edges[k - 1]), at)
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
