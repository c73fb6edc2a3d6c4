"""Speed of the virtual vehicle against a general solver and against reading its own recording.

Ratios within one run on one machine. The reference is SciPy's LSODA through the same compiled
right-hand side, started anew at the same changes of command, its tolerance set so that its error
is not smaller than ours.
"""

from __future__ import annotations

import csv
import io
import subprocess
import sys
import tempfile
import time
import tracemalloc
from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numba
import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from sagtrace.bootstrap import virtual
from sagtrace.twin import _slots as slots
from sagtrace.twin import body, plant
from sagtrace.twin.batch import Scenario, simulate_many
from sagtrace.twin.faults import CornerFault, FaultParameters, TimedFault
from sagtrace.twin.script import Ambient, Engine, Load, Script, stretches
from sagtrace.twin.simulate import Simulation, initial_state, prepare, simulate

Figure = tuple[str, float, str, float | None, str]

HOUR = 3600.0
VEHICLES = virtual().vehicles
LAYOUTS = ("rear-pair", "four-corner", "four-corner-reservoir")
PAIR = VEHICLES["rear-pair"]
LEAK = TimedFault(name="leak", change=FaultParameters(corners={"left": CornerFault(leak=4e-12)}))
DRIVE = Script(
    duration=HOUR,
    events=(
        Engine(at=300.0, on=True),
        Load(at=900.0, kilograms={"left": 60.0, "right": 60.0}),
        Load(at=2400.0, kilograms={"left": 0.0, "right": 0.0}),
    ),
)
NIGHT = Script(
    duration=14 * HOUR, ambient=293.15,
    events=(
        Ambient(at=60.0, to=275.15, over=8 * HOUR),
        Ambient(at=9 * HOUR, to=280.15, over=4 * HOUR),
    ),
)  # fmt: skip


def fastest(action: Callable[[], object], times: int = 5) -> float:
    """Return the shortest time of an action [s]; others share the machine."""
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        action()
        taken.append(time.perf_counter() - start)
    return min(taken)


def general_solver(changes: NDArray[np.float64], rtol: float, rate: float) -> NDArray[np.float64]:
    """Return the springs' extensions of the drive through LSODA, shape (springs, samples)."""
    rates = numba.njit(plant.rates)
    heights = numba.njit(_heights)
    edges, inputs = stretches(PAIR, DRIVE, (LEAK,), 0.0)
    pack, links = slots.pack(PAIR, (LEAK,)), slots.coupling(PAIR)
    start = initial_state(PAIR, DRIVE)
    y, nv, n = start.values.copy(), 3, 2
    marks = np.unique(np.concatenate([edges, changes[:, 0]]))
    times = np.arange(int(DRIVE.duration * rate) + 1) / rate
    out, cmd, x = np.empty((n, len(times))), np.zeros(plant.COMMANDS), np.zeros(n)
    dy, aux = np.empty_like(y), np.zeros(plant.AUX)
    size = np.maximum(np.abs(y), 1e-2)
    size[[n, nv + n]] = size[[0, nv]]
    for a, b in pairwise(marks):
        u = inputs[int(np.searchsorted(edges, a, side="right")) - 1]
        for row in changes[changes[:, 0] == a]:
            cmd = row[1:].copy()

        def f(t: float, state: NDArray[np.float64]) -> NDArray[np.float64]:
            rates(t, state, pack.wide, pack.springs, links, u, cmd, x, dy, aux)  # noqa: B023
            return dy.copy()

        at = (times >= a) & (times <= b)
        done = solve_ivp(
            f,
            (a, b),
            y,
            method="LSODA",
            rtol=rtol,
            atol=rtol * 1e-2 * size,
            t_eval=np.unique([*times[at], b]),
        )
        y = done.y[:, -1]
        columns = np.ascontiguousarray(done.y[nv : nv + n, : int(at.sum())].T)
        out[:, at] = heights(columns, times[at], pack.springs, links, u, pack.wide[slots.BARO]).T
    return out


def _heights(energies, times, springs, links, u, baro):  # type: ignore[no-untyped-def]
    x, loads, out = np.zeros(2), np.zeros(2), np.empty((len(times), 2))
    for i in range(len(times)):
        body.loads_at(times[i], springs, u, loads)
        body.heights(energies[i], springs, links, loads, baro, x)
        out[i] = x
    return out


def extensions(run: Simulation) -> NDArray[np.float64]:
    assert run.truth is not None
    return np.array([h * PAIR.lever for h in run.truth.heights.values()])


def figures() -> Iterator[Figure]:
    """Yield name, value, unit, bar and reference of each figure."""
    yield _first_call()
    prepare(print)
    yield from _hour()
    yield _night()
    yield from _batch()


def _first_call() -> Figure:
    """A new machine: a copy of the package without its compiled code."""
    text = (
        "import time; s = time.perf_counter(); from sagtrace.twin.simulate import prepare; "
        "prepare(at_once=True); print(time.perf_counter() - s)"
    )
    with tempfile.TemporaryDirectory() as empty:
        answer = subprocess.run(
            [sys.executable, "-c", text], capture_output=True, text=True, check=True,
            env={"NUMBA_CACHE_DIR": empty, "PYTHONPATH": ":".join(p for p in sys.path if p)},
        )  # fmt: skip
    return (
        "first call on a new machine",
        float(answer.stdout),
        "s",
        15.0,
        "compiles in two processes",
    )


def _hour() -> Iterator[Figure]:
    def ours() -> Simulation:
        return simulate(PAIR, DRIVE, faults=(LEAK,), rate=10.0, truth=False)

    ours()
    mine = fastest(ours)
    run = simulate(PAIR, DRIVE, faults=(LEAK,), rate=10.0)
    exact = general_solver(run.changes, 1e-10, 10.0)
    error = float(np.abs(extensions(run) - exact).max())
    for rtol in (1e-6, 1e-5, 1e-4, 1e-3):
        start = time.perf_counter()
        other = general_solver(run.changes, rtol, 10.0)
        theirs = time.perf_counter() - start
        their_error = float(np.abs(other - exact).max())
        if their_error >= error:
            break
    yield "one hour of rear-pair at 10 Hz", 1e3 * mine, "ms", None, f"{run.steps} steps"
    yield "its error in height", 1e6 * error, "µm", 200.0, "against LSODA at 1e-10"
    text = f"x faster than LSODA with our compiled rates, whose error is {1e6 * their_error:.2g} µm"
    yield (
        "the same by a general solver, time",
        mine / theirs,
        "",
        0.01,
        f"{theirs / mine:.0f} {text}",
    )


def _night() -> Figure:
    def ours() -> Simulation:
        return simulate(PAIR, NIGHT, faults=(LEAK,), rate=10.0, truth=False)

    run = ours()
    mine = fastest(ours)
    table = np.column_stack([run.time, *run.channels.values()])
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "night.csv"
        head = ",".join(["time", *run.channels])
        np.savetxt(file, table, fmt="%.6g", delimiter=",", header=head, comments="")

        def read() -> list[list[float]]:
            with file.open(newline="") as opened:
                rows = csv.reader(opened)
                next(rows)
                return [[float(cell) for cell in row] for row in rows]

        reading = fastest(read, 2)
        plain = fastest(lambda: sum(1 for _ in csv.reader(io.StringIO(file.read_text()))), 2)
    text = (
        f"{len(table)} rows: {1e3 * mine:.0f} ms against {reading:.2f} s to read with csv and float"
    )
    text += f", {plain:.2f} s to read as text"
    return "a night of 14 h over reading its CSV", mine / plain, "", 0.1, text


def _scenarios(count: int) -> Iterator[Scenario]:
    rng = np.random.default_rng(5)
    for seed in range(count):
        vehicle = VEHICLES[LAYOUTS[seed % 3]]
        load = dict.fromkeys(vehicle.corners, float(rng.uniform(20, 90)))
        events = (Engine(at=60.0, on=True), Load(at=300.0, kilograms=load))
        leak = CornerFault(leak=float(10 ** rng.uniform(-13, -10)))
        change = FaultParameters(corners={vehicle.corners[0]: leak})
        yield Scenario(
            vehicle=replace(vehicle, lever=float(rng.uniform(0.8, 1.0))),
            script=Script(duration=HOUR, events=events),
            faults=(TimedFault(name="leak", change=change),),
            seed=seed,
        )


def _batch() -> Iterator[Figure]:
    def lowest(run: Simulation) -> float:
        return float(run.channels["supply"].min())

    def take(count: int, workers: int) -> float:
        start = time.perf_counter()
        done = 0
        for _ in simulate_many(_scenarios(count), lowest, workers=workers):
            done += 1
        assert done == count
        return time.perf_counter() - start

    take(4, 1)
    # In turns and the best of each, because others share the machine.
    rounds = [(take(60, 1), take(60, 2)) for _ in range(4)]
    efficiency = min(one for one, _ in rounds) / min(two for _, two in rounds) / 2.0
    whole = take(1000, 2)
    yield "1000 scenarios of an hour", whole, "s", None, "both cores, 1 Hz, all layouts"
    yield "lost to the second core", 1.0 - efficiency, "", 0.2, f"efficiency {efficiency:.0%}"
    peaks = []
    for count in (40, 160):
        tracemalloc.start()
        take(count, 2)
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    text = f"{peaks[0] / 1e6:.1f} and {peaks[1] / 1e6:.1f} MB at 40 and 160 scenarios"
    yield "growth of memory with the batch", peaks[1] / peaks[0], "", 1.2, text


def main() -> None:
    for name, value, unit, bar, reference in figures():
        verdict = (
            "" if bar is None else f" (bar {bar:g} {unit}: {'ok' if value <= bar else 'MISSED'})"
        )
        print(f"{name}: {value:.3g} {unit}{verdict}; {reference}", flush=True)


if __name__ == "__main__":
    main()
