"""Runs, block means and the noise of a recorded signal, all in one pass over its samples.

Assumes that the noise of neighbouring samples is independent and that the true signal runs nearly
straight over a handful of them. Limits: a signal that the recorder repeats looks quieter than it
is; a stride over several samples guards against that where there are many of them.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

__all__ = ["block_means", "noise_floor", "resolution", "runs", "UNIFORM"]

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

BLOCK = 16  # [samples] chosen: half the blocks may hold an event and the median stays quiet
MOST_BLOCKS = 1500  # [-] chosen: knows a standard deviation to a per cent
STRIDE = 5  # [samples] chosen: a recorder that repeats a slow sensor does so about this often
ENOUGH_FOR_STRIDE = 4000  # [samples] chosen: below it the stride costs more than it guards
# [-] computed: median over mean of the mean square of 16 second differences of white noise
MEDIAN_OF_BLOCK = 0.90
SECOND_DIFFERENCE = 6.0  # [-] exact: variance of x - 2y + z for equal independent noise
UNIFORM = 1.0 / math.sqrt(12.0)  # [-] exact: standard deviation of rounding, in steps
SMALL_STEPS = 0.1  # [-] chosen: a tenth of the levels have their neighbour beside them
SHORT_ROW = 8  # [samples] measured: numpy's mean of shorter rows takes four times as long as sums
SEEN_FOR_STEP = 20_000  # [samples] chosen: the resolution shows in far fewer


def runs(mask: Mask) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return first and last index of every run of true samples.

    >>> [a.tolist() for a in runs(np.array([True, False, True, True]))]
    [[0, 2], [0, 3]]
    """
    edges = np.flatnonzero(mask[1:] != mask[:-1]) + 1
    edges = np.concatenate(([0], edges, [mask.size])).astype(np.int64)
    start = 0 if mask.size and mask[0] else 1
    return edges[:-1][start::2], edges[1:][start::2] - 1


def block_means(values: Array, size: int) -> Array:
    """Return the means of whole blocks of samples; what is left at the end is dropped."""
    if size == 1:
        return values
    whole = values.size // size
    rows = values[: whole * size].reshape(whole, size)
    if size >= SHORT_ROW:
        return np.asarray(rows.mean(axis=1))
    total = rows[:, 0].copy()
    for k in range(1, size):
        total += rows[:, k]
    total /= size
    return total


def resolution(values: Array) -> float:
    """Return the step in which finite samples are recorded, 0.0 if they never change.

    One of the smallest differences between levels, because a quick move skips many of them.
    """
    steps = np.diff(np.sort(values[:: max(1, values.size // SEEN_FOR_STEP)]))
    steps = steps[steps > 0.0]
    return float(np.quantile(steps, SMALL_STEPS)) if steps.size else 0.0


def noise_floor(values: Array, step: float) -> float:
    """Return the noise of finite samples, rounding included, not moved by events or slopes."""
    strides = (1, STRIDE) if values.size >= ENOUGH_FOR_STRIDE else (1,)
    found = max(_noise(values[::stride]) for stride in strides)
    return max(found, step * UNIFORM)


def _noise(values: Array) -> float:
    blocks = values.size // BLOCK
    if blocks == 0:
        return 0.0
    rows = values[: blocks * BLOCK].reshape(blocks, BLOCK)[:: max(1, blocks // MOST_BLOCKS)]
    second = rows[:, 2:] - 2.0 * rows[:, 1:-1] + rows[:, :-2]
    square = np.median(np.mean(second * second, axis=1)) / SECOND_DIFFERENCE
    return math.sqrt(float(square) / MEDIAN_OF_BLOCK)
