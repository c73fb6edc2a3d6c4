"""How warm a joint gets.

Assumes one thermal resistance to the surroundings and one heat capacity (first
order). Rise is over the air around the joint, in kelvin; SI.
Out of scope: heat that comes along the wire from elsewhere, and a resistance
that grows while the joint burns, which makes the truth hotter than this.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from sagtrace.physics._checks import Array, above_zero, finite, flat, not_below_zero

__all__ = [
    "contact_temperature_rise",
    "rise_at_current",
    "RISE_AT_RATED_CURRENT",
    "thermal_resistance_from_rating",
    "transient_rise",
]

RISE_AT_RATED_CURRENT: Final = 55.0  # [K] convention: SAE/USCAR-2, the current capability of a
# terminal is the current at which it gets 55 K warmer than the air (from memory)


def contact_temperature_rise(power: ArrayLike, thermal_resistance: ArrayLike) -> Array:
    """Return the steady rise of a joint that burns a power: P R_th.

    Parameters
    ----------
    power : array_like, shape S
        Heat made in the joint, zero or above [W]
    thermal_resistance : array_like, shape S
        To the surroundings, above zero [K/W]

    Returns
    -------
    rise : ndarray, shape S
        Temperature over the surroundings [K]

    Raises
    ------
    DomainError
        The power is negative or the thermal resistance is not above zero.

    Notes
    -----
    NaN in gives NaN out.

    Sources
    -------
    Definition of thermal resistance.

    Examples
    --------
    >>> print(f"{contact_temperature_rise(10.0, 8.0):.0f} K")
    80 K

    """
    p = not_below_zero("power", power, "W")
    return flat(p * above_zero("thermal_resistance", thermal_resistance, "K/W"))


def rise_at_current(
    current: ArrayLike, *, rated_current: ArrayLike, resistance_ratio: ArrayLike = 1.0
) -> Array:
    """Return the steady rise of a terminal: 55 K (I/I_r)^2 R/R_healthy.

    Parameters
    ----------
    current : array_like, shape S
        Current, either sign [A]
    rated_current : array_like, shape S
        Current at which a healthy terminal gets 55 K warmer, above zero [A]
    resistance_ratio : array_like, shape S
        Actual over healthy resistance of the joint, zero or above [-]

    Returns
    -------
    rise : ndarray, shape S
        Temperature over the surroundings [K]

    Raises
    ------
    DomainError
        The rated current is not above zero or the ratio is negative.

    Notes
    -----
    Straight in power, so too high far above the rating, where radiation and
    draught carry more. NaN in gives NaN out.

    Sources
    -------
    SAE/USCAR-2, definition of current capability, from memory; Joule's law.

    Examples
    --------
    >>> print(f"{rise_at_current(10.0, rated_current=20.0, resistance_ratio=4.0):.0f} K")
    55 K

    """
    share = finite("current", current, "A") / above_zero("rated_current", rated_current, "A")
    ratio = not_below_zero("resistance_ratio", resistance_ratio, "")
    return flat(RISE_AT_RATED_CURRENT * np.square(share) * ratio)


def thermal_resistance_from_rating(
    rated_current: ArrayLike, healthy_resistance: ArrayLike
) -> Array:
    """Return the thermal resistance that a terminal's rating implies: 55 K/(I_r^2 R).

    Parameters
    ----------
    rated_current : array_like, shape S
        Current at which a healthy terminal gets 55 K warmer, above zero [A]
    healthy_resistance : array_like, shape S
        Resistance of the healthy joint, above zero [ohm]

    Returns
    -------
    thermal_resistance : ndarray, shape S
        To the surroundings [K/W]

    Raises
    ------
    DomainError
        An argument is not above zero.

    Notes
    -----
    NaN in gives NaN out.

    Sources
    -------
    SAE/USCAR-2, definition of current capability, from memory; Joule's law.

    Examples
    --------
    >>> print(f"{thermal_resistance_from_rating(20.0, 5e-3):.1f} K/W")
    27.5 K/W

    """
    i = above_zero("rated_current", rated_current, "A")
    r = above_zero("healthy_resistance", healthy_resistance, "ohm", "Milliohms? Divide by 1000.")
    return flat(RISE_AT_RATED_CURRENT / (np.square(i) * r))


def transient_rise(
    steady_rise: ArrayLike,
    elapsed: ArrayLike,
    time_constant: ArrayLike,
    *,
    rise_start: ArrayLike = 0.0,
) -> Array:
    """Return the rise on the way to its steady value, or back to none.

    theta = theta_s + (theta_0 - theta_s) exp(-t/tau)

    Parameters
    ----------
    steady_rise : array_like, shape S
        Rise that would be reached in the end; zero to cool down [K]
    elapsed : array_like, shape S
        Time since the current changed, zero or above [s]
    time_constant : array_like, shape S
        Thermal resistance times heat capacity, above zero [s]
    rise_start : array_like, shape S
        Rise at the start [K]

    Returns
    -------
    rise : ndarray, shape S
        Temperature over the surroundings [K]

    Raises
    ------
    DomainError
        The time is negative or the time constant is not above zero.

    Notes
    -----
    NaN in gives NaN out.

    Sources
    -------
    Any heat transfer text, lumped capacity.

    Examples
    --------
    >>> print(f"{transient_rise(80.0, 60.0, 60.0):.1f} K")
    50.6 K

    """
    end, start = finite("steady_rise", steady_rise, "K"), finite("rise_start", rise_start, "K")
    t, tau = (
        not_below_zero("elapsed", elapsed, "s"),
        above_zero("time_constant", time_constant, "s"),
    )
    return flat(end + (start - end) * np.exp(-t / tau))
