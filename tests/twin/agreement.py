"""How far the package and the second program of `plain_plant` are apart on one random scenario."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from fault_scenarios import random_scenario
from plain_plant import simulate_reference

from sagtrace.twin.simulate import simulate

__all__ = ["Apart", "apart"]


@dataclass(frozen=True)
class Apart:
    """The largest differences at any moment."""

    height: float  # [m] of a spring
    mass: float  # [-] of the gas in a volume
    changes: int  # of a command: how eventful the scenario is


def apart(seed: int) -> Apart:
    vehicle, script, faults = random_scenario(seed)
    run = simulate(vehicle, script, faults=faults, seed=seed, rate=1.0)
    exact = simulate_reference(vehicle, script, faults, seed=seed, rate=1.0)
    assert run.truth is not None
    height = mass = 0.0
    for i, corner in enumerate(vehicle.corners):
        ours = run.truth.heights[corner] * vehicle.lever
        height = max(height, float(np.abs(ours - exact.heights[i]).max()))
    for i, (name, ours) in enumerate(run.truth.masses.items()):
        # Of a full gallery: when it is empty and being filled, a millisecond is more than 0.2 %.
        whole = exact.masses[i] if name != "gallery" else exact.masses[i].max()
        mass = max(mass, float(np.abs((ours - exact.masses[i]) / whole).max()))
    return Apart(height=height, mass=mass, changes=len(run.changes))
