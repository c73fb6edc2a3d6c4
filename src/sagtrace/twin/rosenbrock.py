"""One step of a linearly implicit method: stiff parts cost nothing, no equation system is iterated.

Job: step the plant. A gallery of some millilitres between open valves settles in milliseconds
while a night takes hours; an explicit method would crawl. RODAS has six stages, order 4 with an
embedded order 3, is L-stable, and has a dense output of order 3, so that a step may run past a
decision of the control unit and be cut there. The Jacobian comes from differences of the same
right-hand side, so sums that it keeps (mass, energy) are kept by the step too.

Source: Hairer and Wanner, Solving Ordinary Differential Equations II, 2nd ed., section IV.10
(coefficients from memory; a test measures the order).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sagtrace.twin._compiled import Heights, Rates, compiled
from sagtrace.twin._slots import U_RAMP, U_SLOPE
from sagtrace.twin.plant import EXTRAS, LEDGERS

__all__ = ["attempt", "dense", "jacobian", "ROOM_ROWS", "STAGES"]

Array = NDArray[np.float64]

STAGES = 6
ROOM_ROWS = 6  # of scratch, as wide as a state and as what `rates` tells
GAMMA = 0.25
A = np.array(
    [
        [0.0, 0.0, 0.0, 0.0, 0.0],
        [1.544, 0.0, 0.0, 0.0, 0.0],
        [0.9466785280815826, 0.2557011698983284, 0.0, 0.0, 0.0],
        [3.314825187068521, 2.896124015972201, 0.9986419139977817, 0.0, 0.0],
        [1.221224509226641, 6.019134481288629, 12.53708332932087, -0.6878860361058950, 0.0],
        [1.221224509226641, 6.019134481288629, 12.53708332932087, -0.6878860361058950, 1.0],
    ]
)
C = np.array(
    [
        [0.0, 0.0, 0.0, 0.0, 0.0],
        [-5.6688, 0.0, 0.0, 0.0, 0.0],
        [-2.430093356833875, -0.2063599157091915, 0.0, 0.0, 0.0],
        [-0.1073529058151375, -9.594562251023355, -20.47028614809616, 0.0, 0.0],
        [7.496443313967647, -10.24680431464352, -33.99990352819905, 11.70890893206160, 0.0],
        [
            8.083246795921522,
            -7.981132988064893,
            -31.52159432874371,
            16.31930543123136,
            -6.058818238834054,
        ],
    ]
)
T_AT = np.array([0.0, 0.386, 0.21, 0.63, 1.0, 1.0])
D = np.array([0.25, -0.1043, 0.1035, -0.03620000000000023, 0.0, 0.0])
H2 = np.array(
    [10.12623508344586, -7.487995877610167, -34.80091861555747, -7.992771707568823,
     1.025137723295662]
)  # fmt: skip
H3 = np.array(
    [-0.6762803392801253, 6.087714651680015, 16.43084320892478, 24.76722511418386,
     -6.594389125716872]
)  # fmt: skip
NUDGE = 1e-7  # [-] chosen: near the root of the precision, for the differences
ABSOLUTE = 1e-2  # [-] chosen: share of a state's size below which its error does not count


@compiled
def _factor(matrix: Array, order: Array, n: int) -> None:
    """Factor in place with row exchange."""
    for k in range(n):
        best = k
        for i in range(k + 1, n):
            if abs(matrix[i, k]) > abs(matrix[best, k]):
                best = i
        order[k] = best
        if best != k:
            for j in range(n):
                matrix[k, j], matrix[best, j] = matrix[best, j], matrix[k, j]
        for i in range(k + 1, n):
            f = matrix[i, k] / matrix[k, k]
            matrix[i, k] = f
            if f != 0.0:
                for j in range(k + 1, n):
                    matrix[i, j] -= f * matrix[k, j]


@compiled
def _back(matrix: Array, order: Array, right: Array, n: int) -> None:
    """Solve with a factored matrix, in place."""
    for k in range(n):
        j = int(order[k])
        if j != k:
            right[k], right[j] = right[j], right[k]
    for i in range(n):
        for j in range(i):
            right[i] -= matrix[i, j] * right[j]
    for i in range(n - 1, -1, -1):
        for j in range(i + 1, n):
            right[i] -= matrix[i, j] * right[j]
        right[i] /= matrix[i, i]


def jacobian(
    rates: Rates, heights: Heights, t: float, y: Array, f: Array, size: Array, wide: Array,
    springs: Array, links: Array, u: Array, cmd: Array, x: Array, out: Array, by_time: Array,
    work: Array, room: Array,
) -> None:  # fmt: skip
    """Write d(rates)/dy, ledgers' rows included, and d(rates)/dt; `room` is scratch."""
    total = len(y)
    n = total - LEDGERS
    there, moved, guess, aux = room[0], room[1], room[2], room[3]
    for i in range(total):
        there[i] = y[i]
    for j in range(n):
        step = NUDGE * max(abs(y[j]), size[j])
        there[j] = y[j] + step
        step = there[j] - y[j]
        for i in range(len(x)):
            guess[i] = x[i]
        rates(heights, t, there, wide, springs, links, u, cmd, guess, moved, aux, work)
        for i in range(total):
            out[i, j] = (moved[i] - f[i]) / step
        there[j] = y[j]
    moving = u[U_SLOPE] != 0.0
    for i in range(len(x)):
        guess[i] = x[i]
        moving = moving or u[U_RAMP + i] != 0.0
    if not moving:
        for i in range(total):
            by_time[i] = 0.0
        return
    later = 1e-3  # [s] chosen: inputs are straight lines, so any step does
    rates(heights, t + later, y, wide, springs, links, u, cmd, guess, moved, aux, work)
    for i in range(total):
        by_time[i] = (moved[i] - f[i]) / later


def attempt(
    rates: Rates, heights: Heights, t: float, h: float, y: Array, f: Array, jac: Array,
    by_time: Array, size: Array, rtol: float, wide: Array, springs: Array, links: Array, u: Array,
    cmd: Array, x: Array, k: Array, ynew: Array, matrix: Array, work: Array, room: Array,
) -> float:  # fmt: skip
    """Try one step from y, whose rates are f; return its error, 1 being the tolerance.

    Writes the stages `k`, shape (6, state), and the new state; `x` is only a guess for heights;
    `matrix`, `work` and `room` are scratch.
    """
    total = len(y)
    n = total - LEDGERS
    right, stage, small, guess, aux, order = room[0], room[1], room[2], room[3], room[4], room[5]
    for i in range(n):
        for j in range(n):
            matrix[i, j] = -jac[i, j]
        matrix[i, i] += 1.0 / (GAMMA * h)
    _factor(matrix, order, n)
    for i in range(len(x)):
        guess[i] = x[i]
    for a in range(STAGES):
        for i in range(total):
            stage[i] = y[i]
            right[i] = f[i]
            for b in range(a):
                stage[i] += A[a, b] * k[b, i]
        for i in range(n - EXTRAS):
            if not stage[i] > 0.0:
                return np.inf  # a volume without gas: the step is far too long
        if a > 0:
            rates(
                heights,
                t + T_AT[a] * h,
                stage,
                wide,
                springs,
                links,
                u,
                cmd,
                guess,
                right,
                aux,
                work,
            )
        for i in range(total):
            right[i] += h * D[a] * by_time[i]
            for b in range(a):
                right[i] += C[a, b] / h * k[b, i]
            small[i] = right[i]
        _back(matrix, order, small, n)
        for i in range(n):
            k[a, i] = small[i]
        for i in range(n, total):
            # Nothing depends on a ledger, so its row needs no solving.
            value = right[i]
            for j in range(n):
                value += jac[i, j] * small[j]
            k[a, i] = GAMMA * h * value
    error = 0.0
    for i in range(total):
        ynew[i] = stage[i] + k[STAGES - 1, i]
    for i in range(n):
        scale = rtol * (ABSOLUTE * size[i] + max(abs(y[i]), abs(ynew[i])))
        error += (k[STAGES - 1, i] / scale) ** 2
    return float((error / n) ** 0.5)


def dense(share: float, y: Array, ynew: Array, k: Array, first: int, end: int, out: Array) -> None:
    """Write the states from `first` to before `end` at a share of the step, order 3."""
    rest = 1.0 - share
    for i in range(first, end):
        second, third = 0.0, 0.0
        for b in range(STAGES - 1):
            second += H2[b] * k[b, i]
            third += H3[b] * k[b, i]
        out[i] = y[i] * rest + share * (ynew[i] + rest * (second + share * third))
