"""The physics kernels' formulas for one number at a time, without their checks.

Job: what the compiled plant calls some million times a second. Each function is the bare line of
the kernel of the same subject in `sagtrace.physics`; a test holds the two equal to 1e-12.
Assumes arguments inside the kernels' ranges: nothing is checked here. SI, absolute pressure.
"""

from __future__ import annotations

import math

import numpy as np

from sagtrace.physics.atmosphere import SATURATION_TERMS, WATER_PC, WATER_TC
from sagtrace.physics.constants import RHO_ANR, T0_ISO6358, WATER_AIR_MASS_RATIO
from sagtrace.physics.fuse import BLADE_TYPE_C
from sagtrace.twin._compiled import compiled

__all__ = [
    "compression_temperature",
    "fuse_time",
    "humidity_ratio",
    "iso_flow",
    "pump_delivery",
    "saturation_pressure",
    "series_conductance",
    "stroke_work",
    "volumetric_efficiency",
]

_POWERS = np.array([power for _, power in SATURATION_TERMS])
_FACTORS = np.array([factor for factor, _ in SATURATION_TERMS])
_FUSE_HOLDS = BLADE_TYPE_C.points[0][0]
_FUSE_RATIO = np.log(np.array([point[0] for point in BLADE_TYPE_C.points]))
_FUSE_LEAST = np.log(np.array([point[1] for point in BLADE_TYPE_C.points]))
# At the first point the band has no upper end; a fuse that carries it at all is taken to do so.
_FUSE_MOST = np.log(
    np.array([point[2] if math.isfinite(point[2]) else point[1] for point in BLADE_TYPE_C.points])
)


@compiled
def iso_flow(
    p_a: float, temp_a: float, p_b: float, temp_b: float, c: float, b: float, laminar: float
) -> float:
    """Return the ISO 6358 mass flow from a to b, negative when it runs back [kg/s]."""
    if c <= 0.0 or p_a == p_b:
        return 0.0
    sign, high, low, temp = 1.0, p_a, p_b, temp_a
    if p_b > p_a:
        sign, high, low, temp = -1.0, p_b, p_a, temp_b
    ratio = max(low / high, b)
    if ratio <= laminar:
        share = (ratio - b) / (1.0 - b)
        factor = math.sqrt(max(1.0 - share * share, 0.0))
    else:
        share = (laminar - b) / (1.0 - b)
        factor = math.sqrt(1.0 - share * share) * (1.0 - ratio) / (1.0 - laminar)
    return sign * high * c * RHO_ANR * math.sqrt(T0_ISO6358 / temp) * factor


@compiled
def series_conductance(a: float, b: float) -> float:
    """Return the conductance of two restrictions in a row: 1/C^2 = 1/a^2 + 1/b^2."""
    if a <= 0.0 or b <= 0.0:
        return 0.0
    return a * b / math.sqrt(a * a + b * b)


@compiled
def volumetric_efficiency(ratio: float, clearance: float, polytropic: float) -> float:
    """Return free air taken in over swept volume [-]."""
    return float(max(1.0 - clearance * (ratio ** (1.0 / polytropic) - 1.0), 0.0))


@compiled
def pump_delivery(
    efficiency: float, swept: float, turns: float, p_in: float, temp_in: float, r_gas: float
) -> float:
    """Return eta V f p/(R T): kg/s with the specific gas constant, mol/s with the molar one."""
    return efficiency * swept * turns * p_in / (r_gas * temp_in)


@compiled
def stroke_work(p_in: float, volume: float, ratio: float, polytropic: float) -> float:
    """Return the ideal work on a volume of free air: n/(n - 1) p V (r^((n - 1)/n) - 1) [J]."""
    n = polytropic
    return float(n / (n - 1.0) * p_in * volume * (ratio ** ((n - 1.0) / n) - 1.0))


@compiled
def compression_temperature(temp_in: float, ratio: float, polytropic: float) -> float:
    """Return the gas temperature at the end of the stroke [K]."""
    return float(temp_in * ratio ** ((polytropic - 1.0) / polytropic))


@compiled
def saturation_pressure(temp: float) -> float:
    """Return the vapour pressure over liquid water [Pa]; below freezing over supercooled water."""
    away = 1.0 - temp / WATER_TC
    total = 0.0
    for i in range(len(_POWERS)):
        total += _FACTORS[i] * away ** _POWERS[i]
    return WATER_PC * math.exp(WATER_TC / temp * total)


@compiled
def humidity_ratio(temp: float, pressure: float, relative: float) -> float:
    """Return the water for each kilogram of dry air [kg/kg]."""
    vapour = relative * saturation_pressure(temp)
    return WATER_AIR_MASS_RATIO * vapour / (pressure - vapour)


@compiled
def fuse_time(ratio: float, place: float) -> float:
    """Return how long one blade fuse carries a current [s]; infinite below its first rated point.

    `place` says where in the type's band this one fuse lies: 0 the quickest, 1 the slowest.
    """
    if ratio < _FUSE_HOLDS:
        return math.inf
    log_ratio = math.log(ratio)
    last = len(_FUSE_RATIO) - 1
    k = 1
    while k < last and log_ratio > _FUSE_RATIO[k]:
        k += 1
    share = (log_ratio - _FUSE_RATIO[k - 1]) / (_FUSE_RATIO[k] - _FUSE_RATIO[k - 1])
    share = min(share, 1.0)
    least = _FUSE_LEAST[k - 1] + share * (_FUSE_LEAST[k] - _FUSE_LEAST[k - 1])
    most = _FUSE_MOST[k - 1] + share * (_FUSE_MOST[k] - _FUSE_MOST[k - 1])
    return math.exp(least + place * (most - least))
