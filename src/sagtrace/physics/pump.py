"""A piston pump driven by a permanent-magnet motor: what it delivers and what that tells.

Assumes one stage, a perfect gas, valves without loss and a steady state. SI and
absolute pressure. Delivery is told as molar flow, because a volume flow means
nothing without its state.
Out of scope: the time a motor takes to start, the warming of the pump, the
dryer's own pressure drop.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from sagtrace.physics._checks import (
    Array,
    above_zero,
    at_least,
    flat,
    kelvin,
    not_below_zero,
    pascal,
    require,
)
from sagtrace.physics._compression import (
    charge_temperature,
    compression_temperature,
    isothermal_power,
    polytropic_power,
)
from sagtrace.physics._duty import allowed_duty, duty, duty_minutes_per_day, full_credit_time
from sagtrace.physics._motor import motor_speed, motor_speed_ratio
from sagtrace.physics.constants import P_ATM, R_GAS

__all__ = [
    "allowed_duty",
    "charge_temperature",
    "compression_temperature",
    "delivery",
    "duty",
    "duty_minutes_per_day",
    "fill_time_isothermal",
    "free_air_between",
    "free_air_to_raise",
    "full_credit_time",
    "isothermal_power",
    "motor_speed",
    "motor_speed_ratio",
    "polytropic_power",
    "pump_health",
    "reference_delivery",
    "volumetric_efficiency",
    "zero_delivery_ratio",
]


def volumetric_efficiency(
    pressure_ratio: ArrayLike, *, clearance: ArrayLike, polytropic: ArrayLike
) -> Array:
    """Return free air taken in over swept volume: 1 - c (r^(1/n) - 1), not below zero.

    Parameters
    ----------
    pressure_ratio : array_like, shape S
        Delivery over intake absolute pressure, one or above [-]
    clearance : array_like, shape S
        Clearance volume over swept volume, zero or above [-]
    polytropic : array_like, shape S
        Exponent n of the gas left in the clearance, one or above [-]

    Returns
    -------
    efficiency : ndarray, shape S
        Volumetric efficiency, zero beyond zero_delivery_ratio [-]

    Raises
    ------
    DomainError
        An argument is outside its range.

    Notes
    -----
    Only the gas left in the clearance; worn rings and valves take more, and
    that is what pump_health shows. NaN in gives NaN out.

    Sources
    -------
    Eastop & McConkey, Applied Thermodynamics, chapter on positive displacement
    machines (from memory; the formula is in every thermodynamics text).

    Examples
    --------
    >>> print(f"{volumetric_efficiency(8.0, clearance=0.04, polytropic=1.3):.5f}")
    0.84196

    """
    r = at_least("pressure_ratio", pressure_ratio, 1.0, "", "Delivery over intake, absolute.")
    c = not_below_zero("clearance", clearance, "", "Per cent? Divide by 100.")
    n = at_least("polytropic", polytropic, 1.0, "")
    return flat(np.maximum(1.0 - c * (r ** (1.0 / n) - 1.0), 0.0))


def zero_delivery_ratio(*, clearance: ArrayLike, polytropic: ArrayLike) -> Array:
    """Return the pressure ratio at which a pump only breathes its own clearance: (1 + 1/c)^n.

    Parameters
    ----------
    clearance : array_like, shape S
        Clearance volume over swept volume, above zero [-]
    polytropic : array_like, shape S
        Exponent n of the gas left in the clearance, one or above [-]

    Returns
    -------
    ratio : ndarray, shape S
        Delivery over intake absolute pressure [-]

    Raises
    ------
    DomainError
        An argument is outside its range.

    Notes
    -----
    NaN in gives NaN out.

    Sources
    -------
    Root of the formula in volumetric_efficiency.

    Examples
    --------
    >>> print(f"{zero_delivery_ratio(clearance=0.10, polytropic=1.3):.2f}")
    22.58

    """
    c = above_zero("clearance", clearance, "", "Per cent? Divide by 100.")
    return flat((1.0 + 1.0 / c) ** at_least("polytropic", polytropic, 1.0, ""))


def delivery(
    displacement: ArrayLike,
    speed: ArrayLike,
    p_intake: ArrayLike,
    temp_intake: ArrayLike,
    pressure_ratio: ArrayLike,
    *,
    clearance: ArrayLike,
    polytropic: ArrayLike,
) -> Array:
    """Return what a healthy piston pump delivers: eta_v V_s f p/(R T).

    Parameters
    ----------
    displacement : array_like, shape S
        Swept volume for each revolution, above zero [m^3]
    speed : array_like, shape S
        Revolutions a second, zero or above [1/s]
    p_intake : array_like, shape S
        Absolute pressure at the intake, above zero [Pa]
    temp_intake : array_like, shape S
        Temperature at the intake, above zero [K]
    pressure_ratio : array_like, shape S
        Delivery over intake absolute pressure, one or above [-]
    clearance : array_like, shape S
        Clearance volume over swept volume, zero or above [-]
    polytropic : array_like, shape S
        Exponent n of the gas left in the clearance, one or above [-]

    Returns
    -------
    delivery : ndarray, shape S
        Molar flow [mol/s]

    Raises
    ------
    DomainError
        An argument is outside its range.

    Notes
    -----
    S is the NumPy broadcast shape of all arguments. NaN in gives NaN out.

    Sources
    -------
    As volumetric_efficiency, with the perfect gas law.

    Examples
    --------
    >>> flow = delivery(8e-6, 50.0, 101325, 293.15, 8.0, clearance=0.04, polytropic=1.3)
    >>> print(f"{flow:.4f} mol/s")
    0.0140 mol/s

    """
    swept = above_zero("displacement", displacement, "m^3", "Cubic centimetres? Divide by 1e6.")
    turns = not_below_zero("speed", speed, "1/s", "Revolutions a minute? Divide by 60.")
    p, t = pascal("p_intake", p_intake), kelvin("temp_intake", temp_intake)
    eta = volumetric_efficiency(pressure_ratio, clearance=clearance, polytropic=polytropic)
    return flat(eta * swept * turns * p / (R_GAS * t))


def reference_delivery(
    free_air_delivery: ArrayLike,
    *,
    nominal_voltage: ArrayLike,
    nominal_current: ArrayLike,
    voltage: ArrayLike,
    current: ArrayLike,
    armature_resistance: ArrayLike,
    p_intake: ArrayLike,
    temp_intake: ArrayLike,
    p_delivery: ArrayLike,
    clearance: ArrayLike,
    polytropic: ArrayLike,
) -> Array:
    """Return what a healthy pump would deliver here and now.

    Free air delivery without back pressure at nominal voltage, scaled by the
    motor's speed, the clearance loss at the actual pressure ratio and the
    density at the intake.

    Parameters
    ----------
    free_air_delivery : array_like, shape S
        Volume flow at the intake state, without back pressure, above zero [m^3/s]
    nominal_voltage, nominal_current : array_like, shape S
        Where free_air_delivery is told, above zero [V, A]
    voltage, current : array_like, shape S
        At the pump's terminals during the run, zero or above [V, A]
    armature_resistance : array_like, shape S
        Resistance of armature and brushes, zero or above [ohm]
    p_intake : array_like, shape S
        Absolute pressure at the intake, the barometer, above zero [Pa]
    temp_intake : array_like, shape S
        Temperature at the intake, above zero [K]
    p_delivery : array_like, shape S
        Absolute pressure pumped against, p_intake or above [Pa]
    clearance : array_like, shape S
        Clearance volume over swept volume, zero or above [-]
    polytropic : array_like, shape S
        Exponent n of the gas left in the clearance, one or above [-]

    Returns
    -------
    delivery : ndarray, shape S
        Molar flow of a healthy pump [mol/s]

    Raises
    ------
    DomainError
        An argument is outside its range.

    Notes
    -----
    The intake sits in the same air as the car, so altitude enters twice: less
    density and a higher pressure ratio. S is the NumPy broadcast shape of all
    arguments. NaN in gives NaN out.

    Sources
    -------
    As volumetric_efficiency and motor_speed_ratio, with the perfect gas law.

    Examples
    --------
    >>> flow = reference_delivery(
    ...     30e-3 / 60, nominal_voltage=13.5, nominal_current=18.0, voltage=12.5, current=24.0,
    ...     armature_resistance=0.12, p_intake=101325, temp_intake=293.15, p_delivery=8e5,
    ...     clearance=0.06, polytropic=1.3,
    ... )
    >>> print(f"{flow:.4f} mol/s")
    0.0135 mol/s

    """
    q = above_zero("free_air_delivery", free_air_delivery, "m^3/s", "L/min? Divide by 60 000.")
    p_in, p_out = pascal("p_intake", p_intake), pascal("p_delivery", p_delivery)
    hint = "A gauge reading? Add the barometer."
    require("p_delivery", p_out, p_out < p_in, "Pa", "at least the intake pressure", hint)
    eta = volumetric_efficiency(flat(p_out / p_in), clearance=clearance, polytropic=polytropic)
    speed = motor_speed_ratio(
        voltage,
        current,
        nominal_voltage=nominal_voltage,
        nominal_current=nominal_current,
        armature_resistance=armature_resistance,
    )
    return flat(q * speed * eta * p_in / (R_GAS * kelvin("temp_intake", temp_intake)))


def pump_health(measured_flow: ArrayLike, *, reference_flow: ArrayLike) -> Array:
    """Return delivery as a share of what a healthy pump would deliver here and now.

    Parameters
    ----------
    measured_flow : array_like, shape S
        Delivery from a fill, corrected for known leaks, zero or above [mol/s]
    reference_flow : array_like, shape S
        From reference_delivery at the same state, above zero [mol/s]

    Returns
    -------
    health : ndarray, shape S
        Share; around one is healthy, and it may come out above one [-]

    Raises
    ------
    DomainError
        The measured flow is negative or the reference is not above zero.

    Notes
    -----
    Compare at the same terminal voltage, intake and back pressure, or a weak
    supply looks like a worn pump. NaN in gives NaN out.

    Sources
    -------
    Definition.

    Examples
    --------
    >>> print(f"{pump_health(0.0068, reference_flow=0.0136):.0%}")
    50%

    """
    flow = not_below_zero("measured_flow", measured_flow, "mol/s", "Falling is not filling.")
    return flat(flow / above_zero("reference_flow", reference_flow, "mol/s"))


def free_air_between(
    volume: ArrayLike, p_low: ArrayLike, p_high: ArrayLike, *, barometer: ArrayLike = P_ATM
) -> Array:
    """Return the free air between two pressures of a rigid volume: V (p_high - p_low)/p_atm.

    Parameters
    ----------
    volume : array_like, shape S
        Internal volume, above zero [m^3]
    p_low, p_high : array_like, shape S
        Absolute pressure, p_high not below p_low [Pa]
    barometer : array_like, shape S
        Absolute pressure at which free air is told [Pa]

    Returns
    -------
    free_air : ndarray, shape S
        Volume at the barometer and the same temperature [m^3]

    Raises
    ------
    DomainError
        An argument is outside its range.

    Notes
    -----
    Both at the same temperature: after the gas has cooled. NaN in gives NaN out.

    Sources
    -------
    Perfect gas law at constant temperature.

    Examples
    --------
    >>> print(f"{1e3 * free_air_between(5e-3, 742600, 1101325):.2f} L")
    17.70 L

    """
    v, p_out = above_zero("volume", volume, "m^3"), pascal("barometer", barometer)
    low, high = pascal("p_low", p_low), pascal("p_high", p_high)
    require("p_high", high, high < low, "Pa", "at least the lower pressure")
    return flat(v * (high - low) / p_out)


def free_air_to_raise(
    area: ArrayLike, pressure: ArrayLike, height: ArrayLike, *, barometer: ArrayLike = P_ATM
) -> Array:
    """Return the free air that lifts a loaded spring: p A h/p_atm.

    Parameters
    ----------
    area : array_like, shape S
        Effective area, above zero [m^2]
    pressure : array_like, shape S
        Absolute pressure in the spring, above zero [Pa]
    height : array_like, shape S
        How far the spring gets longer, zero or above [m]
    barometer : array_like, shape S
        Absolute pressure at which free air is told [Pa]

    Returns
    -------
    free_air : ndarray, shape S
        Volume at the barometer and the same temperature [m^3]

    Raises
    ------
    DomainError
        An argument is outside its range.

    Notes
    -----
    Constant load, so constant pressure. NaN in gives NaN out.

    Sources
    -------
    Perfect gas law at constant temperature.

    Examples
    --------
    >>> print(f"{1e3 * free_air_to_raise(0.01, 542624.25, 0.025):.3f} L")
    1.339 L

    """
    a, p = above_zero("area", area, "m^2"), pascal("pressure", pressure)
    h = not_below_zero("height", height, "m", "Lowering needs no air.")
    return flat(p * a * h / pascal("barometer", barometer))


def fill_time_isothermal(
    volume: ArrayLike,
    p_start: ArrayLike,
    p_end: ArrayLike,
    *,
    free_air_delivery: ArrayLike,
    barometer: ArrayLike = P_ATM,
) -> Array:
    """Return the time to fill a rigid volume at constant delivery: V (p2 - p1)/(p_atm Q).

    Parameters
    ----------
    volume : array_like, shape S
        Internal volume, above zero [m^3]
    p_start, p_end : array_like, shape S
        Absolute pressure before and after, rising [Pa]
    free_air_delivery : array_like, shape S
        Mean delivery as volume at the barometer, above zero [m^3/s]
    barometer : array_like, shape S
        Absolute pressure at the intake [Pa]

    Returns
    -------
    duration : ndarray, shape S
        Time from p_start to p_end [s]

    Raises
    ------
    DomainError
        An argument is outside its range.

    Notes
    -----
    Ignores that delivery falls as pressure rises; use the delivery at the mean
    pressure. NaN in gives NaN out.

    Sources
    -------
    Perfect gas law at constant temperature.

    Examples
    --------
    >>> time = fill_time_isothermal(5e-3, 101325, 1101325, free_air_delivery=20e-3 / 60)
    >>> print(f"{time:.1f} s")
    148.0 s

    """
    hint = "L/min? Divide by 60 000."
    q = above_zero("free_air_delivery", free_air_delivery, "m^3/s", hint)
    low, high = pascal("p_start", p_start), pascal("p_end", p_end)
    require("p_end", high, high < low, "Pa", "at least p_start", "Filling raises the pressure.")
    return flat(free_air_between(volume, low, high, barometer=barometer) / q)
