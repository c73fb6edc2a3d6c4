"""The virtual control unit: one decision a tick, from what it can see. Compiled.

It sees filtered heights, its supply, the door, the lifting mode, the pump's head temperature, the
coils' circuits and, where the layout has the sensor, the pressure in reservoir or gallery. It fills
or vents one axle at a time after a delay, closes each spring's valve at the target, ends a fill by
time-out, keeps a run budget, pauses a hot pump, relieves the gallery after a fill, refills a
reservoir. A pressure signal that is dead or out of range it no longer uses: it sets a code and
fills by the pump alone, as it does when the circuit of the reservoir's valve is open.
Assumes the engine must run to lift; after it stops the unit may still vent, then it sleeps.
Out of scope: waking in the night, speed-dependent levels.

State `m` (all float): see the names below; then filtered heights, timers and code records.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from sagtrace.twin._chance import normal, worn_track
from sagtrace.twin._compiled import compiled
from sagtrace.twin._slots import (
    AREA,
    BARO,
    COIL_OPEN,
    K_COOL,
    K_CREDIT,
    K_DELAY_FILL,
    K_DELAY_VENT,
    K_FILTER,
    K_FULL,
    K_HIGH,
    K_HOT,
    K_LOW,
    K_MARGIN,
    K_MATURE,
    K_MOVING,
    K_NO_COMMAND,
    K_RATE,
    K_REFILL,
    K_RELIEF,
    K_REST,
    K_RESTART,
    K_STOP,
    K_TARGET,
    K_TICK,
    K_TIMEOUT,
    K_VOLTS,
    LEVER,
    LOAD,
    P_DEAD,
    P_OFFSET,
    P_SENSOR,
    R_COIL,
    S_ARM,
    S_BENT,
    S_BROKEN,
    S_FIRST,
    S_GAIN,
    S_HANGS,
    S_JUMPS,
    S_LAST,
    S_NOISE,
    S_OFFSET,
    S_OPEN,
    S_SPAN,
    S_STEP,
    S_SUPPLY,
    U_DOOR,
    U_ENGINE,
    U_LIFT,
    U_MODE,
    V_COIL,
    V_RES,
)
from sagtrace.twin.plant import C_BLOWN, C_PUMP, C_RES_CMD, C_VALVE, C_VENT_CMD, COMMANDS

__all__ = [
    "CODES",
    "decide",
    "M_BUDGET",
    "M_CREDIT",
    "M_FIRST",
    "M_HOT",
    "M_MODE",
    "M_STATUS",
    "M_WOKEN",
    "MEMORY",
    "new_memory",
    "read_sensor",
]

Array = NDArray[np.float64]

(M_MODE, M_AXLE, M_RUN, M_CREDIT, M_HOT, M_BUDGET, M_REST, M_RELIEF, M_TICKS, M_WOKEN,
 M_ENGINE) = range(11)  # fmt: skip
M_HEIGHT = 12  # four filtered heights
M_LOW = 16  # two timers: axle too low
M_HIGH = 18  # two timers: axle too high
CODES = 10
M_COUNT = 20  # maturing timers of the codes
M_STATUS = M_COUNT + CODES  # their status bytes
M_FIRST = M_STATUS + CODES  # their times of first maturing
M_WRONG = M_FIRST + CODES  # what their tests say on this tick
M_TESTED = M_WRONG + CODES
MEMORY = M_TESTED + CODES
IDLE, FILL, VENT, RELIEF, REFILL = 0.0, 1.0, 2.0, 3.0, 4.0
FAILED, THIS_CYCLE, PENDING, CONFIRMED = 1, 2, 4, 8
NOT_DONE, SINCE_CLEAR, NOT_DONE_CYCLE = 16, 32, 64
RANGE = 0.13  # [m] chosen: beyond this a height is no height
P_LOWEST, P_HIGHEST = 5e4, 3e6  # [Pa] chosen: beyond these a pressure is no pressure


def new_memory(credit: float) -> Array:
    """Return the memory of a control unit that has just been cleared and has rested."""
    memory = np.zeros(MEMORY)
    memory[M_CREDIT], memory[M_WOKEN] = credit, 1.0
    memory[M_STATUS : M_STATUS + CODES] = NOT_DONE | NOT_DONE_CYCLE
    return memory


@compiled
def read_sensor(row: Array, lever: float, x: Array, noise: float, jump: float) -> float:
    """Return the height that a sensor reports, above ride height at the wheel arch [m].

    `noise` and `jump` are in standard deviations. The control unit turns the signal back with the
    healthy geometry.
    """
    true = 0.5 * (x[int(row[S_FIRST])] + x[int(row[S_LAST])]) / lever
    if row[S_BROKEN] > 0.0:
        true = row[S_HANGS]
    reach = row[S_ARM]
    angle = math.asin(min(max(true / reach, -1.0), 1.0)) * (1.0 + row[S_GAIN]) + row[S_BENT]
    share = min(max(0.5 + angle / row[S_SPAN], 0.0), 1.0) * (1.0 - row[S_SUPPLY])
    if row[S_OPEN] > 0.0:
        share = 0.0
    seen = reach * math.sin((share - 0.5) * row[S_SPAN]) + row[S_OFFSET]
    seen += noise * row[S_NOISE] + jump * row[S_JUMPS]
    step = row[S_STEP]
    return float(seen if step <= 0.0 else step * math.floor(seen / step + 0.5))


@compiled
def _judge(m: Array, code: int, wrong: bool, t: float, kc: Array) -> None:
    """Let one code's test go on for a tick and keep its status."""
    at = M_STATUS + code
    bits = int(m[at])
    m[M_COUNT + code] = m[M_COUNT + code] + kc[K_TICK] if wrong else 0.0
    if wrong and m[M_COUNT + code] < kc[K_MATURE]:
        return
    bits &= ~(NOT_DONE | NOT_DONE_CYCLE)
    if wrong:
        if not bits & SINCE_CLEAR:
            m[M_FIRST + code] = t
        bits |= FAILED | THIS_CYCLE | PENDING | CONFIRMED | SINCE_CLEAR
    else:
        bits &= ~FAILED
    m[at] = float(bits)


@compiled
def _new_cycle(m: Array) -> None:
    """Start an operation cycle: what failed in the one before stays confirmed, not pending."""
    for code in range(CODES):
        bits = int(m[M_STATUS + code])
        if not bits & (THIS_CYCLE | NOT_DONE_CYCLE):
            bits &= ~PENDING
        bits = (bits & ~THIS_CYCLE) | NOT_DONE_CYCLE
        m[M_STATUS + code] = float(bits)


@compiled
def _axle_error(m: Array, kc: Array, sensors: Array, axle: int, worst: float) -> float:
    """Return target less height of an axle: of its lowest corner, or its mean [m]."""
    total, count, most = 0.0, 0, -1.0
    for i in range(sensors.shape[0]):
        if int(sensors[i, S_FIRST]) // 2 == axle:
            error = kc[K_TARGET] - m[M_HEIGHT + i]
            total += error
            count += 1
            most = max(most, error)
    return most if worst > 0.0 else total / max(count, 1)


@compiled
def _corner_error(m: Array, kc: Array, sensors: Array, corner: int) -> float:
    """Return target less height at a corner, or of its axle where one sensor serves both [m]."""
    for i in range(sensors.shape[0]):
        if int(sensors[i, S_FIRST]) <= corner <= int(sensors[i, S_LAST]):
            return float(kc[K_TARGET] - m[M_HEIGHT + i])
    return 0.0


@compiled
def _command(m: Array, kc: Array, sensors: Array, n: int, reservoir: bool, cmd: Array) -> None:
    """Write what the mode asks of pump and valves."""
    for i in range(COMMANDS):
        if i != C_BLOWN:  # the fuse is no command
            cmd[i] = 0.0
    mode, axle = m[M_MODE], int(m[M_AXLE])
    if mode in (FILL, VENT):
        sign = 1.0 if mode == FILL else -1.0
        for corner in range(2 * axle, min(2 * axle + 2, n)):
            if sign * _corner_error(m, kc, sensors, corner) > kc[K_STOP]:
                cmd[C_VALVE + corner] = 1.0
    if mode == FILL:
        cmd[C_RES_CMD] = 1.0 if reservoir else 0.0
        cmd[C_PUMP] = 0.0 if reservoir else 1.0
    if mode in (VENT, RELIEF):
        cmd[C_VENT_CMD] = 1.0
    if mode == REFILL:
        cmd[C_PUMP], cmd[C_RES_CMD] = 1.0, 1.0
    if m[M_HOT] > 0.0 or m[M_BUDGET] > 0.0 or kc[K_NO_COMMAND] > 0.0:
        cmd[C_PUMP] = 0.0


@compiled
def _told(cmd: Array) -> float:
    """Return all commands as one number."""
    total = 0.0
    for i in range(COMMANDS):
        total = 2.0 * total + cmd[i]
    return total


def decide(
    t: float, m: Array, kc: Array, sensors: Array, springs: Array, wide: Array, u: Array, x: Array,
    supply: float, head: float, pressure: float, seed: int, cmd: Array,
) -> float:  # fmt: skip
    """Take one decision; write the commands and return 1 if any has changed, else 0.

    `x`, `head` and `pressure` are what is true at the sensors; what they report is worked out here.
    """
    tick, n, n_s = kc[K_TICK], springs.shape[0], sensors.shape[0]
    axles = n // 2
    has_res = wide[V_RES] > 0.0
    count = int(m[M_TICKS])
    m[M_TICKS] += 1.0
    engine = u[U_ENGINE] > 0.0
    if engine and m[M_ENGINE] == 0.0:
        _new_cycle(m)
    m[M_ENGINE] = 1.0 if engine else 0.0
    # What it sees.
    blind = False
    moving = m[M_MODE] in (FILL, VENT)
    lag = kc[K_MOVING] if moving else kc[K_FILTER]
    weight = 1.0 if m[M_WOKEN] > 0.0 else 1.0 - math.exp(-tick / lag)
    for i in range(n_s):
        jump = worn_track(seed, i, t) if sensors[i, S_JUMPS] > 0.0 else 0.0
        seen = read_sensor(sensors[i], wide[LEVER], x, normal(seed, count, i), jump)
        m[M_HEIGHT + i] += weight * (seen - m[M_HEIGHT + i])
        blind = blind or abs(seen) > RANGE or sensors[i, S_OPEN] > 0.0
    m[M_WOKEN] = 0.0
    p_res = pressure + wide[P_OFFSET]
    trusted = wide[P_DEAD] == 0.0 and P_LOWEST < p_res < P_HIGHEST
    store = has_res and trusted and wide[R_COIL] == 0.0
    pumping = cmd[C_PUMP] > 0.0
    low_supply = supply < kc[K_VOLTS]
    held = u[U_DOOR] > 0.0 or u[U_LIFT] > 0.0 or u[U_MODE] > 0.0
    # Budget and heat.
    if pumping:
        m[M_CREDIT] = max(m[M_CREDIT] - tick, 0.0)
    else:
        m[M_CREDIT] = min(m[M_CREDIT] + tick * kc[K_RATE], kc[K_CREDIT])
    if m[M_CREDIT] <= 0.0:
        m[M_BUDGET] = 1.0
    elif m[M_CREDIT] >= kc[K_RESTART]:
        m[M_BUDGET] = 0.0
    if head > kc[K_HOT]:
        m[M_HOT] = 1.0
    elif head < kc[K_COOL]:
        m[M_HOT] = 0.0
    m[M_REST] = max(m[M_REST] - tick, 0.0)
    coil = False
    for i in range(n):
        coil = coil or springs[i, V_COIL] > 0.0
    may_lift = engine and not held and not low_supply and not blind and m[M_REST] == 0.0
    may_pump = may_lift and m[M_HOT] == 0.0 and m[M_BUDGET] == 0.0
    may_vent = not held and not blind
    # Timers.
    for axle in range(axles):
        low = _axle_error(m, kc, sensors, axle, 1.0) > kc[K_LOW]
        high = _axle_error(m, kc, sensors, axle, 0.0) < -kc[K_HIGH]
        m[M_LOW + axle] = m[M_LOW + axle] + tick if low else 0.0
        m[M_HIGH + axle] = m[M_HIGH + axle] + tick if high else 0.0
    # Modes.
    mode, timed_out = m[M_MODE], False
    axle_now = int(m[M_AXLE])
    use_res = store and p_res > p_needed(wide, springs, axle_now) + kc[K_MARGIN]
    if mode == FILL:
        m[M_RUN] += tick
        done = _axle_error(m, kc, sensors, axle_now, 1.0) <= kc[K_STOP]
        timed_out = m[M_RUN] >= kc[K_TIMEOUT]
        if timed_out:
            m[M_REST] = kc[K_REST]
        if done:
            m[M_WRONG + 1] = 0.0
        if done or timed_out or not may_lift or not (may_pump or use_res):
            mode, m[M_RELIEF] = RELIEF, kc[K_RELIEF]
    elif mode == VENT:
        m[M_RUN] += tick
        done = _axle_error(m, kc, sensors, axle_now, 0.0) >= -kc[K_STOP]
        if done or not may_vent or m[M_RUN] >= kc[K_TIMEOUT]:
            mode = IDLE
    elif mode == RELIEF:
        m[M_RELIEF] -= tick
        if m[M_RELIEF] <= 0.0:
            mode = IDLE
    elif mode == REFILL:
        m[M_RUN] += tick
        slow = m[M_RUN] >= kc[K_TIMEOUT]
        if p_res >= kc[K_FULL] or not (store and may_pump) or slow:
            mode, m[M_RELIEF] = RELIEF, kc[K_RELIEF]
            if slow:
                m[M_REST] = kc[K_REST]
    if mode == IDLE:
        for axle in range(axles):
            if mode == IDLE and may_vent and m[M_HIGH + axle] >= kc[K_DELAY_VENT]:
                mode, m[M_AXLE], m[M_RUN] = VENT, float(axle), 0.0
        for axle in range(axles):
            if mode == IDLE and m[M_LOW + axle] >= kc[K_DELAY_FILL]:
                use_res = store and p_res > p_needed(wide, springs, axle) + kc[K_MARGIN]
                if may_lift and (may_pump or use_res):
                    mode, m[M_AXLE], m[M_RUN] = FILL, float(axle), 0.0
        if mode == IDLE and store and may_pump and p_res < kc[K_REFILL]:
            mode, m[M_RUN] = REFILL, 0.0
    m[M_MODE] = mode
    # Commands.
    before = _told(cmd)
    _command(m, kc, sensors, n, use_res, cmd)
    # Codes.
    wrong, tested = m[M_WRONG : M_WRONG + CODES], m[M_TESTED : M_TESTED + CODES]
    tested[0] = 1.0
    for code in range(2, CODES):
        tested[code] = 1.0 if engine else 0.0
    if not has_res:
        tested[7] = tested[8] = 0.0
    if wide[P_SENSOR] == 0.0:
        tested[9] = 0.0
    wrong[0] = 1.0 if blind else 0.0
    if timed_out:
        wrong[1], m[M_COUNT + 1] = 1.0, kc[K_MATURE]
    tested[1] = 1.0 if timed_out or (mode == RELIEF and m[M_RUN] > 0.0) else 0.0
    wrong[2] = wide[COIL_OPEN]
    wrong[3] = m[M_HOT]
    wrong[4] = 1.0 if low_supply else 0.0
    wrong[5] = 1.0 if coil else 0.0
    wrong[6] = m[M_BUDGET]
    wrong[7] = 1.0 if mode == REFILL and m[M_RUN] > 0.5 * kc[K_TIMEOUT] else 0.0
    wrong[8] = wide[R_COIL]
    wrong[9] = 0.0 if trusted else 1.0
    for code in range(CODES):
        if tested[code] > 0.0:
            _judge(m, code, wrong[code] > 0.0, t, kc)
    return 1.0 if before != _told(cmd) else 0.0


@compiled
def p_needed(wide: Array, springs: Array, axle: int) -> float:
    """Return the pressure that lifts an axle as the unit has learnt it: at its usual load [Pa]."""
    most = 0.0
    for i in range(2 * axle, min(2 * axle + 2, springs.shape[0])):
        most = max(most, springs[i, LOAD] / springs[i, AREA])
    return float(most + wide[BARO])
