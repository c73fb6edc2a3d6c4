"""Power and temperature of compressing a perfect gas.

Ideal work: no friction, no leakage past the piston. The power at the plug is
higher by the losses of motor and pump, which are not modelled here.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from sagtrace.physics._checks import (
    Array,
    at_least,
    finite,
    flat,
    kelvin,
    not_below_zero,
    pascal,
    require,
)
from sagtrace.physics._choked import checked_gamma
from sagtrace.physics.constants import GAMMA_AIR

__all__ = [
    "charge_temperature",
    "compression_temperature",
    "isothermal_power",
    "polytropic_power",
]


def polytropic_power(
    p_intake: ArrayLike, p_delivery: ArrayLike, volume_flow: ArrayLike, *, polytropic: ArrayLike
) -> Array:
    """Return the ideal power of a pump: n/(n - 1) p Q (r^((n - 1)/n) - 1).

    Parameters
    ----------
    p_intake, p_delivery : array_like, shape S
        Absolute pressure at intake and outlet, above zero [Pa]
    volume_flow : array_like, shape S
        Free air at the intake state, zero or above [m^3/s]
    polytropic : array_like, shape S
        Exponent n, above one; gamma makes it isentropic [-]

    Returns
    -------
    power : ndarray, shape S
        Power on the gas [W]

    Raises
    ------
    DomainError
        An argument is outside its range.

    Notes
    -----
    Clearance does not enter: its gas gives the work back. NaN in gives NaN out.

    Sources
    -------
    Eastop & McConkey, Applied Thermodynamics, chapter on positive displacement
    machines (from memory).

    Examples
    --------
    >>> power = polytropic_power(101325, 901325, 20e-3 / 60, polytropic=1.3)
    >>> print(f"{power:.1f} W")
    96.0 W

    """
    p_in, p_out = pascal("p_intake", p_intake), pascal("p_delivery", p_delivery)
    q, n = not_below_zero("volume_flow", volume_flow, "m^3/s"), _exponent(polytropic)
    return flat(n / (n - 1.0) * p_in * q * ((p_out / p_in) ** ((n - 1.0) / n) - 1.0))


def isothermal_power(p_intake: ArrayLike, p_delivery: ArrayLike, volume_flow: ArrayLike) -> Array:
    """Return the least power any pump could need: p Q ln(r).

    Parameters
    ----------
    p_intake, p_delivery : array_like, shape S
        Absolute pressure at intake and outlet, above zero [Pa]
    volume_flow : array_like, shape S
        Free air at the intake state, zero or above [m^3/s]

    Returns
    -------
    power : ndarray, shape S
        Power on the gas [W]

    Raises
    ------
    DomainError
        An argument is outside its range.

    Notes
    -----
    NaN in gives NaN out.

    Sources
    -------
    Any thermodynamics text, isothermal compression of a perfect gas.

    Examples
    --------
    >>> print(f"{isothermal_power(101325, 901325, 20e-3 / 60):.1f} W")
    73.8 W

    """
    p_in, p_out = pascal("p_intake", p_intake), pascal("p_delivery", p_delivery)
    return flat(p_in * not_below_zero("volume_flow", volume_flow, "m^3/s") * np.log(p_out / p_in))


def compression_temperature(
    temp_intake: ArrayLike, pressure_ratio: ArrayLike, *, polytropic: ArrayLike = GAMMA_AIR
) -> Array:
    """Return the outlet temperature of the gas: T2 = T1 r^((n - 1)/n).

    Parameters
    ----------
    temp_intake : array_like, shape S
        Temperature at the intake, above zero [K]
    pressure_ratio : array_like, shape S
        Outlet over intake absolute pressure, one or above [-]
    polytropic : array_like, shape S
        Exponent n, above one; the default gamma is isentropic, the hottest [-]

    Returns
    -------
    temperature : ndarray, shape S
        Gas temperature at the end of the stroke [K]

    Raises
    ------
    DomainError
        An argument is outside its range.

    Notes
    -----
    Of the gas in the cylinder; the head is cooler. NaN in gives NaN out.

    Sources
    -------
    Any thermodynamics text, polytropic change of a perfect gas.

    Examples
    --------
    >>> print(f"{compression_temperature(293.15, 901325 / 101325):.0f} K")
    547 K

    """
    t, n = kelvin("temp_intake", temp_intake), _exponent(polytropic)
    r = at_least("pressure_ratio", pressure_ratio, 1.0, "", "Outlet over intake, absolute.")
    return flat(t * r ** ((n - 1.0) / n))


def charge_temperature(temp_intake: ArrayLike, *, gamma: ArrayLike = GAMMA_AIR) -> Array:
    """Return the temperature in an evacuated vessel filled fast from a line: gamma T.

    Parameters
    ----------
    temp_intake : array_like, shape S
        Temperature of the gas in the line, above zero [K]
    gamma : array_like, shape S
        Ratio of specific heats, above one [-]

    Returns
    -------
    temperature : ndarray, shape S
        Gas temperature when full, before it cools [K]

    Raises
    ------
    DomainError
        The temperature is not above zero, or gamma is one or below.

    Notes
    -----
    The reason to wait after a fill before a hold test starts. NaN in gives NaN out.

    Sources
    -------
    Any thermodynamics text, energy balance of filling a rigid vessel.

    Examples
    --------
    >>> print(f"{charge_temperature(293.15):.1f} K")
    410.4 K

    """
    return flat(kelvin("temp_intake", temp_intake) * checked_gamma(gamma))


def _exponent(polytropic: ArrayLike) -> Array:
    n = finite("polytropic", polytropic, "")
    require("polytropic", n, n <= 1.0, "", "above 1", "For exactly 1 use isothermal_power.")
    return n
