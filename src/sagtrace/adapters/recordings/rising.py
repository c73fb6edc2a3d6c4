"""The time of a group of columns, put in order, with an account of what was wrong with it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from sagtrace.adapters.recordings.account import Account, counted
from sagtrace.adapters.recordings.columns import Column
from sagtrace.adapters.recordings.filled import Filled, Rows
from sagtrace.adapters.recordings.raw import Raw
from sagtrace.adapters.recordings.times import TimeBase, seconds_of
from sagtrace.signals.timebase import (
    Rising,
    make_rising,
    spread_stamps,
    unwrap_clock,
    unwrap_counter,
)

__all__ = ["from_the_start", "Group", "rising_time"]

Array = NDArray[np.float64]
Kept = NDArray[np.bool_]
Group = tuple[Rising, Kept | None, list[Column], dict[int, Array]]


EPOCH = 1e8  # [s] chosen: three years; a larger count is one since some distant moment
HALF_DAY_HOURS = 13.0 * 3600.0  # [s] no twelve-hour clock shows 13


def rising_time(
    raw: Raw,
    account: Account,
    base: TimeBase,
    filled: Mapping[int, Filled],
    rows: Rows,
    channels: Sequence[Array],
    *,
    alone: bool,
) -> tuple[Rising, Kept | None]:
    """Return the rising time of a group and which rows have one; None if all have.

    `alone` says that the file has no other group.
    """
    time, name = filled[base.time[0].index].values(), base.time[0].name
    account.cells(name, filled[base.time[0].index], rows, filled[base.time[0].index].wrong)
    for date in base.time[1:]:
        time = time + filled[date.index].values()
    known = np.isfinite(time)
    keep: Kept | None = None
    if not known.all():
        keep = known
        _note_untimed(account, name, known, channels, rows, alone=alone)
        time = time[known]
    if time.size < 2:
        raise raw.error(f"{time.size} rows with a time; expected at least 10", field=name)
    time = _seconds(account, base, name, time)
    time, moved = spread_stamps(time)
    text = f"{name} is coarser than the rows; {counted(moved, 'row')} with the same time were "
    text += "spread evenly up to the next one."
    account.add("spread", "repaired", moved, text, column=name)
    rising = make_rising(time)
    text = f"{name} stepped back {counted(rising.backward, 'time')}; the rows were put in order."
    account.add("backward", "repaired", rising.backward, text, column=name)
    lines = [rows.line(_row(keep, r)) for r in rising.restarts[:3]]
    where = ", ".join(f"line {line}" for line in lines if line)
    text = f"{name} started again {counted(len(rising.restarts), 'time')}"
    text += f" ({where})" if where else ""
    text += "; what follows was put 60 s later, because nothing says how long it stood."
    account.add("restart", "repaired", len(rising.restarts), text, column=name)
    return rising, keep


def _row(keep: Kept | None, row: int) -> int:
    return row if keep is None else int(np.flatnonzero(keep)[row])


def _note_untimed(
    account: Account,
    name: str,
    known: Kept,
    channels: Sequence[Array],
    rows: Rows,
    *,
    alone: bool,
) -> None:
    """Count rows that measured something without a time; where a group has ended they did not."""
    lost = np.zeros_like(known)
    for values in channels:
        lost |= ~known & np.isfinite(values)
    count = int(np.count_nonzero(lost))
    line = rows.line(int(np.argmax(lost))) if count else None
    where = f", first in line {line}" if line else ""
    text = f"{counted(count, 'row')} without a time in {name}{where} "
    text += f"{'was' if count == 1 else 'were'} left out."
    account.add("no-time", "refused", count, text, column=name, line=line)
    if alone:
        blank = int(np.count_nonzero(~known)) - count
        text = f"{counted(blank, 'row')} with neither a time nor a value."
        account.add("blank-rows", "ignored", blank, text)


def _seconds(account: Account, base: TimeBase, name: str, time: Array) -> Array:
    if base.clock:
        dated = len(base.time) > 1 or bool(base.time[0].order)
        if not dated:
            half = not base.time[0].halves and float(time.max()) < HALF_DAY_HOURS
            time, days, halves = unwrap_clock(time, half_day=half)
            text = f"{name} passed midnight {counted(days, 'time')} and goes on from there."
            account.add("midnight", "repaired", days, text, column=name)
            text = f"{name} is a twelve-hour clock that passed twelve {counted(halves, 'time')}."
            account.add("half-day", "repaired", halves, text, column=name)
        return time
    time, wraps = unwrap_counter(time)
    text = f"{name} is a counter that began again {counted(wraps, 'time')} and goes on from there."
    account.add("counter", "repaired", wraps, text, column=name)
    factor = seconds_of(base.unit)
    return time if factor == 1.0 else time * factor


def from_the_start(account: Account, bases: Sequence[TimeBase], read: list[Group]) -> list[Group]:
    """Let times of day, and counts since some distant moment, begin at nothing."""
    distant = [b.clock or float(g[0].time[0]) > EPOCH for b, g in zip(bases, read, strict=True)]
    if not any(distant):
        return read
    start = min(float(g[0].time[0]) for g, far in zip(read, distant, strict=True) if far)
    clock = any(b.clock for b in bases)
    of_day = start % 86400.0
    said = f"{of_day // 3600:02.0f}:{of_day % 3600 // 60:02.0f}:{of_day % 60:06.3f}"
    text = f"The time counts from the first sample, at {said if clock else f'{start:.15g} s'}."
    account.add("start", "found", 1, text)
    return [
        (replace(g[0], time=g[0].time - start), *g[1:]) if far else g
        for g, far in zip(read, distant, strict=True)
    ]
