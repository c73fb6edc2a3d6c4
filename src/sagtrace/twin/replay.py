"""The plant under commands that are already known: what a recording is compared with.

A recording says when pump, vent and valves were commanded, so the control unit's decisions need no
guessing and cost no time. Assumes a tight match in time: a command counts from its sample to the
next. Same plant, same integrator as `simulate`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sagtrace.errors import DomainError, EvidenceError
from sagtrace.physics.constants import R_AIR
from sagtrace.twin import _slots as s
from sagtrace.twin._kernels import compiled_run
from sagtrace.twin.controller import new_memory
from sagtrace.twin.faults import TimedFault
from sagtrace.twin.loop import room_shape
from sagtrace.twin.parameters import VehicleParameters
from sagtrace.twin.plant import COMMANDS, CV, EXTRAS, LEDGERS
from sagtrace.twin.sampling import seen_rows
from sagtrace.twin.simulate import SMALLEST

__all__ = ["Commands", "replay", "Replayed"]

Array = NDArray[np.float64]
RTOL = 1e-4  # [-] chosen: a fit compares with sensors of half a millimetre


@dataclass(frozen=True, slots=True, kw_only=True)
class Commands:
    """What was commanded, and the surroundings, in stretches between `edges`.

    `edges` has shape (stretches + 1,) [s]; `table` (stretches, 8): pump, vent, reservoir, unused,
    four valves; `ambient` (stretches + 1,) [K] at the edges; `engine` (stretches,) 0 or 1;
    `loads` (stretches + 1, corners) extra load on each spring [N].
    """

    edges: Array
    table: Array
    ambient: Array
    engine: Array
    loads: Array

    def split(self, times: Array) -> Commands:
        """Return the same with edges at these times too [s]."""
        inside = times[(times > self.edges[0]) & (times < self.edges[-1])]
        edges = np.unique(np.concatenate([self.edges, inside]))
        at = np.searchsorted(self.edges, edges[:-1], side="right") - 1
        loads = np.column_stack([np.interp(edges, self.edges, c) for c in self.loads.T])
        return Commands(
            edges=edges, table=self.table[at], engine=self.engine[at],
            ambient=np.interp(edges, self.edges, self.ambient), loads=loads,
        )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Replayed:
    """What the plant does; heights above ride height at the wheel arch, (corners, samples)."""

    heights: Array  # [m]
    current: Array  # [A]
    pump_voltage: Array  # [V]
    pressure: Array  # [Pa] of the gallery, or the reservoir where there is one
    steps: int


def replay(
    vehicle: VehicleParameters,
    commands: Commands,
    *,
    start: Sequence[float],
    rate: float,
    faults: Sequence[TimedFault] = (),
    aims: Array | None = None,
    rtol: float = RTOL,
) -> Replayed:
    """Return the run that begins at these heights at the wheel arch [m]; `rate` in 1/s.

    `aims`, shape (stretches, corners): where a number stands, the stretch begins at that height of
    the corner's sensor [m at the wheel arch], whatever went before.
    """
    n = len(vehicle.springs)
    if len(start) != n:
        raise DomainError("start", float(len(start)), "heights", f"one for each of {n} corners")
    packed = s.pack(vehicle, faults)
    stretches = len(commands.edges) - 1
    inputs = _inputs(commands, n)
    y, x = _initial(vehicle, packed, commands, np.asarray(start) * vehicle.lever)
    nv = (len(y) - EXTRAS - LEDGERS) // 2
    size = np.concatenate([y[: 2 * nv], SMALLEST, np.zeros(LEDGERS)])
    baro = vehicle.surroundings.barometer
    p = baro + vehicle.springs[0].load / vehicle.springs[0].area
    energy = p * vehicle.block.volume * CV / R_AIR
    size[n], size[nv + n] = 100.0 * energy / (CV * 293.15), 100.0 * energy
    count = int(np.floor((commands.edges[-1] - commands.edges[0]) * rate + 1e-9)) + 1
    out, tally = np.zeros((seen_rows(n), count)), np.zeros(4)
    failed = compiled_run()(
        commands.edges - commands.edges[0], inputs,
        _each(packed.wide, stretches), _each(packed.springs, stretches),
        _each(packed.sensors, stretches), _each(packed.control, stretches),
        np.zeros((stretches, EXTRAS)), commands.table,
        np.empty((0, n)) if aims is None else aims, s.coupling(vehicle), size, y, x,
        new_memory(0.0), 0, rtol, float(rate), out, np.zeros((1, 1 + COMMANDS)), tally,
        np.zeros(room_shape(n, len(y))),
    )  # fmt: skip
    if failed:
        raise EvidenceError(f"the replay stopped at {tally[3]:g} s: no step is short enough.")
    return Replayed(
        heights=out[:n] / vehicle.lever, current=out[n], pump_voltage=out[n + 1],
        pressure=out[n + 3], steps=int(tally[0]),
    )  # fmt: skip


def _each(table: Array, stretches: int) -> Array:
    return np.repeat(table[None], stretches, axis=0)


def _inputs(commands: Commands, n: int) -> Array:
    edges = commands.edges - commands.edges[0]
    steps = np.diff(edges)
    rows = np.zeros((len(steps), s.N_INPUT))
    rows[:, s.U_START] = edges[:-1]
    rows[:, s.U_AMBIENT] = commands.ambient[:-1]
    rows[:, s.U_SLOPE] = np.diff(commands.ambient) / steps
    rows[:, s.U_ENGINE] = commands.engine
    rows[:, s.U_LOAD : s.U_LOAD + n] = commands.loads[:-1]
    rows[:, s.U_RAMP : s.U_RAMP + n] = np.diff(commands.loads, axis=0) / steps[:, None]
    return rows


def _initial(
    vehicle: VehicleParameters, packed: s.Packed, commands: Commands, x: Array
) -> tuple[Array, Array]:
    """Return the state with these extensions [m] and everything as warm as the air."""
    temp, baro, springs = float(commands.ambient[0]), vehicle.surroundings.barometer, packed.springs
    area = springs[:, s.AREA] + springs[:, s.SLOPE] * x
    volume = springs[:, s.VOLUME] + springs[:, s.AREA] * x + 0.5 * springs[:, s.SLOPE] * x**2
    force = springs[:, s.LOAD] + commands.loads[0] + s.coupling(vehicle) @ x
    force -= springs[:, s.BUMP_K] * np.maximum(springs[:, s.BUMP_AT] - x, 0.0) ** 2
    force += springs[:, s.REB_K] * np.maximum(x - springs[:, s.REB_AT], 0.0) ** 2
    p = np.maximum(baro + force / area, 0.05 * baro)
    stores = [*(p * volume), baro * vehicle.block.volume]
    if vehicle.reservoir is not None:
        stores.append(vehicle.reservoir.pressure * vehicle.reservoir.volume)
    masses = np.array(stores) / (R_AIR * temp)
    extras = [temp, temp, 0.0, vehicle.dryer.water, vehicle.electrics.battery_charge]
    y = np.concatenate([masses, masses * CV * temp, extras, np.zeros(LEDGERS)])
    return y, x.copy()
