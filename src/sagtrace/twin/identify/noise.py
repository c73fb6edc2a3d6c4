"""What a height may do beside what the model says, as a covariance of the blocks of one shot.

Four parts: noise of the block's mean; a floor for what the sensor's steps hide; a slow wander of
sensor and unmodelled physics; and steps that the whole rest of a shot shares: the error of the
height that it began with, and at each change of command how far a height runs while it is not
known, because a moment is known only to a sample. Steps are not fitted but carried as spread.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cholesky, solve_triangular

from sagtrace.twin.identify.blocks import Blocks
from sagtrace.twin.identify.shots import Anchors

__all__ = ["Noise"]

Array = NDArray[np.float64]

FLOOR = 1e-4  # [m] chosen: of a block, whatever its noise
WANDER = 3e-4  # [m] chosen: in an hour, growing with the root of time
LEAST_SPEED = 1e-3  # [m/s] chosen: a height that air moves runs no slower
TIMING = 0.29  # [-] exact for a moment anywhere between two samples: 1 / sqrt(12)
SWITCH = 2e-4  # [m] chosen: what switching does beside its moment


class Noise:
    """The covariance of one channel's blocks, shot by shot, and what follows from it."""

    def __init__(
        self, blocks: Blocks, begins: Anchors, busy: NDArray[np.bool_], period: float
    ) -> None:
        shot = np.searchsorted(begins.stretch, blocks.stretch, side="right") - 1
        edge = np.flatnonzero(np.diff(shot, prepend=-1) != 0)
        self.parts = [slice(a, b) for a, b in zip(edge, [*edge[1:], len(shot)], strict=True)]
        speed = np.maximum(_speeds(blocks), LEAST_SPEED)
        moved = busy[blocks.stretch]
        self.slow, self.roots = [], []
        for part in self.parts:
            t = blocks.time[part] - blocks.time[part][0]
            steps = np.zeros(len(t))
            steps[0] = begins.std[shot[part][0]] ** 2
            steps += _switching(blocks.stretch[part], moved[part], speed[part], period)
            total = np.cumsum(steps)
            slow = WANDER**2 / 3600.0 * np.minimum.outer(t, t) + np.minimum.outer(total, total)
            own = np.diag(blocks.std[part] ** 2 + FLOOR**2)
            self.slow.append(slow)
            self.roots.append(cholesky(slow + own, lower=True))

    def white(self, difference: Array) -> Array:
        """Return a difference of the blocks in independent standard deviations."""
        out = np.empty(len(difference))
        for part, root in zip(self.parts, self.roots, strict=True):
            out[part] = solve_triangular(root, difference[part], lower=True, check_finite=False)
        return out

    def drift(self, difference: Array) -> Array:
        """Return the part of a difference that wander and steps most likely explain [m]."""
        out, white = np.empty(len(difference)), self.white(difference)
        for part, root, slow in zip(self.parts, self.roots, self.slow, strict=True):
            out[part] = slow @ solve_triangular(root.T, white[part], lower=False)
        return out


def _switching(
    stretch: NDArray[np.int64], moved: NDArray[np.bool_], speed: Array, period: float
) -> Array:
    """Return the variance that comes in with each block of a shot [m^2]."""
    steps = np.zeros(len(stretch))
    edge = np.flatnonzero(np.diff(stretch) != 0) + 1
    edge = edge[moved[edge] | moved[edge - 1]]
    fastest = np.maximum(speed[edge], speed[edge - 1])
    steps[edge] += (fastest * period * TIMING) ** 2 + SWITCH**2
    if moved[0]:  # the beginning of the fill itself
        steps[0] += (speed[0] * period * TIMING) ** 2 + SWITCH**2
    return steps


def _speeds(blocks: Blocks) -> Array:
    """Return for each block how fast the height runs in its stretch [m/s]."""
    first = np.flatnonzero(np.diff(blocks.stretch, prepend=-1) != 0)
    last = np.append(first[1:], len(blocks.time)) - 1
    # With the neighbours, because a stretch may hold no more than a block.
    a, b = np.maximum(first - 1, 0), np.minimum(last + 1, len(blocks.time) - 1)
    took = np.maximum(blocks.time[b] - blocks.time[a], 1e-3)
    speed = np.abs(blocks.height[b] - blocks.height[a]) / took
    return np.asarray(np.repeat(speed, last - first + 1))
