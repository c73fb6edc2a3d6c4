"""Random faulty vehicles against the second program of `plain_plant`.

These twelve of the fifty have every kind of fault at least once; `bench` runs all fifty.
"""

from __future__ import annotations

import pytest
from agreement import apart
from fault_scenarios import KINDS, random_scenario

from virtual_vehicles import LAYOUTS

HEIGHT, MASS = 0.2e-3, 2e-3  # [m, -] what is promised
SAMPLE = (1, 5, 9, 11, 18, 20, 22, 23, 25, 41, 42, 48)


def test_the_sample_has_every_layout_and_every_kind_of_fault() -> None:
    scenarios = [random_scenario(seed) for seed in SAMPLE]
    assert {vehicle.layout for vehicle, _, _ in scenarios} == set(LAYOUTS)
    assert {int(f.name) for _, _, faults in scenarios for f in faults} == set(range(KINDS))
    assert any(len(faults) > 1 for _, _, faults in scenarios)


@pytest.mark.parametrize("seed", SAMPLE)
def test_agrees_with_a_general_stiff_solver(seed: int) -> None:
    found = apart(seed)
    assert found.height < HEIGHT
    assert found.mass < MASS
    assert found.changes >= 1  # with events, not only a vehicle at rest
