"""A few samples that leave a signal which otherwise goes on: spikes, spots of a worn track.

The mean of `width` samples is held against a parabola through the samples before and after, as
many of them as show that the signal goes on straight: their two lines must meet, with one slope
and no more scatter than the noise. So a step, a kink or a shaken body is no spike. Which window is
taken does not depend on the samples in the middle, so what is left is a test of the largest of many
deviations: the threshold grows with their number. No test can find more of single spikes than the
known shape, place and noise would allow; see docs/recordings.md for that limit.
Limits: two spikes within a window hide each other unless they are large (`LARGE`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import special

__all__ = ["largest_expected", "scan", "Spikes"]

Array = NDArray[np.float64]

# [standard deviations] chosen: a cheap sieve against both neighbours, so much below what is told
# in the end, at least and, of single samples, at most; it keeps 99 % of that
SIEVE_BELOW, SIEVE, SIEVE_MOST = 2.6, 2.2, 2.8
MOST_ROUNDING = 0.6  # [-] chosen: of the noise; where there is hardly any other it is not uniform
ROUNDING_POINTS, HALVINGS = 64, 40  # [-] chosen: far finer than the noise is known
APART = 3.0  # [standard deviations] chosen: of the two sides' slopes, and of their levels
SQUARE_ALARM = 1e-3  # [-] chosen: share of straight sides that scatter too much
LARGE = 9.0  # [standard deviations] chosen: so far outside all near samples needs no straightness
NEAR = 3  # [samples] on each side, for that


@dataclass(frozen=True, slots=True, kw_only=True)
class Spikes:
    """Deviations that passed, in standard deviations, and where they begin."""

    at: NDArray[np.int64]
    score: Array
    looked_at: int  # places that could have been one


@dataclass(frozen=True, slots=True, kw_only=True)
class _Window:
    """Weights and variances for equal independent noise: exact."""

    offsets: NDArray[np.int64]  # of the side samples from the first of the middle
    parabola: Array
    std: float  # of the mean less the parabola
    slope: Array  # weights of a side's line, from near to far
    slope_std: float
    level: Array  # weights of a side's line in the middle
    level_std: float
    square: float  # most that the two sides may scatter


@lru_cache(maxsize=32)
def _window(side: int, width: int, gap: int) -> _Window:
    far = np.arange(1, side + 1) + gap + (width - 1) / 2.0
    x = np.concatenate((-far[::-1], far))
    s2, s4 = float(np.sum(x**2)), float(np.sum(x**4))
    parabola = (s4 - s2 * x**2) / (2 * side * s4 - s2 * s2)
    slope = (far - far.mean()) / np.sum((far - far.mean()) ** 2)
    level = 1.0 / side - far.mean() * slope
    return _Window(
        offsets=np.round(x + (width - 1) / 2.0).astype(np.int64),
        parabola=parabola,
        std=float(np.sqrt(1.0 / width + np.sum(parabola**2))),
        slope=slope,
        slope_std=float(np.sqrt(2.0 * np.sum(slope**2))),
        level=level,
        level_std=float(np.sqrt(2.0 * np.sum(level**2))),
        square=float(special.chdtri(2 * (side - 2), SQUARE_ALARM)),
    )


@lru_cache(maxsize=256)
def largest_expected(count: int, false_alarm: float, rounding: float = 0.0) -> float:
    """Return what the largest of so many deviations exceeds this rarely, in standard deviations.

    `rounding` is the share of the standard deviation that comes from rounding to steps: it is
    uniform, so large deviations are rarer than with normal noise alone.

    >>> print(f"{largest_expected(1000, 0.01):.2f}, {largest_expected(1000, 0.01, 0.4):.2f}")
    4.42, 4.35
    """
    share = false_alarm / (2.0 * max(count, 1))
    high = float(-special.ndtri(share))
    if rounding <= 0.0:
        return high
    part = min(rounding, MOST_ROUNDING)
    reach, spread = part * math.sqrt(3.0), math.sqrt(1.0 - part * part)
    within = reach * (2.0 * (np.arange(ROUNDING_POINTS) + 0.5) / ROUNDING_POINTS - 1.0)
    low = 0.0
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        beyond = float(special.ndtr((within - middle) / spread).mean())
        low, high = (middle, high) if beyond > share else (low, middle)
    return high


def scan(
    values: Array,
    noise: float,
    *,
    sides: Sequence[int],
    limit: float,
    width: int = 1,
    gap: int = 0,
) -> Spikes:
    """Return the deviations of samples from what goes on around them.

    `sides` are the numbers of samples on each side to try, the largest first; what is far below
    `limit` is left out. Samples of nothing between the values are no part of any window.
    """
    looked = max(values.size - 2 * (sides[-1] + gap) - width + 1, 0)
    if looked == 0 or noise <= 0.0:
        return Spikes(at=np.zeros(0, dtype=np.int64), score=np.zeros(0), looked_at=0)
    sieve = max(limit - SIEVE_BELOW, SIEVE)
    if width == 1:  # middling single samples are counted together
        sieve = min(sieve, SIEVE_MOST)
    at = _off(values, width, gap, sieve * math.sqrt(1.0 / width + 0.5) * noise)
    end = values.size - width - gap
    at = at[(at >= sides[-1] + gap) & (at <= end - sides[-1])]
    here = values[at[:, None] + np.arange(width)].mean(axis=1)
    score, settled = np.full(at.size, np.nan), np.zeros(at.size, dtype=np.bool_)
    for side in sides:
        window = _window(side, width, gap)
        open_ = np.flatnonzero(~settled & (at >= side + gap) & (at <= end - side))
        around = (values[at[open_, None] + window.offsets] - here[open_, None]) / noise
        good = _goes_on(around, window)
        if side == sides[-1]:  # what is far outside needs no straightness
            outside = _outside(around, side)
            good |= outside > LARGE
        kept = open_[good]
        score[kept] = around[good] @ window.parabola / -window.std
        settled[kept] = True
    # Beside a gap there is no parabola, but the near samples tell enough.
    blind = np.isnan(score[open_]) & settled[open_]
    score[open_[blind]] = outside[blind]
    return Spikes(at=at[settled], score=score[settled], looked_at=looked)


def _off(values: Array, width: int, gap: int, least: float) -> NDArray[np.int64]:
    """Return where the mean of some samples is off that of the samples beside by more than this."""
    if width <= 2 and gap == 0:  # all steps are taken once, because long recordings come here
        step = np.diff(values)
        off = step[:-width] - step[width:]
        np.abs(off, out=off)
        return np.flatnonzero(off > 2.0 * least) + 1
    middle = np.lib.stride_tricks.sliding_window_view(values, width).mean(axis=1)
    beside = values[: -width - 1 - 2 * gap] + values[width + 1 + 2 * gap :]
    off = middle[1 + gap : 1 + gap + beside.size] - 0.5 * beside
    return np.flatnonzero(np.abs(off) > least) + 1 + gap


def _goes_on(around: Array, window: _Window) -> NDArray[np.bool_]:
    side = window.slope.size
    left, right = around[:, side - 1 :: -1], around[:, side:]  # both from near to far
    spread = 1.0 / float(window.slope @ window.slope)
    slopes, levels, square = np.zeros(len(around)), np.zeros(len(around)), np.zeros(len(around))
    for part, sign in ((left, -1.0), (right, 1.0)):
        slope, mean = part @ window.slope, part.mean(axis=1)
        square += np.einsum("ij,ij->i", part, part) - side * mean**2 - spread * slope**2
        slopes += slope
        levels += sign * (part @ window.level)
    straight = (np.abs(slopes) < APART * window.slope_std) & (square < window.square)
    return np.asarray(straight & (np.abs(levels) < APART * window.level_std))


def _outside(around: Array, side: int) -> Array:
    """Return how far something is above or below all near samples, negative if it is neither."""
    near = around[:, side - NEAR : side + NEAR]
    return np.asarray(np.maximum(-near.max(axis=1), near.min(axis=1)))
