"""A permanent-magnet motor in the steady state.

Assumes constant flux: torque follows current and back EMF follows speed. Brush
drop counts as part of the resistance.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from sagtrace.physics._checks import Array, above_zero, flat, not_below_zero, require

__all__ = ["motor_speed", "motor_speed_ratio"]


def motor_speed(
    voltage: ArrayLike,
    current: ArrayLike,
    *,
    armature_resistance: ArrayLike,
    back_emf_constant: ArrayLike,
    feed_resistance: ArrayLike = 0.0,
) -> Array:
    """Return the speed: (V - I (R_feed + R_a)) / k_e, zero when nothing is left over.

    Parameters
    ----------
    voltage : array_like, shape S
        Voltage ahead of the feed resistance, zero or above [V]
    current : array_like, shape S
        Current, set by the torque, zero or above [A]
    armature_resistance : array_like, shape S
        Resistance of armature and brushes, zero or above [ohm]
    back_emf_constant : array_like, shape S
        Back EMF for each unit of speed, above zero [V s/rad]
    feed_resistance : array_like, shape S
        Resistance of wires and joints in the loop, zero or above [ohm]

    Returns
    -------
    speed : ndarray, shape S
        Steady speed [rad/s]

    Raises
    ------
    DomainError
        An argument is outside its range.

    Notes
    -----
    At constant torque a bad joint leaves the current unchanged and costs
    speed; it cannot blow the fuse. Zero means that the motor cannot turn at
    this torque: it stalls. NaN in gives NaN out.

    Sources
    -------
    Any text on direct-current machines, permanent magnets, steady state.

    Examples
    --------
    >>> speed = motor_speed(12.0, 20.0, armature_resistance=0.15, back_emf_constant=0.03)
    >>> print(f"{speed:.0f} rad/s")
    300 rad/s

    """
    ke = above_zero("back_emf_constant", back_emf_constant, "V s/rad")
    return flat(_back_emf(voltage, current, armature_resistance, feed_resistance) / ke)


def motor_speed_ratio(
    voltage: ArrayLike,
    current: ArrayLike,
    *,
    nominal_voltage: ArrayLike,
    nominal_current: ArrayLike,
    armature_resistance: ArrayLike,
) -> Array:
    """Return speed over nominal speed: (V - I R_a) / (V_n - I_n R_a).

    Parameters
    ----------
    voltage, current : array_like, shape S
        At the motor's terminals, zero or above [V, A]
    nominal_voltage, nominal_current : array_like, shape S
        Where the nominal speed is told, above zero and zero or above [V, A]
    armature_resistance : array_like, shape S
        Resistance of armature and brushes, zero or above [ohm]

    Returns
    -------
    ratio : ndarray, shape S
        Speed over nominal speed, zero when stalled [-]

    Raises
    ------
    DomainError
        An argument is outside its range, or the nominal point is a stall.

    Notes
    -----
    NaN in gives NaN out.

    Sources
    -------
    Any text on direct-current machines, permanent magnets, steady state.

    Examples
    --------
    >>> ratio = motor_speed_ratio(
    ...     10.0, 20.0, nominal_voltage=12.0, nominal_current=20.0, armature_resistance=0.15
    ... )
    >>> print(f"{ratio:.4f}")
    0.7778

    """
    v = above_zero("nominal_voltage", nominal_voltage, "V")
    i = not_below_zero("nominal_current", nominal_current, "A")
    nominal = _back_emf(v, i, armature_resistance, 0.0)
    ra = np.asarray(armature_resistance, dtype=np.float64)
    rule = "low enough for the motor to turn at its nominal point"
    require("armature_resistance", ra, nominal <= 0.0, "ohm", rule, "Milliohms? Divide by 1000.")
    return flat(_back_emf(voltage, current, armature_resistance, 0.0) / nominal)


def _back_emf(
    voltage: ArrayLike, current: ArrayLike, armature: ArrayLike, feed: ArrayLike
) -> Array:
    """Return what is left for back EMF, never below zero."""
    v, i = not_below_zero("voltage", voltage, "V"), not_below_zero("current", current, "A")
    ra = not_below_zero("armature_resistance", armature, "ohm")
    return flat(np.maximum(v - i * (not_below_zero("feed_resistance", feed, "ohm") + ra), 0.0))
