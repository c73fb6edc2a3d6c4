"""Where a fit begins: leak and pump from the slopes of rests and fills alone."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from sagtrace.physics.constants import R_AIR, RHO_ANR
from sagtrace.twin.identify.blocks import Blocks
from sagtrace.twin.identify.commands import busy
from sagtrace.twin.identify.unknowns import Unknowns
from sagtrace.twin.plant import C_PUMP, C_VALVE, C_VENT_CMD, COMMANDS
from sagtrace.twin.replay import Commands, replay

__all__ = ["first_guess"]

Array = NDArray[np.float64]

SETTLED = 30.0  # [s] chosen: of a rest, left out where it is long enough
TRIAL, RUN_UP = 12, 4  # [s] chosen: a fill of the assumed vehicle, its first seconds left out
LOG_RANGE = (-3.0, 0.7)  # [-] chosen: of the pump's share


def first_guess(unknowns: Unknowns, commands: Commands, blocks: Sequence[Blocks]) -> Array:
    """Return a vector near the answer; what slopes do not say stays at its prior."""
    p = unknowns.prior.mean.copy()
    base, temp = unknowns.base, float(np.mean(commands.ambient))
    shares = []
    usual = _usual_rise(unknowns, p, temp)
    for part, sensor in zip(blocks, base.sensors, strict=True):
        rest = _slope(part, commands, fill=False)
        sink = -base.lever * (rest or 0.0)
        for corner in sensor.corners:
            area = base.springs[base.corners.index(corner)].area
            p[unknowns.at(f"leak.{corner}")] = max(area * sink / (R_AIR * temp * RHO_ANR), 0.0)
        rise = _slope(part, commands, fill=True)
        if rise is not None and rise > (rest or 0.0) and usual > 0.0:
            shares.append((rise - (rest or 0.0)) / usual)
    if shares:
        p[unknowns.at("pump")] = np.clip(np.log(np.mean(shares)), *LOG_RANGE)
    return p


def _usual_rise(unknowns: Unknowns, p: Array, temp: float) -> float:
    """Return how fast the pump lifts one axle of the assumed vehicle, level and tight [m/s]."""
    vehicle = unknowns.vehicle(p)
    n = len(vehicle.springs)
    table = np.zeros((1, COMMANDS))
    table[0, C_PUMP] = 1.0
    table[0, C_VALVE : C_VALVE + 2] = 1.0
    trial = Commands(
        edges=np.array([0.0, float(TRIAL)]), table=table, ambient=np.full(2, temp),
        engine=np.ones(1), loads=np.zeros((2, n)),
    )  # fmt: skip
    heights = replay(vehicle, trial, start=[0.0] * n, rate=1.0).heights[:2].mean(axis=0)
    return float((heights[-1] - heights[RUN_UP]) / (TRIAL - RUN_UP))


def _slope(blocks: Blocks, commands: Commands, *, fill: bool) -> float | None:
    """Return the usual slope of the rests, or of the fills [m/s]; None if there is none."""
    moving, found, weights = busy(commands), [], []
    for k in np.unique(blocks.stretch):
        row = commands.table[k]
        if moving[k] if not fill else not (row[C_PUMP] > 0.0 and row[C_VENT_CMD] == 0.0):
            continue
        here = blocks.stretch == k
        time, height = blocks.time[here], blocks.height[here]
        if not fill:
            later = time - time[0] > min(SETTLED, 0.3 * (time[-1] - time[0]))
            time, height = time[later], height[later]
        if len(time) >= 3:
            found.append(float(np.polyfit(time - time.mean(), height, 1)[0]))
            weights.append(float(np.ptp(time)))
    if not found:
        return None
    return float(np.median(found)) if len(found) > 4 else float(np.average(found, weights=weights))
