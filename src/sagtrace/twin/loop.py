"""The run: steps of the plant, decisions of the control unit, samples. Compiled.

A step is as long as the error allows and runs past the control unit's ticks. The ticks inside it
look at cubics between the two ends; the first one that changes a command cuts the step there, with
the state from the dense output, and so does a fuse that opens. Samples come from cubics over the
step for heights and contents and from straight lines for the rest. Asleep there are no ticks, so a
night is a few hundred steps.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from sagtrace.physics.constants import GAMMA_AIR
from sagtrace.twin._compiled import (
    Attempt,
    Decide,
    Dense,
    Heights,
    Jacobian,
    Rates,
    Sample,
    compiled,
)
from sagtrace.twin._slots import (
    BARO,
    K_AFTER,
    K_TICK,
    LEVER,
    U_ENGINE,
    V_BLOCK,
    V_RES,
)
from sagtrace.twin.body import settle
from sagtrace.twin.controller import M_MODE, M_WOKEN
from sagtrace.twin.plant import (
    A_SPEED,
    A_SUPPLY,
    AUX,
    C_BLOWN,
    COMMANDS,
    EXTRAS,
    LEDGERS,
    WORK_ROWS,
)
from sagtrace.twin.rosenbrock import ROOM_ROWS, STAGES
from sagtrace.twin.sampling import seen_rows, truth_rows

__all__ = ["room_shape", "run"]

Array = NDArray[np.float64]

LONGEST_AWAKE, LONGEST_ASLEEP = 30.0, 3600.0  # [s] chosen
VECTORS = 11  # rows of scratch that are vectors
AFTER_CHANGE = 2e-3  # [s] chosen: first step after a valve or relay has switched
SHORTEST = 1e-9  # [s] chosen: below this the step has failed
GROW, SHRINK, CARE = 6.0, 0.2, 0.9  # [-] usual


@compiled
def _between(z: float, a: float, step_a: float, b: float, step_b: float) -> float:
    """Return the cubic with these ends and slopes (told for the whole step) at a share of it."""
    bend = z * (2.0 * (a - b) + step_a + step_b) + 3.0 * (b - a) - 2.0 * step_a - step_b
    return a + z * (step_a + z * bend)


def room_shape(n: int, total: int) -> tuple[int, int]:
    """Return the shape of the scratch that a run needs for so many springs and states."""
    nv = (total - EXTRAS - LEDGERS) // 2
    rows = VECTORS + 2 * total + STAGES + ROOM_ROWS + n + WORK_ROWS
    return rows + seen_rows(n) + truth_rows(nv), max(total, AUX)


def run(
    rates: Rates, decide: Decide, jacobian: Jacobian, attempt: Attempt, dense: Dense,
    heights: Heights, sample: Sample, edges: Array, inputs: Array, wides: Array, springs: Array,
    sensors: Array, controls: Array, kicks: Array, scripted: Array, aims: Array, links: Array,
    size: Array, y: Array, x: Array, m: Array, seed: int, rtol: float, rate: float, out: Array,
    log: Array, tally: Array, room: Array,
) -> int:  # fmt: skip
    """Run all stretches; return 0, or 1 if a step failed (then tally[3] says when).

    `edges` are the times between stretches; the other tables have a row for each stretch. `y`, `x`
    and `m` hold the start and then the end. `log` gets a row (time, pump, vent, reservoir, fuse
    blown, valves) for each change; tally: steps, steps refused, changes, time so far. `room` is
    scratch. Where `scripted` has rows, they are the commands and nothing is decided; where `aims`
    has, each stretch begins at those heights of its sensors, whatever went before (see `settle`).
    """
    n, total = springs.shape[1], len(y)
    nv, n_out = (total - EXTRAS - LEDGERS) // 2, out.shape[1]
    f0, f1, y1, a0, a1 = room[0], room[1], room[2], room[3], room[4]
    x1, xt, yt, by_time, cmd, new = room[5], room[6], room[7], room[8], room[9], room[10]
    row = VECTORS
    jac, row = room[row : row + total], row + total
    matrix, row = room[row : row + total], row + total
    k, row = room[row : row + STAGES], row + STAGES
    work, row = room[row : row + n + WORK_ROWS], row + n + WORK_ROWS
    spare, row = room[row : row + ROOM_ROWS], row + ROOM_ROWS
    ends = room[row:]
    t, h, j, tick_at = edges[0], AFTER_CHANGE, 0, 0
    awake_until, asleep = -1.0, True
    hot, fuse = 2 * nv, 2 * nv + 2  # head temperature and fuse heat
    last = 2 * nv - 1  # the volume with the pressure sensor: reservoir, or else gallery
    for seg in range(len(edges) - 1):
        wide, spring, sensor = wides[seg], springs[seg], sensors[seg]
        kc, u, end = controls[seg], inputs[seg], edges[seg + 1]
        tick, store = kc[K_TICK], wide[V_RES] if wide[V_RES] > 0.0 else wide[V_BLOCK]
        for i in range(EXTRAS):
            y[2 * nv + i] += kicks[seg, i]
        if scripted.shape[0] > 0:
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
            baro, lever = wide[BARO], wide[LEVER]
            settle(t, aims[seg], y, nv, spring, sensor, links, u, baro, lever, x)
        h = AFTER_CHANGE
        fresh = True
        while t < end:
            if fresh:
                # After an event or a switch nothing of the step before holds.
                rates(heights, t, y, wide, spring, links, u, cmd, x, f0, a0, work)
                fresh = False
            if j == 0 and n_out > 0:
                sample(out, 0, 1, rate, t, tick, n, nv, y, f0, x, a0, y, f0, x, a0, cmd, ends)
                j = 1
            jacobian(
                rates,
                heights,
                t,
                y,
                f0,
                size,
                wide,
                spring,
                links,
                u,
                cmd,
                x,
                jac,
                by_time,
                work,
                spare,
            )
            longest = LONGEST_ASLEEP if asleep else LONGEST_AWAKE
            used, wanted = 0.0, h
            while True:
                used = min(wanted, longest)
                if t + used > end - 0.5 * SHORTEST:
                    used = end - t
                error = attempt(
                    rates, heights, t, used, y, f0, jac, by_time, size, rtol, wide, spring, links,
                    u, cmd, x, k, y1, matrix, work, spare,
                )  # fmt: skip
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
                x1[i] = x[i]
            rates(heights, cut, y1, wide, spring, links, u, cmd, x1, f1, a1, work)
            for i in range(COMMANDS):
                new[i] = cmd[i]
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
            while not asleep and tick_at * tick <= cut:
                now = tick_at * tick
                tick_at += 1
                if now >= awake_until:
                    asleep, changed, cut = True, True, now
                    m[M_MODE] = 0.0
                    for i in range(COMMANDS):
                        new[i] = 0.0 if i != C_BLOWN else cmd[i]
                    break
                z = (now - t) / used
                for i in range(n):
                    left, right = used * a0[A_SPEED + i], used * a1[A_SPEED + i]
                    xt[i] = _between(z, x[i], left, x1[i], right)
                supply = a0[A_SUPPLY] + z * (a1[A_SUPPLY] - a0[A_SUPPLY])
                head = _between(z, y[hot], used * f0[hot], y1[hot], used * f1[hot])
                energy = _between(z, y[last], used * f0[last], y1[last], used * f1[last])
                if decide(
                    now, m, kc, sensor, spring, wide, u, xt, supply, head,
                    (GAMMA_AIR - 1.0) * energy / store, seed, new,
                ) > 0.0:  # fmt: skip
                    changed, cut = True, now
                    break
            if cut < t + used:
                dense((cut - t) / used, y, y1, k, 0, total, yt)
                for i in range(total):
                    y1[i] = yt[i]
                rates(heights, cut, y1, wide, spring, links, u, cmd, x1, f1, a1, work)
            until = min(math.floor(cut * rate + 1e-9) + 1, n_out)
            if until > j and cut > t:
                sample(
                    out, j, until, rate, t, cut - t, n, nv, y, f0, x, a0, y1, f1, x1, a1, cmd, ends
                )
                j = until
            t = cut
            tally[3] = t
            for i in range(total):
                y[i], f0[i] = y1[i], f1[i]
            for i in range(n):
                x[i] = x1[i]
            for i in range(AUX):
                a0[i] = a1[i]
            if changed:
                if y[fuse] >= 1.0 - 1e-6:
                    new[C_BLOWN] = 1.0
                for i in range(COMMANDS):
                    cmd[i] = new[i]
                line = int(tally[2])
                if line < log.shape[0]:
                    log[line, 0] = cut
                    for i in range(COMMANDS):
                        log[line, 1 + i] = cmd[i]
                tally[2] += 1.0
                h, fresh = AFTER_CHANGE, True
    return 0
