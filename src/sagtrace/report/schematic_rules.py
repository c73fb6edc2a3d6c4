"""How a system is drawn, as the data say it: symbols, places, and what joins them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Literal

from sagtrace.vehicle.layouts import Source

__all__ = [
    "Drawing",
    "drawing_problems",
    "Frame",
    "Join",
    "Kind",
    "PartRule",
    "Place",
    "Rail",
    "Row",
    "SHEETS",
    "SheetSize",
    "Shows",
    "Side",
    "Symbol",
    "Undrawn",
]

Kind = Literal["air", "wire", "signal", "linkage"]
Side = Literal["right", "left", "above", "below", "pipe"]  # pipe: below, beside the line
SHEETS = ("phone", "tablet")
TARGET = 44  # [px] the least size of what a finger has to hit


@dataclass(frozen=True, kw_only=True)
class Symbol:
    """A graphical symbol: its box, where the column's line runs through it, and its ports.

    `level` is the height in the box that lies on the row's line, for symbols joined sideways.
    """

    id: str
    width: float
    height: float
    centre: float
    level: float | None = None
    ports: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    basis: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetSize:
    """One size of sheet, in its own pixels."""

    id: str
    width: float
    gutter: float  # at the left, for the names of the rows
    margin: float
    scale: float  # of the symbols
    text: float
    figure: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One row of the sheet. `head` is its name if every part in it is of one kind."""

    id: str
    gap: float
    head: str = ""
    head_drop: float = 0.0  # of the name, where the symbols leave no room beside them


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where the part of a component stands that belongs to no corner."""

    label: str
    row: str
    column: int
    side: Side = "below"
    room: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class PartRule:
    """Symbol and place of a component's parts; `room` is for its text, in quarters of a sheet."""

    component: str
    label: str
    symbol: str
    row: str
    column: int | Literal["corner", "axle", "gutter"]
    side: Side
    drop: float = 0.0  # of the symbol below the row's line
    text_drop: float = 0.0  # of the text below the top of the symbol; 0: beside its middle
    room: float = 1.0
    together: bool = False  # one part has the faults of all corners
    vehicle: Place | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Undrawn:
    """A component that no symbol can stand for."""

    component: str
    label: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Rail:
    """A level run that several lines join: in a row, at a port, or above a component."""

    id: str
    kind: Kind
    row: str = ""
    of: str = ""
    above: str = ""
    needs: str = ""  # a component without which there is no such run
    basis: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Join:
    """What joins two ports, or a port and a rail, of the same corner if both have corners."""

    kind: Kind
    start: str
    end: str
    corner_only: bool = False
    vehicle_only: bool = False
    basis: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """A housing around rows, where its component exists."""

    component: str
    from_row: str
    to_row: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Shows:
    """Which parts a physical state speaks of; the first carries its reading."""

    node: str
    parts: tuple[str, ...]
    word: str = ""
    of: str = ""


@dataclass(frozen=True, kw_only=True)
class Drawing:
    """Everything that the data say about drawing a system."""

    sources: tuple[Source, ...]
    sheets: tuple[SheetSize, ...]
    columns: tuple[float, ...]  # centres, as shares of the width
    rows: tuple[Row, ...]
    symbols: tuple[Symbol, ...]
    parts: tuple[PartRule, ...]
    undrawn: tuple[Undrawn, ...]
    rails: tuple[Rail, ...]
    lines: tuple[Join, ...]
    frames: tuple[Frame, ...]
    shows: tuple[Shows, ...]
    whole: tuple[str, ...]

    @cached_property
    def by_component(self) -> Mapping[str, PartRule]:
        """The rules of the drawn components."""
        return {rule.component: rule for rule in self.parts}

    @cached_property
    def labels(self) -> Mapping[str, str]:
        """What people call each component, drawn ones first, in the order of the data."""
        drawn = {rule.component: rule.label for rule in self.parts}
        return drawn | {rule.component: rule.label for rule in self.undrawn}

    @cached_property
    def symbol(self) -> Mapping[str, Symbol]:
        """The symbols by id."""
        return {symbol.id: symbol for symbol in self.symbols}

    @cached_property
    def shown(self) -> Mapping[str, Shows]:
        """What physical states show, by node."""
        return {shows.node: shows for shows in self.shows}


Found = tuple[tuple[str | int, ...], str]


def drawing_problems(
    drawing: Drawing, components: Mapping[str, object], nodes: Mapping[str, object]
) -> Iterator[Found]:
    """Yield place and text of everything in the data that cannot be right."""
    yield from _unknown(drawing, components, nodes)
    yield from _uncovered(drawing, components)
    for i, symbol in enumerate(drawing.symbols):
        if min(symbol.width, symbol.height) < TARGET:
            yield ("symbols", i), f"smaller than {TARGET} pixels, which a finger misses"
        for name, (x, y) in symbol.ports.items():
            if x not in (0, symbol.width) and y not in (0, symbol.height):
                yield ("symbols", i, "ports", name), "a port lies on the edge of the box"
    for i, join in enumerate(drawing.lines):
        for end, name in (("start", join.start), ("end", join.end)):
            if not _joins(drawing, name):
                yield ("lines", i, end), f"{name!r} is neither a rail nor a port of a part"


def _unknown(
    drawing: Drawing, components: Mapping[str, object], nodes: Mapping[str, object]
) -> Iterator[Found]:
    rows = {row.id for row in drawing.rows}
    bases = {source.id for source in drawing.sources}
    for i, rule in enumerate(drawing.parts):
        if rule.component not in components:
            yield ("parts", i, "component"), f"there is no component {rule.component!r}"
        if rule.symbol not in drawing.symbol:
            yield ("parts", i, "symbol"), f"there is no symbol {rule.symbol!r}"
        for row in (rule.row, rule.vehicle.row if rule.vehicle else rule.row):
            if row not in rows:
                yield ("parts", i, "row"), f"there is no row {row!r}"
    for kind in ("symbols", "rails", "lines"):
        for i, record in enumerate(getattr(drawing, kind)):
            if record.basis not in bases:
                yield (kind, i, "basis"), f"there is no source {record.basis!r}"
    for i, shows in enumerate(drawing.shows):
        if shows.node not in nodes:
            yield ("shows", i, "node"), f"there is no fault or condition {shows.node!r}"
        for part in shows.parts:
            if part not in components:
                yield ("shows", i, "parts"), f"there is no component {part!r}"
    for i, node in enumerate(drawing.whole):
        if node not in nodes:
            yield ("whole", i), f"there is no fault or condition {node!r}"


def _uncovered(drawing: Drawing, components: Mapping[str, object]) -> Iterator[Found]:
    placed = [rule.component for rule in drawing.parts]
    placed += [rule.component for rule in drawing.undrawn]
    for component in components:
        if placed.count(component) != 1:
            yield ("parts",), f"{component!r} has {placed.count(component)} places; it needs one"
    if tuple(sheet.id for sheet in drawing.sheets) != SHEETS:
        yield ("sheets",), f"expected the sheets {', '.join(SHEETS)}"


def _joins(drawing: Drawing, name: str) -> bool:
    component, dot, port = name.partition(".")
    if not dot:
        return any(rail.id == name for rail in drawing.rails)
    rule = drawing.by_component.get(component)
    return rule is not None and port in drawing.symbol[rule.symbol].ports
