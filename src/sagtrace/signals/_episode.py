"""An episode of a recording, and how samples are cut into rests, fills and vents."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from sagtrace.signals.trace import Trace

__all__ = ["cut", "Episode", "Kind", "LEAST_HOLD", "longest_step", "SETTLING"]

Array = NDArray[np.float64]
Kind = Literal["hold", "fill", "vent", "load", "engine", "pause"]

SETTLING = 30.0  # [s] chosen: warm fresh air shrinks after a fill; longer leaves less to fit
LEAST_HOLD = 30.0  # [s] chosen: a shorter rest tells little beside its noise
GAP = 5.0  # [s] chosen: between two samples this far apart the command may have changed twice
GAP_IN_STEPS = 5.0  # [-] chosen: a slow recording may have longer steps, but not of a sudden
KINDS: Sequence[Kind | None] = ("hold", "fill", "vent", None, "load")  # by number of state


@dataclass(frozen=True, slots=True, kw_only=True)
class Episode:
    """A stretch of a recording in which one thing happened; both ends are samples of it."""

    kind: Kind
    start: float  # [s]
    end: float  # [s]
    first: int
    last: int  # inclusive

    @property
    def duration(self) -> float:
        """Time from the first sample to the last [s]."""
        return self.end - self.start

    @property
    def samples(self) -> slice:
        """The part of every channel that belongs to the episode."""
        return slice(self.first, self.last + 1)


def longest_step(trace: Trace) -> float:
    """Return the longest time between samples that is no gap [s]."""
    return max(GAP, GAP_IN_STEPS * trace.usual_step)


def cut(
    trace: Trace, state: NDArray[np.int64], *, settling: float, least_hold: float
) -> tuple[Episode, ...]:
    """Return the episodes of samples whose state is 0 rest, 1 fill, 2 vent, 3 unknown, 4 load."""
    apart = (np.diff(state) != 0) | (np.diff(trace.time) > longest_step(trace))
    edges = np.flatnonzero(apart) + 1
    firsts, lasts = np.r_[0, edges], np.r_[edges, len(state)] - 1
    found = (
        _episode(trace.time, KINDS[int(state[first])], int(first), int(last), settling, least_hold)
        for first, last in zip(firsts, lasts, strict=True)
    )
    return tuple(episode for episode in found if episode)


def _episode(
    time: Array, kind: Kind | None, first: int, last: int, settling: float, least_hold: float
) -> Episode | None:
    if kind is None:
        return None
    if kind == "hold":
        first = int(np.searchsorted(time, time[first] + settling))
        if first > last or time[last] - time[first] < least_hold:
            return None
    return Episode(
        kind=kind, start=float(time[first]), end=float(time[last]), first=first, last=last
    )
