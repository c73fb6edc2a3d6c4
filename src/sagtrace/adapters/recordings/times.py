"""Which columns tell the time, of which others, and what rising time comes of them.

A column tells the time if it is named so or is a clock, and belongs to the columns that follow it
until the next one. Columns of date, clock and seconds side by side are one time; seconds are
preferred. Limits: a group whose time is of another kind than the first one's is left out, because
nothing says how the two go together.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from sagtrace.adapters.recordings.columns import Column
from sagtrace.adapters.recordings.raw import Raw
from sagtrace.signals.naming import Words
from sagtrace.units import scale_of

__all__ = ["find_times", "seconds_of", "TimeBase", "Times"]

Array = NDArray[np.float64]

SMALL_UNITS: Mapping[str, float] = {"µs": 1e-6, "ns": 1e-9}  # [s] exact, by the SI prefixes
RISES = 0.95  # [-] chosen: of the steps; repeated and late rows occur
STEPS = (0.005, 2.0)  # [s] chosen: recordings have 1 to 100 samples a second, with some room
GUESSED = ("s", "ms", "µs")  # units that people leave out
ROUNDED = 1.0  # [steps] chosen: two times of the same rows differ by their rounding
IN_TURN = 2.0  # [steps] chosen: columns that were sampled in turn are apart by less


@dataclass(slots=True, kw_only=True)
class TimeBase:
    """A time and the columns that were sampled at it."""

    time: tuple[Column, ...]  # one, or a clock and a date; none at a stated rate
    unit: str  # "" for a clock
    channels: list[Column] = field(default_factory=list)

    @property
    def clock(self) -> bool:
        """Whether the time is one of day."""
        return bool(self.time) and self.time[0].holds in ("clock", "date")


@dataclass(slots=True, kw_only=True)
class Times:
    """The times of a file."""

    bases: list[TimeBase]
    others: list[Column] = field(default_factory=list)  # that tell the time once more
    lost: list[Column] = field(default_factory=list)  # whose time goes with no other
    guessed: dict[int, str] = field(default_factory=dict)  # units that the file does not say


def find_times(
    raw: Raw,
    line: int,
    columns: Sequence[Column],
    words: Words,
    said: Mapping[int, str],
    left_out: frozenset[int],
    groups: Sequence[int],
) -> Times:
    """Return the times of a file, none if it has none.

    `said` holds the columns that are a time by their name or because a person said so, with the
    unit if one was said. Raises DocumentError if a time's unit cannot be told.
    """
    if groups:
        return _grouped(columns, groups)
    certain = {i for i, column in enumerate(columns) if i in said}
    if not certain:
        certain = {
            i
            for i, column in enumerate(columns)
            if i not in left_out and _tells_time(columns, i, words)
        }
    times = Times(bases=[])
    for run in _runs(sorted(certain)):
        _add_base(raw, line, times, [columns[i] for i in run], said, words)
    _give_channels(times, columns, certain)
    return times


def _grouped(columns: Sequence[Column], groups: Sequence[int]) -> Times:
    bases: dict[int, TimeBase] = {}
    for column, master in zip(columns, groups, strict=True):
        base = bases.setdefault(master, TimeBase(time=(columns[master],), unit="s"))
        if column.index != master:
            base.channels.append(column)
    return Times(bases=list(bases.values()))


def _runs(places: Sequence[int]) -> list[list[int]]:
    runs: list[list[int]] = []
    for i in places:
        if runs and runs[-1][-1] == i - 1:
            runs[-1].append(i)
        else:
            runs.append([i])
    return runs


def _tells_time(columns: Sequence[Column], i: int, words: Words) -> bool:
    column = columns[i]
    if column.holds == "date":
        return True
    beside = words.beside_time_words(column.named)
    if column.holds == "clock":
        return not column.named.things
    if column.holds != "number" or column.named.other:
        return False
    if words.is_time(column.named):
        return True
    if not _rises(column.values):
        return False
    if words.speaks_of_time(column.named):
        # "Height time" beside "Height" is the time of that column and not a running time.
        return i + 1 < len(columns) and beside <= set(columns[i + 1].named.tokens)
    unnamed = column.name == f"column {i + 1}"
    return i == 0 and (unnamed or bool(column.unit and _factor(column.unit)))


def _rises(values: Array) -> bool:
    steps = np.diff(values[np.isfinite(values)])
    return bool(steps.size and np.mean(steps > 0.0) >= RISES)


def _factor(unit: str) -> float | None:
    """Return the seconds of a unit of time, None if it is none."""
    if unit in SMALL_UNITS:
        return SMALL_UNITS[unit]
    line = scale_of(unit, "time")
    return None if line is None else line.scale


def seconds_of(unit: str) -> float:
    """Return how many seconds a unit of time is, 1 for a clock's."""
    return _factor(unit) or 1.0


def _add_base(
    raw: Raw,
    line: int,
    times: Times,
    run: Sequence[Column],
    said: Mapping[int, str],
    words: Words,
) -> None:
    numbers = [c for c in run if c.holds == "number"]
    clocks = [c for c in run if c.holds == "clock"]
    dates = [c for c in run if c.holds == "date"]
    if numbers:
        chosen: tuple[Column, ...] = (numbers[0],)
        unit = _unit(raw, line, times, numbers[0], said.get(numbers[0].index, ""), words)
    elif clocks:
        alone = clocks[0].order or not dates
        chosen, unit = (clocks[0],) if alone else (clocks[0], dates[0]), ""
    else:
        times.others += run
        return
    times.bases.append(TimeBase(time=chosen, unit=unit))
    times.others += [c for c in run if c not in chosen]


def _unit(raw: Raw, line: int, times: Times, column: Column, said: str, words: Words) -> str:
    typed = said or column.unit
    if typed and _factor(typed):
        return typed
    if typed and not words.measures_nothing(typed):
        problem = f"{typed[:40]!r} is no unit of time; expected one such as [s] or [ms]"
        raise raw.error(problem, line, column.name)
    for token in column.named.tokens:
        spelt = words.unit(token)
        if token not in ("t", "d", "h") and _factor(spelt):
            return spelt
    unit = _unit_by_steps(column.values)
    if unit is None:
        problem = (
            f"no unit, and its steps fit none; expected one in brackets, for example "
            f"{column.name} [s]; or say it: --role {column.name + '=time [s]'!r}"
        )
        raise raw.error(problem, line, column.name)
    times.guessed[column.index] = unit
    return unit


def _unit_by_steps(values: Array) -> str | None:
    steps = np.diff(values[np.isfinite(values)])
    steps = steps[steps > 0.0]
    if steps.size == 0:
        return None
    usual = float(np.median(steps))
    for unit in GUESSED:
        if STEPS[0] <= usual * (1.0 if unit == "s" else _factor(unit) or 0.0) <= STEPS[1]:
            return unit
    return None


def _give_channels(times: Times, columns: Sequence[Column], certain: set[int]) -> None:
    """Give every column the time to its left, and drop what tells the same time again."""
    if not times.bases:
        return
    first = times.bases[0]
    bases, rest = [first], times.bases[1:]
    for base in rest:
        if _same(first, base):
            times.others += base.time
        else:
            bases.append(base)
    at = {base.time[0].index: base for base in bases}
    current: TimeBase = first
    for column in columns:
        if column.index in certain:
            current = at.get(column.index, current)
        elif current.clock != first.clock:
            times.lost.append(column)
        else:
            current.channels.append(column)
    # A time at the end of the table, with nothing behind it, tells the time once more.
    times.bases = [b for b in bases if b.channels or b is first]
    times.others += [c for b in bases if not b.channels and b is not first for c in b.time]


def _same(first: TimeBase, other: TimeBase) -> bool:
    """Say whether two times tell the same: both in every row, and apart by a constant.

    A constant below a few steps is a real difference: the columns were sampled in turn.
    """
    a, b = first.time[0].values, other.time[0].values
    if not (np.isfinite(a).all() and np.isfinite(b).all() and a.size > 1):
        return False
    if first.clock != other.clock:
        return True
    scale = [1.0 if x.clock else _factor(x.unit) or 1.0 for x in (first, other)]
    apart = a * scale[0] - b * scale[1]
    usual = float(np.median(np.abs(np.diff(a)))) * scale[0]
    level = abs(float(np.median(apart)))
    return bool(np.ptp(apart) <= ROUNDED * usual and not 0.0 < level < IN_TURN * usual)
