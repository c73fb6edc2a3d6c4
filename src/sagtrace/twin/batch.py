"""Many scenarios on all cores, in order, one at a time in memory.

Threads, because compiled code lets go of the interpreter: nothing is copied between processes and
the plant is loaded once. A scenario's result is turned into whatever `keep` makes of it and then
dropped, and only a few scenarios are ahead of the reader, so memory does not grow with them.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field
from typing import TypeVar

from sagtrace.errors import DomainError
from sagtrace.twin.faults import TimedFault
from sagtrace.twin.parameters import VehicleParameters
from sagtrace.twin.script import Script
from sagtrace.twin.simulate import Simulation, prepare, simulate

__all__ = ["Scenario", "simulate_many"]

T = TypeVar("T")

AHEAD = 4  # [-] chosen: scenarios in hand for each worker


@dataclass(frozen=True, slots=True, kw_only=True)
class Scenario:
    """One run of a batch."""

    vehicle: VehicleParameters
    script: Script
    faults: Sequence[TimedFault] = field(default=())
    seed: int = 0
    rate: float = 1.0  # [1/s] samples
    truth: bool = False


def simulate_many(
    scenarios: Iterable[Scenario],
    keep: Callable[[Simulation], T],
    *,
    workers: int = 2,
    progress: Callable[[int], None] = lambda _: None,
) -> Iterator[T]:
    """Yield `keep(result)` of every scenario, in their order; tell how many are done.

    The results do not depend on the number of workers.
    """
    if workers < 1:
        raise DomainError("workers", workers, "", "one or more")
    prepare()

    def work(scenario: Scenario) -> T:
        return keep(
            simulate(
                scenario.vehicle,
                scenario.script,
                faults=scenario.faults,
                seed=scenario.seed,
                rate=scenario.rate,
                truth=scenario.truth,
            )
        )

    with ThreadPoolExecutor(workers) as pool:
        waiting: deque[Future[T]] = deque()
        done = 0
        for scenario in scenarios:
            waiting.append(pool.submit(work, scenario))
            if len(waiting) >= AHEAD * workers:
                yield waiting.popleft().result()
                done += 1
                progress(done)
        while waiting:
            yield waiting.popleft().result()
            done += 1
            progress(done)
