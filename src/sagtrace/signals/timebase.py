"""Time axes: made to rise, put together from several, and what they lack.

Assumes seconds. Nothing is interpolated: where a channel was not measured it is NaN, and of rows
with the same time the last value that was measured counts. Limits: a clock that starts again says
nothing about how long it stood, so what follows is put a fixed gap later; rows that share a coarse
stamp are taken to be evenly spaced until the next one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "find_gaps",
    "Gap",
    "held",
    "make_rising",
    "merge_rows",
    "on_axis",
    "Rising",
    "Spacing",
    "spacing",
    "spread_stamps",
    "union",
    "unwrap_clock",
    "unwrap_counter",
]

Array = NDArray[np.float64]
Index = NDArray[np.int64]

DAY, HALF_DAY = 86400.0, 43200.0  # [s] exact
HOUR = 3600.0  # [s] exact
COARSE = (
    0.4  # [-] chosen: share of repeated stamps above which a clock is coarse; two rows make half
)
RESTART = 10.0  # [s] chosen: rows come late by less; a clock that starts again falls by more
RESTART_SHARE = 0.5  # [-] chosen: of what has run so far; a clock that starts again loses most
RESTART_ROWS = 10  # [rows] chosen: so many must follow, because single wrong stamps occur
RESTART_GAP = 60.0  # [s] chosen: longer than any gap that ends an episode
GAP_IN_STEPS = 5.0  # [-] chosen: the same as ends an episode
GAP = 1.0  # [s] chosen: fast recordings stutter by less
ROUNDING = 1e-6  # [-] chosen: far above what a number loses, far below any clock
REGULAR = 0.9  # [-] chosen: of the intervals; fewer are no rate but samples that got lost
HOLD_LEAST = 20  # [samples] chosen: fewer do not show a rate; they may be what is left of one
HOLD_IN_STEPS = 1.5  # [-] chosen: one interval with jitter, but not two


@dataclass(frozen=True, slots=True, kw_only=True)
class Gap:
    """Two neighbouring samples far apart."""

    start: float  # [s] the last sample before
    end: float  # [s] the first sample after


@dataclass(frozen=True, slots=True, kw_only=True)
class Spacing:
    """How far apart samples are."""

    median: float  # [s]
    spread: float  # [s] between the quartiles


@dataclass(frozen=True, slots=True, kw_only=True)
class Rising:
    """A time that rises strictly, and how rows get onto it."""

    time: Array  # [s]
    order: Index | None  # rows in the order of time; None if they were
    starts: Index | None  # where each group of rows with one time begins; None if none are equal
    backward: int  # steps back that were put in order
    restarts: tuple[int, ...]  # rows where the clock started again
    merged: int  # rows that shared the time of the row before


def unwrap_clock(time: Array, *, half_day: bool) -> tuple[Array, int, int]:
    """Return clock times [s] that go on past midnight, and how often 24 h and 12 h were added.

    With `half_day` a clock without am and pm also goes on past twelve.
    """
    step = np.diff(time)
    midnight = step < -(DAY - HOUR)
    noon = (np.abs(step + HALF_DAY) < HOUR) if half_day else np.zeros_like(midnight)
    added = np.cumsum(np.where(midnight, DAY, np.where(noon, HALF_DAY, 0.0)))
    whole = time.copy()
    whole[1:] += added
    return whole, int(np.count_nonzero(midnight)), int(np.count_nonzero(noon))


def unwrap_counter(raw: Array) -> tuple[Array, int]:
    """Return a counter that goes on past 16 or 32 bits, and how often it began again."""
    step = np.diff(raw)
    if np.all(step >= 0.0):
        return raw, 0
    usual = float(np.median(np.abs(step))) if step.size else 0.0
    for size in (65536.0, 4294967296.0):
        # The counter must have been at its very end, because a restart may fall by any amount.
        wraps = (step < 0.0) & (np.abs(step + size - usual) <= 2.0 * usual) & (raw[1:] <= usual)
        if usual > 0.0 and wraps.any() and raw.max() < size:
            whole = raw.copy()
            whole[1:] += size * np.cumsum(wraps)
            return whole, int(np.count_nonzero(wraps))
    return raw, 0


def spread_stamps(time: Array) -> tuple[Array, int]:
    """Return times in which rows of one coarse stamp follow each other, and how many moved."""
    if time.size < 2:
        return time, 0
    fresh = np.r_[True, np.diff(time) != 0.0]
    starts = np.flatnonzero(fresh)
    if starts.size < 2 or np.count_nonzero(~fresh) <= COARSE * (time.size - 1):
        return time, 0
    counts = np.diff(np.r_[starts, time.size])
    ticks = np.diff(time[starts])
    usual = float(np.median(ticks))
    if usual <= 0.0:
        return time, 0
    # Before a gap or a step back the rows were no farther apart than usually.
    wide = np.r_[np.where((ticks > 0.0) & (ticks <= HOLD_IN_STEPS * usual), ticks, usual), usual]
    # A first or last stamp that the recording cut into holds fewer rows, at the usual distance.
    full = float(np.median(counts[1:-1])) if counts.size > 2 else float(counts.max())
    row = np.repeat(wide / np.maximum(counts, full), counts)
    place = np.arange(time.size) - np.repeat(starts, counts)
    first = int(counts[0])
    spread = time + place * row
    if first < full:
        spread[:first] = time[first] - row[0] * np.arange(first, 0, -1)
    return spread, int(np.count_nonzero(~fresh))


def make_rising(time: Array) -> Rising:
    """Return the finite times in rising order.

    A late row is put in its place; after a clock that started again, time goes on `RESTART_GAP`
    later; rows with one time become one.
    """
    step = np.diff(time)
    if np.all(step > 0.0):
        return Rising(time=time, order=None, starts=None, backward=0, restarts=(), merged=0)
    time, restarts = _past_restarts(time, step)
    step = np.diff(time)
    backward = int(np.count_nonzero(step < 0.0))
    order = np.argsort(time, kind="stable") if backward else None
    if order is not None:
        time = time[order]
    fresh = np.r_[True, np.diff(time) > 0.0]
    merged = int(np.count_nonzero(~fresh))
    starts = np.flatnonzero(fresh) if merged else None
    return Rising(
        time=time[fresh] if merged else time,
        order=order,
        starts=starts,
        backward=backward,
        restarts=restarts,
        merged=merged,
    )


def _past_restarts(time: Array, step: Array) -> tuple[Array, tuple[int, ...]]:
    back = np.flatnonzero(step < 0.0)
    run = np.diff(np.r_[back, time.size - 1])  # rows until the next step back
    fall, ran = -step[back], time[back] - time.min()
    again = (fall >= RESTART) & (fall >= RESTART_SHARE * ran) & (run >= RESTART_ROWS)
    if not again.any():
        return time, ()
    at = back[again]
    jump = np.zeros(time.size)
    jump[at + 1] = fall[again] + RESTART_GAP
    return time + np.cumsum(jump), tuple((at + 1).tolist())


def merge_rows(values: Array, rising: Rising) -> tuple[Array, int]:
    """Return a channel on a rising time, and how many of its values gave way to a later one."""
    if rising.order is not None:
        values = values[rising.order]
    if rising.starts is None:
        return values, 0
    known = np.isfinite(values)
    index = np.where(known, np.arange(values.size), -1)
    last = np.maximum.reduceat(index, rising.starts)
    kept = np.where(last >= 0, values[last], np.nan)
    group = np.repeat(np.arange(rising.starts.size), np.diff(np.r_[rising.starts, values.size]))
    differs = known & (values != kept[group])
    return kept, int(np.count_nonzero(differs))


def union(times: Sequence[Array]) -> Array:
    """Return every time that occurs in any of the rising times, once.

    Times that differ by rounding alone (`ROUNDING` of the smallest usual step) are one, the
    earliest of them.
    """
    first = times[0]
    if all(t is first or np.array_equal(t, first) for t in times[1:]):
        return first
    whole = np.unique(np.concatenate(times))
    usual = min((float(np.median(np.diff(t))) for t in times if t.size > 1), default=0.0)
    return whole[np.r_[True, np.diff(whole) > ROUNDING * usual]]


def on_axis(values: Array, time: Array, axis: Array) -> Array:
    """Return a channel on an axis made by `union`; NaN where it was not measured."""
    if time is axis or np.array_equal(time, axis):
        return values
    placed = np.full(axis.size, np.nan)
    placed[np.searchsorted(axis, time, side="right") - 1] = values
    return placed


def spacing(time: Array) -> Spacing:
    """Return the usual step of a rising time and its spread between the quartiles."""
    low, median, high = np.percentile(np.diff(time), (25.0, 50.0, 75.0))
    return Spacing(median=float(median), spread=float(high - low))


def find_gaps(time: Array, usual: float | None = None) -> tuple[Gap, ...]:
    """Return where neighbouring samples are much farther apart than usually (`usual`, if known)."""
    step = np.diff(time)
    wide = step > max(GAP, GAP_IN_STEPS * (float(np.median(step)) if usual is None else usual))
    return tuple(
        Gap(start=float(time[i]), end=float(time[i + 1])) for i in np.flatnonzero(wide).tolist()
    )


def held(time: Array, values: Array) -> Array:
    """Return a command that holds from its sample to its next where it was sampled more slowly.

    A hold is no longer than `HOLD_IN_STEPS` of the channel's own usual interval, so a sample that
    is missing at that rate stays NaN, and so does what follows the last sample. Samples without a
    rate of their own stay as they are.
    """
    known = np.flatnonzero(np.isfinite(values))
    if known.size == values.size or known.size < HOLD_LEAST:
        return values
    interval = np.diff(time[known])
    usual = float(np.median(interval))
    if (
        np.mean(interval <= HOLD_IN_STEPS * usual) < REGULAR
        or np.mean(interval >= usual / HOLD_IN_STEPS) < REGULAR
    ):
        return values
    last = np.maximum.accumulate(np.where(np.isfinite(values), np.arange(values.size), -1))
    following = np.searchsorted(known, np.arange(values.size), side="right") - 1
    short = np.zeros(values.size, dtype=np.bool_)
    inside = (following >= 0) & (following < interval.size)
    short[inside] = interval[following[inside]] <= HOLD_IN_STEPS * usual
    return np.where(short & (last >= 0), values[last], values)
