"""Somebody got in or something was put down: the load that explains a jump of the heights.

Air that is squeezed at once warms up and cools for minutes, which looks like a leak. So a jump at
rest is replayed as a load on the springs, not as air that went in or out.
Assumes that the jump is too quick for heat to flow. A jump that a gap in the recording hides may
as well be a fill, and is not taken for a load.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sagtrace.physics.constants import GAMMA_AIR
from sagtrace.twin._slots import coupling
from sagtrace.twin.parameters import VehicleParameters

__all__ = ["Jump", "loads_of"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Jump:
    """A jump between two moments [s] and how far each corner rose in it [m at the wheel arch]."""

    begin: float
    end: float
    rose: Array


def loads_of(vehicle: VehicleParameters, edges: Array, jumps: list[Jump]) -> Array:
    """Return the extra load on each spring at each edge [N], shape (edges, corners)."""
    loads = np.zeros((len(edges), len(vehicle.springs)))
    if not jumps:
        return loads
    baro = vehicle.surroundings.barometer
    stiff = coupling(vehicle).copy()
    for i, spring in enumerate(vehicle.springs):
        above = spring.load / spring.area
        stiff[i, i] += GAMMA_AIR * (baro + above) * spring.area**2 / spring.volume
        stiff[i, i] -= above * spring.area_slope
    for jump in jumps:
        share = np.clip((edges - jump.begin) / (jump.end - jump.begin), 0.0, 1.0)
        loads -= share[:, None] * (stiff @ (vehicle.lever * jump.rose))
    return loads
