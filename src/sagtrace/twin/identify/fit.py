"""The virtual vehicle fitted to one recording: leak, pump and sensors at once, with their spread.

The plant is replayed through the recorded commands and compared with the heights; geometry, load
and the moments of the commands are unknown too, within what is known of them beforehand. The
result is a distribution, told as median, standard deviation and the interval that holds 95 %.
Assumes that nothing but the listed unknowns differs from the assumed vehicle. What does shows as
misfit: it widens every interval, and beyond `REFUSED` nothing is reported.
Limits: a leak between pump and spring valves, a choked dryer and a worn pump all mean less air
at the springs, so `pump` is what reaches them; a valve that leaks past its seat shows as a
leak of its corner.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from sagtrace.errors import EvidenceError, UnknownIdError
from sagtrace.physics.constants import R_AIR, RHO_ANR
from sagtrace.physics.gas import REF_20C_1ATM
from sagtrace.signals.trace import Trace
from sagtrace.twin.identify.blocks import cut
from sagtrace.twin.identify.commands import busy, commands_of
from sagtrace.twin.identify.feed import feed_resistance
from sagtrace.twin.identify.noise import Noise
from sagtrace.twin.identify.posterior import draws
from sagtrace.twin.identify.result import Curve, Fit, Fitted, Tape
from sagtrace.twin.identify.shots import anchors, jumps
from sagtrace.twin.identify.solve import Solution, minimise
from sagtrace.twin.identify.start import first_guess
from sagtrace.twin.identify.unknowns import Spreads, Unknowns
from sagtrace.twin.identify.wanted import best_reading, readings_of
from sagtrace.twin.parameters import Sensor, VehicleParameters
from sagtrace.twin.replay import Commands, replay

__all__ = ["fit"]

Array = NDArray[np.float64]

RATE = 2.0  # [1/s] chosen: of the replay; blocks are no shorter than half a second
COARSE = 1e-4  # [-] chosen: of the integrator; some hundredths of a millimetre
REFUSED = 4.0  # [-] chosen: mean square misfit beyond which the model does not describe the vehicle
LEAST_BLOCKS = 20  # [-] chosen: fewer tell nothing
ON_STOP = 0.85  # [-] chosen: share of the travel to the bump stop beyond which it carries load
FAINT = 1e-9  # [-] chosen: weight of readings that nobody took; only their derivative counts
TOLD = 0.6  # [-] chosen: a spread that shrank less than to this share of the prior tells nothing
APART = 0.2  # [-] chosen: spread of one side over the axle's leak beyond which sides are not told
WIDE = 1.959963984540054  # [-] exact: half of the 95 % interval of a normal number
UNSETTLED = 4.0  # [-] chosen: times the variance where the search stopped before it had settled
NEARLY = 0.1  # [-] chosen: a share of an axle's leak this near to nothing may be nothing


def fit(
    base: VehicleParameters,
    trace: Trace,
    rng: np.random.Generator,
    *,
    spreads: Spreads | None = None,
    tapes: Sequence[Tape] = (),
) -> Fit:
    """Return the fit of a vehicle to a recording.

    `base` is the vehicle as assumed, `spreads` how well that is known. Raises EvidenceError if
    the recording lacks what a fit needs or the model does not describe it.
    """
    problem = _Problem(base, trace, spreads or Spreads(), tapes)
    solution = minimise(problem.residual, problem.unknowns.prior, problem.guess())
    if solution.misfit > REFUSED:
        raise EvidenceError(
            f"the virtual vehicle does not describe this recording (mean square misfit "
            f"{solution.misfit:.1f}; up to {REFUSED:g} is accepted), so no leak and no pump is "
            "read from it. Check the layout, the roles of the channels and the vehicle's data."
        )
    return _told(problem, solution, rng)


class _Problem:
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
        self.commands = commands_of(trace, base)
        roles = [sensor.role for sensor in base.sensors]
        moving = busy(self.commands)
        away = jumps(trace, roles, self.commands.edges, moving)
        self.commands = self.commands.split(away.ravel())
        self.origin = float(trace.time[0])
        period = float(np.median(np.diff(trace.time)))
        moving = busy(self.commands)
        middle = 0.5 * (self.commands.edges[1:] + self.commands.edges[:-1])
        jumping = np.zeros(len(middle), dtype=np.bool_)
        for low, high in away:
            jumping |= (middle > low) & (middle < high)
        # What a reservoir gives depends on its pressure, so there only rests count.
        stored = base.reservoir is not None
        begins, own, unread = _shots(moving, jumping, rests_only=stored)
        whole = [cut(trace, s.role, self.commands.edges, moving) for s in base.sensors]
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
            anchors(trace, blocks.role, self.commands.edges, begins, own, blocks.noise)
            for blocks in self.blocks
        ]
        self.noises = [
            Noise(blocks, begins, moving, period)
            for blocks, begins in zip(self.blocks, self.begins, strict=True)
        ]
        self.first = {
            corner: float(np.median(blocks.height[:5])) - base.level
            for blocks, sensor in zip(whole, base.sensors, strict=True)
            for corner in sensor.corners
        }
        self.unknowns = Unknowns.of(
            base,
            spreads,
            period=period,
            taped=frozenset(t.corner for t in tapes),
            air="ambient" in trace.channels,
        )

    def guess(self) -> Array:
        return first_guess(self.unknowns, self.commands, self.blocks)

    def heights(self, p: Array) -> tuple[Array, Array]:
        """Return the replay's clock and the height of each corner above ride height."""
        told = self.unknowns.told(p)
        start = [self.first[c] + told.get(f"start.{c}", 0.0) for c in self.base.corners]
        run = replay(
            self.unknowns.vehicle(p), self._moved(told), start=start, rate=RATE,
            faults=(self.unknowns.leaks(p),), aims=self._aims(told), rtol=COARSE,
        )  # fmt: skip
        return np.arange(run.heights.shape[1]) / RATE, run.heights

    def _aims(self, told: Mapping[str, float]) -> Array:
        """Return the height with which each shot begins, at every corner."""
        aims = np.full((len(self.commands.table), len(self.base.corners)), np.nan)
        for begins, sensor in zip(self.begins, self.base.sensors, strict=True):
            above = begins.height - self.base.level - told.get(f"offset.{sensor.role}", 0.0)
            for corner in sensor.corners:
                i = self.base.corners.index(corner)
                aims[begins.stretch, i] = above / (1.0 + told.get(f"gain.{sensor.role}", 0.0))
        return aims

    def _moved(self, told: Mapping[str, float]) -> Commands:
        """Return the commands with their common delay taken out and the air's drift put in."""
        edges = self.commands.edges.copy()
        edges[1:-1] -= told["delay"]
        if np.any(np.diff(edges) <= 0.0):
            edges = self.commands.edges
        ambient = self.commands.ambient + told.get("warming", 0.0) * edges
        return Commands(
            edges=edges, table=self.commands.table, ambient=ambient, engine=self.commands.engine,
            loads=self.commands.loads,
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
        shown, clock, heights = self.seen(p)
        parts = [
            noise.white(blocks.height - model)
            for noise, blocks, model in zip(self.noises, self.blocks, shown, strict=True)
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


def _told(problem: _Problem, solution: Solution, rng: np.random.Generator) -> Fit:
    unknowns = problem.unknowns
    widen = max(1.0, solution.misfit) * (1.0 if solution.settled else UNSETTLED)
    covariance = solution.covariance(unknowns.prior, widen)
    sample = draws(solution.parameters, covariance, unknowns.prior.low, rng)
    taped = frozenset(tape.corner for tape in problem.tapes)
    leaks = _leaks(unknowns, sample, taped=taped)
    wanted = _wanted(problem, solution, covariance, leaks)
    pumped = problem.base.reservoir is None and bool(np.any(problem.commands.table[:, 0] > 0.0))
    ratio = np.exp(sample[:, unknowns.at("pump")])
    prior_pump = unknowns.prior.std[unknowns.at("pump")]
    pump = _fitted(ratio, "", told=pumped and float(np.std(np.log(ratio))) < TOLD * prior_pump)
    others = {
        name: _fitted(sample[:, i], "m" if name.startswith("offset") else "",
                      told=bool(np.sqrt(covariance[i, i]) < TOLD * unknowns.prior.std[i]))
        for i, name in enumerate(unknowns.names)
        if name.startswith(("offset.", "gain."))
    }  # fmt: skip
    if problem.feed is not None:
        value, std = problem.feed
        others["feed"] = Fitted(
            value=value, std=std, low=value - WIDE * std, high=value + WIDE * std, unit="ohm",
            told=True,
        )  # fmt: skip
    return Fit(
        leaks=leaks,
        pump=pump if pump.told else None,
        others=others,
        curves=_curves(problem, solution),
        misfit=solution.misfit,
        settled=solution.settled,
        runs=solution.runs,
        notes=_notes(problem, solution, leaks, pump),
        wanted=wanted,
    )


def _leaks(unknowns: Unknowns, sample: Array, *, taped: frozenset[str]) -> Mapping[str, Fitted]:
    """Return each corner's leak and each axle's sum, as free air at 20 °C and one atmosphere."""
    corners = unknowns.base.corners
    conductance = sample[:, unknowns.places([f"leak.{c}" for c in corners])]
    density = REF_20C_1ATM.pressure / (R_AIR * REF_20C_1ATM.temperature)
    flow = np.maximum(conductance, 0.0) * unknowns.pressures(sample) * RHO_ANR / density
    shared = {c for s in unknowns.base.sensors if len(s.corners) > 1 for c in s.corners}
    found = {}
    for i, corner in enumerate(corners):
        sides = flow[:, [i, i ^ 1]]
        found[corner] = _side(
            sides[:, 0], sides.sum(axis=1), known=corner in taped or corner not in shared
        )
    if len(corners) == 2:
        return found | {"axle": _fitted(flow.sum(axis=1), "m^3/s", told=True)}
    return found | {
        "axle.front": _fitted(flow[:, :2].sum(axis=1), "m^3/s", told=True),
        "axle.rear": _fitted(flow[:, 2:].sum(axis=1), "m^3/s", told=True),
    }


def _wanted(
    problem: _Problem, solution: Solution, covariance: Array, leaks: Mapping[str, Fitted]
) -> str:
    """Return a sentence on the reading that would narrow the worst-known leak most."""
    unknowns, n = problem.unknowns, len(problem.base.corners)
    sinks = dict(zip(problem.base.corners, -solution.slope[-n:] / FAINT, strict=True))
    readings = readings_of(unknowns, sinks)
    pressures = unknowns.pressures(solution.parameters[None])[0]
    rows = {}
    for corner, pressure in zip(problem.base.corners, pressures, strict=True):
        # A leak is conductance times pressure, and the pressure load over area.
        row = np.zeros(len(unknowns.names))
        leak = solution.parameters[unknowns.at(f"leak.{corner}")]
        above = 1.0 - problem.base.surroundings.barometer / pressure
        row[unknowns.at(f"leak.{corner}")] = 1.0
        row[unknowns.at(f"load.{corner}")], row[unknowns.at("area")] = leak * above, -leak * above
        rows[corner] = row
    worst = max(rows, key=lambda corner: leaks[corner].std)
    found = best_reading(covariance, rows[worst], readings)
    if found is None:
        return ""
    reading, left = found
    return (
        f"To narrow the leak of {worst}, {reading.text}: of its spread about {100 * left:.0f} % "
        "would be left."
    )


def _side(own: Array, both: Array, *, known: bool) -> Fitted:
    """Return one side's leak; all or nothing of the axle's is in the interval if it may be.

    `known` says whether anything but the mean of both sides was seen. If not, what a replay makes
    of the sides is its own doing and not told.
    """
    fitted, total = _fitted(own, "m^3/s", told=True), _fitted(both, "m^3/s", told=True)
    if not known:
        return replace(fitted, low=0.0, high=total.high, told=False)
    low, high = np.quantile(own / np.maximum(both, 1e-30), [0.05, 0.95])
    return replace(
        fitted,
        low=0.0 if low < NEARLY else fitted.low,
        high=total.high if high > 1.0 - NEARLY else fitted.high,
        told=bool(fitted.std < APART * total.value),
    )


def _fitted(sample: Array, unit: str, *, told: bool) -> Fitted:
    low, middle, high = np.quantile(sample, [0.025, 0.5, 0.975])
    return Fitted(
        value=float(middle), std=float(np.std(sample)), low=float(low), high=float(high),
        unit=unit, told=told,
    )  # fmt: skip


def _curves(problem: _Problem, solution: Solution) -> Mapping[str, Curve]:
    shown, _, _ = problem.seen(solution.parameters)
    curves = {}
    for blocks, noise, model in zip(problem.blocks, problem.noises, shown, strict=True):
        drift = noise.drift(blocks.height - model)
        curves[blocks.role] = Curve(
            time=problem.origin + blocks.time, measured=blocks.height, fitted=model + drift,
            std=blocks.std,
        )  # fmt: skip
    return curves


def _notes(
    problem: _Problem, solution: Solution, leaks: Mapping[str, Fitted], pump: Fitted
) -> tuple[str, ...]:
    notes = []
    if problem.end < math.inf:
        notes.append(
            f"A spring comes near its bump stop after {problem.end / 60:.0f} min; what follows is "
            "left out, because what leaks there shows in no height."
        )
    for sensor in problem.base.sensors:
        if len(sensor.corners) == 2:
            one, other = sensor.corners
            total = leaks["axle" if len(problem.base.corners) == 2 else _axle(one)]
            if not leaks[one].told and total.low > 0.0:
                notes.append(
                    f"{one} and {other} cannot be told apart from one axle sensor: tape both sides "
                    "at the beginning and at the end."
                )
    if not pump.told:
        notes.append("The pump hardly ran, so nothing is said of what it gives.")
    if solution.misfit > 1.5:
        notes.append(
            f"The fit is {solution.misfit:.1f} times as rough as noise alone allows (mean square); "
            "all intervals are widened by that."
        )
    if not solution.settled:
        notes.append("The search stopped before it had settled; take the result as a hint.")
    return tuple(notes)


def _axle(corner: str) -> str:
    return "axle." + corner.partition("-")[0]
