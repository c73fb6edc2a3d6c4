"""What every drawing of a line plot shares: scales, round ticks, unbroken lines, thinning.

Pure numbers in the unit of whoever draws (points on paper, pixels on a page); y grows downwards
there. A value that is not a number, or too large to draw, is a gap. Limits: linear axes.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from sagtrace.report.tree import Line, Span

__all__ = [
    "clip_spans",
    "extent_of",
    "HEADROOM",
    "line_styles",
    "nice_ticks",
    "Point",
    "readable_ticks",
    "Scale",
    "thin",
    "unbroken",
    "usable",
]

LEAST_TICKS = 2  # [-] exact: one tick gives no scale
LARGEST = 1e15  # [-] chosen: beyond it the steps between ticks drown in rounding
FLAT = 1e-9  # [-] chosen: a smaller relative range is rounding noise
FULL = 15  # [-] digits that a double carries
HEADROOM = 0.04  # [-] chosen: part of the range left free above and below the lines

RAISED = str.maketrans("0123456789-", "⁰¹²³⁴⁵⁶⁷⁸⁹⁻")

Point = tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """A range of values on a stretch of the page."""

    low: float
    high: float
    start: float
    end: float

    def __call__(self, value: float) -> float:
        """Return where the value stands."""
        part = (value - self.low) / (self.high - self.low)
        return round(self.start + part * (self.end - self.start), 2)


def nice_ticks(low: float, high: float, most: int) -> tuple[list[float], list[str]]:
    """Return round values (1, 2 or 5 times a power of ten) from low to high, and their texts."""
    raw = (high - low) / max(most, 1)
    power = 10.0 ** math.floor(math.log10(raw))
    step = next(m * power for m in (1.0, 2.0, 5.0, 10.0) if m * power >= raw * (1.0 - FLAT))
    first, last = math.ceil(low / step - FLAT), math.floor(high / step + FLAT)
    values = [i * step for i in range(first, last + 1)]
    return values, [_number(value, step) for value in values]


def readable_ticks(low: float, high: float, most: int) -> tuple[list[float], list[str]]:
    """Return ticks of which there are at least two, because one alone gives no scale."""
    ticks, texts = nice_ticks(low, high, most)
    return (ticks, texts) if len(ticks) >= LEAST_TICKS else nice_ticks(low, high, 2 * most)


def _number(value: float, step: float) -> str:
    if abs(value) >= 1e6 or step < 1e-5:
        # As many digits as it takes to tell a tick from the next one.
        most = math.log10(max(abs(value), step)) - math.log10(step)
        digits = min(max(math.ceil(most - FLAT), 0) + 1, FULL)
        mantissa, _, power = f"{value:.{digits}e}".partition("e")
        text = f"{mantissa.rstrip('0').rstrip('.')}×10{str(int(power)).translate(RAISED)}"
    else:
        decimals = max(0, -math.floor(math.log10(step) + FLAT))
        text = f"{value:.{decimals}f}" if abs(value) < 1e4 else f"{value:,.{decimals}f}"
    text = text.replace(",", "\u202f").replace("-", "−")
    return "0" if abs(value) < step / 2.0 else text


def usable(value: float) -> bool:
    """Return whether a value can be drawn."""
    return math.isfinite(value) and abs(value) <= LARGEST


def unbroken(line: Line) -> list[list[Point]]:
    """Return the unbroken stretches of a line."""
    runs: list[list[Point]] = [[]]
    for x, y in zip(line.x, line.y, strict=False):
        if usable(x) and usable(y):
            runs[-1].append((x, y))
        elif runs[-1]:
            runs.append([])
    return [run for run in runs if run]


def extent_of(values: Iterable[float], pad: float) -> tuple[float, float]:
    """Return the range that an axis needs, with `pad` of it left free at both ends."""
    numbers = list(values) or [0.0, 1.0]
    low, high = min(numbers), max(numbers)
    extent = high - low
    if extent <= FLAT * max(abs(low), abs(high)):
        # Because one value has no range of its own.
        half = max(abs(low) * HEADROOM, 0.5 if low == 0.0 else FLAT)
        return low - half, high + half
    return low - pad * extent, high + pad * extent


def thin(points: Sequence[Point], finest: float) -> list[Point]:
    """Drop points that fall on the same hair's breadth, but keep its peaks."""
    kept: list[Point] = []
    bucket: list[Point] = []
    for point in points:
        if bucket and abs(point[0] - bucket[0][0]) >= finest:
            kept += _corners(bucket)
            bucket = []
        bucket.append(point)
    return kept + _corners(bucket)


def _corners(bucket: list[Point]) -> list[Point]:
    if len(bucket) <= 4:
        return bucket
    ys = [point[1] for point in bucket]
    keep = sorted({0, ys.index(min(ys)), ys.index(max(ys)), len(bucket) - 1})
    return [bucket[i] for i in keep]


def line_styles(lines: Sequence[Line]) -> list[str]:
    """Return how each line is drawn: its role and which of that role it is."""
    seen: dict[str, int] = {}
    styles = []
    for line in lines:
        seen[line.role] = seen.get(line.role, -1) + 1
        styles.append(f"{line.role}-{seen[line.role] % 3}")
    return styles


def clip_spans(spans: Sequence[Span], low: float, high: float) -> list[tuple[float, float, Span]]:
    """Return the visible part of each span; an endless span reaches the edge."""
    found = []
    for span in spans:
        if math.isnan(span.start) or math.isnan(span.end):
            continue
        start, end = sorted((span.start, span.end))
        if end >= low and start <= high:
            found.append((max(start, low), min(end, high), span))
    return found
