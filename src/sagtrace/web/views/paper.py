"""A paper's tree as pieces for the page's macros: the same tree that is printed."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from sagtrace.report.causes import strand_of
from sagtrace.report.tree import (
    Bar,
    Bars,
    Block,
    Bullets,
    Chain,
    KeyFigure,
    KeyFigures,
    LinePlot,
    Paper,
    Para,
    Section,
    Signature,
    Steps,
    Table,
    Warn,
)
from sagtrace.web.views.plot import NARROW, WIDE, Placed, place
from sagtrace.web.views.story import StoryDrawing, draw_story

__all__ = ["BarRow", "bar_row", "Cell", "PaperView", "Piece", "TableView", "view_paper"]

_LEAST, _MOST = 1.0, 99.0  # [%] chosen: a bar is never empty and never full, as no number is


@dataclass(frozen=True, slots=True, kw_only=True)
class BarRow:
    """One bar from 0 to 100 with its finished text."""

    name: str
    text: str
    share: float
    before: float | None = None
    before_text: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """One cell of a table, with the title of its column for narrow pages."""

    head: str
    text: str
    right: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class TableView:
    """A table with every cell in its column."""

    caption: str
    heads: tuple[Cell, ...]
    widths: tuple[str, ...]
    rows: tuple[tuple[bool, tuple[Cell, ...]], ...]  # stands out, cells


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """One block of a paper as the macro of its kind takes it; what it has not, stays empty."""

    kind: str
    level: int
    text: str = ""
    title: str = ""
    anchor: str = ""
    tone: str = ""
    items: tuple[str, ...] = ()
    figures: tuple[KeyFigure, ...] = ()
    table: TableView | None = None
    bars: tuple[BarRow, ...] = ()
    plots: tuple[tuple[str, Placed], ...] = ()  # for wide and for narrow pages
    stories: tuple[tuple[str, StoryDrawing], ...] = ()
    said: tuple[str, ...] = ()  # what a drawing shows, for who cannot see it
    body: tuple[Piece, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class PaperView:
    """A paper as the page shows it."""

    kind: str
    title: str
    subtitle: str
    mark: str
    facts: tuple[tuple[str, str], ...]
    body: tuple[Piece, ...]
    foot: str
    heading: tuple[str, ...]  # of the workshop


def view_paper(paper: Paper, level: int = 2) -> PaperView:
    """Return the paper as pieces; its sections have headings of this level."""
    return PaperView(
        kind=paper.kind, title=paper.title, subtitle=paper.subtitle, mark=paper.mark,
        facts=paper.facts, body=pieces(paper.body, level), foot=paper.foot,
        heading=paper.heading,
    )  # fmt: skip


def pieces(blocks: Sequence[Block], level: int) -> tuple[Piece, ...]:
    """Return the blocks as pieces."""
    return tuple(_piece(block, level) for block in blocks)


def _piece(block: Block, level: int) -> Piece:
    match block:
        case Section():
            return Piece(
                kind="section", level=min(level, 6), title=block.title,
                anchor=_anchor(block.title), body=pieces(block.body, level + 1),
            )  # fmt: skip
        case Para():
            return Piece(kind="para", level=level, text=block.text, tone=block.tone)
        case Warn():
            return Piece(kind="warn", level=level, text=block.text, tone=block.level)
        case Bullets():
            return Piece(kind="bullets", level=level, items=block.items)
        case Steps():
            return Piece(kind="steps", level=level, items=block.items)
        case KeyFigures():
            return Piece(kind="figures", level=level, figures=block.items)
        case Table():
            return Piece(kind="table", level=level, table=_table(block))
        case Signature():
            return Piece(kind="signature", level=level, text=block.label)
        case LinePlot() | Bars() | Chain():
            return _drawn(block, level)


def _drawn(block: LinePlot | Bars | Chain, level: int) -> Piece:
    match block:
        case LinePlot():
            return Piece(
                kind="plot", level=level, title=block.title, text=block.text,
                plots=(("wide", place(block, WIDE)), ("narrow", place(block, NARROW))),
            )  # fmt: skip
        case Bars():
            return Piece(
                kind="bars", level=level, title=block.title, text=block.text,
                bars=tuple(bar_row(bar) for bar in block.bars),
            )  # fmt: skip
        case Chain():
            strand = strand_of(block)
            drawn = block.boxes and (
                ("wide", draw_story(strand, WIDE.wide, WIDE.text + 1.0)),
                ("narrow", draw_story(strand, NARROW.wide, NARROW.text + 1.0)),
            )
            return Piece(
                kind="chain", level=level, title=block.title, text=block.text,
                stories=tuple(drawn or ()), said=strand.sentences(),
            )  # fmt: skip


def bar_row(bar: Bar, before_text: str = "") -> BarRow:
    """Return a bar with its length in per cent."""
    before = None if bar.before is None else _length(bar.before)
    return BarRow(
        name=bar.name, text=bar.text, share=_length(bar.share), before=before,
        before_text=before_text,
    )  # fmt: skip


def _length(share: float) -> float:
    return _LEAST if math.isnan(share) else round(min(max(100.0 * share, _LEAST), _MOST), 1)


def _table(table: Table) -> TableView:
    heads = tuple(
        Cell(head="", text=column.title, right=column.align == "right") for column in table.columns
    )
    shares = [c.share if 0.0 < c.share < math.inf else 1.0 for c in table.columns]
    return TableView(
        caption=table.caption, heads=heads,
        widths=tuple(f"{100.0 * share / sum(shares):.1f}%" for share in shares),
        rows=tuple(
            (i in table.strong, tuple(_cells(heads, row))) for i, row in enumerate(table.rows)
        ),
    )  # fmt: skip


def _cells(heads: Sequence[Cell], row: Sequence[str]) -> Iterator[Cell]:
    """Yield exactly one cell a column; what is over goes into the last one."""
    for i, head in enumerate(heads):
        over = i == len(heads) - 1 and len(row) > len(heads)
        text = " ".join(row[i:]) if over else row[i] if i < len(row) else ""
        yield Cell(head=head.text, text=text, right=head.right)


def _anchor(title: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", title.lower()).strip("-")
