"""A paper as data: sections, tables and figures, with no idea of a page.

Every text is plain; whoever prints it escapes it. Numbers arrive as finished texts with
unit and spread, except in figures, which carry arrays for the printer to draw.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from sagtrace.units import Reader, convert

__all__ = [
    "Axis",
    "Bar",
    "Bars",
    "Block",
    "Box",
    "Bullets",
    "Chain",
    "Column",
    "KeyFigure",
    "KeyFigures",
    "Line",
    "LinePlot",
    "Paper",
    "Para",
    "Section",
    "Signature",
    "Span",
    "Steps",
    "Strip",
    "Table",
    "Warn",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Para:
    """A paragraph."""

    text: str
    tone: Literal["normal", "lead", "quiet"] = "normal"


@dataclass(frozen=True, slots=True, kw_only=True)
class Warn:
    """A caution, set apart so that nobody misses it."""

    level: Literal["danger", "warning", "notice"]
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Bullets:
    """A list without order."""

    items: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Steps:
    """A numbered list."""

    items: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyFigure:
    """One number that matters, with what it is."""

    label: str
    value: str
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyFigures:
    """A row of numbers that matter."""

    items: tuple[KeyFigure, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """A table column; `share` is its part of the width."""

    title: str
    align: Literal["left", "right"] = "left"
    share: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """A table; a row in `strong` stands out."""

    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]
    caption: str = ""
    strong: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Axis:
    """What an axis shows, with its unit."""

    title: str
    unit: str
    decimal: str = "."  # the sign in its numbers


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One line of a plot. `role` chooses how it is drawn, not its colour as such."""

    name: str
    x: tuple[float, ...]
    y: tuple[float, ...]
    role: Literal["measured", "fitted", "limit"] = "measured"


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """A stretch of the x axis that is marked, with a short label."""

    start: float
    end: float
    label: str
    role: Literal["hold", "fill", "vent"] = "hold"


@dataclass(frozen=True, slots=True, kw_only=True)
class Strip:
    """A row below a plot that is filled where something was on, or where a mark stands."""

    name: str
    spans: tuple[tuple[float, float], ...]  # from, to on the x axis
    role: Literal["command", "mark"] = "command"


@dataclass(frozen=True, slots=True, kw_only=True)
class LinePlot:
    """Lines over a common axis. `text` says in a sentence what there is to see."""

    title: str
    x: Axis
    y: Axis
    lines: tuple[Line, ...]
    spans: tuple[Span, ...] = ()
    strips: tuple[Strip, ...] = ()
    low: bool = False  # drawn at half the height, for what is looked at in passing
    text: str = ""

    def as_read(self, reader: Reader) -> LinePlot:
        """Return the plot with its y axis in the unit that is read, and the decimal sign."""
        decimal = "," if reader.comma else "."
        old, new = self.y.unit, reader.unit(self.y.unit)
        lines = self.lines
        if new != old:
            zero = convert(0.0, old, new)
            scale = convert(1.0, old, new) - zero
            lines = tuple(replace(n, y=tuple(zero + scale * v for v in n.y)) for n in lines)
        x, y = replace(self.x, decimal=decimal), replace(self.y, unit=new, decimal=decimal)
        return replace(self, x=x, y=y, lines=lines)


@dataclass(frozen=True, slots=True, kw_only=True)
class Bar:
    """One bar from 0 to 1, with its finished text and, if known, where it stood before."""

    name: str
    share: float
    text: str
    before: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Bars:
    """Shares side by side."""

    title: str
    bars: tuple[Bar, ...]
    text: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """One station of a causal chain. `how` is written on the arrow that leads to it."""

    title: str
    detail: str
    how: str = ""
    doubtful: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Chain:
    """One thing that brought about the next."""

    title: str
    boxes: tuple[Box, ...]
    text: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Signature:
    """A line to sign on."""

    label: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """A heading with what belongs under it."""

    title: str
    body: tuple[Block, ...]


Block = (
    Para
    | Warn
    | Bullets
    | Steps
    | KeyFigures
    | Table
    | LinePlot
    | Bars
    | Chain
    | Signature
    | Section
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Paper:
    """A whole paper. `mark` is printed on every page (an invented job says so)."""

    kind: Literal["customer", "technical"]
    title: str
    subtitle: str
    mark: str
    facts: tuple[tuple[str, str], ...]  # label and text, for the head of the first page
    body: tuple[Block, ...]
    foot: str
    heading: tuple[str, ...] = ()  # of the workshop, its name first
