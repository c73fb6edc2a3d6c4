"""Checks that every kernel makes on what it is given.

Each function turns its argument into an array of float64, refuses values that
cannot be right by naming the first of them, and lets NaN through, so that a
missing reading gives a missing result. Infinity is always refused, because it
turns into a silent NaN one step later.
"""

from __future__ import annotations

from typing import Final, TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sagtrace.errors import DomainError, InputError

__all__ = [
    "above_zero",
    "Array",
    "at_least",
    "between",
    "finite",
    "flat",
    "kelvin",
    "not_below_zero",
    "pascal",
    "require",
]

Array: TypeAlias = NDArray[np.float64]

KELVIN_HINT: Final = "Degrees Celsius? Add 273.15."
GAUGE_HINT: Final = "A gauge reading? Add the barometer."


def require(
    name: str, value: Array, wrong: NDArray[np.bool_], unit: str, rule: str, hint: str = ""
) -> None:
    """Raise DomainError for the first value where `wrong` holds, if there is one."""
    if not wrong.any():
        return
    first = np.broadcast_to(value, wrong.shape)[wrong].flat[0]
    raise DomainError(name, float(first), unit, rule, hint)


def finite(name: str, value: ArrayLike, unit: str, hint: str = "") -> Array:
    """Return the value as an array; refuse infinity and what is no number."""
    try:
        array = np.asarray(value, dtype=np.float64)
    except (TypeError, ValueError) as err:
        raise InputError(
            f"{name} = {value!r}: expected numbers in {unit}. {hint}".rstrip()
        ) from err
    require(name, array, np.isinf(array), unit, "finite", hint)
    return array


def above_zero(name: str, value: ArrayLike, unit: str, hint: str = "") -> Array:
    """Return the value as an array in which no number is zero or negative."""
    array = finite(name, value, unit, hint)
    # NaN compares false, so NaN goes through; likewise below.
    require(name, array, array <= 0.0, unit, "above zero", hint)
    return array


def not_below_zero(name: str, value: ArrayLike, unit: str, hint: str = "") -> Array:
    """Return the value as an array in which no number is negative."""
    array = finite(name, value, unit, hint)
    require(name, array, array < 0.0, unit, "zero or above", hint)
    return array


def at_least(name: str, value: ArrayLike, low: float, unit: str, hint: str = "") -> Array:
    """Return the value as an array in which no number is below `low`."""
    array = finite(name, value, unit, hint)
    require(name, array, array < low, unit, f"{low:g} or above", hint)
    return array


def between(
    name: str, value: ArrayLike, low: float, high: float, unit: str, hint: str = ""
) -> Array:
    """Return the value as an array in which every number lies from `low` to `high`."""
    array = finite(name, value, unit, hint)
    require(name, array, (array < low) | (array > high), unit, f"{low:g} to {high:g}", hint)
    return array


def kelvin(name: str, value: ArrayLike) -> Array:
    """Return the value as an array of temperatures [K]."""
    return above_zero(name, value, "K", KELVIN_HINT)


def pascal(name: str, value: ArrayLike) -> Array:
    """Return the value as an array of absolute pressures [Pa]."""
    return above_zero(name, value, "Pa", GAUGE_HINT)


def flat(value: ArrayLike) -> Array:
    """Return a result as float64; a result without dimensions becomes a scalar."""
    result: Array = np.asarray(value, dtype=np.float64)[()]
    return result
