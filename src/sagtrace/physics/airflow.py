"""Air through valves, lines and holes.

Assumes a perfect gas at one temperature upstream. Everything is SI and
absolute: Pa (never gauge), K, m^2, kg/s. A valve is described either by its
sonic conductance C and critical ratio b (ISO 6358) or by the area and discharge
coefficient of the nozzle it is like.
Out of scope: moisture, heat exchange along a line, the time a wave takes.

Flow is positive from `up` to `down`. When `p_down` is the higher pressure the
result is negative, and `temp_up` still has to be the temperature of the gas on
the side with the higher pressure: the caller knows which side that is.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from sagtrace.physics._blowdown import (
    blowdown_temperature_adiabatic,
    blowdown_time_adiabatic,
    blowdown_time_isothermal,
)
from sagtrace.physics._checks import (
    Array,
    above_zero,
    between,
    finite,
    flat,
    kelvin,
    not_below_zero,
    pascal,
    require,
)
from sagtrace.physics._choked import checked_gamma, choked_flow_factor, critical_pressure_ratio
from sagtrace.physics.constants import GAMMA_AIR, R_AIR, RHO_ANR, T0_ISO6358

__all__ = [
    "blowdown_temperature_adiabatic",
    "blowdown_time_adiabatic",
    "blowdown_time_isothermal",
    "choked_flow_factor",
    "conductance_from_orifice",
    "critical_pressure_ratio",
    "iso6358_mass_flow",
    "orifice_area_from_conductance",
    "orifice_mass_flow",
]


def _direction(p_up: ArrayLike, p_down: ArrayLike) -> tuple[Array, Array, Array]:
    """Return the sign of the flow, the higher pressure, and lower over higher."""
    up, down = pascal("p_up", p_up), pascal("p_down", p_down)
    high = np.maximum(up, down)
    return flat(np.sign(up - down)), flat(high), flat(np.minimum(up, down) / high)


def _ellipse(ratio: Array, b: Array) -> Array:
    """Return the ISO 6358 flow function: 1 when choked, a quarter ellipse above b."""
    return flat(np.sqrt(np.clip(1.0 - np.square((ratio - b) / (1.0 - b)), 0.0, None)))


def iso6358_mass_flow(
    p_up: ArrayLike,
    p_down: ArrayLike,
    temp_up: ArrayLike,
    *,
    conductance: ArrayLike,
    critical_ratio: ArrayLike,
    laminar_ratio: ArrayLike = 0.999,
) -> Array:
    """Return the mass flow through a valve or line given by C and b.

    qm = p C rho0 sqrt(T0/T) for r <= b, and times sqrt(1 - ((r - b)/(1 - b))^2)
    above b, with p the higher pressure and r the lower over the higher one.
    From `laminar_ratio` to 1 the flow is a straight line to zero, because the
    slope of the ellipse is infinite at r = 1 and no solver survives that.

    Parameters
    ----------
    p_up, p_down : array_like, shape S
        Absolute pressure on either side, above zero [Pa]
    temp_up : array_like, shape S
        Temperature on the side with the higher pressure, above zero [K]
    conductance : array_like, shape S
        Sonic conductance C, zero or above [m^3/(s Pa)]
    critical_ratio : array_like, shape S
        Critical ratio b, from 0 to below `laminar_ratio` [-]
    laminar_ratio : array_like, shape S
        Where the straight line starts, below one; chosen: 0.999 changes the
        flow only where it is below 6.3 % of choked (b = 0.5) [-]

    Returns
    -------
    flow : ndarray, shape S
        Mass flow, positive from up to down [kg/s]

    Raises
    ------
    DomainError
        A pressure or temperature is not above zero, C is negative, or the
        ratios are not 0 <= b < laminar_ratio < 1.

    Notes
    -----
    S is the NumPy broadcast shape of all arguments. NaN in gives NaN out.
    1 dm^3/(s bar) is 1e-8 m^3/(s Pa). The 2013 edition puts an exponent m in
    place of the square root; its default 0.5 is what is used here.

    Sources
    -------
    ISO 6358:1989 (equation as repeated by two simulator manuals; rho0 and T0
    from memory).

    Examples
    --------
    >>> flow = iso6358_mass_flow(7e5, 1e5, 293.15, conductance=1e-8, critical_ratio=0.3)
    >>> print(f"{1e3 * flow:.3f} g/s")
    8.295 g/s

    """
    sign, high, ratio = _direction(p_up, p_down)
    temp = kelvin("temp_up", temp_up)
    c = not_below_zero("conductance", conductance, "m^3/(s Pa)")
    b = between("critical_ratio", critical_ratio, 0.0, 1.0, "")
    start = finite("laminar_ratio", laminar_ratio, "")
    require("laminar_ratio", start, (start <= b) | (start >= 1.0), "", "above b and below 1")
    ratio = np.maximum(ratio, b)
    line = _ellipse(start, b) * (1.0 - ratio) / (1.0 - start)
    # This way round NaN in laminar_ratio takes the line and gives NaN.
    factor = np.where(ratio <= start, _ellipse(ratio, b), line)
    return flat(sign * high * c * RHO_ANR * np.sqrt(T0_ISO6358 / temp) * factor)


def orifice_mass_flow(
    area: ArrayLike,
    p_up: ArrayLike,
    p_down: ArrayLike,
    temp_up: ArrayLike,
    *,
    cd: ArrayLike,
    gamma: ArrayLike = GAMMA_AIR,
    r_gas: ArrayLike = R_AIR,
) -> Array:
    """Return the mass flow through a hole, choked or not.

    qm = cd A p psi / sqrt(R T) when choked, otherwise
    qm = cd A p sqrt(2 gamma/((gamma - 1) R T) (r^(2/gamma) - r^((gamma + 1)/gamma))).

    Parameters
    ----------
    area : array_like, shape S
        Smallest cross-section, zero or above [m^2]
    p_up, p_down : array_like, shape S
        Absolute pressure on either side, above zero [Pa]
    temp_up : array_like, shape S
        Temperature on the side with the higher pressure, above zero [K]
    cd : array_like, shape S
        Discharge coefficient, above zero; no default, because it is known to
        no better than 0.6 to 1 for a hole nobody has seen [-]
    gamma : array_like, shape S
        Ratio of specific heats, above one [-]
    r_gas : array_like, shape S
        Specific gas constant, above zero [J/(kg K)]

    Returns
    -------
    flow : ndarray, shape S
        Mass flow, positive from up to down [kg/s]

    Raises
    ------
    DomainError
        An argument is outside the range given above.

    Notes
    -----
    S is the NumPy broadcast shape of all arguments. NaN in gives NaN out.
    A pore of a few micrometres is not a nozzle: there the flow is viscous and
    this formula gives too much.

    Sources
    -------
    De Saint-Venant and Wantzel; as in Cengel & Cimbala, Fluid Mechanics, 4th
    ed., section 12-4.

    Examples
    --------
    >>> flow = orifice_mass_flow(7.853982e-7, 7e5, 1e5, 293.15, cd=1.0)
    >>> print(f"{1e3 * flow:.4f} g/s")
    1.2977 g/s

    """
    hole = not_below_zero("area", area, "m^2")
    sign, high, ratio = _direction(p_up, p_down)
    temp = kelvin("temp_up", temp_up)
    coefficient, gas = above_zero("cd", cd, ""), above_zero("r_gas", r_gas, "J/(kg K)")
    g = checked_gamma(gamma)
    # At the critical ratio the general formula gives the choked flow, so holding r there is enough.
    ratio = np.maximum(ratio, critical_pressure_ratio(g))
    drop = np.clip(ratio ** (2.0 / g) - ratio ** ((g + 1.0) / g), 0.0, None)
    factor = np.sqrt(2.0 * g / (g - 1.0) * drop)
    return flat(sign * coefficient * hole * high * factor / np.sqrt(gas * temp))


def conductance_from_orifice(
    area: ArrayLike, *, cd: ArrayLike, gamma: ArrayLike = GAMMA_AIR, r_gas: ArrayLike = R_AIR
) -> Array:
    """Return the sonic conductance of a hole: C = cd A psi / (rho0 sqrt(R T0)).

    Parameters
    ----------
    area : array_like, shape S
        Smallest cross-section, zero or above [m^2]
    cd : array_like, shape S
        Discharge coefficient, above zero [-]
    gamma : array_like, shape S
        Ratio of specific heats, above one [-]
    r_gas : array_like, shape S
        Specific gas constant, above zero [J/(kg K)]

    Returns
    -------
    conductance : ndarray, shape S
        Sonic conductance C of ISO 6358 [m^3/(s Pa)]

    Raises
    ------
    DomainError
        An argument is outside the range given above.

    Notes
    -----
    In the trade's units about 0.2 cd dm^3/(s bar) for each mm^2. NaN in gives NaN out.

    Sources
    -------
    Equates the choked flows of ISO 6358 and of the ideal nozzle.

    Examples
    --------
    >>> print(f"{1e8 * conductance_from_orifice(1e-6, cd=1.0):.4f} dm^3/(s bar)")
    0.1992 dm^3/(s bar)

    """
    hole = not_below_zero("area", area, "m^2")
    return flat(hole * _conductance_per_area(cd, gamma, r_gas))


def orifice_area_from_conductance(
    conductance: ArrayLike,
    *,
    cd: ArrayLike,
    gamma: ArrayLike = GAMMA_AIR,
    r_gas: ArrayLike = R_AIR,
) -> Array:
    """Return the area of the hole that has a sonic conductance.

    Parameters
    ----------
    conductance : array_like, shape S
        Sonic conductance C, zero or above [m^3/(s Pa)]
    cd : array_like, shape S
        Discharge coefficient, above zero [-]
    gamma : array_like, shape S
        Ratio of specific heats, above one [-]
    r_gas : array_like, shape S
        Specific gas constant, above zero [J/(kg K)]

    Returns
    -------
    area : ndarray, shape S
        Smallest cross-section [m^2]

    Raises
    ------
    DomainError
        An argument is outside the range given above.

    Notes
    -----
    The exact inverse of conductance_from_orifice. NaN in gives NaN out.

    Sources
    -------
    Equates the choked flows of ISO 6358 and of the ideal nozzle.

    Examples
    --------
    >>> print(f"{1e6 * orifice_area_from_conductance(1e-8, cd=1.0):.3f} mm^2")
    5.020 mm^2

    """
    c = not_below_zero("conductance", conductance, "m^3/(s Pa)")
    return flat(c / _conductance_per_area(cd, gamma, r_gas))


def _conductance_per_area(cd: ArrayLike, gamma: ArrayLike, r_gas: ArrayLike) -> Array:
    """Return cd psi / (rho0 sqrt(R T0)) [m/(s Pa)]."""
    coefficient, gas = above_zero("cd", cd, ""), above_zero("r_gas", r_gas, "J/(kg K)")
    return flat(coefficient * choked_flow_factor(gamma) / (RHO_ANR * np.sqrt(gas * T0_ISO6358)))
