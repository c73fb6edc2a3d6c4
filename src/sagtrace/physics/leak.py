"""How fast a closed volume or a loaded air spring loses gas.

Assumes a perfect gas and one temperature throughout it. Everything is SI and
absolute: Pa (never gauge), K, m^3, s, mol. Positive is outward.

Two different tests, because two things stay constant: a rigid part keeps its
volume and loses pressure; a spring that carries a load keeps its pressure and
loses height. A pressure gauge on a leaking spring shows nothing.
Out of scope: vapour that condenses, a load or an effective area that changes
during the test.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from sagtrace.physics._checks import (
    Array,
    above_zero,
    finite,
    flat,
    kelvin,
    not_below_zero,
    pascal,
    require,
)
from sagtrace.physics.airflow import orifice_mass_flow
from sagtrace.physics.constants import M_AIR, P0_ISO6358, P_ATM, R_GAS, T0_ISO6358

__all__ = [
    "bubble_growth_time",
    "height_speed_from_conductance",
    "leak_flow_pv",
    "leak_from_height_decay",
    "leak_from_pressure_decay",
    "leak_scaling_choked",
    "leak_scaling_laminar",
    "nominal_hole_diameter",
]


def leak_from_pressure_decay(
    volume: ArrayLike,
    p_start: ArrayLike,
    p_end: ArrayLike,
    duration: ArrayLike,
    *,
    temp_start: ArrayLike,
    temp_end: ArrayLike,
) -> Array:
    """Return the mean rate at which gas left a rigid closed volume.

    n = V/R (p1/T1 - p2/T2) / t; negative if gas came in (a vacuum test).

    Parameters
    ----------
    volume : array_like, shape S
        Internal volume with everything connected to it, above zero [m^3]
    p_start, p_end : array_like, shape S
        Absolute pressure at the two readings, above zero [Pa]
    duration : array_like, shape S
        Time between the readings, above zero [s]
    temp_start, temp_end : array_like, shape S
        Gas temperature at the two readings, above zero; no default, because
        1 K of drift looks like a leak [K]

    Returns
    -------
    rate : ndarray, shape S
        Mean molar leak rate, positive outward [mol/s]

    Raises
    ------
    DomainError
        An argument is not above zero.

    Notes
    -----
    S is the NumPy broadcast shape of all arguments. NaN in gives NaN out.
    For rigid parts only (reservoir, line, valve block): a loaded spring shows
    no pressure drop, use leak_from_height_decay.

    Sources
    -------
    40 CFR 1065.644 (vacuum-decay leak rate), sign reversed.

    Examples
    --------
    >>> rate = leak_from_pressure_decay(
    ...     2.5e-3, 800e3, 780e3, 3600, temp_start=293.15, temp_end=293.15
    ... )
    >>> print(f"{rate:.3e} mol/s")
    5.698e-06 mol/s

    """
    v, time = above_zero("volume", volume, "m^3"), above_zero("duration", duration, "s")
    p1, p2 = pascal("p_start", p_start), pascal("p_end", p_end)
    t1, t2 = kelvin("temp_start", temp_start), kelvin("temp_end", temp_end)
    return flat(v / R_GAS * (p1 / t1 - p2 / t2) / time)


def leak_from_height_decay(
    area: ArrayLike,
    pressure: ArrayLike,
    height_drop: ArrayLike,
    duration: ArrayLike,
    *,
    volume_start: ArrayLike,
    temp_start: ArrayLike,
    temp_end: ArrayLike,
) -> Array:
    """Return the mean rate at which gas left a spring that carries a constant load.

    n = p/R (V1/T1 - (V1 - A drop)/T2) / t: pressure stays, volume shrinks.

    Parameters
    ----------
    area : array_like, shape S
        Effective area, constant over the drop, above zero [m^2]
    pressure : array_like, shape S
        Absolute pressure in the spring, above zero [Pa]
    height_drop : array_like, shape S
        How far the spring itself got shorter; negative if it got longer. A drop
        at the wheel arch times the lever ratio of the suspension [m]
    duration : array_like, shape S
        Time between the readings, above zero [s]
    volume_start : array_like, shape S
        Gas volume at the first reading, above zero; it decides how much a
        change of temperature counts [m^3]
    temp_start, temp_end : array_like, shape S
        Gas temperature at the two readings, above zero; no default, because a
        closed spring drops about 0.5 mm for each kelvin of cooling [K]

    Returns
    -------
    rate : ndarray, shape S
        Mean molar leak rate, positive outward [mol/s]

    Raises
    ------
    DomainError
        An argument is outside its range, or the drop leaves no gas volume.

    Notes
    -----
    S is the NumPy broadcast shape of all arguments. NaN in gives NaN out.
    A healthy spring that got warmer between the readings gives a result around
    zero only if both temperatures are those of the gas, not of the garage.

    Sources
    -------
    Perfect gas law at constant pressure.

    Examples
    --------
    >>> rate = leak_from_height_decay(
    ...     0.01, 542624, 0.02, 12 * 3600, volume_start=1.5e-3, temp_start=293.15, temp_end=293.15
    ... )
    >>> print(f"{rate:.3e} mol/s")
    1.031e-06 mol/s

    """
    a, p = above_zero("area", area, "m^2"), pascal("pressure", pressure)
    v1, time = (
        above_zero("volume_start", volume_start, "m^3"),
        above_zero("duration", duration, "s"),
    )
    t1, t2 = kelvin("temp_start", temp_start), kelvin("temp_end", temp_end)
    drop = finite("height_drop", height_drop, "m", "Millimetres? Divide by 1000.")
    v2 = flat(v1 - a * drop)
    hint = "Millimetres? Divide by 1000. On its bump stop the spring carries no load."
    require("height_drop", drop, v2 <= 0.0, "m", "small enough to leave gas in the spring", hint)
    return flat(p / R_GAS * (v1 / t1 - v2 / t2) / time)


def leak_flow_pv(pressure: ArrayLike, area: ArrayLike, height_speed: ArrayLike) -> Array:
    """Return the leak of a loaded spring in the leak tester's unit: Q = p A (-dh/dt).

    Parameters
    ----------
    pressure : array_like, shape S
        Absolute pressure in the spring, above zero [Pa]
    area : array_like, shape S
        Effective area, above zero [m^2]
    height_speed : array_like, shape S
        dh/dt of the spring at constant temperature, negative when sinking [m/s]

    Returns
    -------
    flow : ndarray, shape S
        Leak at the temperature of the gas, positive outward [Pa m^3/s]

    Raises
    ------
    DomainError
        Pressure or area is not above zero.

    Notes
    -----
    Absolute pressure: with the gauge reading the leak comes out 10 to 25 % too
    small. NaN in gives NaN out.

    Sources
    -------
    Perfect gas law at constant pressure and temperature.

    Examples
    --------
    >>> print(f"{leak_flow_pv(542624, 0.01, -0.02 / 43200):.3e} Pa m^3/s")
    2.512e-03 Pa m^3/s

    """
    p, a = pascal("pressure", pressure), above_zero("area", area, "m^2")
    return flat(-p * a * finite("height_speed", height_speed, "m/s"))


def height_speed_from_conductance(
    area: ArrayLike, *, conductance: ArrayLike, temp: ArrayLike = T0_ISO6358
) -> Array:
    """Return how fast a loaded spring sinks through a choked leak: dh/dt = -C p0/A sqrt(T/T0).

    Parameters
    ----------
    area : array_like, shape S
        Effective area, above zero [m^2]
    conductance : array_like, shape S
        Sonic conductance of the leak, zero or above [m^3/(s Pa)]
    temp : array_like, shape S
        Gas temperature, above zero [K]

    Returns
    -------
    speed : ndarray, shape S
        dh/dt, negative when sinking [m/s]

    Raises
    ------
    DomainError
        Area or temperature is not above zero, or the conductance is negative.

    Notes
    -----
    The load does not enter: a choked volume flow does not depend on pressure.
    0.28 % more than from the mass flow of iso6358_mass_flow, because
    rho0 R T0 is 99 716 Pa and not p0. NaN in gives NaN out.

    Sources
    -------
    ISO 6358:1989, choked flow (reference values from memory).

    Examples
    --------
    >>> print(f"{3.6e6 * height_speed_from_conductance(0.01, conductance=2e-12):.1f} mm/h")
    -72.0 mm/h

    """
    a, t = above_zero("area", area, "m^2"), kelvin("temp", temp)
    c = not_below_zero("conductance", conductance, "m^3/(s Pa)")
    return flat(-c * P0_ISO6358 / a * np.sqrt(t / T0_ISO6358))


def leak_scaling_choked(p_test: ArrayLike, p_use: ArrayLike) -> Array:
    """Return by how much a hole leaks more at p_use than at p_test, choked: p_use/p_test.

    Parameters
    ----------
    p_test, p_use : array_like, shape S
        Absolute pressure at the test and in use, above zero [Pa]

    Returns
    -------
    factor : ndarray, shape S
        Leak (mol/s) in use over leak at the test [-]

    Raises
    ------
    DomainError
        A pressure is not above zero.

    Notes
    -----
    For holes and cracks wide enough for choked flow. NaN in gives NaN out.

    Sources
    -------
    Choked flow of a perfect gas is proportional to absolute pressure.

    Examples
    --------
    >>> print(f"{leak_scaling_choked(542624, 800e3):.3f}")
    1.474

    """
    return flat(pascal("p_use", p_use) / pascal("p_test", p_test))


def leak_scaling_laminar(
    p_test: ArrayLike, p_use: ArrayLike, *, p_outside: ArrayLike = P_ATM
) -> Array:
    """Return by how much a fine capillary leaks more at p_use than at p_test.

    (p_use^2 - p_out^2) / (p_test^2 - p_out^2)

    Parameters
    ----------
    p_test, p_use : array_like, shape S
        Absolute pressure at the test and in use, above p_outside [Pa]
    p_outside : array_like, shape S
        Absolute pressure outside [Pa]

    Returns
    -------
    factor : ndarray, shape S
        Leak (mol/s) in use over leak at the test [-]

    Raises
    ------
    DomainError
        A pressure is not above zero, or one inside is not above the one outside.

    Notes
    -----
    For viscous flow in fine pores; the truth for an unknown leak lies between
    this and leak_scaling_choked. NaN in gives NaN out.

    Sources
    -------
    Viscous laminar flow of a perfect gas; treated in EN 1779:1999.

    Examples
    --------
    >>> print(f"{leak_scaling_laminar(542624.25, 800e3):.3f}")
    2.216

    """
    outside = pascal("p_outside", p_outside)
    squares = []
    for name, value in (("p_test", p_test), ("p_use", p_use)):
        inside = pascal(name, value)
        hint = "A gauge reading? Add the barometer."
        require(name, inside, inside <= outside, "Pa", "above the pressure outside", hint)
        squares.append(flat(np.square(inside) - np.square(outside)))
    return flat(squares[1] / squares[0])


def bubble_growth_time(
    leak_pv: ArrayLike, *, diameter: ArrayLike, p_outside: ArrayLike = P_ATM
) -> Array:
    """Return the time in which a leak fills one bubble: t = pi/6 d^3 p_out / Q.

    Parameters
    ----------
    leak_pv : array_like, shape S
        Leak, above zero [Pa m^3/s]
    diameter : array_like, shape S
        Bubble diameter, above zero [m]
    p_outside : array_like, shape S
        Absolute pressure outside [Pa]

    Returns
    -------
    duration : ndarray, shape S
        Time for one bubble [s]

    Raises
    ------
    DomainError
        An argument is not above zero.

    Notes
    -----
    Ignores the pressure of the film itself, some 50 Pa at 2 mm. How long to
    look, not how big the leak is: a bubble test finds a place, it does not
    measure. NaN in gives NaN out.

    Sources
    -------
    Volume of a sphere; on the use of bubbles ASTM E515-11, scope.

    Examples
    --------
    >>> print(f"{bubble_growth_time(1e-4, diameter=2e-3):.2f} s")
    4.24 s

    """
    q, p = above_zero("leak_pv", leak_pv, "Pa m^3/s"), pascal("p_outside", p_outside)
    d = above_zero("diameter", diameter, "m", "Millimetres? Divide by 1000.")
    return flat(np.pi / 6.0 * d**3 * p / q)


def nominal_hole_diameter(
    leak: ArrayLike,
    pressure: ArrayLike,
    temp: ArrayLike,
    *,
    cd: ArrayLike,
    p_outside: ArrayLike = P_ATM,
) -> Array:
    """Return the diameter of the round hole that would leak as much.

    Parameters
    ----------
    leak : array_like, shape S
        Leak, zero or above [mol/s]
    pressure : array_like, shape S
        Absolute pressure inside, above p_outside [Pa]
    temp : array_like, shape S
        Gas temperature, above zero [K]
    cd : array_like, shape S
        Discharge coefficient, above zero [-]
    p_outside : array_like, shape S
        Absolute pressure outside [Pa]

    Returns
    -------
    diameter : ndarray, shape S
        Nominal diameter, for comparing leaks [m]

    Raises
    ------
    DomainError
        An argument is outside its range.

    Notes
    -----
    A picture, not a measurement: real slow leaks are long cracks and pores, and
    below some 10 micrometres friction makes the true opening wider. NaN in
    gives NaN out.

    Sources
    -------
    Flow of a perfect gas through an ideal nozzle, see orifice_mass_flow.

    Examples
    --------
    >>> print(f"{1e6 * nominal_hole_diameter(1.0307e-6, 542624, 293.15, cd=0.8):.1f} um")
    6.1 um

    """
    mass_flow = not_below_zero("leak", leak, "mol/s") * M_AIR
    inside, outside = pascal("pressure", pressure), pascal("p_outside", p_outside)
    hint = "A gauge reading? Add the barometer."
    require("pressure", inside, inside <= outside, "Pa", "above the pressure outside", hint)
    flow_per_area = orifice_mass_flow(1.0, inside, outside, kelvin("temp", temp), cd=cd)
    return flat(np.sqrt(4.0 * mass_flow / (np.pi * flow_per_area)))
