"""Speed of the virtual vehicle against a general solver and against reading its own recording.

Ratios within one run on one machine. The reference is SciPy's LSODA through the same compiled
right-hand side, started anew at the same changes of command, its tolerance set so that its error
is not smaller than ours. Where others share the machine, what two plain processes lose to each
other is measured in the same rounds as what two workers of a batch lose.
"""

from __future__ import annotations

import csv
import io
import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from itertools import pairwise
from multiprocessing import get_context
from pathlib import Path

import numba
import numpy as np
from numpy.typing import NDArray
from rich.console import Console
from rich.progress import Progress
from scipy.integrate import solve_ivp

from sagtrace.bootstrap import virtual
from sagtrace.twin import _slots as slots
from sagtrace.twin import plant
from sagtrace.twin._kernels import pointers
from sagtrace.twin.batch import Scenario, simulate_many
from sagtrace.twin.faults import CornerFault, FaultParameters, TimedFault
from sagtrace.twin.script import Ambient, Engine, Load, Script, stretches
from sagtrace.twin.simulate import Simulation, initial_state, prepare, simulate

TESTS = Path(__file__).resolve().parents[1] / "tests" / "twin"
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
    rates, _, _, _, _, heights, _ = pointers()
    edges, inputs = stretches(PAIR, DRIVE, (LEAK,), 0.0)
    pack, links = slots.pack(PAIR, (LEAK,)), slots.coupling(PAIR)
    start = initial_state(PAIR, DRIVE)
    y, nv, n = start.values.copy(), 3, 2
    marks = np.unique(np.concatenate([edges, changes[:, 0]]))
    times = np.arange(int(DRIVE.duration * rate) + 1) / rate
    out, cmd, x = np.empty((n, len(times))), np.zeros(plant.COMMANDS), np.zeros(n)
    dy, aux = np.empty_like(y), np.zeros(plant.AUX)
    work = np.zeros((n + plant.WORK_ROWS, n))
    size = np.maximum(np.abs(y), 1e-2)
    size[[n, nv + n]] = size[[0, nv]]
    for a, b in pairwise(marks):
        u = inputs[int(np.searchsorted(edges, a, side="right")) - 1]
        for row in changes[changes[:, 0] == a]:
            cmd = row[1:].copy()

        tables = (pack.wide, pack.springs, links, u, cmd)

        def f(
            t: float, state: NDArray[np.float64], tables: tuple[NDArray[np.float64], ...] = tables
        ) -> NDArray[np.float64]:
            _rates(rates, heights, t, state, *tables, x, dy, aux, work)
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
        baro = pack.wide[slots.BARO]
        out[:, at] = _heights(heights, columns, times[at], pack.springs, links, u, baro).T
    return out


# What Python may call of the pieces that know each other by address.
@numba.njit
def _rates(rates, heights, t, y, wide, springs, links, u, cmd, x, dy, aux, work):  # type: ignore[no-untyped-def]
    rates(heights, t, y, wide, springs, links, u, cmd, x, dy, aux, work)


@numba.njit
def _heights(heights, energies, times, springs, links, u, baro):  # type: ignore[no-untyped-def]
    x, work, out = np.zeros(2), np.zeros((4, 2)), np.empty((len(times), 2))
    for i in range(len(times)):
        heights(times[i], energies[i], springs, links, u, baro, x, work)
        out[i, 0], out[i, 1] = x[0], x[1]
    return out


def extensions(run: Simulation) -> NDArray[np.float64]:
    assert run.truth is not None
    return np.array([h * PAIR.lever for h in run.truth.heights.values()])


def figures() -> Iterator[Figure]:
    """Yield name, value, unit, bar and reference of each figure."""
    yield from _first_call()
    prepare(print)
    yield from _hour()
    yield _night()
    yield from _agreement()
    yield from _batch()
    yield _memory()


def load() -> str:
    """Return how busy the machine is, others' work included."""
    return f"load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores"


def _alone(text: str, **more: str) -> list[float]:
    """Return the numbers that a fresh Python prints as JSON."""
    answer = subprocess.run(
        [sys.executable, "-c", text], capture_output=True, text=True, check=True,
        env={**os.environ, "PYTHONPATH": ":".join(p for p in sys.path if p), **more},
    )  # fmt: skip
    return [float(number) for number in json.loads(answer.stdout)]


def _first_call() -> Iterator[Figure]:
    """A new machine: an empty cache."""
    for at_once, how in ((True, "two processes"), (False, "one process")):
        text = (
            "import json, resource, time; s = time.perf_counter(); "
            f"from sagtrace.twin.simulate import prepare; prepare(at_once={at_once}); "
            "taken = time.perf_counter() - s; "
            "used = [resource.getrusage(who) for who in (0, resource.RUSAGE_CHILDREN)]; "
            "print(json.dumps([taken, *(u.ru_utime + u.ru_stime for u in used)]))"
        )
        with tempfile.TemporaryDirectory() as empty:
            taken, own, children = _alone(text, NUMBA_CACHE_DIR=empty)
        ideal = own + children / 2.0
        note = f"{own + children:.1f} s of processor time, so {ideal:.1f} s alone here; {load()}"
        yield f"first call on a new machine, {how}", taken, "s", 15.0 if at_once else 20.0, note


def _hour() -> Iterator[Figure]:
    def ours() -> Simulation:
        return simulate(PAIR, DRIVE, faults=(LEAK,), rate=10.0, truth=False)

    ours()
    mine = fastest(ours)
    run = simulate(PAIR, DRIVE, faults=(LEAK,), rate=10.0)
    exact = general_solver(run.changes, 1e-10, 10.0)
    error = float(np.abs(extensions(run) - exact).max())
    yield "one hour of rear-pair at 10 Hz", 1e3 * mine, "ms", None, f"{run.steps} steps; {load()}"
    yield "its error in height", 1e6 * error, "µm", 200.0, "against LSODA at 1e-10"
    sys.path[:0] = [str(TESTS), str(TESTS.parent)]
    from plain_plant import simulate_reference  # the tests' second program

    solvers = (
        ("the same model in plain Python", 0.01,
         lambda rtol: simulate_reference(PAIR, DRIVE, (LEAK,), rate=10.0, rtol=rtol).heights),
        ("our compiled right-hand side, events given", None,
         lambda rtol: general_solver(run.changes, rtol, 10.0)),
    )  # fmt: skip
    for model, bar, solve in solvers:
        theirs, their_error = _no_better(solve, exact, error)
        text = f"LSODA with an error of {their_error:.2g} µm takes {theirs / mine:.0f} x as long; "
        text += load()
        yield f"our time over solve_ivp's on {model}", mine / theirs, "", bar, text


def _no_better(
    solve: Callable[[float], NDArray[np.float64]], exact: NDArray[np.float64], error: float
) -> tuple[float, float]:
    """Return time [s] and error [µm] at the finest tolerance that is not better than `error`."""
    for rtol in (1e-6, 1e-5, 1e-4, 1e-3):
        start = time.perf_counter()
        found = solve(rtol)
        taken = time.perf_counter() - start
        their_error = float(np.abs(found - exact).max())
        if their_error >= error:
            break
    return taken, 1e6 * their_error


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


def _scenarios(count: int, duration: float = HOUR) -> Iterator[Scenario]:
    rng = np.random.default_rng(5)
    for seed in range(count):
        vehicle = VEHICLES[LAYOUTS[seed % 3]]
        load = dict.fromkeys(vehicle.corners, float(rng.uniform(20, 90)))
        events = (Engine(at=60.0, on=True), Load(at=300.0, kilograms=load))
        leak = CornerFault(leak=float(10 ** rng.uniform(-13, -10)))
        change = FaultParameters(corners={vehicle.corners[0]: leak})
        yield Scenario(
            vehicle=replace(vehicle, lever=float(rng.uniform(0.8, 1.0))),
            script=Script(duration=duration, events=events),
            faults=(TimedFault(name="leak", change=change),),
            seed=seed,
        )


def _agreement() -> Iterator[Figure]:
    """All fifty random fault scenarios against the second program, on both cores."""
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        found = list(pool.map(_apart, range(50)))
    height, mass, changes = (max(column) for column in zip(*found, strict=True))
    text = f"worst of 50 random fault scenarios, up to {changes:.0f} changes of command"
    yield "height against SciPy", 1e3 * height, "mm", 0.2, text
    yield "gas mass against SciPy", 100.0 * mass, "%", 0.2, text


def _apart(seed: int) -> tuple[float, float, float]:
    sys.path[:0] = [str(TESTS), str(TESTS.parent)]
    from agreement import apart  # the tests' second program

    found = apart(seed)
    return found.height, found.mass, float(found.changes)


def _lowest(run: Simulation) -> float:
    return float(run.channels["supply"].min())


def _take(count: int, workers: int, duration: float = HOUR, show: bool = False) -> float:
    start = time.perf_counter()
    with Progress(console=Console(stderr=True), disable=not show) as bar:
        task = bar.add_task("scenarios", total=count)
        tell = lambda done: bar.update(task, completed=done)  # noqa: E731
        batch = simulate_many(_scenarios(count, duration), _lowest, workers=workers, progress=tell)
        assert sum(1 for _ in batch) == count
    return time.perf_counter() - start


def _count(_: int) -> int:
    total = 0
    for i in range(20_000_000):
        total += i & 7
    return total


def _batch() -> Iterator[Figure]:
    whole = _take(1000, 2, show=True)
    yield "1000 scenarios of an hour", whole, "s", None, f"both cores, 1 Hz, all layouts; {load()}"
    # In turns and the best of each, because others share the machine.
    plain, ours = [], []
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        list(pool.map(_count, range(2)))
        for _ in range(4):
            for tasks in (1, 2):
                start = time.perf_counter()
                list(pool.map(_count, range(tasks)))
                plain.append((tasks, time.perf_counter() - start))
            ours += [(workers, _take(60, workers)) for workers in (1, 2)]
    machine = _best(plain, 1) / _best(plain, 2)
    efficiency = _best(ours, 1) / _best(ours, 2) / 2.0
    text = f"efficiency {efficiency:.0%} (the same 60 scenarios, one worker and two); two plain "
    text += f"processes that only count reach {machine:.0%} in the same rounds; "
    yield "lost to the second core", 1.0 - efficiency, "", 0.2, text + load()


def _best(rounds: list[tuple[int, float]], many: int) -> float:
    return min(taken for count, taken in rounds if count == many)


def _memory() -> Figure:
    text = (
        "import json, tracemalloc; from bench.twin import _take; _take(20, 2, 600.0)\n"
        "tracemalloc.start(); peaks = []\n"
        "for count in (100, 1000):\n"
        "    tracemalloc.reset_peak(); _take(count, 2, 600.0)\n"
        "    peaks.append(tracemalloc.get_traced_memory()[1])\n"
        "print(json.dumps(peaks))"
    )
    few, many = (peak / 1e6 for peak in _alone(text))
    told = f"peak {few:.1f} and {many:.1f} MB at 100 and 1000 scenarios; kept, they would be 50 MB"
    return "growth of memory with the batch", many - few, "MB", 1.0, told


def main() -> None:
    for name, value, unit, bar, reference in figures():
        verdict = (
            "" if bar is None else f" (bar {bar:g} {unit}: {'ok' if value <= bar else 'MISSED'})"
        )
        print(f"{name}: {value:.3g} {unit}{verdict}; {reference}", flush=True)


if __name__ == "__main__":
    main()
