"""What a height may do beside what the model says, as a covariance of its blocks.

Four parts: noise of the block's mean; a floor for what the sensor's steps hide; a slow wander of
sensor and unmodelled physics; and a step at each change of command, because its moment is known
only to a sample, or where a load came or went. A step's size is not fitted but carried as spread:
what was measured within a hold and within a fill counts, and their sums count as far as
they can be trusted.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cholesky, solve_triangular

from sagtrace.twin.identify.blocks import Blocks

__all__ = ["Noise"]

Array = NDArray[np.float64]

FLOOR = 1e-4  # [m] chosen: of a block, whatever its noise
WANDER = 3e-4  # [m] chosen: in an hour, growing with the root of time
USUAL_SPEED = 3e-3  # [m/s] chosen: how fast a height runs while air moves
TIMING = 0.29  # [-] exact for a moment anywhere between two samples: 1 / sqrt(12)
SWITCH = 2e-4  # [m] chosen: what switching does beside its moment
JUMP, JUMP_STD = 3e-3, 0.03  # [m] chosen: a step at rest that must be a load, and how big it may be
NOISES = 6.0  # [-] chosen: so many standard deviations of the blocks on top


class Noise:
    """The covariance of one channel's blocks, and what follows from it."""

    def __init__(self, blocks: Blocks, busy: NDArray[np.bool_], period: float) -> None:
        self.blocks = blocks
        t, n = blocks.time - blocks.time[0], len(blocks.time)
        own = blocks.std**2 + FLOOR**2
        slow = WANDER**2 / 3600.0 * np.minimum.outer(t, t)
        steps = np.zeros(n)
        moved = busy[blocks.stretch]
        edge = np.flatnonzero(np.diff(blocks.stretch) != 0) + 1
        switched = edge[moved[edge] | moved[edge - 1]]
        steps[switched] += (USUAL_SPEED * period * TIMING) ** 2 + SWITCH**2
        self.jumps = self._jumps(blocks, moved)
        steps[self.jumps] += JUMP_STD**2
        slow += np.minimum.outer(total := np.cumsum(steps), total)
        self.slow = slow
        self.root = cholesky(slow + np.diag(own), lower=True)

    @staticmethod
    def _jumps(blocks: Blocks, moved: NDArray[np.bool_]) -> NDArray[np.int64]:
        step = np.abs(np.diff(blocks.height))
        limit = JUMP + NOISES * (blocks.std[1:] + blocks.std[:-1])
        at: NDArray[np.int64] = np.flatnonzero((step > limit) & ~moved[1:] & ~moved[:-1]) + 1
        return at

    def white(self, difference: Array) -> Array:
        """Return a difference of the blocks in independent standard deviations."""
        return np.asarray(solve_triangular(self.root, difference, lower=True))

    def drift(self, difference: Array) -> Array:
        """Return the part of a difference that wander and steps most likely explain [m]."""
        inner = solve_triangular(self.root.T, self.white(difference), lower=False)
        return np.asarray(self.slow @ inner)
