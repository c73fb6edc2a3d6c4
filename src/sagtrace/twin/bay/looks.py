"""What people look at on a run: how far a corner falls or rises, what a sensor tells."""

from __future__ import annotations

import numpy as np

from sagtrace.twin.bay.runs import LOADED_AT, Runs
from sagtrace.twin.simulate import Simulation

__all__ = ["fallen", "rise_of", "sensed", "SETTLED", "unrest"]

SETTLED = 60.0  # [s] chosen: after a run's start


def unrest(runs: Runs, corner: str) -> float:
    """Return how far a sensor's signal jumps on a vehicle that stands still [m].

    In standard deviations of a steady noise whose largest steps are as large: a worn track jumps
    at spots, so that its mean unrest is small, and what a person sees on the curve are the spots.
    """
    role = next(x.role for x in runs.parameters.sensors if corner in x.corners)
    steps = np.abs(np.diff(runs.still().channels[role]))  # steps: a slow fall is no unrest
    return float(np.quantile(steps, 0.99) / (2.576 * np.sqrt(2.0)))


def sensed(runs: Runs, corner: str) -> tuple[float, float, float, float]:
    """Return signal and true height of a sensor's corners, lower then higher [m above level]."""
    role = next(x.role for x in runs.parameters.sensors if corner in x.corners)
    corners = next(x.corners for x in runs.parameters.sensors if corner in x.corners)
    told: list[float] = []
    for kilograms in (100.0, -60.0):
        run = runs.lowered(kilograms)
        assert run.truth is not None
        told.append(float(run.channels[role][-1]) - runs.parameters.level)
        told.append(float(np.mean([run.truth.heights[c][-1] for c in corners])))
    return told[0], told[1], told[2], told[3]


def rise_of(runs: Runs, corner: str) -> tuple[float, float]:
    """Return how far a corner comes up under people, and how fast, as shares of a sound vehicle."""
    here, usual = (_rise(r.lift(), corner) for r in (runs, runs.sound))
    return here[0] / usual[0], here[1] / usual[1]


def _rise(run: Simulation, corner: str) -> tuple[float, float]:
    assert run.truth is not None
    height = run.truth.heights[corner][run.time - run.time[0] > LOADED_AT]
    height = height[int(np.argmin(height[:80])) :]  # chosen: down in the first twenty seconds
    risen = np.maximum.accumulate(height) - height[0]
    whole = float(risen[-1])
    if whole < 1e-4:
        return whole, 0.0
    a, b = (int(np.argmax(risen >= share * whole)) for share in (0.2, 0.8))
    return whole, 0.6 * whole / (max(b - a, 1) * float(run.time[1] - run.time[0]))


def fallen(run: Simulation, corner: str, after: float) -> float:
    """Return how far a corner falls in some seconds, once what it carries has settled [m]."""
    assert run.truth is not None
    at = run.time[0] + SETTLED + np.array([0.0, after])
    first, last = np.interp(at, run.time, run.truth.heights[corner])
    return float(first - last)
