"""An air spring: load, stiffness, and what weather does to its height.

Assumes a perfect gas and an effective area that is constant over the change
(stiffness takes its slope). SI and absolute pressure; only the load follows the
gauge pressure, and only `pressure_from_load` returns a gauge value.
Height is the length of the spring itself: a wheel that moves further than the
spring needs the lever ratio of the suspension.
Out of scope: friction, bump stops, the rubber's own stiffness.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from sagtrace.physics._checks import (
    Array,
    above_zero,
    at_least,
    finite,
    flat,
    kelvin,
    not_below_zero,
    pascal,
    require,
)
from sagtrace.physics.constants import P_ATM

__all__ = [
    "barometer_height_change",
    "load_from_pressure",
    "load_height_change",
    "natural_frequency",
    "pressure_from_load",
    "stiffness",
    "thermal_height_change",
    "thermal_pressure_change",
]


def load_from_pressure(gauge_pressure: ArrayLike, area: ArrayLike) -> Array:
    """Return the load that a spring carries: F = p_gauge A.

    Parameters
    ----------
    gauge_pressure : array_like, shape S
        Pressure above the barometer, zero or above [Pa]
    area : array_like, shape S
        Effective area, above zero [m^2]

    Returns
    -------
    load : ndarray, shape S
        Load along the spring [N]

    Raises
    ------
    DomainError
        The area is not above zero or the pressure is negative.

    Notes
    -----
    Gauge, because the barometer pushes from outside. NaN in gives NaN out.

    Sources
    -------
    Definition of effective area.

    Examples
    --------
    >>> print(f"{load_from_pressure(441299.25, 0.01):.1f} N")
    4413.0 N

    """
    p = not_below_zero("gauge_pressure", gauge_pressure, "Pa")
    return flat(p * above_zero("area", area, "m^2", "Square centimetres? Divide by 10 000."))


def pressure_from_load(load: ArrayLike, area: ArrayLike) -> Array:
    """Return the gauge pressure that carries a load: p_gauge = F / A.

    Parameters
    ----------
    load : array_like, shape S
        Load along the spring, zero or above [N]
    area : array_like, shape S
        Effective area, above zero [m^2]

    Returns
    -------
    gauge_pressure : ndarray, shape S
        Pressure above the barometer; add it before using another kernel [Pa]

    Raises
    ------
    DomainError
        The area is not above zero or the load is negative.

    Notes
    -----
    NaN in gives NaN out.

    Sources
    -------
    Definition of effective area.

    Examples
    --------
    >>> print(f"{pressure_from_load(450 * 9.80665, 0.01) / 1e3:.1f} kPa above the barometer")
    441.3 kPa above the barometer

    """
    force = not_below_zero("load", load, "N", "A spring cannot pull.")
    return flat(force / above_zero("area", area, "m^2", "Square centimetres? Divide by 10 000."))


def stiffness(
    polytropic: ArrayLike,
    pressure: ArrayLike,
    area: ArrayLike,
    volume: ArrayLike,
    *,
    area_slope: ArrayLike = 0.0,
    barometer: ArrayLike = P_ATM,
) -> Array:
    """Return the stiffness: k = n p_abs A^2/V + (p_abs - p_atm) dA/dz.

    Parameters
    ----------
    polytropic : array_like, shape S
        Exponent n, one or above: 1 slow, 1.4 fast [-]
    pressure : array_like, shape S
        Absolute pressure in the spring, above zero [Pa]
    area : array_like, shape S
        Effective area, above zero [m^2]
    volume : array_like, shape S
        Gas volume with everything openly connected, above zero [m^3]
    area_slope : array_like, shape S
        dA/dz, z positive in compression, either sign [m]
    barometer : array_like, shape S
        Absolute pressure outside [Pa]

    Returns
    -------
    stiffness : ndarray, shape S
        Force for each metre of compression [N/m]

    Raises
    ------
    DomainError
        An argument is outside its range.

    Notes
    -----
    The first term takes absolute pressure and the second gauge; gauge in the
    first makes the spring about a fifth too soft. NaN in gives NaN out.

    Sources
    -------
    Derivative of F = p_gauge A with p V^n constant; polytropic air spring:
    Alsuwaiyan 2024, DOI 10.4236/wjet.2024.123029 (abstract read).

    Examples
    --------
    >>> print(f"{stiffness(1.38, 542624.25, 0.01, 1.5e-3) / 1e3:.2f} kN/m")
    49.92 kN/m

    """
    n, p = at_least("polytropic", polytropic, 1.0, ""), pascal("pressure", pressure)
    a, v = above_zero("area", area, "m^2"), above_zero("volume", volume, "m^3")
    slope, outside = finite("area_slope", area_slope, "m"), pascal("barometer", barometer)
    return flat(n * p * np.square(a) / v + (p - outside) * slope)


def natural_frequency(stiffness: ArrayLike, mass: ArrayLike) -> Array:
    """Return the frequency of a mass on a spring: f = sqrt(k/m) / (2 pi).

    Parameters
    ----------
    stiffness : array_like, shape S
        Stiffness, zero or above [N/m]
    mass : array_like, shape S
        Mass, above zero [kg]

    Returns
    -------
    frequency : ndarray, shape S
        Natural frequency without damping [Hz]

    Raises
    ------
    DomainError
        The mass is not above zero or the stiffness is negative.

    Notes
    -----
    NaN in gives NaN out.

    Sources
    -------
    Any text on vibration, one degree of freedom.

    Examples
    --------
    >>> print(f"{natural_frequency(49921.43, 450):.2f} Hz")
    1.68 Hz

    """
    k, m = not_below_zero("stiffness", stiffness, "N/m"), above_zero("mass", mass, "kg")
    return flat(np.sqrt(k / m) / (2.0 * np.pi))


def thermal_height_change(
    volume: ArrayLike, area: ArrayLike, temp_start: ArrayLike, temp_end: ArrayLike
) -> Array:
    """Return how far a tight, loaded spring moves with temperature: (V/A) (T2 - T1)/T1.

    Parameters
    ----------
    volume : array_like, shape S
        Gas volume at temp_start, above zero [m^3]
    area : array_like, shape S
        Effective area, above zero [m^2]
    temp_start, temp_end : array_like, shape S
        Gas temperature before and after, above zero [K]

    Returns
    -------
    change : ndarray, shape S
        Change of height, negative when it sinks [m]

    Raises
    ------
    DomainError
        An argument is not above zero.

    Notes
    -----
    About 0.5 mm for each kelvin, without any leak: correct for it before
    judging an overnight drop. NaN in gives NaN out.

    Sources
    -------
    Perfect gas law at constant pressure and amount.

    Examples
    --------
    >>> print(f"{1e3 * thermal_height_change(1.5e-3, 0.01, 293.15, 273.15):.1f} mm")
    -10.2 mm

    """
    v, a = above_zero("volume", volume, "m^3"), above_zero("area", area, "m^2")
    t1, t2 = kelvin("temp_start", temp_start), kelvin("temp_end", temp_end)
    return flat(v / a * (t2 - t1) / t1)


def thermal_pressure_change(
    pressure: ArrayLike, temp_start: ArrayLike, temp_end: ArrayLike
) -> Array:
    """Return how far the pressure of a tight, rigid volume moves: p (T2 - T1)/T1.

    Parameters
    ----------
    pressure : array_like, shape S
        Absolute pressure at temp_start, above zero [Pa]
    temp_start, temp_end : array_like, shape S
        Gas temperature before and after, above zero [K]

    Returns
    -------
    change : ndarray, shape S
        Change of pressure, negative when it cools [Pa]

    Raises
    ------
    DomainError
        An argument is not above zero.

    Notes
    -----
    Also for a spring whose height is held, for example by a prop. NaN in gives
    NaN out.

    Sources
    -------
    Perfect gas law at constant volume and amount.

    Examples
    --------
    >>> print(f"{thermal_pressure_change(800e3, 298.15, 293.15) / 1e3:.1f} kPa")
    -13.4 kPa

    """
    p = pascal("pressure", pressure)
    t1, t2 = kelvin("temp_start", temp_start), kelvin("temp_end", temp_end)
    return flat(p * (t2 - t1) / t1)


def barometer_height_change(
    volume: ArrayLike, area: ArrayLike, pressure: ArrayLike, barometer_change: ArrayLike
) -> Array:
    """Return how far a tight, loaded spring moves with the weather.

    The gauge pressure is set by the load, so the absolute pressure follows the
    barometer: (V/A) (p/(p + change) - 1).

    Parameters
    ----------
    volume : array_like, shape S
        Gas volume before, above zero [m^3]
    area : array_like, shape S
        Effective area, above zero [m^2]
    pressure : array_like, shape S
        Absolute pressure in the spring before, above zero [Pa]
    barometer_change : array_like, shape S
        Barometer after less before, above minus `pressure` [Pa]

    Returns
    -------
    change : ndarray, shape S
        Change of height, positive when the barometer falls [m]

    Raises
    ------
    DomainError
        An argument is outside its range.

    Notes
    -----
    Half a millimetre for a change of weather: small, but not nothing beside a
    5 mm limit. NaN in gives NaN out.

    Sources
    -------
    Perfect gas law at constant temperature and amount.

    Examples
    --------
    >>> print(f"{1e3 * barometer_height_change(1.5e-3, 0.01, 542624.25, -2000):.2f} mm")
    0.55 mm

    """
    v, a = above_zero("volume", volume, "m^3"), above_zero("area", area, "m^2")
    p = pascal("pressure", pressure)
    change = finite("barometer_change", barometer_change, "Pa")
    rule = "above minus the pressure in the spring"
    require("barometer_change", change, p + change <= 0.0, "Pa", rule)
    return flat(v / a * (p / (p + change) - 1.0))


def load_height_change(
    volume: ArrayLike, area: ArrayLike, pressure: ArrayLike, load_change: ArrayLike
) -> Array:
    """Return how far a tight spring moves when the load on it changes, slowly.

    (V/A) (p/(p + dF/A) - 1), temperature constant.

    Parameters
    ----------
    volume : array_like, shape S
        Gas volume before, above zero [m^3]
    area : array_like, shape S
        Effective area, above zero [m^2]
    pressure : array_like, shape S
        Absolute pressure in the spring before, above zero [Pa]
    load_change : array_like, shape S
        Load after less before [N]

    Returns
    -------
    change : ndarray, shape S
        Change of height, negative when load is added [m]

    Raises
    ------
    DomainError
        An argument is outside its range.

    Notes
    -----
    Why a hold test needs the same load at both readings. NaN in gives NaN out.

    Sources
    -------
    Perfect gas law at constant temperature and amount.

    Examples
    --------
    >>> print(f"{1e3 * load_height_change(1.5e-3, 0.01, 542624.25, 20 * 9.80665):.1f} mm")
    -5.2 mm

    """
    a = above_zero("area", area, "m^2")
    p, change = pascal("pressure", pressure), finite("load_change", load_change, "N")
    rule = "less than takes all pressure out of the spring"
    require("load_change", change, p + change / a <= 0.0, "N", rule)
    return barometer_height_change(volume, a, p, flat(change / a))
