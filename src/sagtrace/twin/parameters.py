"""What a virtual vehicle is made of, as frozen records in SI.

Every number has its SI unit in its type and its value, with its source, in the knowledge's folder
`virtual`; there are no defaults here. A workshop manual's value replaces it through
`layouts.parameters_from_facts`. Faults are not here: see `faults`.
Spring heights are in the spring's own length; the wheel arch moves 1/lever as far.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Annotated, get_type_hints

from sagtrace.errors import DomainError, InputError

__all__ = [
    "Block",
    "Control",
    "Dryer",
    "Electrics",
    "GROUPS",
    "Pump",
    "Reservoir",
    "Sensor",
    "Spring",
    "Surroundings",
    "units_of",
    "Valves",
    "VehicleParameters",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Spring:
    """One air spring with the line on its side of the valve."""

    corner: str
    load: Annotated[float, "N"]  # along the spring, vehicle empty
    area: Annotated[float, "m²"]  # effective, at ride height
    area_slope: Annotated[float, "m"]  # change of area for each metre that it gets longer
    volume: Annotated[float, "m³"]  # at ride height, its line included
    heat_conductance: Annotated[float, "W/K"]  # gas to the air around
    bump_at: Annotated[float, "m"]  # extension where the bump stop touches
    bump_stiffness: Annotated[float, "N/m²"]  # force is this times penetration squared
    rebound_at: Annotated[float, "m"]  # extension where the damper tops out
    rebound_stiffness: Annotated[float, "N/m²"]
    valve_conductance: Annotated[float, "m³/(s·Pa)"]  # spring valve, open
    line_conductance: Annotated[float, "m³/(s·Pa)"]  # its line


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """The gallery between pump, spring valves and vent."""

    volume: Annotated[float, "m³"]  # gallery, line to the pump, dryer
    heat_conductance: Annotated[float, "W/K"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Reservoir:
    """A rigid store of compressed air."""

    volume: Annotated[float, "m³"]
    heat_conductance: Annotated[float, "W/K"]
    valve_conductance: Annotated[float, "m³/(s·Pa)"]  # throttled: the body must not overshoot
    pressure: Annotated[float, "Pa"]  # absolute, at the start


@dataclass(frozen=True, slots=True, kw_only=True)
class Valves:
    """What all valves share."""

    critical_ratio: Annotated[float, ""]  # ISO 6358 b
    laminar_ratio: Annotated[float, ""]  # the flow is a straight line from here to equal pressures
    vent_conductance: Annotated[float, "m³/(s·Pa)"]
    leak_critical_ratio: Annotated[float, ""]  # of every leak


@dataclass(frozen=True, slots=True, kw_only=True)
class Dryer:
    """A bed that takes water up on the way in and gives it back on the way out."""

    conductance: Annotated[float, "m³/(s·Pa)"]  # dry; used with b = 0, as for a packed bed
    capacity: Annotated[float, "kg"]  # of water
    capture: Annotated[float, ""]  # of the water carried in, while dry
    regeneration: Annotated[float, ""]  # water carried out by each kilogram vented, when full
    choke: Annotated[float, ""]  # share of the conductance that a saturated bed has lost
    water: Annotated[float, "kg"]  # at the start


@dataclass(frozen=True, slots=True, kw_only=True)
class Pump:
    """One-stage piston pump with a permanent-magnet motor."""

    swept_volume: Annotated[float, "m³"]  # a revolution
    clearance: Annotated[float, ""]
    polytropic: Annotated[float, ""]
    ring_conductance: Annotated[float, "m³/(s·Pa)"]  # past the ring of a healthy pump
    intake_conductance: Annotated[float, "m³/(s·Pa)"]  # filter and snorkel, used with b = 0
    emf_constant: Annotated[float, "V·s/rad"]
    friction_torque: Annotated[float, "N·m"]
    armature: Annotated[float, "Ω"]  # winding and brushes
    head_capacity: Annotated[float, "J/K"]
    head_resistance: Annotated[float, "K/W"]  # head to the air around
    preheat: Annotated[float, ""]  # of the head's excess that the air takes on at the intake
    aftercool: Annotated[float, ""]  # of the gas's excess that is left behind dryer and line


@dataclass(frozen=True, slots=True, kw_only=True)
class Electrics:
    """Battery, charging and the loop of the pump."""

    charging_voltage: Annotated[float, "V"]
    charging_resistance: Annotated[float, "Ω"]
    rest_voltage_full: Annotated[float, "V"]
    rest_voltage_empty: Annotated[float, "V"]
    battery_resistance: Annotated[float, "Ω"]
    battery_capacity: Annotated[float, "A·s"]
    battery_charge: Annotated[float, ""]  # at the start
    charging_current: Annotated[float, "A"]  # into an empty battery, engine running
    sleep_current: Annotated[float, "A"]  # vehicle asleep
    feed: Annotated[float, "Ω"]  # wire
    relay: Annotated[float, "Ω"]  # contacts
    connector: Annotated[float, "Ω"]
    ground: Annotated[float, "Ω"]
    connector_capacity: Annotated[float, "J/K"]
    connector_thermal: Annotated[float, "K/W"]
    fuse_rating: Annotated[float, "A"]
    fuse_place: Annotated[float, ""]  # in its type's band: 0 quickest, 1 slowest
    fuse_cooling: Annotated[float, "s"]  # time constant


@dataclass(frozen=True, slots=True, kw_only=True)
class Sensor:
    """A ratiometric height sensor on an arm and a link; reads the mean of its corners."""

    role: str  # "height.rear" and the like
    corners: tuple[str, ...]
    arm: Annotated[float, "m"]
    span: Annotated[float, "rad"]  # from 0 to 1 of its supply
    noise: Annotated[float, "m"]  # one standard deviation
    resolution: Annotated[float, "m"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Control:
    """The levelling control unit."""

    tick: Annotated[float, "s"]  # between its decisions
    filter: Annotated[float, "s"]  # time constant on heights at rest
    filter_moving: Annotated[float, "s"]  # the same while it fills or vents
    deadband_low: Annotated[float, "m"]  # below target before it fills
    deadband_high: Annotated[float, "m"]  # above target before it vents
    stop: Annotated[float, "m"]  # it stops this close to the target
    delay_fill: Annotated[float, "s"]
    delay_vent: Annotated[float, "s"]
    run_timeout: Annotated[float, "s"]  # one fill at most; then a code, and a rest
    timeout_rest: Annotated[float, "s"]
    relief: Annotated[float, "s"]  # the gallery is vented after a fill
    credit_max: Annotated[float, "s"]  # run budget
    credit_rate: Annotated[float, ""]  # earned while resting
    credit_restart: Annotated[float, "s"]  # needed to start again after the budget ran out
    hot_stop: Annotated[float, "K"]  # head temperature that stops the pump
    hot_resume: Annotated[float, "K"]
    low_voltage: Annotated[float, "V"]  # supply below which it does not lift
    after_run: Annotated[float, "s"]  # awake after the engine stops
    refill_below: Annotated[float, "Pa"]  # absolute; reservoir is refilled below
    refill_above: Annotated[float, "Pa"]  # absolute; and until here
    margin: Annotated[float, "Pa"]  # the reservoir must be this much above the spring to fill it
    mature: Annotated[float, "s"]  # a fault must last before it is a code


@dataclass(frozen=True, slots=True, kw_only=True)
class Surroundings:
    """The weather that does not change during a run."""

    barometer: Annotated[float, "Pa"]
    humidity: Annotated[float, ""]  # relative


@dataclass(frozen=True, slots=True, kw_only=True)
class VehicleParameters:
    """A whole vehicle. Corners of one axle are neighbours in `springs`: 0 and 1, then 2 and 3."""

    layout: str
    springs: tuple[Spring, ...]
    sensors: tuple[Sensor, ...]
    level: Annotated[float, "m"]  # ride height at the wheel arch
    lever: Annotated[float, ""]  # spring shortens this much for a millimetre at the wheel arch
    roll_stiffness: Annotated[float, "N/m"]  # anti-roll bars and the other axle, between the sides
    torsion_stiffness: Annotated[float, "N/m"]  # of the body, between front and rear axle's roll
    block: Block
    reservoir: Reservoir | None  # none where the layout has none
    valves: Valves
    dryer: Dryer
    pump: Pump
    electrics: Electrics
    control: Control
    surroundings: Surroundings

    def __post_init__(self) -> None:
        if len(self.springs) not in (2, 4):
            raise InputError(f"{self.layout}: {len(self.springs)} springs; expected 2 or 4.")
        known = {spring.corner for spring in self.springs}
        for sensor in self.sensors:
            if not sensor.corners or not set(sensor.corners) <= known:
                text = f"names corners {sensor.corners}; known: {', '.join(sorted(known))}"
                raise InputError(f"{self.layout}: sensor {sensor.role} {text}.")
        for spring in self.springs:
            for name, unit in (("area", "m^2"), ("volume", "m^3"), ("heat_conductance", "W/K")):
                value = getattr(spring, name)
                if not value >= 0.0 or (value == 0.0 and name != "heat_conductance"):
                    raise DomainError(f"{spring.corner}.{name}", value, unit, "above zero")

    @property
    def corners(self) -> tuple[str, ...]:
        """Names of the corners, in the order of `springs`."""
        return tuple(spring.corner for spring in self.springs)


# What the groups of numbers are called in the data.
GROUPS: Mapping[str, type] = MappingProxyType(
    {
        "spring": Spring,
        "block": Block,
        "reservoir": Reservoir,
        "valves": Valves,
        "dryer": Dryer,
        "pump": Pump,
        "electrics": Electrics,
        "sensor": Sensor,
        "control": Control,
        "surroundings": Surroundings,
        "body": VehicleParameters,
    }
)


def units_of(group: str) -> Mapping[str, str]:
    """Return the numbers of a group of `GROUPS` with the SI unit of each."""
    hints = get_type_hints(GROUPS[group], include_extras=True).items()
    told = {name: getattr(hint, "__metadata__", ()) for name, hint in hints}
    return {name: str(unit[0]) for name, unit in told.items() if unit}
