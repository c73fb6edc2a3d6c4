"""The run: steps of the plant, decisions of the control unit, samples. Compiled.

A step is as long as the error allows and runs past the control unit's ticks. The ticks inside it
look at the dense output; the first one that changes a command cuts the step there, and so does a
fuse that opens. Samples come from cubics over the step for heights and masses and from straight
lines for the rest. Asleep there are no ticks, so a night is a few hundred steps.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from sagtrace.twin._compiled import Decide, Rates, compiled, entrance
from sagtrace.twin._slots import (
    BARO,
    K_AFTER,
    K_TICK,
    LEVER,
    U_ENGINE,
    V_RES,
)
from sagtrace.twin.body import heights, loads_at, settle
from sagtrace.twin.controller import M_MODE, M_WOKEN
from sagtrace.twin.plant import (
    A_CURRENT,
    A_PRESSURE,
    A_PUMP_VOLTS,
    A_SPEED,
    A_SUPPLY,
    AUX,
    C_BLOWN,
    C_PUMP,
    C_RES_CMD,
    C_VALVE,
    C_VENT_CMD,
    COMMANDS,
    EXTRAS,
    LEDGERS,
)
from sagtrace.twin.rosenbrock import STAGES, attempt, dense, jacobian

__all__ = ["run"]

Array = NDArray[np.float64]

LONGEST_AWAKE, LONGEST_ASLEEP = 30.0, 3600.0  # [s] chosen
AFTER_CHANGE = 2e-3  # [s] chosen: first step after a valve or relay has switched
SHORTEST = 1e-9  # [s] chosen: below this the step has failed
GROW, SHRINK, CARE = 6.0, 0.2, 0.9  # [-] usual


@compiled
def _curve(
    out: Array, j0: int, j1: int, rate: float, t: float, h: float, a: float, da: float, b: float,
    db: float,
) -> None:  # fmt: skip
    """Write samples of the cubic with these ends and slopes."""
    c2, c3 = 3.0 * (b - a) - h * (2.0 * da + db), 2.0 * (a - b) + h * (da + db)
    for j in range(j0, j1):
        z = (j / rate - t) / h
        out[j] = a + z * (h * da + z * (c2 + z * c3))


@compiled
def _line(
    out: Array, j0: int, j1: int, rate: float, t: float, h: float, a: float, b: float
) -> None:
    """Write samples of the straight line between two ends."""
    slope = (b - a) / h
    for j in range(j0, j1):
        out[j] = a + slope * (j / rate - t)


@compiled
def _sample(
    seen: Array, truth: Array, j0: int, j1: int, rate: float, t: float, h: float, n: int, nv: int,
    y0: Array, f0: Array, x0: Array, a0: Array, y1: Array, f1: Array, x1: Array, a1: Array,
    cmd: Array,
) -> None:  # fmt: skip
    """Write the samples j0 to j1 of every channel from the two ends of a step."""
    extra = 2 * nv
    for i in range(n):
        _curve(seen[i], j0, j1, rate, t, h, x0[i], a0[A_SPEED + i], x1[i], a1[A_SPEED + i])
    _line(seen[n], j0, j1, rate, t, h, a0[A_CURRENT], a1[A_CURRENT])
    _line(seen[n + 1], j0, j1, rate, t, h, a0[A_PUMP_VOLTS], a1[A_PUMP_VOLTS])
    _line(seen[n + 2], j0, j1, rate, t, h, a0[A_SUPPLY], a1[A_SUPPLY])
    for j in range(j0, j1):
        seen[n + 3, j] = cmd[C_PUMP]
        seen[n + 4, j] = cmd[C_VENT_CMD]
    last = A_PRESSURE + nv - 1
    _line(seen[n + 5], j0, j1, rate, t, h, a0[last], a1[last])
    if truth.shape[1] == 0:
        return
    for i in range(nv):
        _curve(truth[i], j0, j1, rate, t, h, y0[i], f0[i], y1[i], f1[i])
        at = nv + i
        _curve(truth[at], j0, j1, rate, t, h, y0[at], f0[at], y1[at], f1[at])
        _line(truth[at + nv], j0, j1, rate, t, h, a0[A_PRESSURE + i], a1[A_PRESSURE + i])
    for i in range(EXTRAS):
        _line(truth[3 * nv + i], j0, j1, rate, t, h, y0[extra + i], y1[extra + i])
    for j in range(j0, j1):
        truth[3 * nv + EXTRAS, j] = cmd[C_RES_CMD]
        for i in range(n):
            truth[3 * nv + EXTRAS + 1 + i, j] = cmd[C_VALVE + i]


@compiled
def _pressure(y: Array, nv: int, wide: Array) -> float:
    """Return the pressure in the reservoir, zero where there is none [Pa]."""
    return 0.4 * y[2 * nv - 1] / wide[V_RES] if wide[V_RES] > 0.0 else 0.0


@entrance
def run(
    rates: Rates, decide: Decide, edges: Array, inputs: Array, wides: Array, springs: Array,
    sensors: Array, controls: Array, kicks: Array, scripted: Array, aims: Array, links: Array, size: Array, y: Array, x: Array,
    m: Array, seed: int, rtol: float, rate: float, seen: Array, truth: Array, log: Array,
    tally: Array,
) -> int:  # fmt: skip
    """Run all stretches; return 0, or 1 if a step failed (then tally[3] says when).

    `edges` are the times between stretches; the other tables have a row for each stretch. `y`, `x`
    and `m` hold the start and then the end. `log` gets a row (time, pump, vent, reservoir, fuse
    blown, valves) for each change; tally: steps, steps refused, changes, time so far.
    """
    n, total = springs.shape[1], len(y)
    nv, n_out = (total - EXTRAS - LEDGERS) // 2, seen.shape[1]
    f0, f1, y1 = np.empty(total), np.empty(total), np.empty(total)
    a0, a1 = np.zeros(AUX), np.zeros(AUX)
    x1, xt, k, loads = np.empty(n), np.empty(n), np.zeros((STAGES, total)), np.empty(n)
    yt, by_time = np.empty(total), np.empty(total)
    jac, cmd, new = np.empty((total, total - LEDGERS)), np.zeros(COMMANDS), np.zeros(COMMANDS)
    t, h, j, tick_at = edges[0], AFTER_CHANGE, int(tally[3]), 0
    awake_until, asleep, sampled = -1.0, True, False
    fuse = 2 * nv + 2
    for seg in range(len(edges) - 1):
        wide, spring, sensor = wides[seg], springs[seg], sensors[seg]
        kc, u, end = controls[seg], inputs[seg], edges[seg + 1]
        tick = kc[K_TICK]
        for i in range(EXTRAS):
            y[2 * nv + i] += kicks[seg, i]
        if scripted.shape[0] > 0:
            # The commands are known, so there is nothing to decide.
            for i in range(COMMANDS):
                if i != C_BLOWN:
                    cmd[i] = scripted[seg, i]
        elif u[U_ENGINE] > 0.0:
            awake_until = np.inf
        elif awake_until == np.inf:
            awake_until = t + kc[K_AFTER]
        if asleep and awake_until > t:
            asleep = False
            tick_at = math.ceil(t / tick - 1e-9)
            m[M_WOKEN] = 1.0
        if aims.shape[0] > 0:
            loads_at(t, spring, u, loads)
            settle(aims[seg], y, nv, spring, sensor, links, loads, wide[BARO], wide[LEVER], x)
        h = AFTER_CHANGE
        rates(t, y, wide, spring, links, u, cmd, x, f0, a0)
        if not sampled:
            until = min(1, n_out)
            _sample(seen, truth, j, until, rate, t, tick, n, nv, y, f0, x, a0, y, f0, x, a0, cmd)
            sampled, j = True, until
        while t < end:
            jacobian(rates, t, y, f0, size, wide, spring, links, u, cmd, x, jac, by_time)
            longest = LONGEST_ASLEEP if asleep else LONGEST_AWAKE
            used, wanted = 0.0, h
            while True:
                used = min(wanted, longest)
                if t + used > end - 0.5 * SHORTEST:
                    used = end - t
                error = attempt(
                    rates,
                    t,
                    used,
                    y,
                    f0,
                    jac,
                    by_time,
                    size,
                    rtol,
                    wide,
                    spring,
                    links,
                    u,
                    cmd,
                    x,
                    k,
                    y1,
                )
                if error <= 1.0:
                    break
                tally[1] += 1.0
                factor = SHRINK if not error < 1e9 else max(SHRINK, CARE * error**-0.25)
                wanted = used * factor
                if wanted < SHORTEST:
                    tally[3] = t
                    return 1
            tally[0] += 1.0
            h = used * min(GROW, max(SHRINK, CARE * max(error, 1e-12) ** -0.25))
            cut, changed = t + used, False
            for i in range(n):
                xt[i] = x[i]
            if y1[fuse] >= 1.0 and cmd[C_BLOWN] == 0.0:
                low, high = 0.0, 1.0
                for _ in range(40):
                    middle = 0.5 * (low + high)
                    dense(middle, y, y1, k, fuse, fuse + 1, yt)
                    if yt[fuse] >= 1.0:
                        high = middle
                    else:
                        low = middle
                cut, changed = t + high * used, True
            for i in range(COMMANDS):
                new[i] = cmd[i]
            while not asleep and tick_at * tick <= cut:
                now = tick_at * tick
                tick_at += 1
                if now >= awake_until:
                    asleep, changed, cut = True, True, now
                    m[M_MODE] = 0.0
                    for i in range(COMMANDS):
                        new[i] = 0.0 if i != C_BLOWN else cmd[i]
                    break
                # Only what a decision looks at: energies and the head's temperature.
                dense((now - t) / used, y, y1, k, nv, 2 * nv + 1, yt)
                loads_at(now, spring, u, loads)
                heights(yt[nv : nv + n], spring, links, loads, wide[BARO], xt)
                if decide(
                    now, m, kc, sensor, spring, wide, u, xt, a0[A_SUPPLY], yt[2 * nv],
                    _pressure(yt, nv, wide), seed, new,
                ) > 0.0:  # fmt: skip
                    changed, cut = True, now
                    break
            if cut < t + used:
                dense((cut - t) / used, y, y1, k, 0, total, yt)
                for i in range(total):
                    y1[i] = yt[i]
            for i in range(n):
                x1[i] = x[i]
            rates(cut, y1, wide, spring, links, u, cmd, x1, f1, a1)
            until = min(math.floor(cut * rate + 1e-9) + 1, n_out)
            if until > j and cut > t:
                _sample(
                    seen,
                    truth,
                    j,
                    until,
                    rate,
                    t,
                    cut - t,
                    n,
                    nv,
                    y,
                    f0,
                    x,
                    a0,
                    y1,
                    f1,
                    x1,
                    a1,
                    cmd,
                )
                j = until
            if changed:
                if y1[fuse] >= 1.0 - 1e-6:
                    new[C_BLOWN] = 1.0
                for i in range(COMMANDS):
                    cmd[i] = new[i]
                row = int(tally[2])
                if row < log.shape[0]:
                    log[row, 0] = cut
                    for i in range(COMMANDS):
                        log[row, 1 + i] = cmd[i]
                tally[2] += 1.0
                h = AFTER_CHANGE
                rates(cut, y1, wide, spring, links, u, cmd, x1, f1, a1)
            t = cut
            tally[3] = t
            for i in range(total):
                y[i], f0[i] = y1[i], f1[i]
            for i in range(n):
                x[i] = x1[i]
            for i in range(AUX):
                a0[i] = a1[i]
    tally[3] = t
    return 0
