"""How well a measured number fits each state of a node.

The state says how its quantity is spread; the measurement adds its own error. With a small
chance the number is simply wrong (misread, wrong point); then it says nothing, which is the
mixture of all states. Nothing here is a threshold.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from sagtrace.errors import DomainError
from sagtrace.vehicle.nodes import Quantity, Spread

__all__ = [
    "at_least_likelihoods",
    "fit_of_best_state",
    "reads_like",
    "state_densities",
    "state_likelihoods",
]

Array = NDArray[np.float64]

_POINTS = 160  # chosen: midpoint rule; with 320 points no density moves by a millionth
_REACH = 8.0  # chosen: standard deviations, of state or measurement, beyond which nothing is added
_MIDS = (np.arange(_POINTS) + 0.5) / _POINTS
_ROOT_TAU = math.sqrt(2.0 * math.pi)


def _score(spread: Spread, value: Array) -> Array:
    """Return how many deviations of a lognormal state the value lies from its centre."""
    with np.errstate(divide="ignore"):  # log of zero is where the distribution starts
        return np.asarray(np.log(np.maximum(value, 0.0) / spread.centre) / math.log(spread.width))


def _value(spread: Spread, score: Array) -> Array:
    if spread.shape == "normal":
        return spread.centre + spread.width * score
    return np.asarray(spread.centre * np.exp(math.log(spread.width) * score))


def _bell(z: Array) -> Array:
    return np.exp(-0.5 * z * z) / _ROOT_TAU


def _window(spread: Spread, value: Array, std: Array) -> tuple[Array, Array]:
    """Return the scores of a lognormal state between which the measurement tells anything."""
    low, high = _score(spread, value - _REACH * std), _score(spread, value + _REACH * std)
    return np.clip(low, -_REACH, _REACH), np.clip(high, -_REACH, _REACH)


def _density(spread: Spread, value: Array, std: Array) -> Array:
    """Return the density of readings: the state's spread blurred by the measurement."""
    if spread.shape == "normal":
        both = np.hypot(spread.width, std)
        return _bell((value - spread.centre) / both) / both
    # Over the score, because there state and measurement are both smooth: the window is at most
    # some tens of the narrower one wide, so the rule is exact for a sharp reading and a dull one.
    low, high = _window(spread, value, std)
    z = low[..., None] + (high - low)[..., None] * _MIDS
    apart = (value[..., None] - _value(spread, z)) / std[..., None]
    return np.asarray((high - low) * np.mean(_bell(z) * _bell(apart), axis=-1) / std)


def state_densities(quantity: Quantity, value: ArrayLike, std: ArrayLike) -> Array:
    """Return the density of readings in each state.

    `value` and `std` share shape S; the result has shape (states, S), in the order of
    `quantity.states`. Raises DomainError if a `std` is not above zero.
    """
    x, u = np.asarray(value, dtype=np.float64), np.asarray(std, dtype=np.float64)
    if not np.all(u > 0.0):
        raise DomainError(
            "std", float(u.min()), quantity.unit, "above zero", "No instrument is exact."
        )
    return np.array([_density(spread, x, u) for spread in quantity.states.values()])


def _with_slips(density: Array, gross_error: float) -> Array:
    """Allow for a number that is simply wrong; scale the best state to 1.

    A reading that no state explains gives ones: it cannot tell the states apart, and
    `fit_of_best_state` says so.
    """
    mixed = (1.0 - gross_error) * density + gross_error * density.mean()
    return mixed / mixed.max() if mixed.max() > 0.0 else np.ones_like(mixed)


def state_likelihoods(quantity: Quantity, value: float, std: float, gross_error: float) -> Array:
    """Return the likelihood of each state, the largest scaled to 1."""
    return _with_slips(state_densities(quantity, value, std), gross_error)


def at_least_likelihoods(quantity: Quantity, value: float, std: float, gross_error: float) -> Array:
    """Return the likelihood of each state given only that the quantity is `value` or more.

    For a scale that ended: the vehicle came down on its bump stop, the test ran out of time.
    """
    above = [1.0 - _share_below(spread, value, std) for spread in quantity.states.values()]
    return _with_slips(np.array(above), gross_error)


def _share_below(spread: Spread, value: float, std: float) -> float:
    """Return P(reading <= value) in this state, the measurement's error included."""
    if spread.shape == "normal":
        return float(special.ndtr((value - spread.centre) / math.hypot(spread.width, std)))
    low, high = _window(spread, np.asarray(value), np.asarray(std))
    z = low + (high - low) * _MIDS
    inside = (high - low) * np.mean(_bell(z) * special.ndtr((value - _value(spread, z)) / std))
    return float(special.ndtr(low) + inside)


def fit_of_best_state(quantity: Quantity, value: float, std: float) -> float:
    """Return how usual the reading is in the state that fits it best, 0 (never) to 1 (typical).

    This is the two-sided tail probability of the reading in that state.
    """
    below = np.array([_share_below(spread, value, std) for spread in quantity.states.values()])
    return float(np.max(2.0 * np.minimum(below, 1.0 - below)))


@lru_cache(maxsize=512)
def _reads_like(
    states: tuple[Spread, ...], std: float, relative: float, gross_error: float
) -> tuple[tuple[float, ...], ...]:
    numbered = {str(i): spread for i, spread in enumerate(states)}
    quantity = Quantity(name="", unit="", states=numbered, basis="")
    t = (np.arange(24) + 0.5) / 24
    noise = special.ndtri((np.arange(7) + 0.5) / 7)
    table = np.zeros((len(states), len(states)))
    for i, spread in enumerate(states):
        true = _value(spread, special.ndtri(t))
        u = np.hypot(std, relative * np.abs(true))
        reading = true[:, None] + u[:, None] * noise
        best = np.argmax(
            state_densities(quantity, reading, np.broadcast_to(u[:, None], reading.shape)), axis=0
        )
        table[i] = np.bincount(best.ravel(), minlength=len(states)) / best.size
    table = (1.0 - gross_error) * table + gross_error / len(states)
    return tuple(tuple(row) for row in table)


def reads_like(quantity: Quantity, std: float, relative: float, gross_error: float) -> Array:
    """Return P(the number will read like state j | the state is i), for planning.

    `std` and `relative` are the usual error of the measurement in the quantity's unit and as
    a share of the value. Rows and columns follow `quantity.states`; each row sums to 1. Good to
    0.03, because the usual error is not known better than that and building waits for it.
    """
    states = tuple(quantity.states.values())
    return np.array(_reads_like(states, std, relative, gross_error))
