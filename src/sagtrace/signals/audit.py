"""The audit of the height sensors in a recording: what each signal does that a sound one does not.

A result is a number beside its threshold, with the times it was read from (`AuditResult`); what
several of them together say about the sensor is for evidence to weigh. Thresholds are set so that
a sound sensor shows each of them in far less than one recording of a hundred; the rates measured
on virtual vehicles are in `tools/measure_audit.py`. Limits: without a move of the body most
defects cannot show, and one axle sensor has no other side to be held against.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sagtrace.signals._audit_moves import dead_band, follow, hysteresis, vent_starts
from sagtrace.signals._audit_rests import drift, rest, sides
from sagtrace.signals._audit_result import KINDS, AuditKind, AuditResult, Span
from sagtrace.signals._audit_samples import dropouts, noise, spikes, stuck, track
from sagtrace.signals._heights import read_heights
from sagtrace.signals._moves import Heights, Level, Move, height_roles
from sagtrace.signals._samples import runs
from sagtrace.signals.trace import Trace

__all__ = [
    "Audit",
    "audit_heights",
    "AuditKind",
    "AuditResult",
    "height_roles",
    "Heights",
    "KINDS",
    "read_heights",
    "Span",
]

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

MARGIN = 3.0  # [s] chosen: beside a move or a command, before a rest begins
LEAST_REST = 20.0  # [s] chosen: a shorter rest says nothing


@dataclass(frozen=True, slots=True, kw_only=True)
class Audit:
    """All results of a recording, and how much the body was moved or asked to move."""

    results: tuple[AuditResult, ...]
    swept: float  # [m] sum of the moves, up and down, of the height that moved most
    asked: float  # [s] for which a fill or a vent was commanded

    def of(self, channel: str) -> tuple[AuditResult, ...]:
        """Return the results of one channel."""
        return tuple(r for r in self.results if r.channel == channel)


def audit_heights(trace: Trace, *, heights: Heights | None = None) -> Audit:
    """Return the audit of every height channel; a test that cannot be made has no result."""
    read = heights or read_heights(trace)
    levels, moves = read.levels, read.moves
    vents, commanded = vent_starts(trace), _commanded(trace)
    time, firsts, lasts = trace.time, *runs(commanded)
    busy = list(zip(time[firsts].tolist(), time[lasts].tolist(), strict=True))
    results: list[AuditResult] = []
    for channel, level in levels.items():
        results += dropouts(trace, channel, read.missing[channel])
        if level.values.size:
            results += _of_signal(level, moves[channel])
            still = _still(time, busy, moves[channel])
            results += _of_body(trace, level, levels, moves, vents, still)
    swept = max((sum(abs(m.rise) for m in found) for found in moves.values()), default=0.0)
    asked = float(np.sum(time[np.minimum(lasts + 1, time.size - 1)] - time[firsts]))
    return Audit(results=tuple(results), swept=swept, asked=asked)


def _of_signal(level: Level, moves: tuple[Move, ...]) -> list[AuditResult]:
    maybe = (spikes(level), track(level, moves), stuck(level), dead_band(level, moves))
    return [noise(level), *(result for result in maybe if result is not None)]


def _of_body(
    trace: Trace,
    level: Level,
    levels: Mapping[str, Level],
    moves: Mapping[str, Sequence[Move]],
    vents: Sequence[Span],
    still: Sequence[Span],
) -> list[AuditResult]:
    own = moves[level.channel]
    maybe = (
        hysteresis(level, moves, vents),
        follow(trace, level.channel, moves),
        rest(trace, level, own, still),
        sides(level, levels),
        drift(level, levels, still),
    )
    return [result for result in maybe if result is not None]


def _still(time: Array, busy: Sequence[Span], moves: Sequence[Move]) -> list[Span]:
    """Return the spans in which nothing is commanded and this height makes no move."""
    spans = [*busy, *((move.start, move.end) for move in moves)]
    found, free = [], float(time[0])
    for start, end in [*sorted(spans), (float(time[-1]) + MARGIN, np.inf)]:
        if start - MARGIN - free >= LEAST_REST:
            found.append((free, start - MARGIN))
        free = max(free, end + MARGIN)
    return found


def _commanded(trace: Trace) -> Mask:
    busy = np.zeros(trace.time.size, dtype=np.bool_)
    for role in ("pump.command", "vent.command"):
        if role in trace.channels:
            busy |= trace.channels[role] > 0.5
    return busy
