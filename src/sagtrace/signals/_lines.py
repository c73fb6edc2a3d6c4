"""Straight lines through noisy samples, and the mean of several of them.

A slope is robust (the median of all slopes between two points) and its standard error allows for
noise that drifts. Limits: noise that drifts over longer times than the samples last cannot be
seen in them; compare stretches for that (`pool`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sagtrace.errors import InputError

__all__ = ["draw", "Drawn", "LEAST_SAMPLES", "Line", "median_step", "pool", "Pooled", "slope"]

Array = NDArray[np.float64]

LEAST_SAMPLES = 5  # [-] chosen: fewer give a line but no spread worth the name
MAX_POINTS = 400  # [-] chosen: more are averaged in blocks; all pairs of 400 take a millisecond
FEW_STEPS = 3  # [-] chosen: a signal on so few steps may hide a slope between them
MAD_TO_STD = 1.482602218505602  # [-] exact for normal noise: 1 / quantile of 3/4
EFFICIENCY = 3.0 / math.pi  # [-] exact for normal noise: of this slope beside least squares
MAX_CORRELATION = 0.99  # [-] chosen: beyond it the episode is one long wave
CLIP = 3.0  # [standard deviations] chosen: one outlier must not set the correlation
LEAST_STD = 1e-12  # [unit/s] chosen: keeps a noiseless line finite as a weight; below any sensor


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A straight line through samples: its slope with one standard error, and its height."""

    slope: float  # [unit/s]
    std: float  # [unit/s]
    n: int  # samples used
    missing: int  # samples that were NaN
    centre: float  # [s]
    level: float  # [unit] at the centre
    scatter: float  # [unit] robust standard deviation around the line

    def at(self, time: float) -> float:
        """Return the line's value at this time."""
        return self.level + self.slope * (time - self.centre)


@dataclass(frozen=True, slots=True, kw_only=True)
class Pooled:
    """The weighted mean of several values, widened where they disagree."""

    value: float
    std: float
    birge: float  # disagreement over what the spreads allow; 1 is usual
    weights: tuple[float, ...]  # of the values, together 1


def median_step(values: ArrayLike) -> float:
    """Return the usual smallest step of a recorded signal, 0.0 if it never changes."""
    levels = np.unique(np.asarray(values, dtype=np.float64))  # sorted; a NaN comes last
    steps = np.diff(levels[np.isfinite(levels)])
    return float(np.median(steps)) if steps.size else 0.0


def slope(
    time: ArrayLike, values: ArrayLike, *, step: float = 0.0, least_scatter: float = 0.0
) -> Line:
    """Return the line through samples, by the median of all slopes between two of them.

    The samples stand in the order of their time. `step` is the resolution of the signal: one
    that stays on a few steps hides a slope, and the standard error says so. `least_scatter` is
    the noise known from elsewhere, because a dozen samples may look quieter than they are. NaN
    samples are left out and counted. More than `MAX_POINTS` are averaged in blocks first.

    The standard error is that of least squares, over the estimator's efficiency, with the
    scatter from the median absolute deviation and the number of samples reduced for their
    lag-1 correlation r: n (1 - r)/(1 + r). As r from the residuals of a line comes out too
    small by about (2 + 4 r)/n, that is put back.

    Raises InputError for fewer than `LEAST_SAMPLES` samples or shapes that differ.

    >>> line = slope(range(6), [10, 9, 8, 7, 20, 5])
    >>> print(f"{line.slope:.1f}")
    -1.0
    """
    return draw(time, values).line(step=step, least_scatter=least_scatter)


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """A line through samples before its standard error, which may need to know other lines."""

    slope: float
    centre: float
    level: float
    scatter: float
    n: int
    missing: int
    span: float  # [s]
    few_steps: bool
    from_centre: Array  # [s] of at most `MAX_POINTS`
    rest: Array  # [unit] of these off the line

    def line(self, *, step: float, least_scatter: float) -> Line:
        """Return the line; see `slope`."""
        floor = least_scatter / math.sqrt(self.n / self.rest.size)  # averaging quietens a block
        std = _standard_error(self.from_centre, self.rest, floor)
        if self.few_steps:
            # Anything within one step from end to end looks the same: a uniform bound.
            std = max(std, step / self.span / math.sqrt(3.0))
        return Line(
            slope=self.slope,
            std=std,
            n=self.n,
            missing=self.missing,
            centre=self.centre,
            level=self.level,
            scatter=self.scatter,
        )


def draw(time: ArrayLike, values: ArrayLike) -> Drawn:
    """Return the line through samples; see `slope`."""
    t, y = np.asarray(time, dtype=np.float64), np.asarray(values, dtype=np.float64)
    if t.ndim != 1 or t.shape != y.shape:
        raise InputError(f"a time of shape {t.shape} does not fit values of shape {y.shape}.")
    kept = np.isfinite(t) & np.isfinite(y)
    n = int(np.count_nonzero(kept))
    if n < LEAST_SAMPLES or np.ptp(t[kept]) <= 0.0:
        raise InputError(f"a line needs {LEAST_SAMPLES} samples at different times; there are {n}.")
    if n < kept.size:
        t, y = t[kept], y[kept]
    points_t, points_y = _blocks(t), _blocks(y)
    rate = _median_slope(points_t, points_y)
    centre = float(points_t.mean())
    level = float(np.median(points_y - rate * (points_t - centre)))
    return Drawn(
        slope=rate,
        centre=centre,
        level=level,
        scatter=_scatter(y - level - rate * (t - centre)),
        n=n,
        missing=int(kept.size - n),
        span=float(np.ptp(t)),
        few_steps=np.unique(y).size <= FEW_STEPS,
        from_centre=points_t - centre,
        rest=points_y - level - rate * (points_t - centre),
    )


@lru_cache(maxsize=4)
def _pairs(count: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    first, second = np.triu_indices(count, 1)
    return first, second


def _median_slope(t: Array, y: Array) -> float:
    """Return the median of all slopes between two points at different times."""
    first, second = _pairs(t.size)
    run, rise = t[second] - t[first], y[second] - y[first]
    apart = run != 0.0
    if not apart.all():
        run, rise = run[apart], rise[apart]
    return float(np.median(rise / run))


def _blocks(values: Array) -> Array:
    if values.size <= MAX_POINTS:
        return values
    return np.array([block.mean() for block in np.array_split(values, MAX_POINTS)])


def _scatter(rest: Array) -> float:
    """Return the standard deviation around a line of two parameters, not moved by outliers."""
    mad = float(np.median(np.abs(rest - np.median(rest))))
    return MAD_TO_STD * mad * math.sqrt(rest.size / (rest.size - 2))


def _standard_error(from_centre: Array, rest: Array, floor: float) -> float:
    scatter = max(_scatter(rest), floor)
    if scatter == 0.0:
        return 0.0
    e = np.clip(rest, -CLIP * scatter, CLIP * scatter)
    square = float(e @ e)
    r = float(e[1:] @ e[:-1]) / square if square else 0.0
    r += (2.0 + 4.0 * r) / rest.size
    r = min(max(r, 0.0), MAX_CORRELATION)
    spread = float(np.sum(from_centre**2))
    return scatter * math.sqrt((1.0 + r) / (1.0 - r) / (EFFICIENCY * spread))


def pool(values: ArrayLike, stds: ArrayLike) -> Pooled:
    """Return the mean with weights 1/std^2; its spread grows by the Birge ratio if that is above 1.

    The Birge ratio is the square root of chi-squared over its degrees of freedom. One value
    alone cannot disagree and keeps its spread.

    Raises InputError if there is nothing to pool.

    >>> both = pool([1.0, 3.0], [1.0, 1.0])
    >>> print(f"{both.value:.1f}, {both.std:.3f}, {both.birge:.3f}")
    2.0, 1.000, 1.414
    """
    x, u = np.asarray(values, dtype=np.float64), np.asarray(stds, dtype=np.float64)
    if x.size == 0 or x.shape != u.shape:
        raise InputError(f"{x.size} values and {u.size} spreads cannot be pooled.")
    u = np.maximum(u, LEAST_STD)
    w = (1.0 / u**2) / np.sum(1.0 / u**2)
    mean = float(w @ x)
    std = 1.0 / math.sqrt(float(np.sum(1.0 / u**2)))
    freedom = x.size - 1
    birge = math.sqrt(float(np.sum(((x - mean) / u) ** 2)) / freedom) if freedom else 1.0
    return Pooled(value=mean, std=std * max(1.0, birge), birge=birge, weights=tuple(w.tolist()))
