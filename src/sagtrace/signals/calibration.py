"""A height signal against a tape: the straight line through points with errors in both.

The line minimises the squares of the distances, each in its own standard deviations (York), by
iteration; with exact abscissas it is weighted least squares. Assumes independent errors. Limits:
two points fix a line and leave nothing to judge it by; the tape's own zero cannot be told from
the sensor's.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sagtrace.errors import DomainError, EvidenceError, InputError
from sagtrace.signals.trace import Trace

__all__ = ["calibrate", "Calibration", "fit_calibration", "Tape"]

Array = NDArray[np.float64]

LEAST_POINTS = 2
ROUNDS = 100  # [-] chosen: the iteration below settles in about ten
SETTLED = 1e-13  # [-] chosen: relative change of the slope at which it has
AROUND = 4.0  # [s] chosen: the signal beside a tape reading is the median of so long before, after
LEAST_STD = 1e-12  # chosen: an exact point would have infinite weight


@dataclass(frozen=True, slots=True, kw_only=True)
class Tape:
    """A height measured by hand at a time of the recording."""

    channel: str
    time: float  # [s]
    height: float  # [m]
    std: float  # [m]


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibration:
    """The line signal = offset + gain (tape - about), with its spread."""

    offset: float  # signal at `about`, in the signal's unit
    offset_std: float
    gain: float
    gain_std: float
    correlation: float  # of offset and gain
    about: float
    scatter: float  # of the points in their own standard deviations; 1 is usual, 0 with two points
    n: int

    def at(self, x: float) -> tuple[float, float]:
        """Return the line's value at this abscissa and its standard deviation."""
        u = x - self.about
        variance = self.offset_std**2 + (u * self.gain_std) ** 2
        variance += 2.0 * u * self.correlation * self.offset_std * self.gain_std
        return self.offset + self.gain * u, math.sqrt(max(variance, 0.0))


def fit_calibration(
    x: ArrayLike,
    y: ArrayLike,
    *,
    x_std: ArrayLike,
    y_std: ArrayLike | None,
    about: float = 0.0,
) -> Calibration:
    """Return the line through points with known errors in both coordinates.

    Without `y_std` the errors of y are equal and unknown: the scatter around the line gives them,
    which takes three points and exact x.

    Raises InputError for shapes that differ or too few points, DomainError for points at one
    place, EvidenceError if the iteration does not settle.

    Sources: York, Evensen, Martinez and Delgado, Am. J. Phys. 72 (2004) 367, equations 13;
    JCGM 100:2008, H.3, for unknown errors.

    >>> line = fit_calibration([0.0, 1.0, 2.0], [1.0, 3.0, 5.0], x_std=0.0, y_std=0.1)
    >>> print(f"{line.offset:.2f} {line.gain:.2f} {line.correlation:.2f}")
    1.00 2.00 -0.77
    """
    a, b, sx, sy = _points(x, y, x_std, y_std)
    if np.ptp(a) <= 0.0:
        hint = "Measure at two heights."
        raise DomainError("spread of the heights", 0.0, "m", "above zero", hint)
    if y_std is None and (a.size < LEAST_POINTS + 1 or np.any(sx > 0.0)):
        raise InputError("unknown errors take three points, and exact heights.")
    slope, weights, beta = _york(a - about, b, sx, sy)
    u = a - about
    mean_u, mean_b = weights @ u / weights.sum(), weights @ b / weights.sum()
    offset = float(mean_b - slope * mean_u)
    adjusted = mean_u + beta
    centre = float(weights @ adjusted / weights.sum())
    gain_std = 1.0 / math.sqrt(float(weights @ (adjusted - centre) ** 2))
    offset_std = math.sqrt(1.0 / float(weights.sum()) + (centre * gain_std) ** 2)
    square = float(weights @ (b - offset - slope * u) ** 2)
    freedom = a.size - LEAST_POINTS
    scatter = math.sqrt(square / freedom) if freedom else 0.0
    scale = scatter if y_std is None else 1.0
    return Calibration(
        offset=offset,
        offset_std=scale * offset_std,
        gain=slope,
        gain_std=scale * gain_std,
        correlation=-centre * gain_std / offset_std,
        about=about,
        scatter=scatter,
        n=int(a.size),
    )


def _points(
    x: ArrayLike, y: ArrayLike, x_std: ArrayLike, y_std: ArrayLike | None
) -> tuple[Array, Array, Array, Array]:
    a, b = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    if a.ndim != 1 or a.shape != b.shape or a.size < LEAST_POINTS:
        raise InputError(f"{a.size} heights and {b.size} signals; a line needs two of each.")
    sx = np.broadcast_to(np.asarray(x_std, dtype=np.float64), a.shape)
    sy = np.broadcast_to(np.asarray(1.0 if y_std is None else y_std, dtype=np.float64), a.shape)
    if not (np.all(np.isfinite(a + b + sx + sy)) and np.all(sx >= 0.0) and np.all(sy >= 0.0)):
        raise InputError("heights, signals and their spreads must be finite, spreads not negative.")
    return a, b, sx, np.maximum(sy, LEAST_STD)


def _york(x: Array, y: Array, sx: Array, sy: Array) -> tuple[float, Array, Array]:
    """Return slope, weights and the points' places beside the mean, by York's iteration."""
    centred = x - x.mean()
    slope = float(centred @ y / (centred @ centred))
    for _ in range(ROUNDS):
        weights = 1.0 / (sy**2 + (slope * sx) ** 2)
        u = x - weights @ x / weights.sum()
        v = y - weights @ y / weights.sum()
        beta = weights * (u * sy**2 + slope * v * sx**2)
        new = float((weights * beta) @ v / ((weights * beta) @ u))
        done = abs(new - slope) <= SETTLED * abs(new)
        slope = new
        if done:
            return slope, weights, beta
    raise EvidenceError("the line through signal and tape does not settle; check the heights.")


def calibrate(trace: Trace, channel: str, tapes: Sequence[Tape]) -> Calibration | None:
    """Return the line of a channel against its tape heights; None with fewer than two of use.

    The line is told about the tapes' mean, where offset and gain hardly hang together.
    """
    points = []
    for tape in tapes:
        if tape.channel != channel:
            continue
        near = np.abs(trace.time - tape.time) <= AROUND
        seen = trace.channels[channel][near]
        seen = seen[np.isfinite(seen)]
        if seen.size:
            spread = float(np.std(seen)) / math.sqrt(seen.size) if seen.size > 1 else 0.0
            points.append((tape.height, tape.std, float(np.median(seen)), spread))
    if len(points) < LEAST_POINTS or np.ptp([p[0] for p in points]) <= 0.0:
        return None
    x, sx, y, sy = np.array(points).T
    return fit_calibration(x, y, x_std=sx, y_std=sy, about=float(x.mean()))
