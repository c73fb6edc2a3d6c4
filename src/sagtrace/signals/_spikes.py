"""A few samples that leave a signal which otherwise goes on: spikes, spots of a worn track.

The mean of `width` samples is held against a parabola through `side` samples before and after. It
counts only where these show that the signal goes on straight: their two lines must meet, with one
slope and no more scatter than the noise. So a step, a kink or a shaken body is no spike. What is
left is a test of the largest of many normal deviations: the threshold grows with their number.
Limits: two spikes within `side` samples hide each other unless they are large (`LARGE`).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import special

__all__ = ["largest_expected", "scan", "Spikes"]

Array = NDArray[np.float64]

# [standard deviations] chosen: a cheap sieve, at least and at most, and this much below what the
# largest of so many samples may be; it keeps 97 % of what would be told in the end
SIEVE, SIEVE_MOST, SIEVE_BELOW, SIEVE_ALARM = 2.2, 2.8, 2.4, 5e-3
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


def largest_expected(count: int, false_alarm: float) -> float:
    """Return what the largest of so many normal deviations exceeds this rarely."""
    return float(-special.ndtri(false_alarm / (2.0 * max(count, 1))))


def scan(values: Array, noise: float, *, side: int, width: int = 1, gap: int = 0) -> Spikes:
    """Return the deviations of finite samples from what goes on around them."""
    window = _window(side, width, gap)
    reach = side + gap
    looked = values.size - 2 * reach - width + 1
    if looked < 1 or noise <= 0.0:
        return Spikes(at=np.zeros(0, dtype=np.int64), score=np.zeros(0), looked_at=0)
    middle = _moving_mean(values, width)  # of samples i .. i + width - 1
    beside = values[: -width - 1 - 2 * gap] + values[width + 1 + 2 * gap :]
    off = middle[1 + gap : 1 + gap + beside.size] - 0.5 * beside
    sieve = largest_expected(values.size, SIEVE_ALARM) - SIEVE_BELOW
    limit = min(max(sieve, SIEVE), SIEVE_MOST) * np.sqrt(1.0 / width + 0.5) * noise
    at = np.flatnonzero(np.abs(off, out=off) > limit) + 1 + gap
    at = at[(at >= reach) & (at < reach + looked)].astype(np.int64)
    around = values[at[:, None] + window.offsets] / noise
    here = middle[at] / noise
    score = (here - around @ window.parabola) / window.std
    good = _goes_on(around, window) | _far_outside(here, around, side)
    return Spikes(at=at[good], score=score[good], looked_at=looked)


def _moving_mean(values: Array, width: int) -> Array:
    if width == 1:
        return values
    total = values[: values.size - width + 1].copy()
    for i in range(1, width):
        total += values[i : values.size - width + 1 + i]
    return np.asarray(total / width)


def _goes_on(around: Array, window: _Window) -> NDArray[np.bool_]:
    side = window.slope.size
    left, right = around[:, side - 1 :: -1], around[:, side:]  # both from near to far
    slopes = right @ window.slope + left @ window.slope
    levels = right @ window.level - left @ window.level
    far = np.arange(side) - (side - 1) / 2.0
    square = np.zeros(len(around))
    for part in (left, right):
        line = (part @ window.slope)[:, None] * far
        square += np.sum((part - part.mean(axis=1)[:, None] - line) ** 2, axis=1)
    straight = (np.abs(slopes) < APART * window.slope_std) & (square < window.square)
    return np.asarray(straight & (np.abs(levels) < APART * window.level_std))


def _far_outside(here: Array, around: Array, side: int) -> NDArray[np.bool_]:
    near = around[:, side - NEAR : side + NEAR]
    above, below = here - near.max(axis=1), near.min(axis=1) - here
    return np.asarray(np.maximum(above, below) > LARGE)
