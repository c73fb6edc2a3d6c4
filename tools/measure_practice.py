"""Measures how often following the pages repairs what is hidden in the vehicles of practice jobs.

Each job is worked as proposed (`practised`), until every proof passed or a cap is reached.
Prints for each layout how that ended, and of every job that was not proved sound what was left,
what its proof would have shown, and which answers spoke against the truth. Deterministic.

Run: PYTHONPATH=src python tools/measure_practice.py [FIRST [COUNT [LAYOUT ...]]]
(seeds FIRST to FIRST + COUNT - 1, all layouts if left out)
"""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from itertools import pairwise
from multiprocessing import get_context

import numpy as np

from practised import NOTHING, PROVED, Worked, follow, told

BINS = (0.0, 0.05, 0.2, 0.5, 0.8, 0.95, 1.0)
AGAINST = 1.0  # natural log: an answer that is less against the truth is not listed
LAYOUTS = ("rear-pair", "four-corner", "four-corner-reservoir")


def share(flags: Sequence[bool]) -> str:
    if not flags:
        return "none"
    return f"{sum(flags)}/{len(flags)} ({100.0 * sum(flags) / len(flags):.0f} %)"


def brier(worked: Sequence[Worked], prior: bool = False) -> float:
    """Return the mean over jobs of the squared error summed over the faults."""
    apart = (
        np.array(w.prior if prior else w.beliefs) - np.array(w.present, dtype=np.float64)
        for w in worked
    )
    return float(np.mean([np.sum(a**2) for a in apart]))


def calibration(worked: Sequence[Worked]) -> Iterator[str]:
    """Yield by range of probability what was believed and how often it was so."""
    p = np.concatenate([w.beliefs for w in worked])
    true = np.concatenate([w.present for w in worked])
    place = np.clip(np.digitize(p, BINS) - 1, 0, len(BINS) - 2)
    for i, (low, high) in enumerate(pairwise(BINS)):
        if (mine := place == i).any():
            yield (
                f"  {low:4.2f}-{high:4.2f}: {mine.sum():5d} faults, believed {p[mine].mean():.3f}, "
                f"true {true[mine].mean():.3f}"
            )


def summary(name: str, worked: Sequence[Worked]) -> Iterator[str]:
    """Yield the figures of a layout."""
    if not worked:
        return
    missed = [w.end == PROVED and not w.sound for w in worked]
    yield f"{name}: {len(worked)} jobs"
    yield f"  proved, no faulty part left {share([w.sound for w in worked])}"
    yield f"  proved, nothing left at all {share([w.sound and not w.left for w in worked])}"
    yield f"  proved, a faulty part left  {share(missed)}"
    low = [m and w.low for m, w in zip(missed, worked, strict=True)]
    yield f"  the same, and rides low     {share(low)}"
    yield f"  nothing to repair           {share([w.end == NOTHING for w in worked])}"
    over = [w.end not in (PROVED, NOTHING) for w in worked]
    yield f"  not proved within the caps  {share(over)}"
    for what, values in (
        ("checks", [w.checks for w in worked]),
        ("checks not to be done", [w.refused for w in worked]),
        ("times of repair", [len(w.works) for w in worked]),
        ("minutes of work", [w.minutes for w in worked]),
        ("price of repairs", [w.price for w in worked]),
        ("of it on sound parts", [w.wasted for w in worked]),
    ):
        mean, most = np.mean(values), max(values)
        yield f"  {what:27} median {np.median(values):.0f}, mean {mean:.1f}, most {most:.0f}"
    one = [w for w in worked if len(w.faults) == 1]
    yield "  before the first repair"
    yield f"    the plan said repair      {share([w.ended for w in worked])}"
    yield f"    and that repairs all      {share([w.ended and w.covered for w in worked])}"
    yield f"    the same, of one fault    {share([w.ended and w.covered for w in one])}"
    yield f"    true set is leading       {share([w.first for w in worked])}"
    yield f"    Brier score, of the prior {brier(worked):.3f}, {brier(worked, prior=True):.3f}"


def main() -> None:
    first, count = (int(a) for a in (*sys.argv[1:3], *("1100", "12")[len(sys.argv[1:3]) :]))
    layouts = tuple(sys.argv[3:]) or LAYOUTS
    jobs = [(layout, seed) for seed in range(first, first + count) for layout in layouts]
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        worked = []
        for w in pool.map(follow, *zip(*jobs, strict=True)):
            worked.append(w)
            if not w.sound:
                print(*told(w, AGAINST), sep="\n", flush=True)
    for layout in layouts:
        print(*summary(layout, [w for w in worked if w.layout == layout]), sep="\n")
    print(*summary("all", worked), *calibration(worked), sep="\n")


if __name__ == "__main__":
    main()
