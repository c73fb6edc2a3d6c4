"""Where the parts of a line plot go: scales, ticks, lines, names; a scene in points.

The origin is the top left corner and y grows downwards. A value that is not a number, or too
large to draw, is a gap. Names stand at the line's end where they fit, else in a legend.
Limits: linear axes, numbers only (no dates).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from sagtrace.adapters.pdf.glyphs import Face
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
from sagtrace.report.tree import Axis, LinePlot, Span, Strip

__all__ = ["scene"]

# All lengths in points [pt]; chosen by eye on printed pages.
WIDTH = 481.0  # of the text column
HEIGHT = 152.0  # of the plotting area
LOW_HEIGHT = 70.0  # of a low one
TICK_SIZE = 8.0
NAME_SIZE = 8.5
SPAN_SIZE = 7.5
GAP = 6.0  # between an axis and what is written beside it
NAME_ROW = 11.0
SPAN_ROW = 11.0
STRIP_ROW = 10.5
STRIP_GAP = 3.0  # between the plotting area and the first strip
BELOW = 15.0  # for the numbers under the x axis
FINEST = 0.3  # a line is drawn no finer than this

X_TICKS, Y_TICKS, LOW_Y_TICKS = 12, 6, 4  # [-] chosen: at most this many intervals
MOST_SPAN_ROWS = 2  # [-] chosen: more rows push the plot too far from its title
MOST_NAMES = 5  # [-] chosen: more names at the line ends cannot be told apart
WIDEST_NAME = 120.0  # [pt] chosen: a quarter of the column
NEAR_EDGE = 0.12  # [-] chosen: a line that ends this near the edge is named there

Wire = dict[str, Any]


def _spread(wanted: Sequence[float], gap: float, top: float, bottom: float) -> list[float]:
    """Return ascending places at least `gap` apart, near the wanted ones (ascending)."""
    places: list[float] = []
    for place in wanted:
        places.append(max(place, places[-1] + gap if places else top))
    for i in reversed(range(len(places))):
        limit = places[i + 1] - gap if i + 1 < len(places) else bottom
        places[i] = min(places[i], limit)
    return places


def _span_rows(
    places: Sequence[Wire], face: Face, left: float, right: float
) -> tuple[list[Wire], int] | None:
    """Return the span labels with their rows counted from the plot up, or None if too tight."""
    ends: list[float] = []
    labels: list[Wire] = []
    for place in sorted(places, key=lambda p: float(p["x0"])):
        width = face.width(place["label"], SPAN_SIZE)
        if not width:
            continue
        middle = (place["x0"] + place["x1"]) / 2
        start = min(max(middle - width / 2, left), right - width)
        if start < left - FINEST or "\n" in place["label"]:
            return None
        row = next((i for i, end in enumerate(ends) if start >= end + GAP), len(ends))
        if row >= MOST_SPAN_ROWS:
            return None
        ends[row : row + 1] = [start + width]
        labels.append({"x": round(start, 2), "row": row, "text": place["label"]})
    return labels, len(ends)


def _named_at_end(
    names: Sequence[str], runs: Sequence[list[list[Point]]], reach: float, face: Face
) -> bool:
    """Return whether all lines have short names and end beyond `reach`."""
    named = [(name, run) for name, run in zip(names, runs, strict=True) if name]
    if not named or len(named) > MOST_NAMES or not all(run for _, run in named):
        return False
    return all(
        face.width(name, NAME_SIZE) <= WIDEST_NAME and "\n" not in name and run[-1][-1][0] >= reach
        for name, run in named
    )


def _strips(strips: Sequence[Strip], x: Scale, bottom: float) -> tuple[list[Wire], float]:
    """Return the strips' bars below the plotting area, and where the axis stands then."""
    placed = []
    for row, strip in enumerate(strips):
        inside = [(max(a, x.low), min(b, x.high)) for a, b in map(sorted, strip.spans)]
        placed.append(
            {
                "y": bottom + STRIP_GAP + row * STRIP_ROW,
                "name": strip.name,
                "role": strip.role,
                "bars": [[x(a), x(b)] for a, b in inside if a <= b],
            }
        )
    return placed, bottom + (STRIP_GAP + len(strips) * STRIP_ROW if strips else 0.0)


def scene(
    plot: LinePlot,
    names: Sequence[str],
    spans: Sequence[Span],
    face: Face,
    strips: Sequence[Strip] = (),
) -> Wire:
    """Return everything that the plot shows, placed.

    `names`, `spans` and `strips` carry the printable texts of the plot's own.
    """
    runs = [unbroken(line) for line in plot.lines]
    styles = line_styles(plot.lines)
    points = [point for run in runs for part in run for point in part]
    bounds = [v for s in spans for v in (s.start, s.end) if usable(v)]
    x_low, x_high = extent_of([x for x, _ in points] + bounds, 0.0)
    y_low, y_high = extent_of([y for _, y in points], HEADROOM)
    y_ticks, y_texts = readable_ticks(y_low, y_high, LOW_Y_TICKS if plot.low else Y_TICKS)

    reach = x_high - NEAR_EDGE * (x_high - x_low)
    direct = _named_at_end(names, runs, reach, face)
    widest = max((face.width(name, NAME_SIZE) for name in names), default=0.0) if direct else 0.0
    left = max((face.width(t, TICK_SIZE) for t in y_texts), default=0.0) + GAP
    widest = max([widest, *(face.width(strip.name, NAME_SIZE) for strip in strips)])
    right = WIDTH - (widest + 2 * GAP if widest else 2 * GAP)
    x = Scale(low=x_low, high=x_high, start=left, end=right)

    shaded = [
        {"x0": x(start), "x1": x(end), "role": span.role, "label": span.label}
        for start, end, span in clip_spans(spans, x_low, x_high)
    ]
    rows = _span_rows(shaded, face, left, right)
    labels, count = rows if rows is not None else ([], 0)
    top = count * SPAN_ROW + 4.0
    bottom = top + (LOW_HEIGHT if plot.low else HEIGHT)
    rows_below, base = _strips(strips, x, bottom)
    y = Scale(low=y_low, high=y_high, start=bottom, end=top)

    x_ticks, x_texts = _fitting_ticks(x, face)
    drawn = [[[(x(a), y(b)) for a, b in part] for part in run] for run in runs]
    legend = []
    if not direct:
        legend = [
            {"style": style, "text": name if run else f"{name} (no values)"}
            for style, name, run in zip(styles, names, runs, strict=True)
            if name
        ]
    keys = {(p["role"], p["label"]) for p in shaded if p["label"]} if rows is None else set()
    return {
        "w": WIDTH,
        "h": base + BELOW,
        "left": left,
        "right": right,
        "top": top,
        "bottom": bottom,
        "base": base,
        "strips": rows_below,
        "spans": shaded,
        "span_labels": [{**a, "y": top - 3.0 - SPAN_ROW * a["row"]} for a in labels],
        "x_ticks": [
            [x(v), text] for v, text in zip(x_ticks, _signed(x_texts, plot.x), strict=True)
        ],
        "y_ticks": [
            [y(v), text] for v, text in zip(y_ticks, _signed(y_texts, plot.y), strict=True)
        ],
        "lines": [_drawn(style, run) for style, run in zip(styles, drawn, strict=True)],
        "names": _end_names(names, styles, drawn, right, top, bottom) if direct else [],
        "legend": legend + [{"span": role, "text": text} for role, text in sorted(keys)],
        "empty": not points,
    }


def _signed(texts: Sequence[str], axis: Axis) -> list[str]:
    return [text.replace(".", axis.decimal) for text in texts]


def _fitting_ticks(x: Scale, face: Face) -> tuple[list[float], list[str]]:
    """Return as many x ticks as have room for their texts."""
    ticks, texts = nice_ticks(x.low, x.high, X_TICKS)
    for most in range(X_TICKS, 0, -1):
        ticks, texts = nice_ticks(x.low, x.high, most)
        need = max((face.width(text, TICK_SIZE) for text in texts), default=0.0) + 2 * GAP
        if len(ticks) < 2 or x(ticks[1]) - x(ticks[0]) >= need:
            break
    return ticks, texts


def _drawn(style: str, run: list[list[Point]]) -> Wire:
    return {
        "style": style,
        "runs": [thin(part, FINEST) for part in run if len(part) > 1],
        "dots": [part[0] for part in run if len(part) == 1],
    }


def _end_names(
    names: Sequence[str],
    styles: Sequence[str],
    drawn: Sequence[list[list[Point]]],
    right: float,
    top: float,
    bottom: float,
) -> list[Wire]:
    ends = [
        (run[-1][-1][1], run[-1][-1][0], name, style)
        for name, style, run in zip(names, styles, drawn, strict=True)
        if name
    ]
    ends.sort()
    places = _spread([end[0] for end in ends], NAME_ROW, top, bottom)
    return [
        {"x": right + GAP, "y": round(place, 2), "from": [x, y], "text": name, "style": style}
        for place, (y, x, name, style) in zip(places, ends, strict=True)
    ]
