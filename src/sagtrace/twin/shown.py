"""What a run shows: the channels of a recording, through the faults of its sensors, and the truth.

Job: turn the table that a run fills (see `sampling`) into named channels in SI. The noise of the
recorded heights comes from the seed; bursts of a worn sensor are those that the control unit sees.
A sample that a dead sensor does not give is NaN.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sagtrace.twin import _slots as s
from sagtrace.twin._chance import bursts
from sagtrace.twin.parameters import VehicleParameters
from sagtrace.twin.plant import CV, EXTRAS
from sagtrace.twin.sampling import SEEN_MORE

__all__ = ["channels_of", "Truth", "truth_of"]

Array = NDArray[np.float64]

HEAD_STEP = 1.0  # [K] chosen: as finely as a control unit estimates its pump's temperature


@dataclass(frozen=True, slots=True, kw_only=True)
class Truth:
    """What nobody can read off a vehicle. One column a sample."""

    heights: Mapping[str, Array]  # [m] above ride height at the wheel arch
    masses: Mapping[str, Array]  # [kg] corners, "gallery", "reservoir"
    temperatures: Mapping[str, Array]  # [K] the same, "head" and "connector"
    pressures: Mapping[str, Array]  # [Pa] absolute
    water: Array  # [kg] in the dryer
    charge: Array  # [-] of the battery
    valves: Mapping[str, Array]  # 0 or 1
    delivery: Array  # [kg/s] what the pump gives
    leaks: Mapping[str, Array]  # [kg/s] to the outside; corners, "gallery", "reservoir"


def channels_of(
    vehicle: VehicleParameters, inputs: Array, edges: Array, packs: Sequence[s.Packed], seen: Array,
    time: Array, seed: int,
) -> dict[str, Array]:  # fmt: skip
    """Return what a recording has, by role; `seen` is taken over and changed."""
    n = len(vehicle.springs)
    bounds = np.searchsorted(time, edges[1:-1]).tolist()
    spans = list(zip([0, *bounds], [*bounds, len(time)], strict=True))
    noise = np.random.default_rng(seed)
    channels = {}
    for i, sensor in enumerate(vehicle.sensors):
        jump = None
        if any(pack.sensors[i, s.S_JUMPS] > 0.0 for pack in packs):
            jump = bursts(seed, i, time)
        rows = [pack.sensors[i] for pack in packs]
        channels[sensor.role] = _sensed(rows, spans, seen, vehicle, noise, jump)
    ambient, engine = np.empty(len(time)), np.zeros(len(time))
    for row, (a, b) in zip(inputs, spans, strict=True):
        np.multiply(time[a:b], row[s.U_SLOPE], out=ambient[a:b])
        ambient[a:b] += row[s.U_AMBIENT] - row[s.U_SLOPE] * row[s.U_START]
        if row[s.U_ENGINE]:
            engine[a:b] = 1.0
    current, voltage, supply, pressure, head, pump, vent = seen[n : n + SEEN_MORE]
    channels |= {"pump.current": current, "pump.voltage": voltage, "supply": supply}
    channels |= {"pump.command": pump, "vent.command": vent}
    valves = seen[n + SEEN_MORE :]
    channels |= {f"valve.{c}": valve for c, valve in zip(vehicle.corners, valves, strict=True)}
    channels["pump.temperature"] = _rounded(head, HEAD_STEP)
    if packs[0].wide[s.P_SENSOR]:
        for pack, (a, b) in zip(packs, spans, strict=True):
            dead = pack.wide[s.P_DEAD] > 0.0
            pressure[a:b] += np.nan if dead else pack.wide[s.P_OFFSET]
        where = "gallery" if vehicle.reservoir is None else "reservoir"
        channels[f"pressure.{where}"] = pressure
    return channels | {"ambient": ambient, "engine": engine}


def _sensed(
    rows: Sequence[Array], spans: Sequence[tuple[int, int]], seen: Array,
    vehicle: VehicleParameters, noise: np.random.Generator, jump: Array | None,
) -> Array:  # fmt: skip
    """Return what a sensor reports, as `controller.read_sensor` does, for whole stretches."""
    left, right = seen[int(rows[0][s.S_FIRST])], seen[int(rows[0][s.S_LAST])]
    out: Array = left + right
    out *= 0.5 / vehicle.lever
    for row, (a, b) in zip(rows, spans, strict=True):
        if row[s.S_BROKEN] > 0.0:
            out[a:b] = row[s.S_HANGS]
        if row[s.S_GAIN] or row[s.S_BENT] or row[s.S_SUPPLY] or row[s.S_OPEN]:
            out[a:b] = _through_link(row, out[a:b])
        if row[s.S_NOISE] > 0.0:
            rough = noise.standard_normal(b - a)
            rough *= row[s.S_NOISE]
            out[a:b] += rough
        if jump is not None:
            out[a:b] += row[s.S_JUMPS] * jump[a:b]
        if row[s.S_OFFSET]:
            out[a:b] += row[s.S_OFFSET]
        if row[s.S_STEP] > 0.0:
            _rounded(out[a:b], row[s.S_STEP])
    out += vehicle.level
    return out


def _rounded(values: Array, step: float) -> Array:
    """Round in place to whole steps: over a night, a copy costs more than the sums."""
    values *= 1.0 / step
    np.rint(values, out=values)
    values *= step
    return values


def _through_link(row: Array, height: Array) -> Array:
    angle = np.arcsin(np.clip(height / row[s.S_ARM], -1.0, 1.0))
    angle = angle * (1.0 + row[s.S_GAIN]) + row[s.S_BENT]
    share = np.clip(0.5 + angle / row[s.S_SPAN], 0.0, 1.0) * (1.0 - row[s.S_SUPPLY])
    share = share * (row[s.S_OPEN] == 0.0)
    sensed: Array = row[s.S_ARM] * np.sin((share - 0.5) * row[s.S_SPAN])
    return sensed


def truth_of(vehicle: VehicleParameters, seen: Array, hidden: Array, nv: int) -> Truth:
    """Return what nobody can read off a vehicle, for so many volumes."""
    names = [*vehicle.corners, "gallery", "reservoir"][:nv]
    n, extra = len(vehicle.springs), 4 * nv
    temps = {name: hidden[nv + i] / (CV * hidden[i]) for i, name in enumerate(names)}
    at = dict(zip(vehicle.corners, seen[n + SEEN_MORE :], strict=True))
    return Truth(
        heights={c: seen[i] / vehicle.lever for i, c in enumerate(vehicle.corners)},
        masses={name: hidden[i] for i, name in enumerate(names)},
        temperatures=temps | {"head": hidden[extra], "connector": hidden[extra + 1]},
        pressures={name: hidden[2 * nv + i] for i, name in enumerate(names)},
        water=hidden[extra + 3],
        charge=hidden[extra + 4],
        valves=at | ({"reservoir": hidden[extra + EXTRAS]} if nv > n + 1 else {}),
        delivery=hidden[extra + EXTRAS + 1],
        leaks={name: hidden[3 * nv + i] for i, name in enumerate(names)},
    )
