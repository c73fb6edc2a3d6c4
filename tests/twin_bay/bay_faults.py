"""A small map of fault states into the plant, enough to try the checks on."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from sagtrace.adapters.knowledge import SHIPPED, load_knowledge
from sagtrace.evidence.models import MODELS
from sagtrace.twin.bay.vehicle import BayVehicle, bay_vehicle
from sagtrace.twin.controller import M_BUDGET, M_CREDIT
from sagtrace.twin.faults import CornerFault, FaultParameters, SensorFault, TimedFault
from sagtrace.twin.layouts import LAYOUTS, parameters_from_layout
from sagtrace.twin.parameters import VehicleParameters
from sagtrace.twin.script import Ambient, Event, Load, Mode
from sagtrace.twin.simulate import State
from sagtrace.vehicle.system import System, base_id, corner_of, expand

KNOWLEDGE = load_knowledge(SHIPPED, MODELS)
SYSTEMS: Mapping[str, System] = {layout: expand(KNOWLEDGE, layout) for layout in LAYOUTS}
PARAMETERS: Mapping[str, VehicleParameters] = {
    layout: parameters_from_layout(SYSTEMS[layout].layout) for layout in LAYOUTS
}
LITRE_MINUTE = {"slow": 4.0, "fast": 60.0, "heavy": 900.0}  # [mL/min] the knowledge's own centres
OHMS = {"resistive": 0.1, "open": 1e5}  # [ohm]
# m^3/(s Pa) for each mL/min at 20 °C and 101.325 kPa out of 6 bar absolute, choked, ISO 6358.
CONDUCTANCE = 1e-6 / 60.0 * 101_325.0 / (287.05 * 293.15) / (1.185 * 6e5)


@dataclass(frozen=True, kw_only=True)
class Part:
    """What one fault state is in the plant."""

    fault: TimedFault | None = None
    events: Sequence[Event] = field(default=())
    initial: Callable[[State], State] | None = None


def used_budget(state: State) -> State:
    state.memory[M_CREDIT], state.memory[M_BUDGET] = 0.0, 1.0
    return state


def change_of(vehicle: VehicleParameters, fault: str, state: str) -> FaultParameters | None:
    base, corner = base_id(fault), corner_of(fault)
    leak = LITRE_MINUTE.get(state, 0.0) * CONDUCTANCE
    role = next((x.role for x in vehicle.sensors if not corner or corner in x.corners), "")
    match base:
        case "spring.fold-leak" | "spring.seal-leak" | "line.fitting-leak":
            return FaultParameters(corners={corner: CornerFault(leak=leak)})
        case "valve.leak-by":
            return FaultParameters(corners={corner: CornerFault(seat_leak=leak)})
        case "line.blocked":
            return FaultParameters(corners={corner: CornerFault(line_loss=0.99)})
        case "valve.stuck-closed":
            return FaultParameters(corners={corner: CornerFault(valve_stuck_closed=True)})
        case "valve.coil-open":
            return FaultParameters(corners={corner: CornerFault(coil_open=True)})
        case "vent.leak-by":
            return FaultParameters(vent_leak=1e-10)
        case "vent.stuck-closed":
            return FaultParameters(vent_stuck_closed=True)
        case "line.feed-leak":
            return FaultParameters(block_leak=1e-10)
        case "pump.worn":
            return FaultParameters(ring_leak={"worn": 6e-10, "spent": 2e-9}[state])
        case "pump.seized":
            return FaultParameters(seized=True)
        case "pump.motor-open":
            return FaultParameters(motor_open=True)
        case "intake.blocked":
            return FaultParameters(intake_loss=0.97)
        case "dryer.saturated":
            return FaultParameters(dryer_water=0.02)
        case "reservoir.leak":
            return FaultParameters(reservoir_leak=leak / 2.0)
        case "fuse.blown":
            return FaultParameters(fuse_blown=True)
        case "relay.contacts":
            return FaultParameters(relay=OHMS[state])
        case "relay.stuck-on":
            return FaultParameters(relay_stuck_on=True)
        case "relay.coil-open":
            return FaultParameters(relay_coil_open=True)
        case "connector.heat-damaged":
            return FaultParameters(connector=OHMS[state])
        case "feed-wire.corroded":
            return FaultParameters(feed=OHMS[state])
        case "ground.corroded":
            return FaultParameters(ground=OHMS[state])
        case "battery.weak":
            return FaultParameters(battery=0.07, battery_charge_loss=0.5, charging_loss=2.0)
        case "sensor.link-broken" | "corner-sensor.link-broken":
            return FaultParameters(sensors={role: SensorFault(link_broken=True, hangs_at=0.035)})
        case "sensor.worn" | "corner-sensor.worn":
            return FaultParameters(sensors={role: SensorFault(noise=0.007)})
        case "sensor.wiring" | "corner-sensor.wiring":
            return FaultParameters(sensors={role: SensorFault(open_circuit=True)})
        case "controller.no-command":
            return FaultParameters(no_command=True)
        case "controller.target-wrong":
            return FaultParameters(target_offset=-0.03)
    return None


def put_in(
    vehicle: VehicleParameters, fault: str, state: str, rng: np.random.Generator
) -> Part | None:
    match fault:
        case "use.inhibited":
            return Part(events=(Mode(at=0.0, on=True),))
        case "use.cold-night":
            return Part(events=(Ambient(at=0.0, to=273.15, over=8 * 3600.0),))
        case "use.overloaded":
            return Part(events=(Load(at=0.0, kilograms=dict.fromkeys(vehicle.corners, 100.0)),))
        case "use.pump-pausing":
            return Part(initial=used_budget)
    change = change_of(vehicle, fault, state)
    return None if change is None else Part(fault=TimedFault(name=fault, change=change))


def vehicle_with(layout: str, seed: int = 0, **hidden: str) -> BayVehicle:
    """Return a vehicle; in the names of faults `__` stands for a dot, `_` for a hyphen."""
    return vehicle_of(layout, {_id(name): state for name, state in hidden.items()}, seed)


def _id(name: str) -> str:
    return name.replace("__", ".").replace("_at_", "@").replace("_", "-")


def vehicle_of(layout: str, hidden: Mapping[str, str], seed: int = 0) -> BayVehicle:
    return bay_vehicle(
        SYSTEMS[layout], PARAMETERS[layout], hidden, put_in=put_in, rng=np.random.default_rng(seed)
    )
