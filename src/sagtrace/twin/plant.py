"""The plant: what air, body, motor and wires do from one moment to the next. Compiled.

State `y`: gas mass then internal energy of every volume (springs, gallery, reservoir if there is
one), head temperature, connector temperature, fuse heat, water in the dryer, battery charge; then
six ledgers that feed nothing back: mass in, mass out, energy in with it, energy out with it, heat
taken up, work done on the body.

Assumptions. Perfect gas with constant specific heats. The body moves slowly: forces balance at
every moment (no inertia, no friction), so heights follow from the springs' energies by Newton's
method and never drift. Body and anti-roll bars are springs between the corners; the ground is flat.
The pump's cylinder, the motor's inertia and inductance are quasi-steady. Dryer and intake are
restrictions with b = 0, a stroke's blow-by is half of the flow that the ring would leak steadily.
Out of scope: driving, damping, the inrush of a starting motor, moisture beyond the dryer.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from sagtrace.physics.constants import COPPER_TEMPCO20, GAMMA_AIR, R_AIR, T_20C
from sagtrace.twin._compiled import Heights, compiled
from sagtrace.twin._slots import (
    AFTERCOOL,
    AREA,
    B_LEAK,
    B_VALVE,
    BARO,
    BATT_CAP,
    BLOWN,
    BUMP_AT,
    BUMP_K,
    C_DRYER,
    C_OPEN,
    C_RES,
    C_VENT,
    COIL_OPEN,
    CONN_CAP,
    CONN_RTH,
    CROSS,
    DRY_CAP,
    DRY_CAPTURE,
    DRY_CHOKE,
    DRY_REGEN,
    FRICTION,
    FUSE_COOL,
    FUSE_IN,
    FUSE_PLACE,
    G_BLOCK,
    G_RES,
    G_SPRING,
    HEAD_CAP,
    HEAD_RTH,
    HUMIDITY,
    I_CHARGE,
    I_SLEEP,
    L_BLOCK,
    L_CHECK,
    L_RES,
    L_VENT,
    LAMINAR,
    LEAK,
    LOOP_OPEN,
    OCV_EMPTY,
    OCV_FULL,
    POLY,
    R_ARM,
    R_BATT,
    R_CHARGE,
    R_COIL,
    R_CONN,
    R_FEED,
    R_GROUND,
    R_RELAY,
    R_SEAT,
    R_STUCK,
    REB_AT,
    REB_K,
    SEAT,
    SLOPE,
    STUCK_ON,
    U_AMBIENT,
    U_ENGINE,
    U_RAMP,
    U_SLOPE,
    U_START,
    V_BLOCK,
    V_CHARGE,
    V_COIL,
    V_RES,
    V_STUCK_CLOSED,
    V_STUCK_OPEN,
    VENT_STUCK,
    VOLUME,
)
from sagtrace.twin.body import solve_small
from sagtrace.twin.formulas import (
    compression_temperature,
    fuse_time,
    humidity_ratio,
    iso_flow,
    series_conductance,
)
from sagtrace.twin.pump_point import pump_point

__all__ = [
    "A_CURRENT",
    "A_FLOW",
    "A_LEAK",
    "A_PRESSURE",
    "A_PUMP_VOLTS",
    "A_SPEED",
    "A_SUPPLY",
    "AUX",
    "C_BLOWN",
    "C_PUMP",
    "C_RES_CMD",
    "C_VALVE",
    "C_VENT_CMD",
    "COMMANDS",
    "CV",
    "EXTRAS",
    "LEDGERS",
    "rates",
    "WORK_ROWS",
]

Array = NDArray[np.float64]

EXTRAS = 5  # head and connector temperature, fuse heat, water, charge
LEDGERS = 6
VOLUMES = 6  # four springs, gallery, reservoir
(A_CURRENT, A_PUMP_VOLTS, A_SUPPLY, A_FLOW) = range(4)
A_SPEED = 4  # of up to four springs [m/s]
A_LEAK = A_SPEED + 4  # what each volume loses to the outside [kg/s]
A_PRESSURE = A_LEAK + VOLUMES  # of each volume, then of the outside [Pa]
A_TEMP = A_PRESSURE + VOLUMES + 1  # the same [K]
AUX = A_TEMP + VOLUMES + 1
WORK_ROWS = 2  # of scratch beyond a square one: speeds or Newton's step, loads
C_PUMP, C_VENT_CMD, C_RES_CMD, C_BLOWN, C_VALVE = 0, 1, 2, 3, 4  # commands; then four valves
COMMANDS = C_VALVE + 4

CV = R_AIR / (GAMMA_AIR - 1.0)
CP = CV + R_AIR
TURN = 2.0 * math.pi
MOTOR_HEAT_SHARE = 0.5  # [-] chosen: of the compression work that stays in the head
VALVE, LEAKING, CROSSING = 0, 1, 2  # the three ways out of a volume


@compiled
def _powered(wide: Array, cmd: Array) -> bool:
    """Return whether current can reach the motor: relay closed, fuse whole, loop unbroken."""
    on = wide[STUCK_ON] > 0.0 or (cmd[C_PUMP] > 0.0 and wide[COIL_OPEN] == 0.0)
    return bool(on and cmd[C_BLOWN] == 0.0 and wide[BLOWN] == 0.0 and wide[LOOP_OPEN] == 0.0)


@compiled
def _spring_way(way: int, row: Array, command: float) -> float:
    """Return what one way out of a spring lets through [m^3/(s Pa)]."""
    if way == LEAKING:
        return float(row[LEAK])
    if way == CROSSING:
        return float(row[CROSS])
    moves = row[V_STUCK_CLOSED] == 0.0 and row[V_COIL] == 0.0
    is_open = row[V_STUCK_OPEN] > 0.0 or (command > 0.0 and moves)
    return float(row[SEAT] + (row[C_OPEN] if is_open else 0.0))


@compiled
def _rigid_way(
    way: int, is_block: bool, wide: Array, cmd: Array, turning: bool, dryer: float
) -> float:
    """Return what one way out of gallery or reservoir lets through [m^3/(s Pa)]."""
    if way == CROSSING:
        return 0.0
    if is_block:
        if way == LEAKING:
            return float(wide[L_BLOCK] + wide[L_VENT] + (0.0 if turning else wide[L_CHECK]))
        is_open = cmd[C_VENT_CMD] > 0.0 and wide[VENT_STUCK] == 0.0
        return series_conductance(wide[C_VENT], dryer) if is_open else 0.0
    if way == LEAKING:
        return float(wide[L_RES])
    is_open = cmd[C_RES_CMD] > 0.0 and wide[R_STUCK] == 0.0 and wide[R_COIL] == 0.0
    return float(wide[R_SEAT] + (wide[C_RES] if is_open else 0.0))


@compiled
def _book(i: int, j: int, q: float, temps: Array, nv: int, dy: Array) -> None:
    """Book a flow of mass and of its enthalpy from volume i to j; beyond the last is outside."""
    energy = CP * q * (temps[i] if q > 0.0 else temps[j])
    dy[i] -= q
    dy[nv + i] -= energy
    if j < nv:
        dy[j] += q
        dy[nv + j] += energy
        return
    ledger = 2 * nv + EXTRAS
    if q > 0.0:
        dy[ledger + 1] += q
        dy[ledger + 3] += energy
    else:
        dy[ledger] -= q
        dy[ledger + 2] -= energy


def rates(
    heights: Heights, t: float, y: Array, wide: Array, springs: Array, links: Array, u: Array,
    cmd: Array, x: Array, dy: Array, aux: Array, work: Array,
) -> None:  # fmt: skip
    """Write dy/dt and what can be seen from outside; `x` holds a guess and the extensions."""
    n = int(springs.shape[0])
    block = n
    nv = n + (2 if wide[V_RES] > 0.0 else 1)
    extra, ledger = 2 * nv, 2 * nv + EXTRAS
    baro, lam = wide[BARO], wide[LAMINAR]
    ambient = u[U_AMBIENT] + u[U_SLOPE] * (t - u[U_START])
    matrix, speed = work[:n], work[n]
    p, temps = aux[A_PRESSURE:], aux[A_TEMP:]
    heights(t, y[nv:], springs, links, u, baro, x, work)
    for i in range(len(dy)):
        dy[i] = 0.0
    for i in range(nv):
        if i < n:
            volume = springs[i, VOLUME] + springs[i, AREA] * x[i]
            volume += 0.5 * springs[i, SLOPE] * x[i] * x[i]
        else:
            volume = wide[V_BLOCK] if i == block else wide[V_RES]
        temps[i] = y[nv + i] / (CV * y[i])
        p[i] = (GAMMA_AIR - 1.0) * y[nv + i] / volume
    p[nv], temps[nv] = baro, ambient
    water, head = y[extra + 3], y[extra]
    full = min(max(water / wide[DRY_CAP], 0.0), 1.0)
    dryer = wide[C_DRYER] * (1.0 - wide[DRY_CHOKE] * full)
    # Electric loop, pump.
    charging = u[U_ENGINE] > 0.0
    charge = min(max(y[extra + 4], 0.0), 1.0)
    volts = wide[OCV_EMPTY] + (wide[OCV_FULL] - wide[OCV_EMPTY]) * charge
    source = wide[R_BATT]
    if charging and wide[V_CHARGE] > volts:
        volts, source = wide[V_CHARGE], wide[R_CHARGE]
    joint = wide[R_CONN] * (1.0 + COPPER_TEMPCO20 * (y[extra + 1] - T_20C))
    before = source + wide[R_FEED] + wide[R_RELAY] + wide[R_GROUND] + joint
    flow, current, turns, power, pump_volts = 0.0, 0.0, 0.0, 0.0, 0.0
    if _powered(wide, cmd):
        flow, current, turns, p_out, stroke = pump_point(
            wide, p[block], ambient, head, dryer, volts, before + wide[R_ARM]
        )
        hot = compression_temperature(ambient, max(p_out / baro, 1.0), wide[POLY])
        energy = CP * flow * (ambient + wide[AFTERCOOL] * (hot - ambient))
        dy[block] += flow
        dy[nv + block] += energy
        dy[ledger] += flow
        dy[ledger + 2] += energy
        power = MOTOR_HEAT_SHARE * stroke * turns
        if turns > 0.0:
            power += wide[FRICTION] * TURN * turns
        pump_volts = volts - current * before
    # Air through valves and leaks.
    vented = 0.0
    for i in range(nv):
        aux[A_LEAK + i] = 0.0
        for way in range(3):
            if i < n:
                c = _spring_way(way, springs[i], cmd[C_VALVE + i])
            else:
                c = _rigid_way(way, i == block, wide, cmd, turns > 0.0, dryer)
            if c <= 0.0:
                continue
            j = block
            if way == LEAKING or i == block:
                j = nv
            elif way == CROSSING:
                j = i + 1 if i + 1 < n else 0
            b = wide[B_VALVE] if way == VALVE else wide[B_LEAK]
            q = iso_flow(p[i], temps[i], p[j], temps[j], c, b, lam)
            _book(i, j, q, temps, nv, dy)
            if way == LEAKING:
                aux[A_LEAK + i] = q
            elif i == block:
                vented = q
    # Heat from the surroundings, then work on the body.
    for i in range(nv):
        g = wide[G_BLOCK] if i == block else wide[G_RES]
        heat = (springs[i, G_SPRING] if i < n else g) * (ambient - temps[i])
        dy[nv + i] += heat
        dy[ledger + 4] += heat
    for i in range(n):
        row = springs[i]
        area = row[AREA] + row[SLOPE] * x[i]
        volume = row[VOLUME] + row[AREA] * x[i] + 0.5 * row[SLOPE] * x[i] * x[i]
        stops = row[BUMP_K] * max(row[BUMP_AT] - x[i], 0.0)
        stops += row[REB_K] * max(x[i] - row[REB_AT], 0.0)
        for j in range(n):
            matrix[i, j] = links[i, j]
        matrix[i, i] += GAMMA_AIR * p[i] * area * area / volume - (p[i] - baro) * row[SLOPE]
        matrix[i, i] += 2.0 * stops
        speed[i] = (GAMMA_AIR - 1.0) * area / volume * dy[nv + i] - u[U_RAMP + i]
    solve_small(matrix, speed, n)
    for i in range(n):
        done = p[i] * (springs[i, AREA] + springs[i, SLOPE] * x[i]) * speed[i]
        dy[nv + i] -= done
        dy[ledger + 5] += done
        aux[A_SPEED + i] = speed[i]
    # Head, connector, fuse, dryer, battery.
    made = current * current * wide[R_ARM] + power
    dy[extra] = (made - (head - ambient) / wide[HEAD_RTH]) / wide[HEAD_CAP]
    lost = (y[extra + 1] - ambient) / wide[CONN_RTH]
    dy[extra + 1] = (current * current * joint - lost) / wide[CONN_CAP]
    dy[extra + 2] = 1.0 / fuse_time(current / wide[FUSE_IN], wide[FUSE_PLACE])
    dy[extra + 2] -= y[extra + 2] / wide[FUSE_COOL]
    carried = 0.0
    if flow > 0.0:
        carried = humidity_ratio(ambient, baro, wide[HUMIDITY]) * flow
    dy[extra + 3] = wide[DRY_CAPTURE] * (1.0 - full) * carried
    dy[extra + 3] -= wide[DRY_REGEN] * full * max(vented, 0.0)
    drain = current + wide[I_SLEEP]
    if charging and wide[V_CHARGE] > wide[OCV_FULL]:
        drain = -wide[I_CHARGE] * (1.0 - charge)
    dy[extra + 4] = -drain / wide[BATT_CAP]
    aux[A_CURRENT], aux[A_FLOW] = current, flow
    aux[A_SUPPLY], aux[A_PUMP_VOLTS] = volts - current * source, pump_volts
