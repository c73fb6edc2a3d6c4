"""Fifty random faulty vehicles against the second program of `reference.py`."""

from __future__ import annotations

import numpy as np
import pytest
from fault_scenarios import random_scenario
from plain_plant import simulate_reference

from sagtrace.twin.simulate import simulate
from virtual_vehicles import LAYOUTS

HEIGHT, MASS = 0.2e-3, 2e-3  # [m, -] what is promised
SCENARIOS = 50


def compare(seed: int) -> int:
    """Check one scenario; return how often a command changed."""
    vehicle, script, faults = random_scenario(seed)
    run = simulate(vehicle, script, faults=faults, seed=seed, rate=1.0)
    exact = simulate_reference(vehicle, script, faults, seed=seed, rate=1.0)
    assert run.truth is not None
    for i, corner in enumerate(vehicle.corners):
        ours = run.truth.heights[corner] * vehicle.lever
        assert np.abs(ours - exact.heights[i]).max() < HEIGHT, (seed, corner)
    for i, (name, mass) in enumerate(run.truth.masses.items()):
        # Of a full gallery: when it is empty and being filled, a millisecond is more than 0.2 %.
        whole = exact.masses[i] if name != "gallery" else exact.masses[i].max()
        assert np.abs(mass / whole - exact.masses[i] / whole).max() < MASS, (seed, name)
    return len(run.changes)


@pytest.mark.slow
@pytest.mark.parametrize("part", range(10))
def test_agrees_with_a_general_stiff_solver(part: int) -> None:
    changes = [compare(seed) for seed in range(part, SCENARIOS, 10)]
    assert max(changes) >= 4  # with events, not only a vehicle at rest


@pytest.mark.parametrize("layout", LAYOUTS)
def test_agrees_on_each_layout(layout: str) -> None:
    compare(LAYOUTS.index(layout) + 3)
