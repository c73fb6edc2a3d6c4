"""Results before and after a repair as intervals on one axis, with the limit between good and bad.

Where the results lie decades apart the axis is logarithmic; what lies below its lower end is drawn
as an arrow there, and its number says how far. Limits: one limit, one unit.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from sagtrace.report.compared import Comparison, Measurement
from sagtrace.report.scales import Scale, extent_of, nice_ticks
from sagtrace.web.views.letters import width, wrap
from sagtrace.web.views.plot import Sheet, Tick
from sagtrace.web.words import _

__all__ = ["draw_intervals", "IntervalRow", "IntervalsDrawing"]

GAP = 8.0  # [px]
BAR = 26.0  # [px] room for one interval
DECADES = 20.0  # [-] chosen: with results further apart than this the axis is logarithmic
BELOW = 4.0  # [-] chosen: how far below the limit a logarithmic axis begins
FURTHEST = 1e6  # chosen: what lies further below the limit is at the edge
MOST_TICKS = 6  # [-] chosen
PAD = 0.06  # [-] chosen: part of the range left free at both ends


@dataclass(frozen=True, slots=True, kw_only=True)
class IntervalRow:
    """One result placed: its words above its bar."""

    words: tuple[str, ...]
    words_y: float
    y: float
    low: float
    high: float
    dot: float | None  # None: the value itself lies outside
    more_left: bool  # the interval goes on beyond the axis
    more_right: bool
    when: str


@dataclass(frozen=True, slots=True, kw_only=True)
class IntervalsDrawing:
    """The comparison with everything in its place."""

    wide: float
    high: float
    text: float
    left: float
    right: float
    top: float
    base: float
    limit: float
    limit_text: str
    limit_anchor: str  # start or end
    good_at: float  # where the allowed side is shaded
    good_wide: float
    rows: tuple[IntervalRow, ...]
    ticks: tuple[Tick, ...]
    title: str


@dataclass(frozen=True, slots=True, kw_only=True)
class _Axis:
    low: float
    high: float
    log: bool
    scale: Scale

    def __call__(self, value: float) -> float:
        inside = min(max(value, self.low), self.high)
        return self.scale(math.log10(inside) if self.log else inside)


def draw_intervals(comparison: Comparison, sheet: Sheet) -> IntervalsDrawing:
    """Return the comparison placed on a sheet of this width."""
    left, right, top = 2.5 * GAP, sheet.wide - 2.5 * GAP, 2.0 * sheet.text
    axis = _axis(comparison, left, right)
    y = top
    rows = []
    for row in comparison.rows:
        words = wrap(f"{row.label}: {row.text}", right - left - GAP, sheet.text)
        y += 0.4 * GAP
        start = y + sheet.text
        y += 1.3 * sheet.text * len(words) + BAR
        rows.append(_row(row, words, start, y - 0.5 * BAR, axis))
    limit = axis(comparison.limit)
    title = f"{comparison.title} [{comparison.unit}]"
    good_left = comparison.side == "at most"
    return IntervalsDrawing(
        wide=sheet.wide, high=round(y + 3.4 * sheet.text, 1), text=sheet.text,
        left=left, right=right, top=top, base=round(y, 1), limit=limit,
        limit_text=comparison.limit_text,
        limit_anchor="start" if limit < (left + right) / 2.0 else "end",
        good_at=left if good_left else limit,
        good_wide=round(limit - left if good_left else right - limit, 2),
        rows=tuple(rows), ticks=_ticks(axis, sheet.text),
        title=_("%(title)s, logarithmic", title=title) if axis.log else title,
    )  # fmt: skip


def _axis(comparison: Comparison, left: float, right: float) -> _Axis:
    values = [comparison.limit, *(row.value for row in comparison.rows)]
    ends = [v for row in comparison.rows for v in (row.low, row.high)]
    largest, smallest = max(values), min(v for v in (*values, math.inf) if v > 0.0)
    log = comparison.limit > 0.0 and largest / min(smallest, comparison.limit) > DECADES
    if log:
        low = max(min(smallest, comparison.limit / BELOW), comparison.limit / FURTHEST)
        a, b = math.floor(math.log10(low)), math.log10(max([largest, *ends]))
        b += 2.0 * PAD
        return _Axis(
            low=10.0**a, high=10.0**b, log=True, scale=Scale(low=a, high=b, start=left, end=right)
        )
    low, high = extent_of([*values, *ends], PAD)
    return _Axis(
        low=low, high=high, log=False, scale=Scale(low=low, high=high, start=left, end=right)
    )


def _row(
    row: Measurement, words: tuple[str, ...], start: float, y: float, axis: _Axis
) -> IntervalRow:
    inside = axis.low <= row.value <= axis.high
    return IntervalRow(
        words=words, words_y=round(start, 1), y=round(y, 1), low=axis(row.low),
        high=max(axis(row.high), axis(row.low) + 1.0), dot=axis(row.value) if inside else None,
        more_left=row.low < axis.low, more_right=row.high > axis.high, when=row.when,
    )  # fmt: skip


def _ticks(axis: _Axis, size: float) -> tuple[Tick, ...]:
    if axis.log:
        powers = range(math.ceil(axis.scale.low), math.floor(axis.scale.high) + 1)
        return tuple(
            Tick(at=axis.scale(n), text=f"{10.0**n:,g}".replace(",", "\u202f")) for n in powers
        )
    values, texts = nice_ticks(axis.low, axis.high, MOST_TICKS)
    for most in range(MOST_TICKS, 0, -1):
        values, texts = nice_ticks(axis.low, axis.high, most)
        need = max((width(t, size) for t in texts), default=0.0) + GAP
        if len(values) < 2 or axis(values[1]) - axis(values[0]) >= need:
            break
    return tuple(Tick(at=axis(v), text=t) for v, t in zip(values, texts, strict=True))
