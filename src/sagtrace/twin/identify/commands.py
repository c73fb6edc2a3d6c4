"""What a recording says was commanded, as the stretches that the plant is replayed through.

A command is 0 or 1 from its sample to the next; a change lies half-way between the two samples
that show it. Where the spring valves were not recorded, a corner counts as open while air moves
if its height followed. The vent that empties the gallery after a fill may fall between two
samples, or not be recorded at all; then it is put in, because a fill into a full gallery begins a
second or two sooner. Limits: with a reservoir the valves must be recorded, because a fill without
the pump cannot be seen in the pump's command.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sagtrace.errors import EvidenceError
from sagtrace.signals.trace import Trace
from sagtrace.twin.parameters import VehicleParameters
from sagtrace.twin.plant import C_PUMP, C_RES_CMD, C_VALVE, C_VENT_CMD, COMMANDS
from sagtrace.twin.replay import Commands

__all__ = ["busy", "commands_of", "TEMPERATE"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

TEMPERATE = 288.15  # [K] chosen: the air where nobody recorded it
KNOT = 600.0  # [s] chosen: the air's temperature runs straight between two of these
SMOOTHED = 60.0  # [s] chosen: over which a recorded air temperature is averaged
FOLLOWED = 1.5e-3  # [m] chosen: a height that moved less did not follow
SHARE = 0.3  # [-] chosen: and one that moved less than this share of the most did not either
HIDDEN = 0.9  # [-] chosen: of its length, the gap between two samples that can hide a vent
AROUND = 3.0  # [s] chosen: before and after air moves, where heights are compared


def busy(commands: Commands) -> Flags:
    """Return which stretches have anything commanded."""
    return np.asarray(np.any(commands.table > 0.0, axis=1))


def commands_of(trace: Trace, vehicle: VehicleParameters) -> Commands:
    """Return the commands of a recording; times count from its first sample.

    Raises EvidenceError if the recording does not say when the pump was commanded, or the valves of
    a vehicle with a reservoir.
    """
    time = trace.time - trace.time[0]
    corners = [spring.corner for spring in vehicle.springs]
    if "pump.command" not in trace.channels:
        raise EvidenceError(
            "the recording has no channel pump.command. Record when the pump is commanded; without "
            "it only straight lines can be fitted."
        )
    valves_known = all(f"valve.{corner}" in trace.channels for corner in corners)
    if vehicle.reservoir is not None and not valves_known:
        raise EvidenceError(
            "the recording does not say when the valves open. With a reservoir the springs are "
            "filled without the pump; record the commands of the valves too."
        )
    state = _states(trace, corners)
    if not valves_known:
        _infer_valves(trace, vehicle, state)
    changed = np.flatnonzero(np.any(np.diff(state, axis=1) != 0.0, axis=0))
    times = 0.5 * (time[changed] + time[changed + 1])
    knots = np.arange(KNOT, time[-1], KNOT)
    if times.size:
        nearest = np.min(np.abs(knots[:, None] - times[None, :]), axis=1) if knots.size else knots
        knots = knots[nearest > 1.0]
    edges = np.unique(np.concatenate([[0.0], times, knots, [time[-1]]]))
    # By its change, not by its middle: a stretch may hold a single sample on either side of that.
    at = np.concatenate([[0], changed + 1])[np.searchsorted(times, edges[:-1], side="right")]
    table, engine = state[:COMMANDS, at].T, state[COMMANDS, at]
    edges, kept, vents = _with_hidden_vents(trace, time, edges, table, vehicle.control.relief)
    table = table[kept]
    table[vents], table[vents, C_VENT_CMD] = 0.0, 1.0
    return Commands(
        edges=edges,
        table=np.ascontiguousarray(table),
        ambient=_ambient(trace, time, edges),
        engine=engine[kept].copy(),
        loads=np.zeros((len(edges), len(corners))),
    )


def _states(trace: Trace, corners: list[str]) -> Array:
    """Return what each sample shows as commanded, a row a command, the engine last."""
    state = np.zeros((COMMANDS + 1, len(trace.time)))
    state[C_PUMP] = _flag(trace, "pump.command")
    state[C_VENT_CMD] = _flag(trace, "vent.command")
    state[C_RES_CMD] = _flag(trace, "valve.reservoir")
    for i, corner in enumerate(corners):
        state[C_VALVE + i] = _flag(trace, f"valve.{corner}")
    state[COMMANDS] = _flag(trace, "engine") if "engine" in trace.channels else 1.0
    return state


def _with_hidden_vents(
    trace: Trace, time: Array, edges: Array, table: Array, relief: float
) -> tuple[Array, NDArray[np.int64], Flags]:
    """Return edges with the vents that no sample shows, the old stretch of each, which are vents.

    A vent of `relief` seconds is put in after a fill where two samples lie so far apart that it
    fits between them, or where no vent was recorded.
    """
    pump, vent = table[:, C_PUMP] > 0.0, table[:, C_VENT_CMD] > 0.0
    ends = np.flatnonzero(pump[:-1] & ~pump[1:] & ~vent[1:])
    relieved = np.any(pump[:-1] & vent[1:])
    recorded = "vent.command" in trace.channels
    new, kept, vents = [edges[0]], [], []
    for k in range(len(table)):
        kept.append(k)
        vents.append(False)
        new.append(edges[k + 1])
        if k not in ends:
            continue
        after = int(np.clip(np.searchsorted(time, edges[k + 1]), 1, len(time) - 1))
        begin, gap = time[after - 1], time[after] - time[after - 1]
        if recorded and relieved and gap >= HIDDEN * relief:
            long = min(relief, HIDDEN * gap)
            new[-1] = max(begin + 0.5 * (gap - long), 0.5 * (new[-2] + edges[k + 1]))
        elif recorded:
            continue
        else:
            long = min(relief, 0.5 * (edges[k + 2] - edges[k + 1]))
        kept.append(k + 1)
        vents.append(True)
        new.append(new[-1] + long)
    return np.array(new), np.array(kept), np.array(vents)


def _flag(trace: Trace, role: str) -> Array:
    """Return a command as 0 or 1; a missing sample repeats the one before."""
    values = trace.channels.get(role)
    if values is None:
        return np.zeros(len(trace.time))
    known = np.isfinite(values)
    last = np.maximum.accumulate(np.where(known, np.arange(len(values)), 0))
    filled = np.where(known.any(), np.nan_to_num(values[last]), 0.0)
    return np.asarray((filled > 0.5).astype(np.float64))


def _infer_valves(trace: Trace, vehicle: VehicleParameters, state: Array) -> None:
    """Open the valves of the corners whose height follows while the gallery is fed or vented."""
    time = trace.time
    moving = (state[C_PUMP] > 0.0) | (state[C_VENT_CMD] > 0.0)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], moving, [False]]).astype(np.int8)))
    for first, last in zip(edges[::2], edges[1::2], strict=True):
        cuts = np.flatnonzero(np.diff(state[C_VENT_CMD, first:last])) + first + 1
        for a, b in zip([first, *cuts], [*cuts, last], strict=True):
            before = (time >= time[a] - AROUND) & (time <= time[a])
            after = (time >= time[b - 1]) & (time <= time[b - 1] + AROUND)
            moved = np.array(
                [_moved(trace, sensor.role, before, after) for sensor in vehicle.sensors]
            )
            # Fed it rises, vented it sinks; the vent after a fill only relieves the gallery.
            along = moved * (-1.0 if state[C_VENT_CMD, a] > 0.0 else 1.0)
            limit = max(FOLLOWED, SHARE * float(np.max(along, initial=0.0)))
            for sensor, by in zip(vehicle.sensors, along, strict=True):
                for corner in sensor.corners if by > limit else ():
                    state[C_VALVE + vehicle.corners.index(corner), a:b] = 1.0


def _moved(trace: Trace, role: str, before: Flags, after: Flags) -> float:
    height = trace.channels[role]
    there, here = height[after], height[before]
    if not (np.isfinite(there).any() and np.isfinite(here).any()):
        return 0.0
    return float(np.nanmedian(there) - np.nanmedian(here))


def _ambient(trace: Trace, time: Array, edges: Array) -> Array:
    values = trace.channels.get("ambient")
    if values is None or not np.isfinite(values).any():
        return np.full(len(edges), TEMPERATE)
    good = np.isfinite(values)
    t, v = time[good], values[good]
    total = np.concatenate([[0.0], np.cumsum(0.5 * (v[1:] + v[:-1]) * np.diff(t))])
    half = 0.5 * SMOOTHED
    low, high = np.clip(edges - half, t[0], t[-1]), np.clip(edges + half, t[0], t[-1])
    width = high - low
    area = np.interp(high, t, total) - np.interp(low, t, total)
    flat = np.interp(edges, t, v)
    return np.asarray(np.where(width > 0.0, area / np.where(width > 0.0, width, 1.0), flat))
