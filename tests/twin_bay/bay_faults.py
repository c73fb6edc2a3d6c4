"""Vehicles in the bay with the knowledge's own faults, each of its typical size."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from sagtrace.adapters.knowledge import SHIPPED, load_knowledge
from sagtrace.bootstrap import virtual
from sagtrace.evidence.models import MODELS
from sagtrace.twin.bay.known import from_effects
from sagtrace.twin.bay.vehicle import BayVehicle, bay_vehicle
from sagtrace.twin.parameters import VehicleParameters
from sagtrace.vehicle.system import System, expand

KNOWLEDGE = load_knowledge(SHIPPED, MODELS)
PARAMETERS: Mapping[str, VehicleParameters] = virtual().vehicles
SYSTEMS: Mapping[str, System] = {layout: expand(KNOWLEDGE, layout) for layout in PARAMETERS}
put_in = from_effects(virtual().effects, typical=True)


def vehicle_with(layout: str, seed: int = 0, **hidden: str) -> BayVehicle:
    """Return a vehicle; in the names of faults `__` stands for a dot, `_` for a hyphen."""
    return vehicle_of(layout, {_id(name): state for name, state in hidden.items()}, seed)


def _id(name: str) -> str:
    return name.replace("__", ".").replace("_at_", "@").replace("_", "-")


def vehicle_of(layout: str, hidden: Mapping[str, str], seed: int = 0) -> BayVehicle:
    return bay_vehicle(
        SYSTEMS[layout], PARAMETERS[layout], hidden, put_in=put_in, rng=np.random.default_rng(seed)
    )
