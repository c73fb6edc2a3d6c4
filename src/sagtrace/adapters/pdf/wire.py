"""A paper as plain values for the template: what is printed, in order, with clean texts.

One entry a block, flat: a section becomes its heading and what belongs under it, because
only neighbours can be kept together on a page. Every text here is printable and no word is
wider than the place it goes to.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any

from sagtrace.adapters.pdf.frame import scene
from sagtrace.adapters.pdf.glyphs import REPLACEMENT, Cleaner, Face
from sagtrace.report.tree import (
    Axis,
    Bars,
    Block,
    Bullets,
    Chain,
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

__all__ = ["to_wire"]

# Sizes and widths in points [pt], as the template has them.
BODY, SMALL = 10.0, 8.8
COLUMN = 481.0  # A4 less two margins of 20 mm, rounded down
HEADINGS = {1: 14.0, 2: 11.5, 3: 10.0}
CELL_INSET = 10.0
INDENT = 22.0
HEADING_ROOM = 230.0
FACT_ROOM, CHAIN_ROOM, HOW_ROOM = 137.0, 275.0, 325.0
BAR_NAME_ROOM, BAR_TEXT_ROOM = 150.0, 120.0
LEGEND_ROOM, AXIS_ROOM = 421.0, 350.0
VALUE_SIZES = (20.0, 16.0, 13.0, 10.5)  # chosen: a key figure shrinks before it breaks

MOST_IN_ROW = 4  # [-] chosen: key figures beside each other
SIGNATURES_IN_ROW = 2  # [-] chosen: room for a hand
LONG_TEXT = 1200  # [characters] chosen: a block longer than this may run over a page end
LONG_HEAD, LONG_HOW = 120, 300  # [characters] chosen: more would fill the page by itself
MANY_BARS, MANY_BOXES = 16, 7  # [-] chosen: more of them may not fit on one page
MARK_LENGTH, RUNNING_LENGTH, FOOT_LENGTH = 60, 80, 260  # [characters] chosen: one or two lines

KINDS = {"customer": "For the customer", "technical": "Technical record"}
UNITLESS = ("", "1", "-")
NO_TITLE = "Untitled"
NO_ROWS = "No entries."
STRIP_NAME_LENGTH = 24  # [characters] chosen: beside the plot
SHOWN_CODES = 40  # [-] chosen: how many replaced characters are listed

Wire = dict[str, Any]


def to_wire(paper: Paper, face: Face) -> Wire:
    """Return the paper as values that JSON can carry."""
    return _Writer(face).paper(paper)


class _Writer:
    def __init__(self, face: Face) -> None:
        self._face = face
        self._cleaner = Cleaner(face=face)

    def _text(
        self, text: str, room: float = COLUMN, size: float = BODY, *, bold: bool = False
    ) -> str:
        return self._cleaner.clean(text, room, size, bold=bold)

    def _plain(self, text: str) -> str:
        """Return the text on one line, for where nobody sees lines."""
        return " ".join(self._text(text, math.inf).split("\n"))

    def paper(self, paper: Paper) -> Wire:
        title = self._plain(paper.title).strip() or NO_TITLE
        foot = self._text(paper.foot, 380.0, 7.5)
        body = list(_joined(self._blocks(paper.body, 1)))
        if _short(foot, FOOT_LENGTH) != foot:
            body.append({"is": "para", "tone": "quiet", "text": foot})
        wire = {
            "kind": KINDS[paper.kind],
            "heading": [
                self._text(line, HEADING_ROOM, BODY if i == 0 else SMALL, bold=i == 0)
                for i, line in enumerate(paper.heading)
            ],
            "name": title,
            "title": self._text(title, 430.0, 23.0, bold=True),
            "running": _short(title, RUNNING_LENGTH),
            "subtitle": self._text(paper.subtitle, 430.0, 11.0),
            "mark": _short(self._plain(paper.mark), MARK_LENGTH),
            "facts": [
                [self._text(label, FACT_ROOM, 7.5), self._text(text, FACT_ROOM, 9.5, bold=True)]
                for label, text in paper.facts
            ],
            "body": body,
            "foot": _short(foot, FOOT_LENGTH),
        }
        return {**wire, "missing": self._missing()}

    def _missing(self) -> str:
        """Return what the paper says about the characters that it could not print."""
        codes = sorted(ord(char) for char in self._cleaner.missing)
        if not codes:
            return ""
        shown = ", ".join(f"U+{code:04X}" for code in codes[:SHOWN_CODES])
        more = f" and {len(codes) - SHOWN_CODES} more" if len(codes) > SHOWN_CODES else ""
        return f"{REPLACEMENT} stands for a character that this font does not have: {shown}{more}."

    def _blocks(self, blocks: Sequence[Block], level: int) -> Iterator[Wire]:
        for block in blocks:
            match block:
                case Section():
                    yield from self._section(block, level)
                case Para():
                    yield {"is": "para", "tone": block.tone, "text": self._text(block.text)}
                case Warn():
                    yield self._warn(block)
                case Bullets() | Steps():
                    items = [self._text(item, COLUMN - INDENT) for item in block.items]
                    if items:
                        name = "steps" if isinstance(block, Steps) else "bullets"
                        yield {"is": name, "items": items}
                case KeyFigures():
                    yield from self._key_figures(block)
                case Table():
                    yield from self._table(block)
                case LinePlot():
                    yield self._plot(block)
                case Bars():
                    yield from self._bars(block)
                case Chain():
                    yield from self._chain(block)
                case Signature():
                    label = _short(self._text(block.label, 220.0, SMALL), LONG_HOW)
                    yield {"is": "signs", "items": [label]}

    def _section(self, section: Section, level: int) -> Iterator[Wire]:
        title = self._text(section.title, COLUMN, HEADINGS[level], bold=True)
        if title.strip():
            yield {"is": "head", "level": level, "text": title}
        # Because a screen reader must meet the levels without a gap.
        below = min(level + 1, max(HEADINGS)) if title.strip() else level
        yield from self._blocks(section.body, below)

    def _warn(self, warn: Warn) -> Wire:
        text = self._text(warn.text, COLUMN - 60.0)
        return {"is": "warn", "level": warn.level, "text": text, "tall": _tall([text])}

    def _key_figures(self, figures: KeyFigures) -> Iterator[Wire]:
        count = len(figures.items)
        rows = math.ceil(count / MOST_IN_ROW)
        size = math.ceil(count / rows) if rows else 1
        room = COLUMN / size - 20.0
        for start in range(0, count, size):
            items = figures.items[start : start + size]
            widths = [(self._face.width(i.value, 1.0, bold=True)) for i in items]
            fits = [s for s in VALUE_SIZES if max(widths) * s <= room]
            value_size = fits[0] if fits else VALUE_SIZES[-1]
            texts = [
                [
                    self._text(item.label, room, SMALL),
                    self._text(item.value, room, value_size, bold=True),
                    self._text(item.note, room, SMALL),
                ]
                for item in items
            ]
            tall = any(_tall(three, size) for three in texts)
            yield {
                "is": "figures",
                "columns": size,
                "size": value_size,
                "items": texts,
                "tall": tall,
            }

    def _table(self, table: Table) -> Iterator[Wire]:
        if not table.columns:
            return
        shares = [c.share if 0.0 < c.share < math.inf else 1.0 for c in table.columns]
        rooms = [COLUMN * share / sum(shares) - CELL_INSET for share in shares]
        yield {
            "is": "table",
            "caption": self._text(table.caption, COLUMN, SMALL, bold=True),
            "shares": shares,
            "aligns": [column.align for column in table.columns],
            "heads": [
                _short(self._text(column.title, room, 8.0, bold=True), LONG_HEAD)
                for column, room in zip(table.columns, rooms, strict=True)
            ],
            "rows": [
                [
                    self._text(cell, room, SMALL, bold=True)
                    for cell, room in zip(_fitted(row, len(rooms)), rooms, strict=True)
                ]
                for row in table.rows
            ],
            "strong": [i for i in table.strong if 0 <= i < len(table.rows)],
            "empty": "" if table.rows else NO_ROWS,
        }

    def _figure(self, kind: str, title: str, text: str, told: Sequence[str]) -> Wire:
        """Return what all drawings share; `told` are the texts inside the drawing."""
        parts = (self._plain(title), self._plain(text), "; ".join(map(self._plain, told)))
        alt = " ".join(part for part in parts if part.strip())
        return {
            "is": kind,
            "title": self._text(title, COLUMN, BODY, bold=True),
            "text": self._text(text, COLUMN, SMALL),
            "alt": alt or NO_TITLE,
            "tall": _tall([title, text, *told]),
        }

    def _plot(self, plot: LinePlot) -> Wire:
        names = [self._text(line.name, LEGEND_ROOM, 8.5) for line in plot.lines]
        spans = [replace(s, label=self._text(s.label, LEGEND_ROOM, 8.5)) for s in plot.spans]
        strips = [
            replace(s, name=_short(self._plain(s.name), STRIP_NAME_LENGTH)) for s in plot.strips
        ]
        told = [f"{_axis(plot.y)} over {_axis(plot.x)}", *(line.name for line in plot.lines)]
        told += list(dict.fromkeys(span.label for span in plot.spans))
        told += [f"below it: {strip.name}" for strip in plot.strips]
        return {
            **self._figure("plot", plot.title, plot.text, [part for part in told if part]),
            "x": self._text(_axis(plot.x), AXIS_ROOM, 8.0),
            "y": self._text(_axis(plot.y), COLUMN, 8.0),
            "scene": scene(plot, names, spans, self._face, strips),
        }

    def _bars(self, bars: Bars) -> Iterator[Wire]:
        items = [
            {
                "name": self._text(bar.name, BAR_NAME_ROOM, 9.2),
                "share": _share(bar.share),
                "text": self._text(bar.text, BAR_TEXT_ROOM, 9.2, bold=True),
                "before": None if bar.before is None else _share(bar.before),
            }
            for bar in bars.bars
        ]
        if items:
            told = [f"{bar.name}: {bar.text}" for bar in bars.bars]
            figure = self._figure("bars", bars.title, bars.text, told)
            yield {
                **figure,
                "items": items,
                "name_width": self._widest(items, "name", BAR_NAME_ROOM),
                "text_width": self._widest(items, "text", BAR_TEXT_ROOM),
                "moved": any(item["before"] is not None for item in items),
                "tall": figure["tall"] or len(items) > MANY_BARS,
            }

    def _widest(self, items: Sequence[Wire], key: str, most: float) -> float:
        lines = [line for item in items for line in item[key].split("\n")]
        return min(most, max(self._face.width(line, 9.2, bold=True) for line in lines) + 2.0)

    def _chain(self, chain: Chain) -> Iterator[Wire]:
        boxes = [
            {
                "title": self._text(box.title, CHAIN_ROOM, BODY, bold=True),
                "detail": self._text(box.detail, CHAIN_ROOM, SMALL),
                "how": _short(self._text(box.how, HOW_ROOM, SMALL), LONG_HOW),
                "doubtful": box.doubtful,
            }
            for box in chain.boxes
        ]
        if boxes:
            told = [
                " ".join(p for p in (b.how, "(not certain)" * b.doubtful, b.title) if p)
                for b in chain.boxes
            ]
            figure = self._figure("chain", chain.title, chain.text, [" then ".join(told)])
            long = _tall([box.title + box.detail for box in chain.boxes], 2)
            yield {
                **figure,
                "boxes": boxes,
                "tall": figure["tall"] or long or len(boxes) > MANY_BOXES,
            }


def _joined(blocks: Iterator[Wire]) -> Iterator[Wire]:
    """Put signatures that follow each other side by side."""
    waiting: list[str] = []
    for block in blocks:
        if waiting and (block["is"] != "signs" or len(waiting) == SIGNATURES_IN_ROW):
            yield {"is": "signs", "items": waiting}
            waiting = []
        if block["is"] == "signs":
            waiting = waiting + block["items"]
        else:
            yield block
    if waiting:
        yield {"is": "signs", "items": waiting}


def _fitted(row: Sequence[str], count: int) -> list[str]:
    """Return exactly `count` cells; what is over goes into the last one."""
    cells = list(row[:count]) + [""] * (count - len(row))
    return [*cells[:-1], " ".join([cells[-1], *row[count:]])] if len(row) > count else cells


def _axis(axis: Axis) -> str:
    return f"{axis.title} ({axis.unit})" if axis.unit.strip() not in UNITLESS else axis.title


def _tall(texts: Sequence[str], columns: int = 1) -> bool:
    """Return whether texts in one of some columns may need more than half a page."""
    lines = sum(text.count("\n") for text in texts)
    return (sum(map(len, texts)) + 80 * lines) * columns > LONG_TEXT


def _share(share: float) -> float | None:
    return None if math.isnan(share) else min(max(share, 0.0), 1.0)


def _short(text: str, length: int) -> str:
    return text if len(text) <= length else text[: length - 1].rstrip() + "…"
