"""What a virtual vehicle is made of, as frozen records in SI.

Every default is `chosen`: wide, plausible for a passenger car, and of no make. A workshop manual's
value replaces it through `layouts.parameters_from_facts`. Faults are not here: see `faults`.
Spring heights are in the spring's own length; the wheel arch moves 1/lever as far.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from sagtrace.errors import DomainError, InputError

__all__ = [
    "Block",
    "Control",
    "Dryer",
    "Electrics",
    "Pump",
    "Reservoir",
    "Sensor",
    "Spring",
    "Surroundings",
    "Valves",
    "VehicleParameters",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Spring:
    """One air spring with the line on its side of the valve. All chosen."""

    corner: str
    load: float = 5500.0  # [N] along the spring, vehicle empty
    area: float = 110e-4  # [m^2] effective, at ride height
    area_slope: float = -0.01  # [m] change of area for each metre that it gets longer
    volume: float = 1.8e-3  # [m^3] at ride height, its line included
    heat_conductance: float = 0.5  # [W/K] gas to the air around
    bump_at: float = -0.075  # [m] extension where the bump stop touches
    bump_stiffness: float = 4e7  # [N/m^2] force is this times penetration squared
    rebound_at: float = 0.07  # [m] extension where the damper tops out
    rebound_stiffness: float = 4e7  # [N/m^2]
    valve_conductance: float = 2.5e-9  # [m^3/(s Pa)] spring valve, open
    line_conductance: float = 8e-9  # [m^3/(s Pa)] its line


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """The gallery between pump, spring valves and vent. All chosen."""

    volume: float = 40e-6  # [m^3] gallery, line to the pump, dryer
    heat_conductance: float = 0.1  # [W/K]


@dataclass(frozen=True, slots=True, kw_only=True)
class Reservoir:
    """A rigid store of compressed air. All chosen."""

    volume: float = 5e-3  # [m^3]
    heat_conductance: float = 1.2  # [W/K]
    valve_conductance: float = 1e-9  # [m^3/(s Pa)] throttled: the body must not overshoot
    pressure: float = 12e5  # [Pa] absolute, at the start


@dataclass(frozen=True, slots=True, kw_only=True)
class Valves:
    """What all valves share. All chosen."""

    critical_ratio: float = 0.3  # [-] ISO 6358 b
    laminar_ratio: float = 0.995  # [-] the flow is a straight line from here to equal pressures
    vent_conductance: float = 1.5e-9  # [m^3/(s Pa)]
    leak_critical_ratio: float = 0.3  # [-] of every leak


@dataclass(frozen=True, slots=True, kw_only=True)
class Dryer:
    """A bed that takes water up on the way in and gives it back on the way out. All chosen."""

    conductance: float = 1.2e-8  # [m^3/(s Pa)] dry; used with b = 0, as for a packed bed
    capacity: float = 0.02  # [kg] of water
    capture: float = 0.95  # [-] of the water carried in, while dry
    regeneration: float = 0.03  # [kg/kg] water carried out by each kilogram vented, when full
    choke: float = 0.85  # [-] share of the conductance that a saturated bed has lost
    water: float = 0.002  # [kg] at the start


@dataclass(frozen=True, slots=True, kw_only=True)
class Pump:
    """One-stage piston pump with a permanent-magnet motor. All chosen."""

    swept_volume: float = 11.5e-6  # [m^3] a revolution
    clearance: float = 0.05  # [-]
    polytropic: float = 1.3  # [-]
    ring_conductance: float = 2e-11  # [m^3/(s Pa)] past the ring of a healthy pump
    intake_conductance: float = 3e-8  # [m^3/(s Pa)] filter and snorkel, used with b = 0
    emf_constant: float = 0.036  # [V s/rad]
    friction_torque: float = 0.28  # [N m]
    armature: float = 0.15  # [ohm] winding and brushes
    head_capacity: float = 600.0  # [J/K]
    head_resistance: float = 0.55  # [K/W] head to the air around
    preheat: float = 0.3  # [-] of the head's excess that the air takes on at the intake
    aftercool: float = 0.1  # [-] of the gas's excess that is left behind dryer and line


@dataclass(frozen=True, slots=True, kw_only=True)
class Electrics:
    """Battery, charging and the loop of the pump. All chosen."""

    charging_voltage: float = 14.2  # [V]
    charging_resistance: float = 0.01  # [ohm]
    rest_voltage_full: float = 12.75  # [V]
    rest_voltage_empty: float = 11.6  # [V]
    battery_resistance: float = 0.012  # [ohm]
    battery_capacity: float = 60.0 * 3600.0  # [A s]
    battery_charge: float = 0.9  # [-] at the start
    charging_current: float = 15.0  # [A] into an empty battery, engine running
    sleep_current: float = 0.03  # [A] vehicle asleep
    feed: float = 0.012  # [ohm] wire
    relay: float = 0.004  # [ohm] contacts
    connector: float = 0.003  # [ohm]
    ground: float = 0.003  # [ohm]
    connector_capacity: float = 12.0  # [J/K]
    connector_thermal: float = 14.0  # [K/W]
    fuse_rating: float = 30.0  # [A]
    fuse_place: float = 0.4  # [-] in its type's band: 0 quickest, 1 slowest
    fuse_cooling: float = 60.0  # [s] time constant


@dataclass(frozen=True, slots=True, kw_only=True)
class Sensor:
    """A ratiometric height sensor on an arm and a link; reads the mean of its corners. Chosen."""

    role: str  # "height.rear" and the like
    corners: tuple[str, ...]
    arm: float = 0.09  # [m]
    span: float = 2.4  # [rad] from 0 to 1 of its supply
    noise: float = 3e-4  # [m] one standard deviation
    resolution: float = 5e-4  # [m]


@dataclass(frozen=True, slots=True, kw_only=True)
class Control:
    """The levelling control unit. All chosen but the run budget."""

    tick: float = 0.25  # [s] between its decisions
    filter: float = 2.0  # [s] time constant on heights at rest
    filter_moving: float = 0.3  # [s] the same while it fills or vents
    deadband_low: float = 0.010  # [m] below target before it fills
    deadband_high: float = 0.012  # [m] above target before it vents
    stop: float = 0.002  # [m] it stops this close to the target
    delay_fill: float = 8.0  # [s]
    delay_vent: float = 8.0  # [s]
    run_timeout: float = 110.0  # [s] one fill at most; then a code, and a rest
    timeout_rest: float = 120.0  # [s]
    relief: float = 1.0  # [s] the gallery is vented after a fill
    credit_max: float = 120.0  # [s] run budget (a training booklet of the 2000s, in an excerpt)
    credit_rate: float = 15.0 / 360.0  # [-] earned while resting (same)
    credit_restart: float = 30.0  # [s] needed to start again after the budget ran out
    hot_stop: float = 388.15  # [K] head temperature that stops the pump
    hot_resume: float = 353.15  # [K]
    low_voltage: float = 11.0  # [V] supply below which it does not lift
    after_run: float = 60.0  # [s] awake after the engine stops
    refill_below: float = 10e5  # [Pa] absolute; reservoir is refilled below
    refill_above: float = 13e5  # [Pa] absolute; and until here
    margin: float = 1.0e5  # [Pa] the reservoir must be this much above the spring to fill it
    mature: float = 10.0  # [s] a fault must last before it is a code


@dataclass(frozen=True, slots=True, kw_only=True)
class Surroundings:
    """The weather that does not change during a run. Chosen."""

    barometer: float = 1.0e5  # [Pa]
    humidity: float = 0.65  # [-] relative


@dataclass(frozen=True, slots=True, kw_only=True)
class VehicleParameters:
    """A whole vehicle. Corners of one axle are neighbours in `springs`: 0 and 1, then 2 and 3."""

    layout: str
    springs: tuple[Spring, ...]
    sensors: tuple[Sensor, ...]
    level: float = 0.40  # [m] ride height at the wheel arch
    lever: float = 0.9  # [-] spring shortens this much for a millimetre at the wheel arch
    roll_stiffness: float = 18_000.0  # [N/m] anti-roll bars and the other axle, between the sides
    torsion_stiffness: float = 30_000.0  # [N/m] of the body, between front and rear axle's roll
    block: Block = field(default_factory=Block)
    reservoir: Reservoir | None = None
    valves: Valves = field(default_factory=Valves)
    dryer: Dryer = field(default_factory=Dryer)
    pump: Pump = field(default_factory=Pump)
    electrics: Electrics = field(default_factory=Electrics)
    control: Control = field(default_factory=Control)
    surroundings: Surroundings = field(default_factory=Surroundings)

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
