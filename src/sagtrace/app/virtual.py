"""The use case: a plan put to the virtual vehicle, and what comes out as columns and a summary.

The work is done in a thread of its own, because compiled code hears neither Ctrl-C nor a question
of how far it is; nothing in the result depends on that.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from threading import Thread
from typing import TypeAlias, TypeVar

import numpy as np
from numpy.typing import NDArray

from sagtrace.app.plans import FaultBook, Plan, Scene
from sagtrace.errors import DomainError
from sagtrace.evidence.facts import read_facts
from sagtrace.twin.codes import SetCode
from sagtrace.twin.simulate import Balance, Simulation, simulate
from sagtrace.twin.wear import Week, weeks_of_use
from sagtrace.vehicle.layouts import Layout

__all__ = [
    "check_day",
    "check_size",
    "run_plan",
    "run_weeks",
    "Summary",
    "summary_of",
    "VirtualRun",
    "VirtualWeeks",
]

Array: TypeAlias = NDArray[np.float64]
Tell: TypeAlias = Callable[[float], None]  # the share of the work that is done
T = TypeVar("T")

MOST_ROWS = 20_000_000  # [-] chosen: about 2 GB in memory without the truth
MOST_ROWS_TRUTH = 8_000_000  # [-] chosen: about the same with it
MOST_RATE = 1000.0  # [1/s] chosen: finer than any recorder, and than what happens here
LEAST_RATE_WEEKS = 1.0  # [1/s] chosen: a pump runs for some seconds at a time
GLANCE = 0.1  # [s] chosen: how often it is asked how far the work is


@dataclass(frozen=True, slots=True, kw_only=True)
class VirtualRun:
    """A scene and what happened in it."""

    scene: Scene
    rate: float  # [1/s]
    result: Simulation


@dataclass(frozen=True, slots=True, kw_only=True)
class VirtualWeeks:
    """A scene as the day of a vehicle that wears, week after week."""

    scene: Scene
    weeks: tuple[Week, ...]


def check_size(duration: float, rate: float, truth: bool) -> None:
    """Refuse a run whose samples would be too few to be one, or would not fit into memory."""
    if not 0.0 < rate <= MOST_RATE:
        raise DomainError("rate", rate, "1/s", f"above zero and at most {MOST_RATE:g}")
    rows, most = duration * rate + 1.0, MOST_ROWS_TRUTH if truth else MOST_ROWS
    if rows > most:
        also = " with the truth" if truth else ""
        hint = f"Simulate less time, or take at most {most / duration:.3g} samples a second."
        raise DomainError("samples", rows, "", f"at most {most:,}{also}".replace(",", " "), hint)
    if rows < 2.0:
        raise DomainError(
            "rate", rate, "1/s", f"at least {1.0 / duration:.3g}, for two samples in the run"
        )


def check_day(duration: float, rate: float) -> None:
    """Refuse a day of a week that could not be sampled, or whose pump runs could be missed."""
    check_size(duration, rate, True)
    if rate < LEAST_RATE_WEEKS:
        rule = f"at least {LEAST_RATE_WEEKS:g} to see every run of the pump"
        raise DomainError("rate", rate, "1/s", rule)


def run_plan(
    plan: Plan,
    layout: Layout,
    book: FaultBook,
    *,
    rate: float = 10.0,
    truth: bool = True,
    tell: Tell = lambda _: None,
) -> VirtualRun:
    """Return what happens; `tell` hears from time to time how much of it is done.

    Raises InputError for a plan that cannot be right, EvidenceError if the calculation fails.
    """
    check_size(plan.script.duration, rate, truth)
    scene = _scene(plan, layout, book)
    watch = np.zeros(4)

    def work() -> Simulation:
        return simulate(
            scene.vehicle,
            scene.script,
            faults=scene.faults,
            seed=plan.seed,
            rate=rate,
            truth=truth,
            start=scene.start,
            watch=watch,
        )

    result = _apart(work, lambda: tell(float(watch[3]) / scene.script.duration))
    tell(1.0)
    return VirtualRun(rate=rate, scene=scene, result=result)


def run_weeks(
    plan: Plan,
    layout: Layout,
    book: FaultBook,
    *,
    weeks: int,
    rate: float = LEAST_RATE_WEEKS,
    tell: Tell = lambda _: None,
) -> VirtualWeeks:
    """Return week after week of the plan as the day of a vehicle that wears.

    What a fault changes at the start alone (a hot pump, a stored code) is left out: every day
    starts level and rested.
    """
    check_day(plan.script.duration, rate)
    scene = _scene(plan, layout, book)
    done = [0]

    def work() -> tuple[Week, ...]:
        return weeks_of_use(
            scene.vehicle,
            scene.script,
            faults=scene.faults,
            weeks=weeks,
            seed=plan.seed,
            rate=rate,
            progress=lambda count: done.__setitem__(0, count),
        )

    told = _apart(work, lambda: tell(done[0] / weeks))
    tell(1.0)
    return VirtualWeeks(scene=scene, weeks=told)


def _scene(plan: Plan, layout: Layout, book: FaultBook) -> Scene:
    typed = {id_: read_facts(layout, plan.facts).values[id_].value for id_ in plan.facts}
    return book.put_in(book.vehicle(layout, typed), plan.script, plan.faults)


def _apart(work: Callable[[], T], glance: Callable[[], None]) -> T:
    """Return work(), done in another thread, and look at it meanwhile."""
    results: list[T] = []
    errors: list[BaseException] = []

    def run() -> None:
        try:
            results.append(work())
        except BaseException as err:  # noqa: BLE001  because it is raised where it was asked for
            errors.append(err)

    # A daemon, because an interrupted program must not wait for the end of the work.
    thread = Thread(target=run, daemon=True)
    thread.start()
    while thread.is_alive():
        thread.join(GLANCE)
        glance()
    if errors:
        raise errors[0]
    return results[0]


@dataclass(frozen=True, slots=True, kw_only=True)
class Summary:
    """What somebody sees who comes to the vehicle at the end of the run."""

    heights: Mapping[str, float]  # [m] from the ground
    above: Mapping[str, float]  # [m] above ride height, at the wheel arch
    running: float  # [s] that the pump drew current, as sampled
    starts: int  # of the pump, as sampled
    codes: tuple[SetCode, ...]
    balance: Balance


def summary_of(run: VirtualRun) -> Summary:
    """Return the end of a run in a few numbers."""
    vehicle, result = run.scene.vehicle, run.result
    above = dict(
        zip(vehicle.corners, (result.end.extensions / vehicle.lever).tolist(), strict=True)
    )
    on = result.channels["pump.current"] > 0.0
    return Summary(
        heights={corner: vehicle.level + h for corner, h in above.items()},
        above=above,
        running=float(np.count_nonzero(on[1:])) / run.rate,
        starts=int(np.count_nonzero(on[1:] & ~on[:-1])) + int(on[0]),
        codes=result.codes,
        balance=result.balance,
    )
