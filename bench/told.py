"""What all benches share: a figure, a median of times, how busy the machine is, and the print."""

from __future__ import annotations

import os
import statistics
import time
from collections.abc import Callable, Iterable

Figure = tuple[str, float, str, float | None, str]  # name, value, unit, bar, reference


def median_of(action: Callable[[], object], times: int) -> float:
    """Return the median time of an action [s], after one run that is not counted."""
    action()
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        action()
        taken.append(time.perf_counter() - start)
    return statistics.median(taken)


def load() -> str:
    """Return how busy the machine is, others' work included."""
    return f"load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores"


def line(figure: Figure) -> str:
    """Return a figure in words, and whether it meets its bar."""
    name, value, unit, bar, reference = figure
    said = "" if bar is None else f" (bar {bar:g} {unit}: {'ok' if value <= bar else 'MISSED'})"
    return f"{name}: {value:.3g} {unit}{said}; {reference}"


def tell(figures: Iterable[Figure]) -> int:
    """Print every figure; return 1 if a bar is missed."""
    missed = 0
    for figure in figures:
        bar = figure[3]
        missed += bar is not None and not figure[1] <= bar
        print(line(figure), flush=True)
    return int(missed > 0)
