"""Random faulty vehicles in random scripts, from a seed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from sagtrace.twin.faults import CornerFault, FaultParameters, SensorFault, TimedFault
from sagtrace.twin.parameters import VehicleParameters
from sagtrace.twin.script import Ambient, Door, Engine, Load, Script
from virtual_vehicles import LAYOUTS, standard_vehicle

KINDS = 22  # of faults that a scenario picks from

Scenario = tuple[VehicleParameters, Script, tuple[TimedFault, ...]]


def random_scenario(seed: int, duration: float = 600.0) -> Scenario:
    rng = np.random.default_rng(seed)
    vehicle = standard_vehicle(LAYOUTS[seed % 3])
    vehicle = replace(
        vehicle,
        pump=replace(vehicle.pump, swept_volume=vehicle.pump.swept_volume * rng.uniform(0.7, 1.3)),
        springs=tuple(
            replace(spring, load=spring.load * rng.uniform(0.8, 1.2)) for spring in vehicle.springs
        ),
    )
    corner, role = str(rng.choice(vehicle.corners)), vehicle.sensors[0].role
    choices = (
        FaultParameters(corners={corner: CornerFault(leak=10 ** rng.uniform(-13, -10))}),
        FaultParameters(corners={corner: CornerFault(seat_leak=10 ** rng.uniform(-13, -10.5))}),
        FaultParameters(corners={corner: CornerFault(valve_stuck_closed=True)}),
        FaultParameters(corners={corner: CornerFault(line_loss=0.9)}),
        FaultParameters(block_leak=10 ** rng.uniform(-12, -9.5)),
        FaultParameters(vent_leak=10 ** rng.uniform(-12, -9.5)),
        FaultParameters(ring_leak=10 ** rng.uniform(-10, -9)),
        FaultParameters(check_valve_leak=1e-10, intake_loss=0.6),
        FaultParameters(connector=0.09, feed=0.05),
        FaultParameters(seized=True),
        FaultParameters(dryer_water=0.015),
        FaultParameters(sensors={role: SensorFault(offset=0.015, bent_link=0.05)}),
        FaultParameters(relay_stuck_on=True),
        FaultParameters(battery=0.05, battery_charge_loss=0.5),
        FaultParameters(corners={corner: CornerFault(cross_leak=10 ** rng.uniform(-12, -9.5))}),
        FaultParameters(relay_open=True, block_leak=1e-11),
        FaultParameters(sensors={role: SensorFault(jumps=0.02)}),
        FaultParameters(reservoir_seat_leak=10 ** rng.uniform(-12, -10), reservoir_leak=2e-12),
        FaultParameters(reservoir_valve_stuck_closed=True),
        FaultParameters(reservoir_valve_coil_open=True),
        FaultParameters(pressure_offset=rng.uniform(-3e5, 3e5)),
        FaultParameters(pressure_dead=True),
    )
    assert len(choices) == KINDS
    # What a layout has no part for does nothing; its own parts are faulty more often.
    weights = np.array([3.0 if vehicle.reservoir and i > 16 else 1.0 for i in range(len(choices))])
    if not vehicle.reservoir:
        weights[17:] = 0.0
    weights /= weights.sum()
    picked = rng.choice(len(choices), size=int(rng.integers(1, 4)), replace=False, p=weights)
    faults = tuple(
        TimedFault(
            name=str(i), change=choices[i],
            onset=float(rng.choice([0.0, round(rng.uniform(50, 300))])),
        )
        for i in picked
    )  # fmt: skip
    mass = float(rng.uniform(20, 90))
    events = (
        Engine(at=40.0, on=True),
        Load(at=float(rng.uniform(100, 200)), kilograms=dict.fromkeys(vehicle.corners, mass)),
        Door(at=260.0, open=True),
        Door(at=280.0, open=False),
        Ambient(at=300.0, to=278.15, over=duration / 2),
        Load(at=float(rng.uniform(350, 450)), kilograms={corner: 0.0}),
        Engine(at=0.8 * duration, on=False),
    )
    return vehicle, Script(duration=duration, ambient=290.0, events=events), faults
