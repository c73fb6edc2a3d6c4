"""A recording cut into what a fit can use: commands in stretches, heights in short means.

Between two changes of command a height runs smoothly, so its samples are averaged over blocks: a
second while air moves and just after, longer at rest. Outliers are left out of a block. A change
of command is known only to lie between two samples; what that costs is carried as a random step
(`steps`), and so is a load that came or went.
Limits: the spread within a block is taken for white noise; what is not shows as misfit.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sagtrace.signals.episodes import median_step
from sagtrace.signals.trace import Trace

__all__ = ["Blocks", "cut"]

Array = NDArray[np.float64]

SHORT = 1.0  # [s] chosen: a block while air moves
LIVELY = 40.0  # [s] chosen: after a change heat still flows
MOST = 500  # [-] chosen: blocks of one channel; more cost time and tell no more
CLIP = 4.0  # [robust standard deviations] chosen: beyond it a sample is an outlier
MAD_TO_STD = 1.482602218505602  # [-] exact for normal noise
ROUNDED = 0.15  # [-] chosen: of a signal's step, what averaging cannot undo


@dataclass(frozen=True, slots=True, kw_only=True)
class Blocks:
    """Means of one height channel: shape (blocks,) each."""

    role: str
    time: Array  # [s] from the recording's start
    height: Array  # [m]
    std: Array  # [m] of the mean, noise alone
    stretch: NDArray[np.int64]  # in which stretch of commands
    noise: float  # [m] robust standard deviation of one sample
    dropped: int  # samples left out as outliers

    def before(self, end: float) -> Blocks:
        """Return the blocks before a time [s]."""
        kept = self.time < end
        return replace(
            self, time=self.time[kept], height=self.height[kept], std=self.std[kept],
            stretch=self.stretch[kept],
        )  # fmt: skip

    def without(self, stretches: NDArray[np.int64]) -> Blocks:
        """Return the blocks outside these stretches."""
        kept = ~np.isin(self.stretch, stretches)
        return replace(
            self, time=self.time[kept], height=self.height[kept], std=self.std[kept],
            stretch=self.stretch[kept],
        )  # fmt: skip

    def reaches(self, lowest: float) -> float:
        """Return when the height first falls to this [m]; infinite if it never does."""
        low = np.flatnonzero(self.height <= lowest)
        return float(self.time[low[0]]) if low.size else math.inf


def cut(trace: Trace, role: str, edges: Array, busy: NDArray[np.bool_]) -> Blocks:
    """Return the blocks of a height channel; `busy` marks the stretches in which air moves."""
    time = trace.time - trace.time[0]
    seen = np.isfinite(trace.channels[role])
    t, h = time[seen], trace.channels[role][seen]
    stretch = np.clip(np.searchsorted(edges, t, side="right") - 1, 0, len(edges) - 2)
    since = t - edges[stretch]
    quiet = max(SHORT, 4.0 * float(t[-1] - t[0]) / MOST)
    lively = busy[stretch] | (since < LIVELY)
    step = np.diff(t, append=t[-1])
    brisk = max(SHORT, 2.0 * float(np.sum(step[lively])) / MOST)
    length = np.where(lively, brisk, quiet)
    # A fill of any length keeps a slope.
    quarter = np.maximum(np.diff(edges)[stretch] / 4.0, float(np.median(step)))
    length = np.where(busy[stretch], np.minimum(length, quarter), length)
    label = np.floor(since / length)
    new = np.r_[True, (np.diff(stretch) != 0) | (np.diff(label) != 0) | (np.diff(lively) != 0)]
    block = np.cumsum(new) - 1
    n = int(block[-1]) + 1
    noise = _noise(h, new)
    middle = _medians(h, block, n)
    kept = np.abs(h - middle[block]) <= CLIP * noise + 1e-12
    # While air moves a block holds a slope, and its ends are no outliers.
    kept |= busy[stretch]
    count = np.bincount(block, kept, n)
    good = count > 0
    total = np.maximum(count, 1.0)
    mean = np.bincount(block, kept * h, n) / total
    centre = np.bincount(block, kept * t, n) / total
    first = np.flatnonzero(new)
    std = np.sqrt(noise**2 / total + (ROUNDED * median_step(h)) ** 2)
    return Blocks(
        role=role, time=centre[good], height=mean[good], std=std[good],
        stretch=stretch[first][good], noise=noise, dropped=int(np.count_nonzero(~kept)),
    )  # fmt: skip


def _noise(h: Array, new: NDArray[np.bool_]) -> float:
    """Return the robust standard deviation of a sample from second differences within blocks."""
    bend = h[2:] - 2.0 * h[1:-1] + h[:-2]
    inside = bend[~(new[2:] | new[1:-1])] if len(h) > 2 else bend
    if inside.size < 8:
        inside = bend
    if not inside.size:
        return 1e-3
    spread = float(np.sqrt(np.mean(np.minimum(inside**2, (CLIP * _mad(inside) + 1e-9) ** 2))))
    return max(spread / math.sqrt(6.0), 0.29 * median_step(h), 1e-6)


def _mad(values: Array) -> float:
    mad = float(np.median(np.abs(values - np.median(values)))) * MAD_TO_STD
    return mad if mad > 0.0 else float(np.std(values))


def _medians(h: Array, block: NDArray[np.int64], n: int) -> Array:
    """Return the median of each block; samples lie in their blocks' order."""
    order = np.lexsort((h, block))
    counts = np.bincount(block, minlength=n)
    start = np.concatenate([[0], np.cumsum(counts)[:-1]])
    low, high = start + (counts - 1) // 2, start + counts // 2
    sorted_h = h[order]
    middle: Array = 0.5 * (sorted_h[low] + sorted_h[high])
    return middle
