"""A line plot placed on a page: scales, ticks, paths, strips and a key, in pixels.

The same tree and the same scales as the printed paper (`report.scales`); only sizes and the place
of names differ, because a phone is narrow: names stand in a key below. Limits: linear axes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from sagtrace.report.scales import (
    HEADROOM,
    Point,
    Scale,
    clip_spans,
    extent_of,
    line_styles,
    nice_ticks,
    readable_ticks,
    thin,
    unbroken,
    usable,
)
from sagtrace.report.tree import Axis, LinePlot, Strip
from sagtrace.web.views.letters import width
from sagtrace.web.words import _

__all__ = [
    "axis_text",
    "Drawn",
    "Key",
    "NARROW",
    "place",
    "Placed",
    "Shaded",
    "Sheet",
    "StripRow",
    "Tick",
    "WIDE",
]

GAP = 7.0  # [px] between an axis and what is written beside it
STRIP_ROW = 22.0  # [px] a strip with its name above it
STRIP_HIGH = 8.0  # [px]
TITLE_ROW = 1.5  # [-] of the text size: the y axis' title stands above the plot
FINEST = 0.5  # [px] a line is drawn no finer than this
X_TICKS, Y_TICKS, LOW_Y_TICKS = 12, 6, 4  # [-] chosen: at most this many intervals
UNITLESS = ("", "1", "-")


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """How large a drawing is [px]."""

    wide: float
    high: float  # of the plotting area
    low: float  # of the plotting area of a low plot
    text: float  # size of the letters


WIDE = Sheet(wide=760.0, high=260.0, low=130.0, text=14.0)
NARROW = Sheet(wide=350.0, high=210.0, low=110.0, text=13.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Tick:
    """A mark of an axis with its number."""

    at: float
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """One line: its way as an SVG path and single points as places."""

    style: str
    way: str
    dots: tuple[Point, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Shaded:
    """A stretch of the x axis that is marked."""

    at: float
    wide: float
    role: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StripRow:
    """A row below the plot with where something was on."""

    y: float
    name: str
    role: str
    bars: tuple[tuple[float, float], ...]  # start, width


@dataclass(frozen=True, slots=True, kw_only=True)
class Key:
    """What a line or a shade means."""

    style: str
    text: str
    shade: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Placed:
    """A line plot with everything in its place."""

    wide: float
    high: float
    text: float
    left: float
    right: float
    top: float
    bottom: float
    base: float
    x_title: str
    y_title: str
    x_ticks: tuple[Tick, ...]
    y_ticks: tuple[Tick, ...]
    lines: tuple[Drawn, ...]
    spans: tuple[Shaded, ...]
    strips: tuple[StripRow, ...]
    keys: tuple[Key, ...]
    empty: bool


def place(plot: LinePlot, sheet: Sheet) -> Placed:
    """Return the plot placed on a sheet of this size."""
    runs = [unbroken(line) for line in plot.lines]
    points = [point for run in runs for part in run for point in part]
    bounds = [v for s in plot.spans for v in (s.start, s.end) if usable(v)]
    x_low, x_high = extent_of([x for x, _ in points] + bounds, 0.0)
    y_low, y_high = extent_of([y for _, y in points], HEADROOM)
    y_ticks, y_texts = readable_ticks(y_low, y_high, LOW_Y_TICKS if plot.low else Y_TICKS)

    left = max((width(t, sheet.text) for t in y_texts), default=0.0) + GAP
    right = sheet.wide - 3.0 * GAP
    top = TITLE_ROW * sheet.text + GAP
    bottom = top + (sheet.low if plot.low else sheet.high)
    base = bottom + STRIP_ROW * len(plot.strips)
    x = Scale(low=x_low, high=x_high, start=left, end=right)
    y = Scale(low=y_low, high=y_high, start=bottom, end=top)
    styles = line_styles(plot.lines)
    return Placed(
        wide=sheet.wide, high=base + 3.2 * sheet.text, text=sheet.text,
        left=left, right=right, top=top, bottom=bottom, base=base,
        x_title=axis_text(plot.x), y_title=axis_text(plot.y),
        x_ticks=_fitting_ticks(x, sheet.text),
        y_ticks=tuple(Tick(at=y(v), text=t) for v, t in zip(y_ticks, y_texts, strict=True)),
        lines=tuple(_drawn(s, run, x, y) for s, run in zip(styles, runs, strict=True)),
        spans=tuple(
            Shaded(at=x(a), wide=max(x(b) - x(a), 1.0), role=span.role)
            for a, b, span in clip_spans(plot.spans, x_low, x_high)
        ),
        strips=tuple(_strip(s, x, bottom + STRIP_ROW * i) for i, s in enumerate(plot.strips)),
        keys=_keys(plot, styles, runs), empty=not points,
    )  # fmt: skip


def axis_text(axis: Axis) -> str:
    """Return what an axis shows, with its unit."""
    return f"{axis.title} [{axis.unit}]" if axis.unit.strip() not in UNITLESS else axis.title


def _fitting_ticks(x: Scale, size: float) -> tuple[Tick, ...]:
    """Return as many x ticks as have room for their numbers."""
    ticks, texts = nice_ticks(x.low, x.high, X_TICKS)
    for most in range(X_TICKS, 0, -1):
        ticks, texts = nice_ticks(x.low, x.high, most)
        need = max((width(text, size) for text in texts), default=0.0) + 2 * GAP
        if len(ticks) < 2 or x(ticks[1]) - x(ticks[0]) >= need:
            break
    return tuple(Tick(at=x(v), text=t) for v, t in zip(ticks, texts, strict=True))


def _drawn(style: str, run: Sequence[Sequence[Point]], x: Scale, y: Scale) -> Drawn:
    parts = [[(x(a), y(b)) for a, b in part] for part in run]
    ways = [
        "M" + "L".join(f"{a:.1f} {b:.1f}" for a, b in thin(part, FINEST))
        for part in parts
        if len(part) > 1
    ]
    return Drawn(style=style, way="".join(ways), dots=tuple(p[0] for p in parts if len(p) == 1))


def _strip(strip: Strip, x: Scale, top: float) -> StripRow:
    inside = [(max(a, x.low), min(b, x.high)) for a, b in map(sorted, strip.spans)]
    bars = tuple((x(a), max(x(b) - x(a), 1.5)) for a, b in inside if a <= b)
    return StripRow(y=top, name=strip.name, role=strip.role, bars=bars)


def _keys(plot: LinePlot, styles: Sequence[str], runs: Sequence[object]) -> tuple[Key, ...]:
    lines = [
        Key(style=style, text=line.name if run else _("%(name)s (no values)", name=line.name))
        for style, line, run in zip(styles, plot.lines, runs, strict=True)
        if line.name
    ]
    shades = dict.fromkeys((s.role, s.label) for s in plot.spans if s.label)
    return (*lines, *(Key(style=role, text=text, shade=True) for role, text in shades))
