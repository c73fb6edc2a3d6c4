"""Where each number lies in the arrays that compiled code works on, and how it gets there.

Compiled code knows no records, so a vehicle with its faults is written out once for each stretch
of a script between two events. The order here is private to this package.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sagtrace.errors import UnknownIdError
from sagtrace.twin.faults import CornerFault, FaultParameters, SensorFault, TimedFault
from sagtrace.twin.parameters import VehicleParameters

__all__ = [
    "AFTERCOOL", "AREA", "B_LEAK", "B_VALVE", "BARO", "BATT_CAP", "BLOWN", "BUMP_AT", "BUMP_K",
    "C_DRYER", "C_INTAKE", "C_OPEN", "C_RES", "C_VENT", "CLEAR", "COIL_OPEN", "CONN_CAP",
    "CONN_RTH", "coupling", "CROSS", "DRY_CAP", "DRY_CAPTURE", "DRY_CHOKE", "DRY_REGEN",
    "FRICTION", "FUSE_COOL", "FUSE_IN", "FUSE_PLACE", "G_BLOCK", "G_RES", "G_SPRING", "HEAD_CAP",
    "HEAD_RTH", "HUMIDITY", "I_CHARGE", "I_SLEEP", "K_AFTER", "K_COOL", "K_CREDIT", "K_DELAY_FILL",
    "K_DELAY_VENT", "K_FILTER", "K_FULL", "K_HIGH", "K_HOT", "K_LOW", "K_MARGIN", "K_MATURE",
    "K_MOVING", "K_NO_COMMAND", "K_RATE", "K_REFILL", "K_RELIEF", "K_REST", "K_RESTART", "K_STOP",
    "K_TARGET", "K_TICK", "K_TIMEOUT", "K_VOLTS", "KE", "L_BLOCK", "L_CHECK", "L_RES", "L_VENT",
    "LAMINAR", "LEAK", "LEVER", "LOAD", "LOOP_OPEN", "N_INPUT", "OCV_EMPTY", "OCV_FULL", "P_DEAD",
    "P_OFFSET", "P_SENSOR", "pack", "Packed", "POLY", "PREHEAT", "R_ARM", "R_BATT", "R_CHARGE",
    "R_COIL", "R_CONN", "R_FEED", "R_GROUND", "R_RELAY", "R_SEAT", "R_STUCK", "REB_AT", "REB_K",
    "RING", "S_ARM", "S_BENT", "S_BROKEN", "S_FIRST", "S_GAIN", "S_HANGS", "S_JUMPS", "S_LAST",
    "S_NOISE", "S_OFFSET", "S_OPEN", "S_SPAN", "S_STEP", "S_SUPPLY", "SEAT", "SLOPE", "STUCK_ON",
    "SWEPT", "U_AMBIENT", "U_DOOR", "U_ENGINE", "U_LIFT", "U_LOAD", "U_MODE", "U_RAMP", "U_SLOPE",
    "U_START", "V_BLOCK", "V_CHARGE", "V_COIL", "V_RES", "V_STUCK_CLOSED", "V_STUCK_OPEN",
    "VENT_STUCK", "VOLUME"
]  # fmt: skip

Array = NDArray[np.float64]

# Vehicle-wide numbers.
(BARO, HUMIDITY, LEVER, V_BLOCK, G_BLOCK, V_RES, G_RES, C_RES, L_RES, B_VALVE, LAMINAR, C_VENT,
 L_BLOCK, L_VENT, L_CHECK, B_LEAK, C_DRYER, DRY_CAP, DRY_CAPTURE, DRY_REGEN, DRY_CHOKE, C_INTAKE,
 SWEPT, CLEAR, POLY, RING, KE, FRICTION, R_ARM, HEAD_CAP, HEAD_RTH, PREHEAT, AFTERCOOL, V_CHARGE,
 R_CHARGE, OCV_FULL, OCV_EMPTY, R_BATT, BATT_CAP, I_CHARGE, I_SLEEP, R_FEED, R_RELAY, R_CONN,
 R_GROUND, CONN_CAP, CONN_RTH, FUSE_IN, FUSE_PLACE, FUSE_COOL, STUCK_ON, COIL_OPEN, BLOWN,
 VENT_STUCK, LOOP_OPEN, R_SEAT, R_STUCK, R_COIL, P_SENSOR, P_OFFSET, P_DEAD,
 N_WIDE) = range(62)  # fmt: skip

# Numbers of one spring.
(AREA, SLOPE, VOLUME, G_SPRING, BUMP_AT, BUMP_K, REB_AT, REB_K, C_OPEN, SEAT, LEAK, LOAD,
 V_STUCK_OPEN, V_STUCK_CLOSED, V_COIL, CROSS, N_SPRING) = range(17)  # fmt: skip

# Numbers of one sensor; its corners are places in the list of springs.
(S_FIRST, S_LAST, S_ARM, S_SPAN, S_NOISE, S_STEP, S_OFFSET, S_GAIN, S_BENT, S_BROKEN, S_HANGS,
 S_OPEN, S_SUPPLY, S_JUMPS, N_SENSOR) = range(15)  # fmt: skip

# Numbers of the control unit.
(K_TICK, K_FILTER, K_LOW, K_HIGH, K_STOP, K_DELAY_FILL, K_DELAY_VENT, K_TIMEOUT, K_REST, K_RELIEF,
 K_CREDIT, K_RATE, K_RESTART, K_HOT, K_COOL, K_VOLTS, K_AFTER, K_REFILL, K_FULL, K_MARGIN,
 K_MATURE, K_TARGET, K_NO_COMMAND, K_MOVING, N_CONTROL) = range(25)  # fmt: skip

# What the surroundings and the driver do in one stretch.
(U_START, U_AMBIENT, U_SLOPE, U_ENGINE, U_DOOR, U_LIFT, U_MODE, U_LOAD, N_INPUT) = (
    0, 1, 2, 3, 4, 5, 6, 7, 15,
)  # fmt: skip
U_RAMP = U_LOAD + 4  # four extra loads [N], then their slopes [N/s]

OPEN_OHMS = 1e5  # [ohm] chosen: an open circuit, finite so that no formula divides by zero
SEIZED_TORQUE = 1e3  # [N m] chosen: more than any motor here can overcome


@dataclass(frozen=True, slots=True, kw_only=True)
class Packed:
    """One vehicle in one state of health, written out."""

    wide: Array
    springs: Array
    sensors: Array
    control: Array


def pack(vehicle: VehicleParameters, faults: Iterable[TimedFault] = ()) -> Packed:
    """Return the vehicle with these faults present."""
    packed = Packed(
        wide=_wide(vehicle),
        springs=np.array([_spring(vehicle, i) for i in range(len(vehicle.springs))]),
        sensors=np.array([_sensor(vehicle, i) for i in range(len(vehicle.sensors))]),
        control=_control(vehicle),
    )
    for fault in faults:
        _add(packed, vehicle, fault)
    return packed


def coupling(vehicle: VehicleParameters) -> Array:
    """Return the stiffness between the springs' lengths [N/m], shape (springs, springs).

    Rows sum to zero: moving all springs alike costs nothing.
    """
    n = len(vehicle.springs)
    matrix = np.zeros((n, n))
    for left in range(0, n, 2):
        roll = np.zeros(n)
        roll[left], roll[left + 1] = 1.0, -1.0
        matrix += vehicle.roll_stiffness * np.outer(roll, roll)
    if n == 4:
        warp = np.array([1.0, -1.0, -1.0, 1.0])
        matrix += vehicle.torsion_stiffness * np.outer(warp, warp)
    return matrix / vehicle.lever**2


def _wide(v: VehicleParameters) -> Array:
    e, p, d, s = v.electrics, v.pump, v.dryer, v.surroundings
    wide = np.zeros(N_WIDE)
    wide[[BARO, HUMIDITY, LEVER]] = s.barometer, s.humidity, v.lever
    wide[[V_BLOCK, G_BLOCK]] = v.block.volume, v.block.heat_conductance
    if v.reservoir is not None:
        r = v.reservoir
        wide[[V_RES, G_RES, C_RES]] = r.volume, r.heat_conductance, r.valve_conductance
    wide[[B_VALVE, LAMINAR]] = v.valves.critical_ratio, v.valves.laminar_ratio
    wide[[C_VENT, B_LEAK]] = v.valves.vent_conductance, v.valves.leak_critical_ratio
    wide[[C_DRYER, DRY_CAP, DRY_CAPTURE]] = d.conductance, d.capacity, d.capture
    wide[[DRY_REGEN, DRY_CHOKE, C_INTAKE]] = d.regeneration, d.choke, p.intake_conductance
    wide[[SWEPT, CLEAR, POLY, RING]] = p.swept_volume, p.clearance, p.polytropic, p.ring_conductance
    wide[[KE, FRICTION, R_ARM]] = p.emf_constant, p.friction_torque, p.armature
    wide[[HEAD_CAP, HEAD_RTH]] = p.head_capacity, p.head_resistance
    wide[[PREHEAT, AFTERCOOL]] = p.preheat, p.aftercool
    wide[[V_CHARGE, R_CHARGE]] = e.charging_voltage, e.charging_resistance
    wide[[OCV_FULL, OCV_EMPTY]] = e.rest_voltage_full, e.rest_voltage_empty
    wide[[R_BATT, BATT_CAP]] = e.battery_resistance, e.battery_capacity
    wide[[I_CHARGE, I_SLEEP]] = e.charging_current, e.sleep_current
    wide[[R_FEED, R_RELAY, R_CONN, R_GROUND]] = e.feed, e.relay, e.connector, e.ground
    wide[[CONN_CAP, CONN_RTH]] = e.connector_capacity, e.connector_thermal
    wide[[FUSE_IN, FUSE_PLACE, FUSE_COOL]] = e.fuse_rating, e.fuse_place, e.fuse_cooling
    # In the reservoir where there is one, else in the gallery of a valve block.
    wide[P_SENSOR] = float(v.reservoir is not None or len(v.springs) == 4)
    return wide


def _spring(vehicle: VehicleParameters, i: int) -> Array:
    s, row = vehicle.springs[i], np.zeros(N_SPRING)
    row[[AREA, SLOPE, VOLUME, G_SPRING]] = s.area, s.area_slope, s.volume, s.heat_conductance
    row[[BUMP_AT, BUMP_K]] = s.bump_at, s.bump_stiffness
    row[[REB_AT, REB_K, LOAD]] = s.rebound_at, s.rebound_stiffness, s.load
    valve, line = s.valve_conductance, s.line_conductance
    row[C_OPEN] = _series(valve, line)
    return row


def _sensor(vehicle: VehicleParameters, i: int) -> Array:
    s, row = vehicle.sensors[i], np.zeros(N_SENSOR)
    places = [vehicle.corners.index(corner) for corner in s.corners]
    row[[S_FIRST, S_LAST]] = places[0], places[-1]
    row[[S_ARM, S_SPAN, S_NOISE, S_STEP]] = s.arm, s.span, s.noise, s.resolution
    return row


def _control(vehicle: VehicleParameters) -> Array:
    c, row = vehicle.control, np.zeros(N_CONTROL)
    row[[K_TICK, K_FILTER, K_LOW, K_HIGH]] = c.tick, c.filter, c.deadband_low, c.deadband_high
    row[[K_STOP, K_DELAY_FILL, K_DELAY_VENT]] = c.stop, c.delay_fill, c.delay_vent
    row[[K_TIMEOUT, K_REST, K_RELIEF]] = c.run_timeout, c.timeout_rest, c.relief
    row[[K_CREDIT, K_RATE, K_RESTART]] = c.credit_max, c.credit_rate, c.credit_restart
    row[[K_HOT, K_COOL, K_VOLTS, K_AFTER]] = c.hot_stop, c.hot_resume, c.low_voltage, c.after_run
    row[[K_REFILL, K_FULL, K_MARGIN]] = c.refill_below, c.refill_above, c.margin
    row[[K_MATURE, K_MOVING]] = c.mature, c.filter_moving
    return row


def _series(a: float, b: float) -> float:
    return 0.0 if a <= 0.0 or b <= 0.0 else float(a * b / np.hypot(a, b))


def _add(packed: Packed, vehicle: VehicleParameters, fault: TimedFault) -> None:
    change, k = fault.change, fault.severity
    roles = [sensor.role for sensor in vehicle.sensors]
    for corner in change.corners:
        if corner not in vehicle.corners:
            raise UnknownIdError("corner", corner, vehicle.corners)
    for role in change.sensors:
        if role not in roles:
            raise UnknownIdError("sensor", role, roles)
    if k == 0.0:
        return
    _add_wide(packed.wide, change, k)
    packed.control[K_TARGET] += k * change.target_offset
    _switch(packed.control, K_NO_COMMAND, change.no_command)
    for corner, at in change.corners.items():
        _add_corner(packed.springs[vehicle.corners.index(corner)], at, k)
    for role, sensed in change.sensors.items():
        _add_sensor(packed.sensors[roles.index(role)], sensed, k)


def _switch(row: Array, slot: int, on: bool) -> None:
    row[slot] = max(row[slot], float(on))


def _add_wide(wide: Array, change: FaultParameters, k: float) -> None:
    for slot, amount in (
        (L_BLOCK, change.block_leak), (L_VENT, change.vent_leak),
        (L_CHECK, change.check_valve_leak), (L_RES, change.reservoir_leak),
        (R_SEAT, change.reservoir_seat_leak), (RING, change.ring_leak), (R_ARM, change.armature),
        (R_RELAY, change.relay), (R_CONN, change.connector), (R_FEED, change.feed),
        (R_GROUND, change.ground), (R_BATT, change.battery), (V_CHARGE, -change.charging_loss),
        (P_OFFSET, change.pressure_offset),
    ):  # fmt: skip
        wide[slot] += k * amount
    wide[C_INTAKE] *= 1.0 - min(k * change.intake_loss, 1.0 - 1e-3)
    wide[FRICTION] += SEIZED_TORQUE * change.seized
    wide[R_ARM] += OPEN_OHMS * change.motor_open
    broken = change.relay_open or change.connector_open or change.feed_open or change.ground_open
    for slot, on in (
        (STUCK_ON, change.relay_stuck_on), (COIL_OPEN, change.relay_coil_open),
        (BLOWN, change.fuse_blown), (VENT_STUCK, change.vent_stuck_closed),
        (LOOP_OPEN, broken), (R_STUCK, change.reservoir_valve_stuck_closed),
        (R_COIL, change.reservoir_valve_coil_open), (P_DEAD, change.pressure_dead),
    ):  # fmt: skip
        _switch(wide, slot, on)


def _add_corner(row: Array, change: CornerFault, k: float) -> None:
    row[LEAK] += k * change.leak
    row[SEAT] += k * change.seat_leak
    row[CROSS] += k * change.cross_leak
    row[C_OPEN] *= 1.0 - min(k * change.line_loss, 1.0)
    _switch(row, V_STUCK_OPEN, change.valve_stuck_open)
    _switch(row, V_STUCK_CLOSED, change.valve_stuck_closed)
    _switch(row, V_COIL, change.coil_open)


def _add_sensor(row: Array, change: SensorFault, k: float) -> None:
    row[S_OFFSET] += k * change.offset
    row[S_GAIN] += k * change.gain
    row[S_NOISE] += k * change.noise
    row[S_JUMPS] += k * change.jumps
    row[S_BENT] += k * change.bent_link
    row[S_SUPPLY] += k * change.supply_loss
    if change.link_broken:
        row[S_BROKEN], row[S_HANGS] = 1.0, change.hangs_at
    _switch(row, S_OPEN, change.open_circuit)
