"""What a fit tells: each quantity with its spread, what it cannot tell, and what would help."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from sagtrace.physics.constants import R_AIR, RHO_ANR
from sagtrace.physics.gas import REF_20C_1ATM
from sagtrace.twin.identify.posterior import draws
from sagtrace.twin.identify.problem import FAINT, Problem
from sagtrace.twin.identify.result import Curve, Fit, Fitted
from sagtrace.twin.identify.solve import Solution
from sagtrace.twin.identify.unknowns import Unknowns
from sagtrace.twin.identify.wanted import best_reading, readings_of

__all__ = ["told_by"]

Array = NDArray[np.float64]

TOLD = 0.6  # [-] chosen: a spread that shrank less than to this share of the prior tells nothing
APART = 0.2  # [-] chosen: spread of one side over the axle's leak beyond which sides are not told
WIDE = 1.959963984540054  # [-] exact: half of the 95 % interval of a normal number
UNSETTLED = 4.0  # [-] chosen: times the variance where the search stopped before it had settled
ONE_SIDED = 1.6448536269514722  # [-] exact: 95 % of normal numbers lie below
NEARLY = 0.1  # [-] chosen: a share of an axle's leak this near to nothing may be nothing


def told_by(problem: Problem, solution: Solution, rng: np.random.Generator) -> Fit:
    """Return what the solution of a problem tells."""
    unknowns = problem.unknowns
    widen = max(1.0, solution.misfit) * (1.0 if solution.settled else UNSETTLED)
    covariance = solution.covariance(unknowns.prior, widen)
    sample = draws(solution.parameters, covariance, unknowns.prior.low, rng)
    taped = frozenset(tape.corner for tape in problem.tapes)
    leaks = _leaks(unknowns, sample, solution.parameters, covariance, taped)
    wanted = _wanted(problem, solution, covariance, leaks)
    pumped = not problem.rests_only and bool(np.any(problem.commands.table[:, 0] > 0.0))
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


def _leaks(
    unknowns: Unknowns, sample: Array, mean: Array, covariance: Array, taped: frozenset[str]
) -> Mapping[str, Fitted]:
    """Return each corner's leak and each axle's sum, as free air at 20 °C and one atmosphere."""
    corners = unknowns.base.corners
    places = unknowns.places([f"leak.{c}" for c in corners])
    density = REF_20C_1ATM.pressure / (R_AIR * REF_20C_1ATM.temperature)
    flow = np.maximum(sample[:, places], 0.0) * unknowns.pressures(sample) * RHO_ANR / density
    shared = {c for s in unknowns.base.sensors if len(s.corners) > 1 for c in s.corners}

    def told(rows: list[int]) -> Fitted:
        at = [places[row] for row in rows]
        std = math.sqrt(float(np.sum(covariance[np.ix_(at, at)])))
        return _flow(flow[:, rows].sum(axis=1), float(np.sum(mean[at])) / std)

    found, axles = {}, {}
    for k in range(len(corners) // 2):
        pair = [2 * k, 2 * k + 1]
        both = told(pair)
        axles["axle" if len(corners) == 2 else _axle(corners[2 * k])] = both
        for i in pair:
            share = flow[:, i] / np.maximum(flow[:, pair].sum(axis=1), 1e-30)
            known = corners[i] in taped or corners[i] not in shared
            found[corners[i]] = _side(told([i]), both, share, known=known)
    return found | axles


def _wanted(
    problem: Problem, solution: Solution, covariance: Array, leaks: Mapping[str, Fitted]
) -> str:
    """Return a sentence on the reading that would narrow the worst-known leak most."""
    unknowns, n = problem.unknowns, len(problem.base.corners)
    sinks = dict(zip(problem.base.corners, -solution.slope[-n:] / FAINT, strict=True))
    readings = readings_of(unknowns, sinks)
    pressures = unknowns.pressures(solution.parameters[None])[0]
    rows = {}
    loads = unknowns.load_rows()
    for corner, pressure, load in zip(problem.base.corners, pressures, loads, strict=True):
        # A leak is conductance times pressure, and the pressure load over area.
        leak = solution.parameters[unknowns.at(f"leak.{corner}")]
        above = 1.0 - problem.base.surroundings.barometer / pressure
        row = leak * above * load
        row[unknowns.at(f"leak.{corner}")], row[unknowns.at("area")] = 1.0, -leak * above
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


def _side(own: Fitted, both: Fitted, share: Array, *, known: bool) -> Fitted:
    """Return one side's leak; all or nothing of the axle's is in the interval if it may be.

    `share` of the axle's. `known` says whether anything but the mean of both sides was seen. If
    not, what a replay makes of the sides is its own doing and not told.
    """
    if not known:
        return replace(own, low=0.0, high=both.high, told=False)
    low, high = np.quantile(share, [0.05, 0.95])
    return replace(
        own,
        low=0.0 if low < NEARLY else own.low,
        high=both.high if high > 1.0 - NEARLY else own.high,
        told=bool(own.std < APART * both.value),
    )


def _fitted(sample: Array, unit: str, *, told: bool) -> Fitted:
    low, middle, high = np.quantile(sample, [0.025, 0.5, 0.975])
    return Fitted(
        value=float(middle), std=float(np.std(sample)), low=float(low), high=float(high),
        unit=unit, told=told,
    )  # fmt: skip


def _flow(sample: Array, above: float) -> Fitted:
    """Return a leak that lies `above` nothing by so many standard deviations.

    If it may be nothing, the interval begins there: with 2.5 % left below, none would ever hold a
    leak that is not there, least of all a sum of two.
    """
    found = _fitted(sample, "m^3/s", told=True)
    if above > ONE_SIDED:
        return found
    return replace(found, low=0.0, high=float(np.quantile(sample, 0.95)))


def _curves(problem: Problem, solution: Solution) -> Mapping[str, Curve]:
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
    problem: Problem, solution: Solution, leaks: Mapping[str, Fitted], pump: Fitted
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
    if problem.left_out:
        shots = f"{problem.left_out} shot{'s' if problem.left_out > 1 else ''}"
        notes.append(f"{shots} of a height, moved by something else than air, were left out.")
    if not pump.told:
        notes.append(_no_pump(problem))
    if solution.misfit > 1.5:
        notes.append(
            f"The fit is {solution.misfit:.1f} times as rough as noise alone allows (mean square); "
            "all intervals are widened by that."
        )
    if not solution.settled:
        notes.append("The search stopped before it had settled; take the result as a hint.")
    return tuple(notes)


def _no_pump(problem: Problem) -> str:
    if problem.base.reservoir is None and problem.rests_only:
        return (
            "Nothing is said of what the pump gives: the commands of the valves were not recorded, "
            "so it is not known which corner it filled for how long."
        )
    return "The pump hardly ran, so nothing is said of what it gives."


def _axle(corner: str) -> str:
    return "axle." + corner.partition("-")[0]
