"""A number with its spread, and how spread passes through a formula.

Assumes that a formula is nearly straight over the spread of its inputs (GUM,
first order). Where it is not, because an input is barely known or a result sits
at a limit, sample instead.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from statistics import NormalDist
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from sagtrace.errors import DomainError, InputError
from sagtrace.physics._checks import Array, finite, flat, not_below_zero

__all__ = [
    "Caveat",
    "covariance_from_correlation",
    "Estimate",
    "propagate",
    "propagate_vector",
]

STEP_IN_STD: Final = 0.01  # [-] chosen: small beside the spread, large beside rounding
RELATIVE_STEP: Final = float(np.cbrt(np.finfo(np.float64).eps))  # [-] best for central differences
ASYMMETRY: Final = 1e-9  # [-] chosen: rounding allowed in a covariance matrix, relative


@dataclass(frozen=True, slots=True, kw_only=True)
class Caveat:
    """A reason to trust a number less, carried with it to the paper."""

    code: str  # e.g. "no-end-temperature"
    text: str  # a sentence for the technician


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """A value with one standard deviation, its SI unit and its caveats."""

    value: float
    std: float  # same unit; zero only where a result cannot move
    unit: str  # SI symbol, e.g. "mol/s"
    caveats: tuple[Caveat, ...] = ()

    def __post_init__(self) -> None:
        if not math.isfinite(self.value):
            hint = "Leave the estimate out instead."
            raise DomainError("value", self.value, self.unit, "finite", hint)
        if not (math.isfinite(self.std) and self.std >= 0.0):
            raise DomainError("std", self.std, self.unit, "finite and zero or above")

    def interval(self, coverage: float = 0.95) -> tuple[float, float]:
        """Return the central normal interval that holds the value with this probability.

        >>> low, high = Estimate(value=10.0, std=1.0, unit="Pa").interval()
        >>> print(f"{low:.2f} to {high:.2f}")
        8.04 to 11.96
        """
        if not 0.0 < coverage < 1.0:
            raise DomainError(
                "coverage", coverage, "", "between 0 and 1", "Per cent? Divide by 100."
            )
        reach = NormalDist().inv_cdf(0.5 + coverage / 2.0) * self.std
        return self.value - reach, self.value + reach

    def with_caveats(self, *caveats: Caveat) -> Estimate:
        """Return the same estimate with these caveats after its own, none of them twice."""
        return replace(self, caveats=tuple(dict.fromkeys(self.caveats + caveats)))


def covariance_from_correlation(stds: ArrayLike, correlation: ArrayLike) -> Array:
    """Return the covariance matrix of quantities with known spreads and correlations.

    Parameters
    ----------
    stds : array_like, shape (n,)
        Standard deviations, zero or above [each in its own unit]
    correlation : array_like, shape (n, n)
        Correlation matrix [-]

    Returns
    -------
    covariance : ndarray, shape (n, n)
        Covariance matrix [products of the units]

    Raises
    ------
    DomainError
        A standard deviation is negative.
    InputError
        The shapes do not fit.

    Notes
    -----
    NaN in gives NaN out.

    Sources
    -------
    JCGM 100:2008, 5.2.2.

    Examples
    --------
    >>> covariance_from_correlation([1.0, 2.0], [[1.0, 0.5], [0.5, 1.0]]).tolist()
    [[1.0, 1.0], [1.0, 4.0]]

    """
    std, r = not_below_zero("stds", stds, ""), finite("correlation", correlation, "")
    if std.ndim != 1 or r.shape != (std.size, std.size):
        text = f"{std.shape} standard deviations do not fit a correlation of shape {r.shape}."
        raise InputError(text)
    return flat(np.outer(std, std) * r)


def propagate(
    function: Callable[[Array], ArrayLike], values: ArrayLike, covariance: ArrayLike
) -> tuple[float, float]:
    """Return a formula's result with its standard deviation: u^2 = J U J^T.

    Parameters
    ----------
    function : callable
        Takes a vector of shape (n,) and returns one number [the formula's units]
    values : array_like, shape (n,)
        Inputs [each in its own unit]
    covariance : array_like, shape (n, n) or (n,)
        Their covariance matrix, or their variances if independent [products of the units]

    Returns
    -------
    value : float
        Result at the inputs [the formula's unit]
    std : float
        Its standard deviation [the formula's unit]

    Raises
    ------
    DomainError
        A number is infinite or a variance is negative.
    InputError
        The shapes do not fit, the covariance is no covariance, or the result
        is not one number.

    Notes
    -----
    The Jacobian comes from central differences; an input whose variance is
    zero is not moved. NaN in gives NaN out.

    Sources
    -------
    JCGM 100:2008, equation 13.

    Examples
    --------
    >>> value, std = propagate(lambda x: x[0] * x[1], [2.0, 3.0], [0.01, 0.04])
    >>> print(f"{value:.1f} +- {std:.1f}")
    6.0 +- 0.5

    """
    out, out_covariance = propagate_vector(function, values, covariance)
    if out.size != 1:
        raise InputError(f"The formula gave {out.size} numbers; use propagate_vector.")
    # Rounding can leave a variance a hair below zero; NaN stays NaN.
    return float(out.item()), math.sqrt(max(out_covariance.item(), 0.0))


def propagate_vector(
    function: Callable[[Array], ArrayLike], values: ArrayLike, covariance: ArrayLike
) -> tuple[Array, Array]:
    """Return a formula's results with their covariance matrix: J U J^T.

    Parameters
    ----------
    function : callable
        Takes a vector of shape (n,) and returns shape (m,) or one number [the formula's units]
    values : array_like, shape (n,)
        Inputs [each in its own unit]
    covariance : array_like, shape (n, n) or (n,)
        Their covariance matrix, or their variances if independent [products of the units]

    Returns
    -------
    results : ndarray, shape (m,)
        Results at the inputs [the formula's units]
    covariance : ndarray, shape (m, m)
        Their covariance matrix [products of the units]

    Raises
    ------
    DomainError
        A number is infinite or a variance is negative.
    InputError
        The shapes do not fit, or the covariance is no covariance.

    Notes
    -----
    The Jacobian comes from central differences; an input whose variance is
    zero is not moved. NaN in gives NaN out.

    Sources
    -------
    JCGM 100:2008, equation 13, as a matrix product.

    Examples
    --------
    >>> _, cov = propagate_vector(lambda x: [x[0] + x[1], x[0] - x[1]], [1.0, 1.0], [4.0, 1.0])
    >>> cov.round(6).tolist()
    [[5.0, 3.0], [3.0, 5.0]]

    """
    x = finite("values", values, "")
    if x.ndim != 1:
        raise InputError(f"values has shape {x.shape}; expected one row of numbers.")
    u = _checked_covariance(covariance, x.size)
    results = np.atleast_1d(np.asarray(function(x.copy()), dtype=np.float64))
    jacobian = _jacobian(function, x, np.sqrt(np.diag(u)), results.size)
    out = jacobian @ u @ jacobian.T
    return flat(results), flat(0.5 * (out + out.T))


def _checked_covariance(covariance: ArrayLike, size: int) -> Array:
    """Return the full covariance matrix, refusing one that cannot be."""
    u = finite("covariance", covariance, "")
    if u.ndim == 1:
        u = np.diag(u)
    if u.shape != (size, size):
        raise InputError(f"covariance has shape {u.shape}; {size} values need ({size}, {size}).")
    not_below_zero("variance", np.diag(u), "", "Standard deviations? Square them.")
    if np.isnan(u).any():
        return u
    # Scaled to correlations, because the inputs' units may differ by many powers of ten.
    std = np.sqrt(np.diag(u))
    scale = np.outer(std, std)
    if np.any(np.abs(u - u.T) > ASYMMETRY * np.maximum(scale, np.abs(u))):
        raise InputError("covariance is not symmetric.")
    correlation = np.divide(u, scale, out=np.zeros_like(u), where=scale > 0.0)
    impossible = bool(np.any((scale == 0.0) & (u != 0.0)))
    if impossible or np.linalg.eigvalsh(correlation).min(initial=0.0) < -ASYMMETRY * size:
        text = "covariance is not possible: some combination would have a negative variance."
        raise InputError(text)
    return u


def _jacobian(function: Callable[[Array], ArrayLike], x: Array, std: Array, out_size: int) -> Array:
    """Return d(function)/dx by central differences, zero where an input has no spread."""
    jacobian = np.zeros((out_size, x.size))
    for i in range(x.size):
        if std[i] == 0.0:
            continue
        step = np.zeros_like(x)
        step[i] = np.fmax(STEP_IN_STD * std[i], RELATIVE_STEP * abs(x[i]))
        up, down = x + step, x - step
        rise = np.atleast_1d(np.asarray(function(up), dtype=np.float64)) - np.atleast_1d(
            np.asarray(function(down), dtype=np.float64)
        )
        jacobian[:, i] = rise / (up[i] - down[i])
    return jacobian
