"""The air system of a layout as a diagram: where every part, line and word stands, as data.

Nothing here knows of a page. A sheet is computed from the rows and columns of the drawing's data,
so another layout, part or text is a change of data.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from sagtrace.report.lettering import text_width, wrap
from sagtrace.report.schematic_lines import Dot, Run, draw_lines, rail_rows
from sagtrace.report.schematic_parts import NOT_EXCLUDED, WHOLE, Measured, Part
from sagtrace.report.schematic_rules import Drawing, PartRule, Row, SheetSize, Side, Symbol
from sagtrace.report.shapes import Box, hatching
from sagtrace.report.words import percent
from sagtrace.vehicle.layouts import Layout

__all__ = ["draw", "DrawnFrame", "DrawnPart", "Schematic", "Words"]

Style = Literal["label", "figure", "reading", "head", "row"]
_LINE = 1.22  # chosen: from one line of text to the next, in its size
_BESIDE = 2.0  # [px] chosen: between a symbol and its text


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """One line of text; `y` is its baseline."""

    x: float
    y: float
    text: str
    style: Style
    size: float
    anchor: Literal["start", "middle", "end"] = "start"

    @property
    def box(self) -> Box:
        """About where it will be seen."""
        width = text_width(self.text, self.size, self.style in ("figure", "head"))
        left = self.x - {"start": 0.0, "middle": width / 2, "end": width}[self.anchor]
        return Box(x=left, y=self.y - 0.8 * self.size, width=width, height=self.size)


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnPart:
    """One part in its place. `hatch` are lines, the closer the more it is suspected."""

    part: Part
    symbol: str
    box: Box
    scale: float
    ports: Mapping[str, tuple[float, float]]
    words: tuple[Words, ...]
    hatch: tuple[tuple[float, float, float, float], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnFrame:
    """The housing of a component, around what it holds."""

    component: str
    box: Box


@dataclass(frozen=True, slots=True, kw_only=True)
class Schematic:
    """One sheet: parts, lines and words, in its own pixels."""

    id: str
    width: float
    height: float
    parts: tuple[DrawnPart, ...]
    lines: tuple[Run, ...]
    dots: tuple[Dot, ...]
    frames: tuple[DrawnFrame, ...]
    words: tuple[Words, ...]  # names of rows and corners, with what was read at the corners


@dataclass(frozen=True, slots=True, kw_only=True)
class _Piece:
    """A part with its rule, before its row has a height."""

    part: Part
    symbol: Symbol
    row: str
    x: float  # where the column's line runs
    side: Side
    room: float
    drop: float
    text_drop: float
    lines: tuple[tuple[str, Style, float], ...]  # text, style, size

    def above(self, s: float) -> float:
        """Return how far it reaches above the row's line."""
        text = _height(self.lines) + _BESIDE if self.side == "above" else 0.0
        return (self.level - self.drop) * s + text

    def below(self, s: float) -> float:
        """Return how far it reaches below the row's line."""
        symbol = (self.symbol.height - self.level + self.drop) * s
        text = _height(self.lines)
        if self.side in ("below", "pipe"):
            return symbol + text + _BESIDE
        if self.side == "above":
            return symbol
        if self.text_drop:
            return max(symbol, (self.text_drop + self.drop - self.level) * s + text)
        return max(symbol, text / 2 + (self.symbol.height / 2 - self.level) * s)

    @property
    def level(self) -> float:
        """The height in the symbol that lies on the row's line."""
        level = self.symbol.level
        return self.symbol.height / 2 if level is None else level


def _height(lines: Sequence[tuple[str, Style, float]]) -> float:
    return sum(size * _LINE for _, _, size in lines)


def draw(drawing: Drawing, layout: Layout, parts: Mapping[str, Part], sheet: str) -> Schematic:
    """Return the sheet of this size with all drawn parts of a layout."""
    size = next(s for s in drawing.sheets if s.id == sheet)
    return _Sheet(drawing, layout, parts, size).schematic()


class _Sheet:
    def __init__(
        self, drawing: Drawing, layout: Layout, parts: Mapping[str, Part], size: SheetSize
    ) -> None:
        self.drawing, self.layout, self.size = drawing, layout, size
        self.parts = parts
        self.pitch = (size.width - size.gutter - size.margin) / len(layout.corners)
        self.quarter = size.width / 4
        self.pieces = tuple(
            self.piece(part, drawing.by_component[part.component])
            for part in parts.values()
            if part.component in drawing.by_component
        )

    # --- columns

    def corner_x(self, corner: str) -> float:
        """Return where the line of a corner runs: beside it there is room for a figure."""
        i = [c.id for c in self.layout.corners].index(corner)
        return self.size.gutter + self.pitch * (i + 0.5) - 18.0 * self.size.scale

    def piece(self, part: Part, rule: PartRule) -> _Piece:
        """Return the part with its column, side and words."""
        symbol = self.drawing.symbol[rule.symbol]
        row, column, side, room = rule.row, rule.column, rule.side, rule.room * self.quarter
        if rule.vehicle is not None and not part.corner:
            at = rule.vehicle
            row, column, side, room = at.row, at.column, at.side, at.room * self.quarter
        if column == "corner":
            x = self.corner_x(part.corner)
            start = x + (2 * _BESIDE if side == "pipe" else 22.0 * self.size.scale + _BESIDE)
            edge = self.size.width - self.size.margin
            room = min(x + self.pitch - 22.0 * self.size.scale, edge) - start
        elif column == "axle":
            x = sum(map(self.corner_x, (c.id for c in self.layout.corners)))
            x /= len(self.layout.corners)
        elif column == "gutter":
            x = self.size.margin + symbol.centre * self.size.scale
        else:
            x = self.size.width * self.drawing.columns[column - 1]
        lines = self.text(part, room, named=column != "corner")
        return _Piece(
            part=part, symbol=symbol, row=row, x=x, side=side, room=room, drop=rule.drop,
            text_drop=rule.text_drop, lines=lines,
        )  # fmt: skip

    def text(self, part: Part, room: float, named: bool) -> tuple[tuple[str, Style, float], ...]:
        """Return what is written at a part; at a corner its name and readings stand above."""
        size = self.size
        lines: list[tuple[str, Style, float]] = []
        if named:
            lines += [(t, "label", size.text) for t in wrap(part.label, size.text, room)]
        if part.worst is not None and part.worst.probability >= NOT_EXCLUDED:
            text = percent(part.worst.probability).replace(" %", "\u00a0%")
            lines += [(t, "figure", size.figure) for t in wrap(text, size.figure, room, bold=True)]
        if named:
            lines += self.readings(part.measured, room)
        return tuple(lines)

    def readings(self, measured: Iterable[Measured], room: float) -> list[tuple[str, Style, float]]:
        """Return the readings in lines that fit the room."""
        size = self.size.text
        return [(line, "reading", size) for m in measured for line in wrap(m.text, size, room)]

    # --- rows

    def schematic(self) -> Schematic:
        """Return the finished sheet."""
        heads, top = self.heads()
        at, y = {}, top
        words = list(heads)
        spans: dict[str, tuple[float, float]] = {}
        rails = rail_rows(self.drawing)
        for row in self.drawing.rows:
            here = [p for p in self.pieces if p.row == row.id]
            if not here and row.id not in rails:
                continue
            above = max((p.above(self.size.scale) for p in here), default=6.0)
            below = max((p.below(self.size.scale) for p in here), default=6.0)
            if head := self.row_head(row, y + above):
                words += head
                below = max(below, head[0].y - y - above + 0.3 * self.size.text)
            at[row.id], spans[row.id] = y + above, (y, y + above + below)
            y += above + below + row.gap
        drawn = tuple(self.place(p, at[p.row]) for p in self.pieces)
        lines, dots = draw_lines(self.drawing, {d.part.id: d for d in drawn}, at)
        return Schematic(
            id=self.size.id, width=self.size.width, height=y, parts=drawn, lines=lines, dots=dots,
            frames=self.frames(spans), words=tuple(words),
        )  # fmt: skip

    def heads(self) -> tuple[list[Words], float]:
        """Return the corners' names with what was measured there, and where they end."""
        found: list[Words] = []
        lowest = 0.0
        for corner in self.layout.corners:
            x = self.corner_x(corner.id) - 22.0 * self.size.scale
            room = min(self.pitch - 2.0, self.size.width - self.size.margin - x)
            bold: list[tuple[str, Style, float]] = [
                (t, "head", self.size.figure)
                for t in wrap(corner.name.capitalize(), self.size.figure, room, bold=True)
            ]
            here = [p for p in self.parts.values() if p.corner == corner.id]
            mine = [m for p in sorted(here, key=_springs_first) for m in p.measured]
            lines = (*bold, *self.readings(mine, room))
            found += _written(lines, x, self.size.margin, "start")
            lowest = max(lowest, self.size.margin + _height(lines))
        return found, lowest + 10.0

    def row_head(self, row: Row, line: float) -> list[Words]:
        """Return the name of a row whose parts are written nowhere else."""
        if not row.head or not any(p.row == row.id and p.part.corner for p in self.pieces):
            return []
        size = self.size.text
        first = min(p.x - p.symbol.centre * self.size.scale for p in self.pieces if p.row == row.id)
        beside = self.size.margin + text_width(row.head, size) <= first
        y = line + (0.0 if beside else row.head_drop * self.size.scale) + 0.35 * size
        return [Words(x=self.size.margin, y=y, text=row.head, style="row", size=size)]

    def place(self, piece: _Piece, line: float) -> DrawnPart:
        """Return the part with its symbol on the row's line and its words beside it."""
        s, symbol = self.size.scale, piece.symbol
        box = Box(
            x=piece.x - symbol.centre * s, y=line + (piece.drop - piece.level) * s,
            width=symbol.width * s, height=symbol.height * s,
        )  # fmt: skip
        p = piece.part.worst.probability if piece.part.worst else 0.0
        return DrawnPart(
            part=piece.part, symbol=symbol.id, box=box, scale=s,
            ports={n: (box.x + x * s, box.y + y * s) for n, (x, y) in symbol.ports.items()},
            words=self.beside(piece, box),
            hatch=hatching(box, p) if p >= NOT_EXCLUDED else (),
        )  # fmt: skip

    def beside(self, piece: _Piece, box: Box) -> tuple[Words, ...]:
        """Return the words of a part at its side of the symbol."""
        height = _height(piece.lines)
        middle = box.y + (box.height - height) / 2
        top = box.y + piece.text_drop * self.size.scale if piece.text_drop else middle
        if piece.side == "right":
            return _written(piece.lines, box.right + _BESIDE, top, "start")
        if piece.side == "left":
            return _written(piece.lines, box.x - _BESIDE, top, "end")
        if piece.side == "pipe":
            return _written(piece.lines, piece.x + 2 * _BESIDE, box.bottom, "start")
        if piece.side == "above":
            return _written(piece.lines, box.x + box.width / 2, box.y - height - _BESIDE, "middle")
        return _written(piece.lines, box.x + box.width / 2, box.bottom + _BESIDE, "middle")

    def frames(self, spans: Mapping[str, tuple[float, float]]) -> tuple[DrawnFrame, ...]:
        """Return the housings that this layout has."""
        found = []
        for frame in self.drawing.frames:
            if frame.component in self.parts and frame.component != WHOLE:
                top, bottom = spans[frame.from_row][0] - 5.0, spans[frame.to_row][1] + 3.0
                box = Box(x=1.0, y=top, width=self.size.width - 2.0, height=bottom - top)
                found.append(DrawnFrame(component=frame.component, box=box))
        return tuple(found)


def _springs_first(part: Part) -> bool:
    return part.component != "spring"


def _written(
    lines: Iterable[tuple[str, Style, float]],
    x: float,
    top: float,
    anchor: Literal["start", "middle", "end"],
) -> tuple[Words, ...]:
    found = []
    for text, style, size in lines:
        found.append(
            Words(x=x, y=top + 0.95 * size, text=text, style=style, size=size, anchor=anchor)
        )
        top += size * _LINE
    return tuple(found)
