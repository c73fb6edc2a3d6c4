"""Speed of the fit of the virtual vehicle to a recording, against a general least squares.

The hour is a warm fit as people wait for it: cutting the recording, search, spread, curves. The
general one is SciPy's `least_squares` over the tests' second program, which steps the same model
in plain Python with `solve_ivp`; it gets a shorter recording and three unknowns of our fourteen,
so the ratio flatters it.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from bench.twin import TESTS, VEHICLES, Figure, load
from sagtrace.signals.trace import Trace
from sagtrace.twin.faults import CornerFault, FaultParameters, TimedFault
from sagtrace.twin.identify.fit import fit
from sagtrace.twin.identify.result import Fit
from sagtrace.twin.parameters import VehicleParameters
from sagtrace.twin.script import Ambient, Load, Script
from sagtrace.twin.simulate import prepare, simulate

HOUR, SHORT, RATE = 3600.0, 300.0, 2.0
LEAK = 8e-12  # [m^3/(s Pa)] chosen: some 400 mL/min, a fill every ten minutes
NOISE = 3e-4  # [m] of the recorded heights


def figures() -> Iterator[Figure]:
    """Yield name, value, unit, bar and reference of each figure."""
    prepare(print)
    for layout, bar in (("rear-pair", 1.0), ("four-corner", None), ("four-corner-reservoir", None)):
        vehicle = VEHICLES[layout]
        trace = recorded(vehicle, HOUR)
        taken, found = _fastest(lambda v=vehicle, t=trace: ours(v, t))
        text = f"{found.runs} replays, one core, {len(trace.time)} samples; {load()}"
        yield f"fit of an hour at 2 Hz, {layout}", taken, "s", bar, text
    yield _general()


def leaking(vehicle: VehicleParameters, size: float) -> TimedFault:
    corner = CornerFault(leak=size)
    return TimedFault(name="leak", change=FaultParameters(corners={vehicle.corners[0]: corner}))


def recorded(vehicle: VehicleParameters, duration: float) -> Trace:
    events = (
        Ambient(at=10.0, to=285.0, over=0.9 * duration),
        Load(at=duration / 6.0, kilograms=dict.fromkeys(vehicle.corners, 25.0)),
    )
    script = Script(
        duration=duration, engine=True, ambient=288.15, events=events[: int(duration / SHORT)]
    )
    run = simulate(vehicle, script, faults=(leaking(vehicle, LEAK),), rate=RATE)
    trace = run.trace()
    if run.truth is None or vehicle.reservoir is None:
        return trace
    return replace(
        trace, channels={**trace.channels, "valve.reservoir": run.truth.valves["reservoir"]}
    )


def ours(vehicle: VehicleParameters, trace: Trace) -> Fit:
    return fit(vehicle, trace, np.random.default_rng(0))


def _fastest(action: Callable[[], Fit], times: int = 3) -> tuple[float, Fit]:
    """Return the shortest time of an action [s], after one run that is not counted, and its end."""
    found, taken = action(), []
    for _ in range(times):
        start = time.process_time()
        found = action()
        taken.append(time.process_time() - start)
    return min(taken), found


def _general() -> Figure:
    sys.path[:0] = [str(TESTS), str(TESTS.parent)]
    from plain_plant import simulate_reference  # the tests' second program

    vehicle = VEHICLES["rear-pair"]
    trace = recorded(vehicle, SHORT)
    script = Script(
        duration=SHORT,
        engine=True,
        ambient=288.15,
        events=(Ambient(at=10.0, to=285.0, over=0.9 * SHORT),),
    )

    def residual(p: NDArray[np.float64]) -> NDArray[np.float64]:
        springs = tuple(replace(s, area=s.area * np.exp(p[1])) for s in vehicle.springs)
        there = replace(vehicle, springs=springs, lever=vehicle.lever * np.exp(p[2]))
        run = simulate_reference(
            there, script, (leaking(there, LEAK * np.exp(p[0])),), rate=RATE, rtol=1e-5
        )
        height = vehicle.level + run.heights.mean(axis=0) / there.lever
        return np.concatenate(
            [(trace.channels["height.rear"] - height) / NOISE, p / [1.0, 0.2, 0.1]]
        )

    mine, _ = _fastest(lambda: ours(vehicle, trace))
    start = time.process_time()
    answer = least_squares(residual, np.array([0.5, 0.0, 0.0]), diff_step=0.02)
    theirs = time.process_time() - start
    text = f"{answer.nfev} steps of least_squares on five minutes take {theirs:.1f} s; {load()}"
    return (
        "our fit's time over least_squares on the model in plain Python",
        mine / theirs,
        "",
        0.1,
        text,
    )


def main() -> None:
    for name, value, unit, bar, reference in figures():
        verdict = (
            "" if bar is None else f" (bar {bar:g} {unit}: {'ok' if value <= bar else 'MISSED'})"
        )
        print(f"{name}: {value:.3g} {unit}{verdict}; {reference}", flush=True)


if __name__ == "__main__":
    main()
