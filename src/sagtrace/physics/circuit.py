"""Wires, joints and loops on direct current.

Assumes copper at one temperature along its length and a steady current. SI:
V, A, ohm, m, K. A limit for a voltage drop is not physics and is not here: it
comes from the vehicle maker, and otherwise from the knowledge files.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from sagtrace.errors import InputError
from sagtrace.physics._checks import (
    Array,
    above_zero,
    between,
    finite,
    flat,
    kelvin,
    not_below_zero,
    require,
)
from sagtrace.physics.constants import COPPER_RHO20, COPPER_TEMPCO20, T_20C

__all__ = [
    "awg_area",
    "awg_diameter",
    "chain_drops",
    "ChainDrops",
    "joint_power",
    "joint_resistance",
    "loop_current",
    "resistance_temperature_factor",
    "voltage_drop",
    "wire_resistance",
    "wire_resistance_from_table",
]

AWG_DIAMETER_36 = 0.127e-3  # [m] exact: diameter of gauge 36, 0.005 in (ASTM B258, from memory)
AWG_RATIO = 92.0  # [-] exact: diameter of gauge 0000 over that of gauge 36 (ASTM B258)
AWG_STEPS = 39.0  # [-] exact: gauges from 0000 (-3) to 36 (ASTM B258)


class ChainDrops(NamedTuple):
    """What each element between two neighbouring probe points drops, has and burns."""

    drop: Array  # [V]
    resistance: Array  # [ohm]
    power: Array  # [W]


def resistance_temperature_factor(temp: ArrayLike, *, tempco: ArrayLike = COPPER_TEMPCO20) -> Array:
    """Return resistance over resistance at 20 C: 1 + alpha (T - 293.15).

    Parameters
    ----------
    temp : array_like, shape S
        Temperature of the conductor, above zero [K]
    tempco : array_like, shape S
        Temperature coefficient at 20 C [1/K]

    Returns
    -------
    factor : ndarray, shape S
        Resistance ratio, above zero [-]

    Raises
    ------
    DomainError
        The temperature is so low that the factor is not above zero.

    Notes
    -----
    The temperature table that goes with IEC 60228 uses 0.004 in place of
    0.00393 and is 0.3 % apart at 100 C. NaN in gives NaN out.

    Sources
    -------
    IEC 60028, from memory.

    Examples
    --------
    >>> print(f"{resistance_temperature_factor(333.15):.4f}")
    1.1572

    """
    t = kelvin("temp", temp)
    factor = flat(1.0 + finite("tempco", tempco, "1/K") * (t - T_20C))
    require("temp", t, factor <= 0.0, "K", "where the straight line holds", "Add 273.15?")
    return factor


def wire_resistance(
    area: ArrayLike,
    length: ArrayLike,
    temp: ArrayLike = T_20C,
    rho20: ArrayLike = COPPER_RHO20,
    tempco: ArrayLike = COPPER_TEMPCO20,
) -> Array:
    """Return the resistance of a wire from its copper: rho20 l/A (1 + alpha (T - 293.15)).

    Parameters
    ----------
    area : array_like, shape S
        Cross-section of the conductor, above zero [m^2]
    length : array_like, shape S
        Length of the conductor, there and back if both carry the current [m]
    temp : array_like, shape S
        Temperature of the conductor, above zero [K]
    rho20 : array_like, shape S
        Resistivity at 20 C, above zero [ohm m]
    tempco : array_like, shape S
        Temperature coefficient at 20 C [1/K]

    Returns
    -------
    resistance : ndarray, shape S
        Resistance [ohm]

    Raises
    ------
    DomainError
        An argument is outside its range.

    Notes
    -----
    A real automotive wire of a nominal cross-section may be 7 to 10 % above
    this and still be within limits. NaN in gives NaN out.

    Sources
    -------
    IEC 60028, from memory.

    Examples
    --------
    >>> print(f"{1e3 * wire_resistance(2.5e-6, 1.0):.4f} mohm")
    6.8964 mohm

    """
    a = above_zero("area", area, "m^2", "Square millimetres? Divide by 1e6.")
    rho, long = above_zero("rho20", rho20, "ohm m"), not_below_zero("length", length, "m")
    return flat(rho * long / a * resistance_temperature_factor(temp, tempco=tempco))


def wire_resistance_from_table(
    resistance_per_length: ArrayLike,
    length: ArrayLike,
    temp: ArrayLike = T_20C,
    *,
    tempco: ArrayLike = COPPER_TEMPCO20,
) -> Array:
    """Return the resistance of a wire from a table's value at 20 C.

    Parameters
    ----------
    resistance_per_length : array_like, shape S
        Resistance for each metre at 20 C, zero or above [ohm/m]
    length : array_like, shape S
        Length of the conductor, there and back if both carry the current [m]
    temp : array_like, shape S
        Temperature of the conductor, above zero [K]
    tempco : array_like, shape S
        Temperature coefficient at 20 C [1/K]

    Returns
    -------
    resistance : ndarray, shape S
        Resistance [ohm]

    Raises
    ------
    DomainError
        An argument is outside its range.

    Notes
    -----
    NaN in gives NaN out.

    Sources
    -------
    The table is the caller's, for example ISO 6722-1 or IEC 60228.

    Examples
    --------
    >>> print(f"{1e3 * wire_resistance_from_table(7.60e-3, 4.0, 333.15):.2f} mohm")
    35.18 mohm

    """
    hint = "Milliohms? Divide by 1000."
    per_metre = not_below_zero("resistance_per_length", resistance_per_length, "ohm/m", hint)
    factor = resistance_temperature_factor(temp, tempco=tempco)
    return flat(per_metre * not_below_zero("length", length, "m") * factor)


def awg_diameter(gauge: ArrayLike) -> Array:
    """Return the diameter of a solid wire by gauge: 0.127 mm 92^((36 - n)/39).

    Parameters
    ----------
    gauge : array_like, shape S
        American wire gauge, -3 (0000) to 40 [-]

    Returns
    -------
    diameter : ndarray, shape S
        Diameter of the solid conductor [m]

    Raises
    ------
    DomainError
        The gauge is outside -3 to 40.

    Notes
    -----
    A bigger gauge is a thinner wire. NaN in gives NaN out.

    Sources
    -------
    ASTM B258, from memory.

    Examples
    --------
    >>> print(f"{1e3 * awg_diameter(12):.3f} mm")
    2.053 mm

    """
    n = between("gauge", gauge, -3.0, 40.0, "")
    return flat(AWG_DIAMETER_36 * AWG_RATIO ** ((36.0 - n) / AWG_STEPS))


def awg_area(gauge: ArrayLike) -> Array:
    """Return the cross-section of a solid wire by gauge.

    Parameters
    ----------
    gauge : array_like, shape S
        American wire gauge, -3 (0000) to 40 [-]

    Returns
    -------
    area : ndarray, shape S
        Cross-section of the solid conductor [m^2]

    Raises
    ------
    DomainError
        The gauge is outside -3 to 40.

    Notes
    -----
    NaN in gives NaN out.

    Sources
    -------
    ASTM B258, from memory.

    Examples
    --------
    >>> print(f"{1e6 * awg_area(12):.2f} mm^2")
    3.31 mm^2

    """
    return flat(np.pi / 4.0 * np.square(awg_diameter(gauge)))


def voltage_drop(resistance: ArrayLike, current: ArrayLike) -> Array:
    """Return the voltage lost: V = I R.

    Parameters
    ----------
    resistance : array_like, shape S
        Resistance, zero or above [ohm]
    current : array_like, shape S
        Current, either sign [A]

    Returns
    -------
    drop : ndarray, shape S
        Voltage along the current [V]

    Raises
    ------
    DomainError
        The resistance is negative.

    Notes
    -----
    NaN in gives NaN out.

    Sources
    -------
    Ohm's law.

    Examples
    --------
    >>> print(f"{voltage_drop(30.4e-3, 20.0):.3f} V")
    0.608 V

    """
    r = not_below_zero("resistance", resistance, "ohm")
    return flat(r * finite("current", current, "A"))


def joint_resistance(drop: ArrayLike, current: ArrayLike) -> Array:
    """Return the resistance of a joint from its voltage drop under load: R = V/I.

    Parameters
    ----------
    drop : array_like, shape S
        Voltage across the joint while the current flows, either sign [V]
    current : array_like, shape S
        Current through it at the same moment, above zero [A]

    Returns
    -------
    resistance : ndarray, shape S
        Resistance; a little below zero is noise, much below is swapped leads [ohm]

    Raises
    ------
    DomainError
        The current is not above zero.

    Notes
    -----
    Without load there is no drop and this test shows nothing. NaN in gives NaN out.

    Sources
    -------
    Ohm's law.

    Examples
    --------
    >>> print(f"{1e3 * joint_resistance(0.5, 20.0):.0f} mohm")
    25 mohm

    """
    hint = "A voltage drop tells something only while current flows."
    v = finite("drop", drop, "V", "Millivolts? Divide by 1000.")
    return flat(v / above_zero("current", current, "A", hint))


def joint_power(drop: ArrayLike, current: ArrayLike) -> Array:
    """Return the heat made in a joint: P = V I.

    Parameters
    ----------
    drop : array_like, shape S
        Voltage across the joint while the current flows [V]
    current : array_like, shape S
        Current through it at the same moment [A]

    Returns
    -------
    power : ndarray, shape S
        Heat [W]

    Raises
    ------
    DomainError
        An argument is infinite.

    Notes
    -----
    NaN in gives NaN out.

    Sources
    -------
    Joule's law.

    Examples
    --------
    >>> print(f"{joint_power(0.5, 20.0):.0f} W")
    10 W

    """
    return flat(finite("drop", drop, "V") * finite("current", current, "A"))


def loop_current(
    voltage: ArrayLike, resistance: ArrayLike, *, added_resistance: ArrayLike = 0.0
) -> Array:
    """Return the current of a loop without back EMF, such as a stalled motor: V/(R + R_added).

    Parameters
    ----------
    voltage : array_like, shape S
        Voltage of the source, zero or above [V]
    resistance : array_like, shape S
        Healthy resistance of the whole loop, above zero [ohm]
    added_resistance : array_like, shape S
        Extra resistance of a bad joint, zero or above [ohm]

    Returns
    -------
    current : ndarray, shape S
        Current [A]

    Raises
    ------
    DomainError
        An argument is outside its range.

    Notes
    -----
    A bad joint lowers the current of a stalled motor: it protects the fuse and
    burns itself. NaN in gives NaN out.

    Sources
    -------
    Ohm's law.

    Examples
    --------
    >>> print(loop_current(12.6, 0.30).round(6), loop_current(12.6, 0.3, added_resistance=0.3))
    42.0 21.0

    """
    v, r = not_below_zero("voltage", voltage, "V"), above_zero("resistance", resistance, "ohm")
    return flat(v / (r + not_below_zero("added_resistance", added_resistance, "ohm")))


def chain_drops(potentials: ArrayLike, current: ArrayLike) -> ChainDrops:
    """Return drop, resistance and heat of every element along a path probed point by point.

    Parameters
    ----------
    potentials : array_like, shape (..., n + 1)
        Voltage at each point against one common point, in the direction of the
        current, from the source onwards [V]
    current : array_like, shape (...)
        Current at the same moment, above zero [A]

    Returns
    -------
    drop : ndarray, shape (..., n)
        Voltage across each element [V]
    resistance : ndarray, shape (..., n)
        Its resistance [ohm]
    power : ndarray, shape (..., n)
        Heat made in it [W]

    Raises
    ------
    DomainError
        The current is not above zero.
    InputError
        There are fewer than two points.

    Notes
    -----
    A negative drop says that two points were swapped or that the current
    changed between them. NaN in gives NaN out, in the two elements it touches.

    Sources
    -------
    Ohm's and Joule's laws.

    Examples
    --------
    >>> chain = chain_drops([12.6, 12.5, 12.0, 11.9], 20.0)
    >>> (1e3 * chain.resistance).round(3).tolist()
    [5.0, 25.0, 5.0]

    """
    v = finite("potentials", potentials, "V")
    if v.ndim == 0 or v.shape[-1] < 2:
        raise InputError(
            "potentials: expected at least two points, one on each side of an element."
        )
    amps = above_zero("current", current, "A")[..., np.newaxis]
    drop = flat(-np.diff(v, axis=-1))
    return ChainDrops(drop, joint_resistance(drop, amps), joint_power(drop, amps))
