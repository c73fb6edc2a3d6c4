"""How the sizes of an effect become what the simulation takes.

A name says where a number goes: `leak` of the whole vehicle, `corner.leak` of the fault's corner,
`sensor.offset` of the sensors that read that corner (of all, if the fault has no corner),
`script.load` into the events, `start.head` into the state at the start.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping
from types import MappingProxyType
from typing import Any, TypeAlias

from sagtrace.physics.constants import T_20C
from sagtrace.twin.faults import CornerFault, FaultParameters, SensorFault
from sagtrace.twin.health import (
    battery_ohms,
    intake_for,
    leak_conductance,
    parked_pressure,
    ring_for,
)
from sagtrace.twin.parameters import VehicleParameters
from sagtrace.twin.script import Ambient, Door, Event, Lift, Load, Mode

__all__ = ["happenings", "NUMBERS", "SWITCHES", "to_change"]

Amounts: TypeAlias = Mapping[str, float]
Law: TypeAlias = Callable[[VehicleParameters, float, str], float]

# Every number that an effect may set, and the SI unit of its size. That of a leak is a flow at
# 20 °C and 1 atm, of the pump a share of its delivery, of a joint its whole resistance, of the
# battery its voltage under the pump, of the water a share of what the dryer holds.
NUMBERS: Mapping[str, str] = MappingProxyType(
    {
        **dict.fromkeys(("corner.leak", "corner.seat_leak", "corner.cross_leak"), "m³/s"),
        **dict.fromkeys(("block_leak", "vent_leak", "check_valve_leak"), "m³/s"),
        **dict.fromkeys(("reservoir_leak", "reservoir_seat_leak"), "m³/s"),
        **dict.fromkeys(("ring_leak", "intake_loss", "dryer_water", "corner.line_loss"), ""),
        **dict.fromkeys(("relay", "connector", "feed", "ground", "armature"), "Ω"),
        **dict.fromkeys(("battery", "charging_loss"), "V"),
        **dict.fromkeys(("battery_charge_loss", "sensor.gain", "sensor.supply_loss"), ""),
        **dict.fromkeys(("sensor.offset", "sensor.noise", "sensor.jumps", "sensor.hangs_at"), "m"),
        "sensor.bent_link": "rad",
        "target_offset": "m",
        "pressure_offset": "Pa",
        "script.load": "kg",
        "script.fall": "K",
        "script.fall_time": "s",
        "start.head": "K",
        "start.credit": "s",
    }
)  # fmt: skip
_HELD = ("script.door", "script.lift", "script.mode")
# Every switch that an effect may set.
SWITCHES: tuple[str, ...] = (
    *_HELD,
    *("corner.coil_open", "corner.valve_stuck_closed", "corner.valve_stuck_open"),
    *("sensor.link_broken", "sensor.open_circuit"),
    *("connector_open", "feed_open", "fuse_blown", "ground_open", "motor_open", "no_command"),
    *("pressure_dead", "relay_coil_open", "relay_open", "relay_stuck_on"),
    *("reservoir_valve_coil_open", "reservoir_valve_stuck_closed", "seized", "vent_stuck_closed"),
)


def _leak(vehicle: VehicleParameters, amount: float, corner: str) -> float:
    """Return the conductance of a leak out of the corner's spring, or of the fullest one."""
    pressure = parked_pressure(vehicle)
    if corner:
        spring = vehicle.springs[vehicle.corners.index(corner)]
        pressure = vehicle.surroundings.barometer + spring.load / spring.area
    return leak_conductance(vehicle, amount, pressure)


def _reservoir_leak(vehicle: VehicleParameters, amount: float, _corner: str) -> float:
    pressure = vehicle.reservoir.pressure if vehicle.reservoir else parked_pressure(vehicle)
    return leak_conductance(vehicle, amount, pressure)


def _joint(name: str) -> Law:
    def added(vehicle: VehicleParameters, amount: float, _corner: str) -> float:
        return max(amount - float(getattr(vehicle.electrics, name)), 0.0)

    return added


def _ring(vehicle: VehicleParameters, share: float, _corner: str) -> float:
    return ring_for(vehicle, share)


def _intake(vehicle: VehicleParameters, share: float, _corner: str) -> float:
    return intake_for(vehicle, share)


def _water(vehicle: VehicleParameters, share: float, _corner: str) -> float:
    return share * vehicle.dryer.capacity


def _as_it_is(_vehicle: VehicleParameters, amount: float, _corner: str) -> float:
    return amount


# A number that is not here is the change itself.
_LAWS: Mapping[str, Law] = MappingProxyType(
    {
        **dict.fromkeys(("corner.leak", "corner.seat_leak", "corner.cross_leak"), _leak),
        **dict.fromkeys(("block_leak", "vent_leak", "check_valve_leak"), _leak),
        **dict.fromkeys(("reservoir_leak", "reservoir_seat_leak"), _reservoir_leak),
        **{name: _joint(name) for name in ("relay", "connector", "feed", "ground")},
        "ring_leak": _ring,
        "intake_loss": _intake,
        "dryer_water": _water,
    }
)


def to_change(
    vehicle: VehicleParameters, amounts: Amounts, switches: Collection[str], corner: str
) -> FaultParameters:
    """Return what these sizes and switches change on the vehicle."""
    change: dict[str, dict[str, Any]] = {"": {}, "corner": {}, "sensor": {}}
    for name, amount in amounts.items():
        place, _, what = name.rpartition(".")
        if place not in change:
            continue
        change[place][what] = _LAWS.get(name, _as_it_is)(vehicle, amount, corner)
    if "battery" in amounts:
        lost = amounts.get("battery_charge_loss", 0.0)
        change[""]["battery"] = battery_ohms(vehicle, amounts["battery"], lost)
    for name in switches:
        place, _, what = name.rpartition(".")
        if place in change:
            change[place][what] = True
    at_corner, sensed = change["corner"], change["sensor"]
    roles = [s.role for s in vehicle.sensors if not corner or corner in s.corners]
    return FaultParameters(
        corners={corner: CornerFault(**at_corner)} if at_corner else {},
        sensors={role: SensorFault(**sensed) for role in roles} if sensed else {},
        **change[""],
    )


def happenings(
    vehicle: VehicleParameters, amounts: Amounts, switches: Collection[str], onset: float
) -> Iterator[Event]:
    """Yield the events of a script that these sizes and switches stand for."""
    if (mass := amounts.get("script.load")) is not None:
        yield Load(at=onset, kilograms=dict.fromkeys(vehicle.corners, mass))
    if (fall := amounts.get("script.fall")) is not None:
        yield Ambient(at=onset, to=T_20C - fall, over=amounts["script.fall_time"])
    if "script.door" in switches:
        yield Door(at=onset, open=True)
    if "script.lift" in switches:
        yield Lift(at=onset, up=True)
    if "script.mode" in switches:
        yield Mode(at=onset, on=True)
