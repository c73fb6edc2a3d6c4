"""What a height may do beside what the model says, as a covariance of the blocks of one shot.

Six parts: noise of the block's mean; a floor for what the sensor's steps hide; a slow wander of
sensor and unmodelled physics; what the heat of the fill before still does; a dip where a fill
begins; and steps that the whole rest of a shot shares: the error of the height that it began with,
and at each change of command how far a height runs while it is not known, because a moment is known
only to a sample. Steps are not fitted but carried as spread. The sizes were set by replaying true
vehicles with their true faults: what those leave over is what the noise must describe.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cholesky, solve_triangular

from sagtrace.twin.identify.blocks import Blocks
from sagtrace.twin.identify.shots import Anchors
from sagtrace.twin.plant import C_PUMP

__all__ = ["Noise"]

Array = NDArray[np.float64]

FLOOR = 5e-5  # [m] chosen: of a block, whatever its noise
WANDER = 2e-4  # [m] chosen: in an hour, growing with the root of time
LEAST_SPEED = 1e-3  # [m/s] chosen: a height that air moves runs no slower
TIMING = 0.29  # [-] exact for a moment anywhere between two samples: 1 / sqrt(12)
DIP, DIPS = 1.5e-3, 2.0  # [m], [s] chosen: of a height, while a valve opens to an empty gallery
SWITCH = 2e-4  # [m] chosen: what switching does beside its moment
HEAT_TIME = 60.0  # [s] chosen: in which a spring's air takes on the temperature around it


class Noise:
    """The covariance of one channel's blocks, shot by shot, and what follows from it.

    `table` are the commands of the stretches and `edges` their ends; `gaps` is how far the samples
    lie apart between which each stretch begins [s]; `settling` is how far the heat of a fill moves
    a height by more or less than the model says [m].
    """

    def __init__(
        self,
        blocks: Blocks,
        begins: Anchors,
        table: Array,
        edges: Array,
        gaps: Array,
        settling: float,
    ) -> None:
        shot = np.searchsorted(begins.stretch, blocks.stretch, side="right") - 1
        edge = np.flatnonzero(np.diff(shot, prepend=-1) != 0)
        self.parts = [slice(a, b) for a, b in zip(edge, [*edge[1:], len(shot)], strict=True)]
        speed = np.maximum(_speeds(blocks, table), LEAST_SPEED)
        moved = np.any(table > 0.0, axis=1)[blocks.stretch]
        late = TIMING * gaps[blocks.stretch]
        opening = _opening(blocks, table, edges)
        self.slow, self.roots = [], []
        for part in self.parts:
            t = blocks.time[part] - blocks.time[part][0]
            steps = np.zeros(len(t))
            steps[0] = begins.std[shot[part][0]] ** 2
            steps += _switching(blocks.stretch[part], moved[part], speed[part], late[part])
            total = np.cumsum(steps)
            slow = WANDER**2 / 3600.0 * np.minimum.outer(t, t) + np.minimum.outer(total, total)
            warm = settling * -np.expm1(-t / HEAT_TIME)
            slow += np.outer(warm, warm)
            own = np.diag(blocks.std[part] ** 2 + FLOOR**2 + opening[part])
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


def _opening(blocks: Blocks, table: Array, edges: Array) -> Array:
    """Return the variance of blocks in which a spring dips into an empty gallery [m^2].

    How far and how long depends on volumes that nobody knows, and on the moment.
    """
    pump = table[:, C_PUMP] > 0.0
    opens = pump & ~np.concatenate([[False], pump[:-1]])
    early = blocks.time - edges[blocks.stretch] < DIPS
    return np.asarray(np.where(opens[blocks.stretch] & early, DIP**2, 0.0))


def _switching(
    stretch: NDArray[np.int64], moved: NDArray[np.bool_], speed: Array, late: Array
) -> Array:
    """Return the variance that comes in with each block of a shot [m^2]."""
    steps = np.zeros(len(stretch))
    edge = np.flatnonzero(np.diff(stretch) != 0) + 1
    edge = edge[moved[edge] | moved[edge - 1]]
    fastest = np.maximum(speed[edge], speed[edge - 1])
    steps[edge] += (fastest * late[edge]) ** 2 + SWITCH**2
    if moved[0]:  # the beginning of the fill itself
        steps[0] += (speed[0] * late[0]) ** 2 + SWITCH**2
    return steps


def _speeds(blocks: Blocks, table: Array) -> Array:
    """Return for each block how fast the height runs in its stretch [m/s].

    At least as fast as it usually runs under the same commands, because a short stretch hardly
    shows its speed.
    """
    first = np.flatnonzero(np.diff(blocks.stretch, prepend=-1) != 0)
    last = np.append(first[1:], len(blocks.time)) - 1
    # With the neighbours where a stretch holds no more than a block.
    alone = first == last
    a = np.where(alone, np.maximum(first - 1, 0), first)
    b = np.where(alone, np.minimum(last + 1, len(blocks.time) - 1), last)
    took = np.maximum(blocks.time[b] - blocks.time[a], 1e-3)
    speed = np.abs(blocks.height[b] - blocks.height[a]) / took
    _, kind = np.unique(table[blocks.stretch[first]], axis=0, return_inverse=True)
    kind = kind.ravel()
    for k in range(int(kind.max()) + 1):
        same = kind == k
        shown = same & ~alone
        usual = float(np.median(speed[shown])) if shown.any() else 0.0
        speed[same] = np.maximum(speed[same], usual)
    return np.asarray(np.repeat(speed, last - first + 1))
