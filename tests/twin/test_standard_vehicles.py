"""From a layout's facts to a vehicle that has them."""

from __future__ import annotations

from dataclasses import replace

import numba
import numpy as np
import pytest

from sagtrace.errors import InputError, UnknownIdError
from sagtrace.physics.constants import R_AIR
from sagtrace.twin import _slots as s
from sagtrace.twin.layouts import parameters_from_layout
from sagtrace.twin.parameters import VehicleParameters
from sagtrace.twin.pump_point import pump_point
from sagtrace.units import to_si
from sagtrace.vehicle.system import System
from virtual_vehicles import LAYOUTS, standard_vehicle


@numba.njit  # type: ignore[untyped-decorator]
def point(wide: np.ndarray, pressure: float, ohms: float) -> tuple[float, float]:
    found = pump_point(wide, pressure, 293.15, 293.15, 1.0, 12.5, ohms)
    return found[0], found[1]


def pump_at(vehicle: VehicleParameters, gauge: float) -> tuple[float, float]:
    """Return free air [m^3/s] and current [A] at 12.5 V on the pump itself, nothing in the way."""
    wide = s.pack(vehicle).wide
    wide[s.C_INTAKE], wide[s.RING] = 1.0, 0.0

    flow, current = point(wide, wide[s.BARO] + gauge, wide[s.R_ARM])
    return flow * R_AIR * 293.15 / wide[s.BARO], current


def test_the_pump_gives_and_draws_what_the_facts_say(system: System) -> None:
    facts = {fact.id: to_si(fact.value, fact.unit) for fact in system.layout.facts}
    vehicle = parameters_from_layout(standard_vehicle("rear-pair"), system.layout)
    free_air, _ = pump_at(vehicle, 0.0)
    assert free_air == pytest.approx(facts["pump-delivery"], rel=1e-6)
    _, current = pump_at(vehicle, facts["spring-pressure"])
    assert current == pytest.approx(facts["pump-current"], rel=1e-3)
    spring = vehicle.springs[0]
    assert spring.load / spring.area == pytest.approx(facts["spring-pressure"])
    assert -spring.bump_at / vehicle.lever == pytest.approx(facts["bump-travel"])
    assert vehicle.corners == ("left", "right")


def test_what_somebody_read_in_the_manual_wins(system: System) -> None:
    typed = {"spring-area": 0.02, "pump-delivery": 6e-4}
    vehicle = parameters_from_layout(standard_vehicle("rear-pair"), system.layout, typed)
    assert vehicle.springs[0].area == 0.02
    assert pump_at(vehicle, 0.0)[0] == pytest.approx(6e-4, rel=1e-6)


@pytest.mark.parametrize("layout", LAYOUTS)
def test_standard_vehicles(layout: str) -> None:
    vehicle = standard_vehicle(layout)
    assert len(vehicle.springs) == (2 if layout == "rear-pair" else 4)
    assert (vehicle.reservoir is not None) == layout.endswith("reservoir")
    links = s.coupling(vehicle)
    assert links.sum(axis=1) == pytest.approx(0.0, abs=1e-9)
    assert np.all(np.linalg.eigvalsh(links) > -1e-9)


def test_refuses_a_layout_that_nobody_knows() -> None:
    with pytest.raises(UnknownIdError, match="rear-pair"):
        standard_vehicle("rear-pear")
    vehicle = standard_vehicle("rear-pair")
    with pytest.raises(InputError, match="3 springs"):
        replace(vehicle, springs=(*vehicle.springs, vehicle.springs[0]))
