"""The shipped virtual vehicles, for tests."""

from __future__ import annotations

from sagtrace.bootstrap import virtual
from sagtrace.errors import UnknownIdError
from sagtrace.twin.parameters import VehicleParameters

LAYOUTS = ("rear-pair", "four-corner", "four-corner-reservoir")


def standard_vehicle(layout: str) -> VehicleParameters:
    vehicles = virtual().vehicles
    if layout not in vehicles:
        raise UnknownIdError("layout", layout, vehicles)
    return vehicles[layout]
