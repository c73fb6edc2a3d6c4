"""Least squares with priors and bounds for a model that is costly to run.

Job: Gauss-Newton steps on `residual(p)` with a Gaussian prior on every parameter and a lower
bound on some. The derivative is taken by differences and kept up to date by Broyden's rank-one rule
as long as it predicts well, because a run of the model is what costs time. Outliers lose weight
as in Huber's M-estimate.
Limits: finds one minimum, the one that the start leads to; the spread is that of the straight
model at the minimum.
Sources: Nocedal and Wright, Numerical Optimization, 2nd ed., ch. 10 and 11; Huber and Ronchetti,
Robust Statistics, 2nd ed., ch. 7 (both from memory).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import lsq_linear

from sagtrace.errors import EvidenceError, InputError

__all__ = ["minimise", "Prior", "Solution"]

Array = NDArray[np.float64]

ROUNDS = 20  # [-] chosen: Gauss-Newton steps
SHORTENED = 8  # [-] chosen: times that a step is cut before it is given up
CUT = 0.4  # [-] chosen
TRUSTED = (0.6, 1.5)  # [-] chosen: actual over predicted gain while the derivative is kept


@dataclass(frozen=True, slots=True, kw_only=True)
class Prior:
    """What is known of the parameters, shape (n,) each; `low` is -inf without a bound."""

    mean: Array
    std: Array
    step: Array  # for the differences
    low: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class Solution:
    """The minimum and the straight model there."""

    parameters: Array
    residual: Array  # observed less model, in standard deviations
    weights: Array  # of the residuals, 1 where no outlier
    slope: Array  # of the model's prediction by the parameters, shape (residuals, n)
    cost: float  # sum of squares, prior included
    runs: int
    settled: bool

    @property
    def misfit(self) -> float:
        """Mean square of the weighted residuals: 1 where model and noise are right."""
        return float(np.mean(self.weights * self.residual**2)) if self.residual.size else 0.0

    def covariance(self, prior: Prior, widen: float = 1.0) -> Array:
        """Return the parameters' covariance, data counted as `widen` times as noisy (variance)."""
        scaled = self.slope * prior.std * np.sqrt(self.weights / widen)[:, None]
        inverse = np.linalg.inv(scaled.T @ scaled + np.eye(len(prior.std)))
        return np.asarray(inverse * np.outer(prior.std, prior.std))


def minimise(
    residual: Callable[[Array], Array],
    prior: Prior,
    start: Array,
    *,
    clip: float = 3.0,
    enough: float = 0.5,
    rounds: int = ROUNDS,
) -> Solution:
    """Return the least squares of residual and prior from this start.

    `residual` gives observed less model in standard deviations and may raise EvidenceError where
    the model cannot be run; the step is then shortened. Stops when a round gains less than
    `enough`.
    """
    if not (len(prior.mean) == len(prior.std) == len(prior.step) == len(prior.low) == len(start)):
        raise InputError("prior and start must have one number for each parameter.")
    model = _Counted(residual)
    p = np.maximum(start, prior.low)
    r = model(p)
    slope, fresh, settled = _differences(model, p, r, prior), True, False
    for _ in range(rounds):
        w = _weights(r, clip)
        step = _step(slope, r, w, p, prior)
        cost = _cost(r, w, p, prior)
        predicted = cost - _cost(r - slope @ step, w, p + step, prior)
        taken = _shortened(model, prior, p, step, w, cost)
        if taken is None:
            if fresh:
                settled = predicted < enough
                break
            slope, fresh = _differences(model, p, r, prior), True
            continue
        share, new_r = taken
        move = share * step
        gain = cost - _cost(new_r, w, p + move, prior)
        # Broyden: the smallest change of the slope that explains what was seen.
        slope = slope + np.outer(r - new_r - slope @ move, move / prior.std**2) / (
            np.sum((move / prior.std) ** 2) + 1e-300
        )
        p, r = p + move, new_r
        if gain < enough and predicted < 10.0 * enough:
            settled = True
            break
        trusted = share == 1.0 and TRUSTED[0] <= gain / max(predicted, 1e-12) <= TRUSTED[1]
        if trusted:
            fresh = False
        else:
            slope, fresh = _differences(model, p, r, prior), True
    w = _weights(r, clip)
    return Solution(
        parameters=p, residual=r, weights=w, slope=_differences(model, p, r, prior),
        cost=_cost(r, w, p, prior), runs=model.runs, settled=settled,
    )  # fmt: skip


class _Counted:
    def __init__(self, residual: Callable[[Array], Array]) -> None:
        self.residual, self.runs = residual, 0

    def __call__(self, p: Array) -> Array:
        self.runs += 1
        return self.residual(p)


def _weights(r: Array, clip: float) -> Array:
    return np.asarray(np.minimum(1.0, clip / np.maximum(np.abs(r), 1e-12)))


def _cost(r: Array, w: Array, p: Array, prior: Prior) -> float:
    return float(np.sum(w * r**2) + np.sum(((p - prior.mean) / prior.std) ** 2))


def _differences(model: _Counted, p: Array, r: Array, prior: Prior) -> Array:
    slope = np.empty((len(r), len(p)))
    for j in range(len(p)):
        there = p.copy()
        there[j] += prior.step[j]
        slope[:, j] = (r - model(there)) / prior.step[j]
    return slope


def _step(slope: Array, r: Array, w: Array, p: Array, prior: Prior) -> Array:
    root = np.sqrt(w)
    left = np.vstack([slope * prior.std * root[:, None], np.eye(len(p))])
    right = np.concatenate([root * r, (prior.mean - p) / prior.std])
    # Squared once, the problem is as small as the number of parameters.
    q, triangle = np.linalg.qr(left)
    found = lsq_linear(
        triangle, q.T @ right, ((prior.low - p) / prior.std, np.full(len(p), np.inf)), method="bvls"
    )
    return np.asarray(found.x * prior.std)


def _shortened(
    model: _Counted, prior: Prior, p: Array, step: Array, w: Array, cost: float
) -> tuple[float, Array] | None:
    share = 1.0
    for _ in range(SHORTENED):
        try:
            r = model(p + share * step)
        except EvidenceError:
            share *= CUT
            continue
        if _cost(r, w, p + share * step, prior) <= cost + 1e-9:
            return share, r
        share *= CUT
    return None
