"""How the body sits on its springs: the balance of forces at one moment. Compiled.

Assumes that the body moves slowly, so that no inertia and no friction enter; springs carry load by
gauge pressure times an area that changes with height, bump and rebound stops push back with the
square of penetration, bars and body couple the corners. Limits: flat ground, small angles.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from sagtrace.physics.constants import GAMMA_AIR
from sagtrace.twin._compiled import compiled
from sagtrace.twin._slots import (
    AREA,
    BUMP_AT,
    BUMP_K,
    LOAD,
    REB_AT,
    REB_K,
    S_FIRST,
    S_LAST,
    SLOPE,
    U_LOAD,
    U_RAMP,
    U_START,
    VOLUME,
)

__all__ = ["heights", "settle", "solve_small"]

Array = NDArray[np.float64]

NEWTON_LIMIT, LONGEST_MOVE = 60, 0.02  # [-, m] chosen
NEWTON_DONE = 1e-8  # [m] chosen: what is left after so small a step is its square over decimetres
LEAST_PRESSURE = 0.05  # [-] chosen: of the barometer; what hangs cannot be without any gas
LEAST_VOLUME = -0.9  # [-] chosen: a guess never squeezes a spring to less than a tenth


@compiled
def _load(t: float, i: int, springs: Array, u: Array) -> float:
    """Return the load on a spring [N]; on a lift the body hangs, and it is negative."""
    return float(springs[i, LOAD] + u[U_LOAD + i] + u[U_RAMP + i] * (t - u[U_START]))


def heights(
    t: float, energies: Array, springs: Array, links: Array, u: Array, baro: float, x: Array,
    work: Array,
) -> None:  # fmt: skip
    """Solve the balance of forces for the springs' extensions; `x` holds a guess and the answer.

    `work` is scratch with two rows more than there are springs, at least as wide as there are.
    """
    n = springs.shape[0]
    matrix, step, loads = work[:n], work[n], work[n + 1]
    for i in range(n):
        loads[i] = _load(t, i, springs, u)
    for _ in range(NEWTON_LIMIT):
        for i in range(n):
            row = springs[i]
            area = row[AREA] + row[SLOPE] * x[i]
            volume = row[VOLUME] + row[AREA] * x[i] + 0.5 * row[SLOPE] * x[i] * x[i]
            p = (GAMMA_AIR - 1.0) * energies[i] / volume
            below = max(row[BUMP_AT] - x[i], 0.0)
            above = max(x[i] - row[REB_AT], 0.0)
            force = (p - baro) * area + row[BUMP_K] * below * below
            force -= row[REB_K] * above * above + loads[i]
            for j in range(n):
                matrix[i, j] = links[i, j]
                force -= links[i, j] * x[j]
            matrix[i, i] += p * area * area / volume - (p - baro) * row[SLOPE]
            matrix[i, i] += 2.0 * (row[BUMP_K] * below + row[REB_K] * above)
            step[i] = force
        solve_small(matrix, step, n)
        largest = 0.0
        for i in range(n):
            largest = max(largest, abs(step[i]))
        scale = 1.0 if largest <= LONGEST_MOVE else LONGEST_MOVE / largest
        for i in range(n):
            lowest = LEAST_VOLUME * springs[i, VOLUME] / springs[i, AREA]
            x[i] = max(x[i] + scale * step[i], lowest)
        if largest < NEWTON_DONE:
            break


@compiled
def settle(
    t: float, aim: Array, y: Array, nv: int, springs: Array, sensors: Array, links: Array,
    u: Array, baro: float, lever: float, x: Array,
) -> None:  # fmt: skip
    """Give the springs the gas that brings each sensor's height to `aim` [m at the wheel arch].

    Temperatures stay; the corners of one sensor move by the same length. A corner whose aim is not
    a number keeps its gas.
    """
    n = springs.shape[0]
    for k in range(sensors.shape[0]):
        first, last = int(sensors[k, S_FIRST]), int(sensors[k, S_LAST])
        if not math.isnan(aim[first]):
            shift = lever * aim[first] - 0.5 * (x[first] + x[last])
            x[first] += shift
            if last != first:
                x[last] += shift
    for i in range(n):
        if math.isnan(aim[i]):
            continue
        row = springs[i]
        force = _load(t, i, springs, u)
        for j in range(n):
            force += links[i, j] * x[j]
        below = max(row[BUMP_AT] - x[i], 0.0)
        above = max(x[i] - row[REB_AT], 0.0)
        force += row[REB_K] * above * above - row[BUMP_K] * below * below
        p = max(baro + force / (row[AREA] + row[SLOPE] * x[i]), LEAST_PRESSURE * baro)
        volume = row[VOLUME] + row[AREA] * x[i] + 0.5 * row[SLOPE] * x[i] * x[i]
        energy = p * volume / (GAMMA_AIR - 1.0)
        y[i] *= energy / y[nv + i]
        y[nv + i] = energy


@compiled
def solve_small(matrix: Array, right: Array, n: int) -> None:
    """Solve in place by elimination without exchange: the matrices here are dominant."""
    for k in range(n - 1):
        for i in range(k + 1, n):
            f = matrix[i, k] / matrix[k, k]
            for j in range(k + 1, n):
                matrix[i, j] -= f * matrix[k, j]
            right[i] -= f * right[k]
    for i in range(n - 1, -1, -1):
        for j in range(i + 1, n):
            right[i] -= matrix[i, j] * right[j]
        right[i] /= matrix[i, i]
