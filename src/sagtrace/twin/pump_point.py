"""Where pump, motor, intake and dryer meet: the working point at one moment. Compiled.

Assumes a quasi-steady cylinder and motor; intake and dryer are restrictions with b = 0; the ring
leaks for a share of each stroke. Out of scope: the inrush of a starting motor.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from sagtrace.physics.constants import R_AIR, RHO_ANR, T0_ISO6358
from sagtrace.twin._compiled import compiled
from sagtrace.twin._slots import (
    BARO,
    C_INTAKE,
    CLEAR,
    FRICTION,
    KE,
    LAMINAR,
    POLY,
    PREHEAT,
    RING,
    SWEPT,
)
from sagtrace.twin.formulas import (
    iso_flow,
    pump_delivery,
    stroke_work,
    volumetric_efficiency,
)

__all__ = ["pump_point"]

Array = NDArray[np.float64]

TURN = 2.0 * math.pi
RING_SHARE = 0.5  # [-] chosen: of the time that the cylinder is near delivery pressure
RING_RATIO = 0.5  # [-] chosen: b of a ring gap, a short tube
LEAST_INTAKE = 0.02  # [-] chosen: of the barometer, behind a blocked intake
ROOT_LIMIT, ROOT_DONE = 80, 1e-14  # [-] chosen: near the last bit


@compiled
def _pump_if(
    flow: float, wide: Array, p_block: float, temp_in: float, dryer: float, volts: float,
    ohms: float,
) -> tuple[float, float, float, float, float]:  # fmt: skip
    """Return what the pump gives if `flow` passes intake and dryer.

    With it current, turns a second, outlet pressure and work a turn.
    """
    per = flow / RHO_ANR * math.sqrt(temp_in / T0_ISO6358)
    lost = per / wide[C_INTAKE]
    floor = LEAST_INTAKE * wide[BARO]
    p_in = math.sqrt(max(wide[BARO] * wide[BARO] - lost * lost, floor * floor))
    p_out = math.sqrt(p_block * p_block + per / dryer * (per / dryer))
    ratio = max(p_out / p_in, 1.0)
    eta = volumetric_efficiency(ratio, wide[CLEAR], wide[POLY])
    work = stroke_work(p_in, eta * wide[SWEPT], ratio, wide[POLY])
    current, turns = (wide[FRICTION] + work / TURN) / wide[KE], 0.0
    if current * ohms >= volts:
        current = volts / ohms
    else:
        turns = (volts - current * ohms) / wide[KE] / TURN
    given = pump_delivery(eta, wide[SWEPT], turns, p_in, temp_in, R_AIR)
    blow_by = iso_flow(p_out, temp_in, p_in, temp_in, wide[RING], RING_RATIO, wide[LAMINAR])
    return max(given - RING_SHARE * blow_by, 0.0), current, turns, p_out, work


@compiled
def pump_point(
    wide: Array, p_block: float, ambient: float, head: float, dryer: float, volts: float,
    ohms: float,
) -> tuple[float, float, float, float, float]:  # fmt: skip
    """Return flow, current, turns a second, outlet pressure and work a turn.

    The flow is the one root of "what passes intake and dryer is what the pump gives": the more
    passes, the less it gives. Bracketed, false position with the Illinois rule, to 1e-14.
    """
    temp_in = ambient + wide[PREHEAT] * (head - ambient)
    low = f_low = high = f_high = x = 0.0
    current = turns = p_out = work = 0.0
    side = 0
    # First nothing passes, then as much as the pump gives into that, then what lies between.
    for k in range(ROOT_LIMIT):
        given, current, turns, p_out, work = _pump_if(x, wide, p_block, temp_in, dryer, volts, ohms)
        f = given - x
        if f == 0.0 or (k > 1 and abs(f) < ROOT_DONE * x):
            break
        if k == 0:
            low, f_low, high, x = 0.0, f, given, given
            continue
        if k == 1:
            f_high = f
        elif f > 0.0:
            low, f_low = x, f
            f_high = 0.5 * f_high if side == 1 else f_high
            side = 1
        else:
            high, f_high = x, f
            f_low = 0.5 * f_low if side == -1 else f_low
            side = -1
        x = (low * f_high - high * f_low) / (f_high - f_low)
    return x, current, turns, p_out, work
