"""Events of several origins in one script: loads and falls of temperature add up, holds last."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from sagtrace.physics.constants import T_20C
from sagtrace.twin.script import Ambient, Door, Event, Lift, Load, Mode, Script

__all__ = ["merged"]

SHORTEST = 1.0  # [s] chosen: the shortest time in which a value goes to another, as in `script`


@dataclass(frozen=True, slots=True)
class _Course:
    """A value that goes in straight lines."""

    times: tuple[float, ...]
    values: tuple[float, ...]

    def at(self, time: float) -> float:
        return float(np.interp(time, self.times, self.values))


def _course(start: float, moves: Sequence[tuple[float, float, float]]) -> _Course:
    """Return the course of a value through moves (at, to, over)."""
    now = _Course((0.0,), (start,))
    for at, to, over in sorted(moves):
        kept = [p for p in zip(now.times, now.values, strict=True) if p[0] < at]
        points = [*kept, (at, now.at(at)), (at + max(over, SHORTEST), to)]
        now = _Course(tuple(t for t, _ in points), tuple(v for _, v in points))
    return now


def merged(script: Script, added: Sequence[Event]) -> tuple[Event, ...]:
    """Return the script's events with these on top.

    A temperature among the added ones is told for air of 20 °C, so it counts by its difference.
    """
    events = tuple(script.events)
    for kind, onset in ((type(e), e.at) for e in added if isinstance(e, Door | Lift | Mode)):
        events = tuple(e for e in events if not (isinstance(e, kind) and e.at >= onset))
    events += tuple(e for e in added if isinstance(e, Door | Lift | Mode))
    if falls := [e for e in added if isinstance(e, Ambient)]:
        own = _moves([e for e in events if isinstance(e, Ambient)])
        courses = [_course(T_20C, [move]) for move in _moves(falls)]
        events = tuple(e for e in events if not isinstance(e, Ambient))
        events += tuple(_air(_course(script.ambient, own), courses))
    if loads := [e for e in added if isinstance(e, Load)]:
        own_loads = [e for e in events if isinstance(e, Load)]
        events = tuple(e for e in events if not isinstance(e, Load))
        events += tuple(_loads(own_loads, loads))
    return tuple(sorted(events, key=lambda e: e.at))


def _moves(events: Sequence[Ambient]) -> list[tuple[float, float, float]]:
    return [(e.at, e.to, e.over) for e in events]


def _air(own: _Course, others: Sequence[_Course]) -> Iterator[Ambient]:
    times = sorted({t for course in (own, *others) for t in course.times})
    for a, b in pairwise(times):
        to = own.at(b) + sum(course.at(b) - T_20C for course in others)
        yield Ambient(at=a, to=to, over=b - a)


def _loads(own: Sequence[Load], added: Sequence[Load]) -> Iterator[Load]:
    """Yield the sums of what the script loads and of what each added event loads."""
    layers: list[list[Load]] = [list(own), *([event] for event in added)]
    corners = dict.fromkeys(c for layer in layers for e in layer for c in e.kilograms)
    for corner in corners:
        courses = [_course(0.0, _corner_moves(layer, corner)) for layer in layers]
        times = sorted({t for course in courses for t in course.times})
        for a, b in pairwise(times):
            now: Mapping[str, float] = {corner: sum(course.at(b) for course in courses)}
            yield Load(at=a, kilograms=now, over=b - a)


def _corner_moves(layer: Sequence[Load], corner: str) -> list[tuple[float, float, float]]:
    return [(e.at, e.kilograms[corner], e.over) for e in layer if corner in e.kilograms]
