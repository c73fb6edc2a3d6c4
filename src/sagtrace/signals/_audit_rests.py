"""Tests of a height while nothing is commanded: rising at rest, apart from the others.

Assumes that the rests are found without this height's own commands and moves. Limits: what a leak
or warming does at one corner looks like a drifting sensor there.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from sagtrace.signals._audit_result import AuditResult
from sagtrace.signals._moves import Level, Move, partner_of
from sagtrace.signals.trace import Trace

__all__ = ["drift", "rest", "sides"]

Array = NDArray[np.float64]

MOST = 8  # [-] chosen: rests, the longest; more tell little more and take time
LEAST_DRIFT = 30.0  # [s] chosen: a shorter rest shows no drift
TILT = 40e-3  # [m] chosen: more than a load on one side leaves after levelling
DRIFTED = 8e-3  # [m] chosen: from the other heights in all rests; a leak here does the same
RISEN = 6e-3  # [m] chosen: at rest; a warming by 10 K lifts as much
LEAST_STILL = 12  # [samples] chosen: in fewer nothing is said of a rest


def rest(
    trace: Trace, level: Level, moves: Sequence[Move], still: Sequence[tuple[float, float]]
) -> AuditResult | None:
    """Return the most that the height rises while nobody fills, beyond one load change."""
    rises = []
    for start, end in sorted(still, key=lambda span: span[0] - span[1])[:MOST]:
        a, b = np.searchsorted(level.time, (start, end))
        if b - a < LEAST_STILL:
            continue
        jumps = sum(m.rise for m in moves if m.start >= start and m.end <= end)
        third = (b - a) // 3
        ends = np.stack((level.values[a : a + third], level.values[b - third : b]))
        first, last = np.median(ends, axis=1).tolist()
        rises.append((last - first - jumps, start, end))
    if not rises:
        return None
    most, start, end = max(rises)
    return AuditResult(
        kind="rest",
        channel=level.channel,
        value=most,
        std=level.noise,
        unit="m",
        threshold=RISEN,
        when=((start, end),),
        text=f"rises by {1e3 * most:.1f} mm while nobody fills",
    )


def sides(level: Level, levels: Mapping[str, Level]) -> AuditResult | None:
    """Return how far this side usually stands from the other one; None for an axle sensor."""
    other = levels.get(partner_of(level.channel))
    if other is None or other.values.size == 0:
        return None
    apart = abs(float(np.median(level.grid[1]) - np.median(other.grid[1])))
    return AuditResult(
        kind="sides",
        channel=level.channel,
        value=apart,
        std=math.hypot(level.noise, other.noise),
        unit="m",
        threshold=TILT,
        when=(),
        text=f"usually stands {1e3 * apart:.0f} mm from the other side",
    )


def drift(
    level: Level, levels: Mapping[str, Level], still: Sequence[tuple[float, float]]
) -> AuditResult | None:
    """Return how far this height leaves the others in the rests; None without others.

    A leak at this corner does the same, so this alone says little about the sensor.
    """
    others = [o for c, o in levels.items() if c != level.channel and o.values.size]
    spans = sorted(still, key=lambda span: span[0] - span[1])[:MOST]
    spans = [(a, b) for a, b in spans if b - a > LEAST_DRIFT]
    if not others or not spans:
        return None
    own, std = _gains(level, spans)
    apart = own - np.median([_gains(other, spans)[0] for other in others], axis=0)
    total, square = float(apart.sum()), 2.0 * float(std @ std)
    return AuditResult(
        kind="drift",
        channel=level.channel,
        value=abs(total),
        std=math.sqrt(square),
        unit="m",
        threshold=DRIFTED,
        when=tuple(spans),
        text=f"leaves the other heights by {1e3 * total:+.1f} mm at rest, as a leak here would",
    )


def _gains(level: Level, spans: Sequence[tuple[float, float]]) -> tuple[Array, Array]:
    """Return what a height gains from the first to the last fifth of each rest, and its spread."""
    time, height = level.grid
    start, end = np.array(spans).T
    edge = (end - start) / 5.0
    a, b, c, d = np.searchsorted(time, (start, start + edge, end - edge, end))
    seen = (b > a) & (d > c)
    first, last = np.where(seen, b - a, 1), np.where(seen, d - c, 1)
    total = np.concatenate(([0.0], np.cumsum(height - height[:1])))
    gained = (total[d] - total[c]) / last - (total[b] - total[a]) / first
    noise = level.noise / math.sqrt(level.size)
    return np.where(seen, gained, 0.0), np.where(seen, noise, 0.0) * np.sqrt(1 / first + 1 / last)
