"""Faults that can be put into the virtual vehicle, as changes on top of its parameters.

A `FaultParameters` is what one fault adds: conductances and resistances add up, shares multiply,
and a switch once set stays set. Severity scales the additive numbers, so that one record serves
for a slow and a heavy leak; a switch is on at any severity above zero, and at zero nothing is
changed at all. Which knowledge fault is which change is told elsewhere.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields

from sagtrace.errors import DomainError

__all__ = ["CornerFault", "FaultParameters", "SensorFault", "TimedFault"]


@dataclass(frozen=True, slots=True, kw_only=True)
class CornerFault:
    """What is wrong at one spring, its valve and its line."""

    leak: float = 0.0  # [m^3/(s Pa)] spring or line to the outside
    seat_leak: float = 0.0  # [m^3/(s Pa)] past the closed valve
    line_loss: float = 0.0  # [-] 0 free, 1 blocked
    valve_stuck_closed: bool = False
    valve_stuck_open: bool = False
    coil_open: bool = False  # the valve stays closed, and the control unit can see why
    cross_leak: float = 0.0  # [m^3/(s Pa)] inside the block to the next spring, last to first


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorFault:
    """What is wrong with one height sensor."""

    offset: float = 0.0  # [m]
    gain: float = 0.0  # [-] added to one
    noise: float = 0.0  # [m] added to the healthy noise
    bent_link: float = 0.0  # [rad] turn of the arm
    link_broken: bool = False  # the arm hangs where the link no longer holds it
    hangs_at: float = 0.06  # [m] what it then reports, from ride height
    open_circuit: bool = False  # the signal goes to zero
    supply_loss: float = 0.0  # [-] share of its supply that is lost, seen as absolute volts
    jumps: float = 0.0  # [m] one standard deviation of the bursts of a worn track


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultParameters:
    """What one fault changes."""

    corners: dict[str, CornerFault] = field(default_factory=dict)
    sensors: dict[str, SensorFault] = field(default_factory=dict)
    block_leak: float = 0.0  # [m^3/(s Pa)] gallery or feed line to the outside
    vent_leak: float = 0.0  # [m^3/(s Pa)] past the closed vent valve
    vent_stuck_closed: bool = False
    check_valve_leak: float = 0.0  # [m^3/(s Pa)] back through the resting pump
    reservoir_leak: float = 0.0  # [m^3/(s Pa)] to the outside
    reservoir_seat_leak: float = 0.0  # [m^3/(s Pa)] past its closed valve into the gallery
    reservoir_valve_stuck_closed: bool = False
    reservoir_valve_coil_open: bool = False  # it stays closed, and the control unit can see why
    pressure_offset: float = 0.0  # [Pa] added to what the pressure sensor reports
    pressure_dead: bool = False  # the pressure sensor reports nothing
    ring_leak: float = 0.0  # [m^3/(s Pa)] past the piston ring, added to the healthy one
    intake_loss: float = 0.0  # [-] 0 free, 1 blocked
    dryer_water: float = 0.0  # [kg] put into the bed at the onset
    seized: bool = False
    motor_open: bool = False
    armature: float = 0.0  # [ohm] added: worn brushes
    relay: float = 0.0  # [ohm] added
    relay_open: bool = False  # its contacts no longer close; its coil is sound
    relay_stuck_on: bool = False
    relay_coil_open: bool = False
    connector: float = 0.0  # [ohm] added
    connector_open: bool = False
    feed: float = 0.0  # [ohm] added
    feed_open: bool = False
    ground: float = 0.0  # [ohm] added
    ground_open: bool = False
    fuse_blown: bool = False
    battery: float = 0.0  # [ohm] added inside the battery
    battery_charge_loss: float = 0.0  # [-] taken from the charge at the onset
    charging_loss: float = 0.0  # [V] taken from the charging voltage
    no_command: bool = False  # the control unit never commands the pump
    target_offset: float = 0.0  # [m] stored ride height, after less before


@dataclass(frozen=True, slots=True, kw_only=True)
class TimedFault:
    """A fault with its size and the time when it sets in."""

    name: str
    change: FaultParameters
    severity: float = 1.0  # [-] scales every number of the change
    onset: float = 0.0  # [s]

    def __post_init__(self) -> None:
        if not self.severity >= 0.0:
            raise DomainError(f"{self.name}.severity", self.severity, "", "zero or above")
        if not self.onset >= 0.0:
            raise DomainError(f"{self.name}.onset", self.onset, "s", "zero or above")

    def switches(self) -> tuple[str, ...]:
        """Names of the vehicle-wide switches that this fault sets."""
        return tuple(f.name for f in fields(self.change) if getattr(self.change, f.name) is True)
