"""How long a rigid volume takes to empty through a hole while the flow is choked.

Assumes a perfect gas, a rigid volume and a constant temperature upstream of the
hole (isothermal) or no heat exchange at all (adiabatic); a real tank lies
between the two. For the part below the critical ratio integrate
`orifice_mass_flow`.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from sagtrace.physics._checks import Array, above_zero, flat, kelvin, pascal, require
from sagtrace.physics._choked import checked_gamma, choked_flow_factor, critical_pressure_ratio
from sagtrace.physics.constants import GAMMA_AIR, R_AIR

__all__ = [
    "blowdown_temperature_adiabatic",
    "blowdown_time_adiabatic",
    "blowdown_time_isothermal",
]


def _pressures(
    p_start: ArrayLike, p_end: ArrayLike, p_outside: ArrayLike, gamma: ArrayLike
) -> tuple[Array, Array]:
    """Return the checked pressures of a blow-down that stays choked."""
    start, end, outside = (
        pascal("p_start", p_start),
        pascal("p_end", p_end),
        pascal("p_outside", p_outside),
    )
    require("p_end", end, end > start, "Pa", "not above p_start", "Emptying lowers the pressure.")
    limit = flat(end * critical_pressure_ratio(gamma))
    choked, unknown = outside <= limit, np.isnan(outside) | np.isnan(limit)
    hint = "Below that the flow is no longer choked: integrate orifice_mass_flow instead."
    rule = "high enough for choked flow (about 1.9 times the pressure outside)"
    require("p_end", end, ~(choked | unknown), "Pa", rule, hint)
    # Without the pressure outside nobody knows whether the flow is choked.
    return start, flat(np.where(np.isnan(outside), np.nan, end))


def _time_constant(
    volume: ArrayLike, temp: ArrayLike, area: ArrayLike, cd: ArrayLike, gamma: ArrayLike
) -> Array:
    """Return tau = V / (cd A psi sqrt(R T)) [s]."""
    v, t = above_zero("volume", volume, "m^3"), kelvin("temp_start", temp)
    hole, coefficient = above_zero("area", area, "m^2"), above_zero("cd", cd, "")
    return flat(v / (coefficient * hole * choked_flow_factor(gamma) * np.sqrt(R_AIR * t)))


def blowdown_time_isothermal(
    volume: ArrayLike,
    p_start: ArrayLike,
    p_end: ArrayLike,
    temp_start: ArrayLike,
    *,
    area: ArrayLike,
    cd: ArrayLike,
    p_outside: ArrayLike,
    gamma: ArrayLike = GAMMA_AIR,
) -> Array:
    """Return the time for a slow, choked emptying: t = tau ln(p_start/p_end).

    Parameters
    ----------
    volume : array_like, shape S
        Internal volume, above zero [m^3]
    p_start, p_end : array_like, shape S
        Absolute pressure before and after, falling [Pa]
    temp_start : array_like, shape S
        Gas temperature, held by the walls, above zero [K]
    area : array_like, shape S
        Smallest cross-section of the hole, above zero [m^2]
    cd : array_like, shape S
        Discharge coefficient, above zero [-]
    p_outside : array_like, shape S
        Absolute pressure outside [Pa]
    gamma : array_like, shape S
        Ratio of specific heats, above one [-]

    Returns
    -------
    duration : ndarray, shape S
        Time from p_start to p_end [s]

    Raises
    ------
    DomainError
        An argument is outside its range, or the flow would not stay choked.

    Notes
    -----
    tau = V / (cd A psi sqrt(R T)). NaN in gives NaN out.

    Sources
    -------
    Bar-Meir, Fundamentals of Compressible Flow, chapter on evacuating and
    filling chambers.

    Examples
    --------
    >>> time = blowdown_time_isothermal(
    ...     2e-3, 8e5, 2e5, 293.15, area=7.853982e-7, cd=1.0, p_outside=1e5
    ... )
    >>> print(f"{time:.2f} s")
    17.77 s

    """
    start, end = _pressures(p_start, p_end, p_outside, gamma)
    return flat(_time_constant(volume, temp_start, area, cd, gamma) * np.log(start / end))


def blowdown_time_adiabatic(
    volume: ArrayLike,
    p_start: ArrayLike,
    p_end: ArrayLike,
    temp_start: ArrayLike,
    *,
    area: ArrayLike,
    cd: ArrayLike,
    p_outside: ArrayLike,
    gamma: ArrayLike = GAMMA_AIR,
) -> Array:
    """Return the time for a fast, choked emptying without heat from the walls.

    t = 2/(gamma - 1) tau ((p_end/p_start)^(-(gamma - 1)/(2 gamma)) - 1)

    Parameters
    ----------
    volume : array_like, shape S
        Internal volume, above zero [m^3]
    p_start, p_end : array_like, shape S
        Absolute pressure before and after, falling [Pa]
    temp_start : array_like, shape S
        Gas temperature at the start, above zero [K]
    area : array_like, shape S
        Smallest cross-section of the hole, above zero [m^2]
    cd : array_like, shape S
        Discharge coefficient, above zero [-]
    p_outside : array_like, shape S
        Absolute pressure outside [Pa]
    gamma : array_like, shape S
        Ratio of specific heats, above one [-]

    Returns
    -------
    duration : ndarray, shape S
        Time from p_start to p_end [s]

    Raises
    ------
    DomainError
        An argument is outside its range, or the flow would not stay choked.

    Notes
    -----
    Pressure falls faster than in the isothermal case, because the gas that
    stays behind cools. NaN in gives NaN out.

    Sources
    -------
    Bar-Meir, Fundamentals of Compressible Flow, chapter on evacuating and
    filling chambers.

    Examples
    --------
    >>> time = blowdown_time_adiabatic(
    ...     2e-3, 8e5, 2e5, 293.15, area=7.853982e-7, cd=1.0, p_outside=1e5
    ... )
    >>> print(f"{time:.2f} s")
    14.04 s

    """
    start, end = _pressures(p_start, p_end, p_outside, gamma)
    g = checked_gamma(gamma)
    tau = _time_constant(volume, temp_start, area, cd, gamma)
    return flat(2.0 / (g - 1.0) * tau * ((end / start) ** (-(g - 1.0) / (2.0 * g)) - 1.0))


def blowdown_temperature_adiabatic(
    p_start: ArrayLike, p_end: ArrayLike, temp_start: ArrayLike, *, gamma: ArrayLike = GAMMA_AIR
) -> Array:
    """Return the gas temperature left behind: T = T_start (p_end/p_start)^((gamma - 1)/gamma).

    Parameters
    ----------
    p_start, p_end : array_like, shape S
        Absolute pressure before and after [Pa]
    temp_start : array_like, shape S
        Gas temperature at the start, above zero [K]
    gamma : array_like, shape S
        Ratio of specific heats, above one [-]

    Returns
    -------
    temperature : ndarray, shape S
        Gas temperature at the end [K]

    Raises
    ------
    DomainError
        A pressure or temperature is not above zero, or gamma is one or below.

    Notes
    -----
    The lowest temperature possible; the walls of a real tank keep the gas
    warmer. NaN in gives NaN out.

    Sources
    -------
    Any thermodynamics text, isentropic change of a perfect gas.

    Examples
    --------
    >>> print(f"{blowdown_temperature_adiabatic(8e5, 2e5, 293.15):.1f} K")
    197.3 K

    """
    start, end = pascal("p_start", p_start), pascal("p_end", p_end)
    temp, g = kelvin("temp_start", temp_start), checked_gamma(gamma)
    return flat(temp * (end / start) ** ((g - 1.0) / g))
