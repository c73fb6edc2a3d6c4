"""One recording against one vehicle: what a vector of unknowns leaves of it.

The recording is cut into shots and blocks, its commands into stretches; a vector of unknowns makes
a vehicle, which is replayed and compared, in standard deviations of the noise.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from sagtrace.errors import EvidenceError, UnknownIdError
from sagtrace.signals.trace import Trace
from sagtrace.twin.identify.blocks import cut
from sagtrace.twin.identify.commands import busy, commands_of
from sagtrace.twin.identify.feed import feed_resistance
from sagtrace.twin.identify.loads import Jump, loads_of
from sagtrace.twin.identify.noise import Noise
from sagtrace.twin.identify.result import Tape
from sagtrace.twin.identify.shots import HOLE, anchors, gaps_at, jumps, rise_between
from sagtrace.twin.identify.start import first_guess
from sagtrace.twin.identify.unknowns import Spreads, Unknowns
from sagtrace.twin.parameters import Sensor, VehicleParameters
from sagtrace.twin.replay import Commands, replay

__all__ = ["FAINT", "Problem"]

Array = NDArray[np.float64]

RATE = 2.0  # [1/s] chosen: of the replay; blocks are no shorter than half a second
COARSE = 1e-4  # [-] chosen: of the integrator; some hundredths of a millimetre
READ_FILL = 5e-5  # [m] chosen: what the heat of a fill does beside the model
STORED_FILL = 2e-4  # [m] chosen: the same where a reservoir fills
GUESSED_FILL = 5e-4  # [m] chosen: the same where it is not known how long each valve was open
FINE = 1e-6  # [-] chosen: the same where a coarse step fails
LEAST_BLOCKS = 20  # [-] chosen: fewer tell nothing
ON_STOP = 0.85  # [-] chosen: share of the travel to the bump stop beyond which it carries load
FAINT = 1e-9  # [-] chosen: weight of readings that nobody took; only their derivative counts
STRANGE = 6.0  # [-] chosen: mean square of a shot that something else than the model moved
FEW_SHOTS = 0.2  # [-] chosen: share of them beyond which it is the model that is wrong


class Problem:
    """One recording against one vehicle."""

    def __init__(
        self, base: VehicleParameters, trace: Trace, spreads: Spreads, tapes: Sequence[Tape]
    ) -> None:
        missing = [s.role for s in base.sensors if s.role not in trace.channels]
        if missing:
            raise EvidenceError(f"the recording has no channel {', '.join(missing)}.")
        for tape in tapes:
            if tape.corner not in base.corners:
                raise UnknownIdError("corner", tape.corner, base.corners)
        self.feed = feed_resistance(trace)
        base = base if self.feed is None else _fed(base, self.feed[0])
        self.base, self.tapes, self.trace = base, tapes, trace
        self.origin = float(trace.time[0])
        roles = [sensor.role for sensor in base.sensors]
        commands = commands_of(trace, base)
        away = jumps(trace, roles, commands.edges, busy(commands))
        self.commands = commands.split(away.ravel())
        # What a reservoir gives depends on its pressure; and where each corner has a sensor, its
        # valve closes at a moment of its own. Where that is not known, only rests count.
        valves = any(role.startswith("valve.") for role in trace.channels)
        self.rests_only = base.reservoir is not None or (len(roles) > 1 and not valves)
        self._cut(away)
        settling = READ_FILL if not self.rests_only else STORED_FILL if valves else GUESSED_FILL
        edges = self.commands.edges
        self.noises = [
            Noise(blocks, begins, self.commands.table, edges, gaps_at(trace, edges), settling)
            for blocks, begins in zip(self.blocks, self.begins, strict=True)
        ]
        self.jumps = self._jumps(trace, away)
        self.kept = [np.ones(len(blocks.time), dtype=np.bool_) for blocks in self.blocks]
        self.left_out = 0
        self.unknowns = Unknowns.of(
            base, spreads, period=float(np.median(np.diff(trace.time))),
            taped=frozenset(t.corner for t in tapes), air="ambient" in trace.channels,
        )  # fmt: skip

    def _cut(self, away: Array) -> None:
        """Cut the recording into shots and blocks, with what jumps left out."""
        base, trace, edges = self.base, self.trace, self.commands.edges
        moving = busy(self.commands)
        middle = 0.5 * (edges[1:] + edges[:-1])
        jumping = np.zeros(len(middle), dtype=np.bool_)
        for low, high in away:
            jumping |= (middle > low) & (middle < high)
        begins, own, unread = _shots(moving, jumping, rests_only=self.rests_only)
        whole = [cut(trace, s.role, edges, moving) for s in base.sensors]
        # What a spring on its stop has lost cannot be seen, so the fit ends where one gets there.
        self.end = min(
            blocks.reaches(base.level + ON_STOP * _travel(base, sensor))
            for blocks, sensor in zip(whole, base.sensors, strict=True)
        )
        self.blocks = [blocks.before(self.end).without(np.flatnonzero(unread)) for blocks in whole]
        if min(len(blocks.time) for blocks in self.blocks) < LEAST_BLOCKS:
            raise EvidenceError(
                "the recording is too short, or a spring gets to its bump stop too soon: hardly a "
                "sample shows springs that carry their load by air."
            )
        self.begins = [
            anchors(trace, blocks.role, edges, begins, own, blocks.noise) for blocks in self.blocks
        ]
        self.first = {
            corner: float(np.median(blocks.height[:5])) - base.level
            for blocks, sensor in zip(whole, base.sensors, strict=True)
            for corner in sensor.corners
        }

    def _jumps(self, trace: Trace, away: Array) -> list[Jump]:
        """Return the jumps that a load explains."""
        found: list[Jump] = []
        moving = busy(self.commands)
        marks = self.commands.edges[1:-1][moving[1:] | moving[:-1]]
        time = trace.time - trace.time[0]
        for low, high in away:
            inside = time[(time >= low - 1.0) & (time <= high + 1.0)]
            if np.max(np.diff(inside), initial=0.0) > HOLE:
                continue
            before, after = marks[marks <= low], marks[marks >= high]
            quiet = np.array(
                [before[-1] if before.size else 0.0, after[0] if after.size else time[-1]]
            )
            rose = np.zeros(len(self.base.corners))
            for sensor in self.base.sensors:
                by = rise_between(trace, sensor.role, float(low), float(high), quiet)
                rose[[self.base.corners.index(corner) for corner in sensor.corners]] = by
            found.append(Jump(begin=float(low), end=float(high), rose=rose))
        return found

    def guess(self) -> Array:
        """Return where a search begins."""
        return first_guess(self.unknowns, self.commands, self.blocks)

    def heights(self, p: Array) -> tuple[Array, Array]:
        """Return the replay's clock and the height of each corner above ride height."""
        told, vehicle = self.unknowns.told(p), self.unknowns.vehicle(p)
        start = [self.first[c] + told.get(f"start.{c}", 0.0) for c in self.base.corners]
        commands, aims, leaks = self._moved(told, vehicle), self._aims(told), self.unknowns.leaks(p)

        def run_to(rtol: float) -> Array:
            return replay(
                vehicle, commands, start=start, rate=RATE, faults=(leaks,), aims=aims, rtol=rtol
            ).heights

        try:
            found = run_to(COARSE)
        except EvidenceError:
            found = run_to(FINE)
        return np.arange(found.shape[1]) / RATE, found

    def leave_out(self, p: Array) -> bool:
        """Leave out the shots that something else than the model moved; say if there are any.

        Somebody got in while air moved, say. If there are more than a few, the model is wrong and
        nothing is left out.
        """
        shown, _, _ = self.seen(p)
        out, shots = [], 0
        for noise, blocks, model, kept in zip(
            self.noises, self.blocks, shown, self.kept, strict=True
        ):
            white = noise.white(blocks.height - model)
            shots += len(noise.parts)
            out += [(kept, part) for part in noise.parts if np.mean(white[part] ** 2) > STRANGE]
        few = len(out) <= FEW_SHOTS * shots or (len(out) == 1 and shots > 1)
        if not out or not few:
            return False
        for kept, part in out:
            kept[part] = False
        self.left_out = len(out)
        return True

    def _aims(self, told: Mapping[str, float]) -> Array:
        """Return the height with which each shot begins, at every corner."""
        aims = np.full((len(self.commands.table), len(self.base.corners)), np.nan)
        for begins, sensor in zip(self.begins, self.base.sensors, strict=True):
            above = begins.height - self.base.level - told.get(f"offset.{sensor.role}", 0.0)
            for corner in sensor.corners:
                i = self.base.corners.index(corner)
                aims[begins.stretch, i] = above / (1.0 + told.get(f"gain.{sensor.role}", 0.0))
        return aims

    def _moved(self, told: Mapping[str, float], vehicle: VehicleParameters) -> Commands:
        """Return the commands without their common delay, with drift of the air and loads."""
        edges = self.commands.edges.copy()
        edges[1:-1] -= told["delay"]
        if np.any(np.diff(edges) <= 0.0):
            edges = self.commands.edges
        ambient = self.commands.ambient + told.get("warming", 0.0) * edges
        return Commands(
            edges=edges, table=self.commands.table, ambient=ambient, engine=self.commands.engine,
            loads=loads_of(vehicle, self.commands.edges, self.jumps),
        )  # fmt: skip

    def seen(self, p: Array) -> tuple[list[Array], Array, Array]:
        """Return what the sensors would show at their blocks, the clock, the corners' heights."""
        told = self.unknowns.told(p)
        clock, heights = self.heights(p)
        shown = []
        for blocks, sensor in zip(self.blocks, self.base.sensors, strict=True):
            rows = [self.base.corners.index(corner) for corner in sensor.corners]
            mean = np.interp(blocks.time, clock, heights[rows].mean(axis=0))
            mean = mean * (1.0 + told.get(f"gain.{sensor.role}", 0.0))
            shown.append(self.base.level + mean + told.get(f"offset.{sensor.role}", 0.0))
        return shown, clock, heights

    def residual(self, p: Array) -> Array:
        """Return observed less model, in standard deviations."""
        shown, clock, heights = self.seen(p)
        parts = [
            np.where(kept, noise.white(blocks.height - model), 0.0)
            for kept, noise, blocks, model in zip(
                self.kept, self.noises, self.blocks, shown, strict=True
            )
        ]
        for tape in self.tapes:
            row = heights[self.base.corners.index(tape.corner)]
            model = self.base.level + np.interp(tape.time - self.origin, clock, row)
            parts.append(np.array([(tape.height - model) / tape.std]))
        parts.append(-self.unknowns.ties(p))
        # What a tape at the end would show: for the advice, not for the fit.
        parts.append(-FAINT * (heights[:, -1] - heights[:, 0]))
        return np.concatenate(parts)


def _fed(base: VehicleParameters, ohms: float) -> VehicleParameters:
    """Return the vehicle whose pump is fed through this resistance in all."""
    e = base.electrics
    feed = max(ohms - e.relay - e.connector - e.ground, 0.0)
    return replace(base, electrics=replace(e, feed=feed))


def _shots(
    moving: NDArray[np.bool_], jumping: NDArray[np.bool_], *, rests_only: bool
) -> tuple[NDArray[np.int64], frozenset[int], NDArray[np.bool_]]:
    """Return the stretches that begin shots, those that tell their own height, the unread ones."""
    before = np.concatenate([[True], moving[:-1]])
    after_jump = ~jumping & np.concatenate([[False], jumping[:-1]])
    starts = (~moving & before) if rests_only else (moving & ~before)
    first = np.zeros(len(moving), dtype=np.bool_)
    first[0] = True
    own = after_jump | first | (starts if rests_only else False)
    begins = np.flatnonzero(starts | own)
    unread = jumping | (moving if rests_only else False)
    return begins, frozenset(np.flatnonzero(own).tolist()), unread


def _travel(base: VehicleParameters, sensor: Sensor) -> float:
    """Return how far a signal can fall until a spring may touch its stop [m], negative."""
    bump = max(base.springs[base.corners.index(corner)].bump_at for corner in sensor.corners)
    # A mean of two shows half of what the lower side does.
    return bump / base.lever / len(sensor.corners)
