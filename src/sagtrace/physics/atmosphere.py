"""The barometer when nobody read one, and the water in air.

Standard atmosphere: the troposphere layer only, -5000 to 11 000 m. Weather moves
the true barometer by some 2 to 3 % around it, which a caller has to add as
spread. Moisture: perfect gas mixture without the enhancement factor, so humidity
ratios are 0.5 % low near 1 bar and some 4 % low at 11 bar.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from sagtrace.physics._checks import Array, between, finite, flat, kelvin, pascal, require
from sagtrace.physics.constants import G_N, P_ATM, WATER_AIR_MASS_RATIO

__all__ = [
    "condensed_fraction",
    "geopotential_altitude",
    "humidity_ratio",
    "saturation_pressure",
    "SATURATION_TERMS",
    "standard_pressure",
    "standard_temperature",
    "WATER_PC",
    "WATER_TC",
]

# All from ISO 2533:1975 and the US Standard Atmosphere 1976, where they are conventions.
SEA_LEVEL_TEMP: Final = 288.15  # [K]
LAPSE_RATE: Final = 0.0065  # [K/m]
EARTH_RADIUS: Final = 6_356_766.0  # [m]
R_GAS_1976: Final = 8.31432  # [J/(mol K)] older than today's exact value; the tables use it
M_AIR_1976: Final = 0.0289644  # [kg/mol]
LOWEST, TROPOPAUSE = -5000.0, 11_000.0  # [m] limits of the layer

# IAPWS SR1-86 (Wagner and Pruss 1993), vapour pressure of ordinary water; from memory.
WATER_TC: Final = 647.096  # [K] critical temperature
WATER_PC: Final = 22.064e6  # [Pa] critical pressure
WATER_TRIPLE: Final = 273.16  # [K] triple point
SATURATION_TERMS: Final = (
    (-7.85951783, 1.0),
    (1.84408259, 1.5),
    (-11.7866497, 3.0),
    (22.6807411, 3.5),
    (-15.9618719, 4.0),
    (1.80122502, 7.5),
)


def geopotential_altitude(geometric: ArrayLike) -> Array:
    """Return geopotential from geometric altitude: r z/(r + z).

    Parameters
    ----------
    geometric : array_like, shape S
        Altitude as on a map, -5000 to 11 000 [m]

    Returns
    -------
    geopotential : ndarray, shape S
        Altitude with constant gravity [m]

    Raises
    ------
    DomainError
        The altitude is outside the layer.

    Notes
    -----
    For a workshop the two are the same: 0.5 m apart at 1800 m. NaN in gives NaN out.

    Sources
    -------
    US Standard Atmosphere 1976, equation 18.

    Examples
    --------
    >>> print(f"{geopotential_altitude(3000.0):.1f} m")
    2998.6 m

    """
    z = between("geometric", geometric, LOWEST, TROPOPAUSE, "m")
    return flat(EARTH_RADIUS * z / (EARTH_RADIUS + z))


def standard_temperature(altitude: ArrayLike) -> Array:
    """Return the temperature of the standard atmosphere: 288.15 K - 6.5 K/km h.

    Parameters
    ----------
    altitude : array_like, shape S
        Geopotential altitude, -5000 to 11 000 [m]

    Returns
    -------
    temperature : ndarray, shape S
        Temperature [K]

    Raises
    ------
    DomainError
        The altitude is outside the layer.

    Notes
    -----
    Not the weather of today. NaN in gives NaN out.

    Sources
    -------
    ISO 2533:1975; US Standard Atmosphere 1976.

    Examples
    --------
    >>> print(f"{standard_temperature(1000.0):.2f} K")
    281.65 K

    """
    return flat(
        SEA_LEVEL_TEMP - LAPSE_RATE * between("altitude", altitude, LOWEST, TROPOPAUSE, "m")
    )


def standard_pressure(altitude: ArrayLike) -> Array:
    """Return the pressure of the standard atmosphere: p0 (T/T0)^(g M/(R L)).

    Parameters
    ----------
    altitude : array_like, shape S
        Geopotential altitude, -5000 to 11 000; the geometric one of a map gives
        0.02 % too little at 3000 m [m]

    Returns
    -------
    pressure : ndarray, shape S
        Absolute pressure, a stand-in for the barometer [Pa]

    Raises
    ------
    DomainError
        The altitude is outside the layer.

    Notes
    -----
    Weather reports give the pressure reduced to sea level, which is not the
    pressure in the workshop. NaN in gives NaN out.

    Sources
    -------
    ISO 2533:1975; US Standard Atmosphere 1976, equation 33a.

    Examples
    --------
    >>> print(f"{standard_pressure(1000.0):.0f} Pa")
    89875 Pa

    """
    exponent = G_N * M_AIR_1976 / (R_GAS_1976 * LAPSE_RATE)
    return flat(P_ATM * (standard_temperature(altitude) / SEA_LEVEL_TEMP) ** exponent)


def saturation_pressure(temp: ArrayLike) -> Array:
    """Return the vapour pressure of water.

    ln(p/pc) = (Tc/T) (a1 t + a2 t^1.5 + a3 t^3 + a4 t^3.5 + a5 t^4 + a6 t^7.5), t = 1 - T/Tc

    Parameters
    ----------
    temp : array_like, shape S
        Temperature, from the triple point to the critical point [K]

    Returns
    -------
    pressure : ndarray, shape S
        Saturation pressure over liquid water [Pa]

    Raises
    ------
    DomainError
        The temperature is outside the range.

    Notes
    -----
    Within 0.1 %. No ice: below 273.16 K it raises. NaN in gives NaN out.

    Sources
    -------
    IAPWS SR1-86(1992); Wagner & Pruss 1993; coefficients from memory.

    Examples
    --------
    >>> print(f"{saturation_pressure(293.15):.0f} Pa")
    2339 Pa

    """
    t = kelvin("temp", temp)
    t = between("temp", t, WATER_TRIPLE, WATER_TC, "K", "Over liquid water only.")
    away = 1.0 - t / WATER_TC
    terms = sum(a * away**power for a, power in SATURATION_TERMS)
    return flat(WATER_PC * np.exp(WATER_TC / t * terms))


def humidity_ratio(temp: ArrayLike, pressure: ArrayLike, *, relative_humidity: ArrayLike) -> Array:
    """Return the water that air carries: W = 0.622 p_w/(p - p_w).

    Parameters
    ----------
    temp : array_like, shape S
        Temperature, above the triple point [K]
    pressure : array_like, shape S
        Absolute pressure, above that of the vapour [Pa]
    relative_humidity : array_like, shape S
        Share of saturation, 0 to 1 [-]

    Returns
    -------
    ratio : ndarray, shape S
        Water for each kilogram of dry air [kg/kg]

    Raises
    ------
    DomainError
        An argument is outside its range.

    Notes
    -----
    NaN in gives NaN out.

    Sources
    -------
    ASHRAE Handbook, Fundamentals, psychrometrics chapter, from memory.

    Examples
    --------
    >>> print(f"{1e3 * humidity_ratio(293.15, 101325, relative_humidity=0.65):.1f} g/kg")
    9.5 g/kg

    """
    share = between(
        "relative_humidity", relative_humidity, 0.0, 1.0, "", "Per cent? Divide by 100."
    )
    p, vapour = pascal("pressure", pressure), flat(share * saturation_pressure(temp))
    require("pressure", p, p <= vapour, "Pa", "above the vapour's own pressure", "It would boil.")
    return flat(WATER_AIR_MASS_RATIO * vapour / (p - vapour))


def condensed_fraction(
    temp: ArrayLike,
    p_intake: ArrayLike,
    p_delivery: ArrayLike,
    *,
    relative_humidity: ArrayLike,
) -> Array:
    """Return the share of the water in air that condenses when it is compressed and cooled back.

    Parameters
    ----------
    temp : array_like, shape S
        Temperature before and after, above the triple point [K]
    p_intake, p_delivery : array_like, shape S
        Absolute pressure before and after [Pa]
    relative_humidity : array_like, shape S
        Share of saturation at the intake, above 0, to 1 [-]

    Returns
    -------
    fraction : ndarray, shape S
        Condensed over carried in; zero if none condenses [-]

    Raises
    ------
    DomainError
        An argument is outside its range.

    Notes
    -----
    What a dryer has to take up. NaN in gives NaN out.

    Sources
    -------
    As humidity_ratio.

    Examples
    --------
    >>> share = condensed_fraction(293.15, 101325, 1101325, relative_humidity=0.65)
    >>> print(f"{share:.0%}")
    86%

    """
    rh = finite("relative_humidity", relative_humidity, "")
    require("relative_humidity", rh, rh <= 0.0, "", "above zero", "Dry air has nothing to lose.")
    before, after = pascal("p_intake", p_intake), pascal("p_delivery", p_delivery)
    carried = humidity_ratio(temp, before, relative_humidity=rh)
    most = humidity_ratio(temp, after, relative_humidity=1.0)
    return flat(np.clip(1.0 - most / carried, 0.0, None))
