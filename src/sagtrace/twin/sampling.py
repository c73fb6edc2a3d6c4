"""Samples of a step on its way: cubics for heights and contents, else straight lines. Compiled.

A table has a row for each number that a run records. The first rows are what sensors and control
unit can tell (`SEEN_MORE` of them besides a height and a valve for each spring), the others what
nobody can read off a vehicle; those are left out where the table has no room for them.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sagtrace.twin._compiled import compiled
from sagtrace.twin.plant import (
    A_FLOW,
    A_LEAK,
    A_PRESSURE,
    A_SPEED,
    C_PUMP,
    C_RES_CMD,
    C_VALVE,
    C_VENT_CMD,
    EXTRAS,
)

__all__ = ["sample", "SEEN_MORE", "seen_rows", "TRUTH_MORE", "truth_rows"]

Array = NDArray[np.float64]

SEEN_LINES = 3  # of the plant's own telling: pump current and volts, supply
SEEN_MORE = SEEN_LINES + 4  # pressure at the sensor, head temperature, pump and vent command
TRUTH_MORE = 2  # reservoir command, delivery


def seen_rows(n: int) -> int:
    """Return how many rows sensors and control unit fill."""
    return 2 * n + SEEN_MORE


def truth_rows(nv: int) -> int:
    """Return how many rows the truth fills: mass, energy, pressure, leak of each volume, more."""
    return 4 * nv + EXTRAS + TRUTH_MORE


@compiled
def _put(ends: Array, row: int, a: float, step_a: float, b: float, step_b: float) -> int:
    """Keep the cubic with these ends and slopes (told for the whole step); return the next row."""
    ends[row, 0], ends[row, 1] = a, step_a
    ends[row, 2] = 3.0 * (b - a) - 2.0 * step_a - step_b
    ends[row, 3] = 2.0 * (a - b) + step_a + step_b
    return row + 1


@compiled
def _line(ends: Array, row: int, a: float, b: float) -> int:
    ends[row, 0], ends[row, 1], ends[row, 2], ends[row, 3] = a, b - a, 0.0, 0.0
    return row + 1


def sample(
    out: Array, j0: int, j1: int, rate: float, t: float, h: float, n: int, nv: int, y0: Array,
    f0: Array, x0: Array, a0: Array, y1: Array, f1: Array, x1: Array, a1: Array, cmd: Array,
    ends: Array,
) -> None:  # fmt: skip
    """Write the samples j0 to j1 of every row from the two ends of a step; `out` comes as zeros."""
    last, r = A_PRESSURE + nv - 1, 0
    for i in range(n):
        r = _put(ends, r, x0[i], h * a0[A_SPEED + i], x1[i], h * a1[A_SPEED + i])
    for i in range(SEEN_LINES):
        r = _line(ends, r, a0[i], a1[i])
    r = _line(ends, r, a0[last], a1[last])
    r = _line(ends, r, y0[2 * nv], y1[2 * nv])
    r = _line(ends, r, cmd[C_PUMP], cmd[C_PUMP])
    r = _line(ends, r, cmd[C_VENT_CMD], cmd[C_VENT_CMD])
    for i in range(n):
        r = _line(ends, r, cmd[C_VALVE + i], cmd[C_VALVE + i])
    if out.shape[0] > r:
        for i in range(2 * nv):
            r = _put(ends, r, y0[i], h * f0[i], y1[i], h * f1[i])
        for i in range(nv):
            r = _line(ends, r, a0[A_PRESSURE + i], a1[A_PRESSURE + i])
        for i in range(nv):
            r = _line(ends, r, a0[A_LEAK + i], a1[A_LEAK + i])
        for i in range(2 * nv, 2 * nv + EXTRAS):
            r = _line(ends, r, y0[i], y1[i])
        r = _line(ends, r, cmd[C_RES_CMD], cmd[C_RES_CMD])
        r = _line(ends, r, a0[A_FLOW], a1[A_FLOW])
    first, scale = t * rate, 1.0 / (rate * h)
    for row in range(r):
        a, c1, c2, c3 = ends[row, 0], ends[row, 1], ends[row, 2], ends[row, 3]
        values = out[row]
        if c1 == 0.0 and c2 == 0.0 and c3 == 0.0:
            if a != 0.0:  # what is zero for a night needs no memory at all
                for j in range(j0, j1):
                    values[j] = a
        else:
            for j in range(j0, j1):
                z = (j - first) * scale
                values[j] = a + z * (c1 + z * (c2 + z * c3))
