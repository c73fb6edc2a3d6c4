"""A column while it is read, and what became of the rows of its table.

Assumes chunks that come in order. Wrong cells are known by their row, and rows by their line.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
import polars as pl
from numpy.typing import NDArray

from sagtrace.adapters.recordings.numbers import (
    Decimal,
    Order,
    Parsed,
    as_clock,
    as_numbers,
    as_switches,
)
from sagtrace.signals.naming import Words

__all__ = ["Filled", "Rows", "Sort"]

Array = NDArray[np.float64]
Sort = Literal["number", "switch", "clock"]

SHOWN = 40  # [characters] chosen: how much of a wrong cell a report repeats


@dataclass(slots=True)
class Filled:
    """A column while it is read."""

    index: int
    sort: Sort
    decimal: Decimal = "."
    minutes: bool = False  # a clock of two numbers shows minutes and seconds
    order: Order = ""  # of day, month and year
    parts: list[Array] = field(default_factory=list)
    count: int = 0  # cells so far
    wrong: int = 0  # cells that were no number
    row: int = 0  # of the first of them
    example: str = ""
    texts: int = 0  # switches given in words

    def values(self) -> Array:
        """Return the whole column and forget its parts."""
        parts, self.parts = self.parts, []
        return parts[0] if len(parts) == 1 else np.concatenate(parts or [np.empty(0)])

    def add(self, cells: pl.Series, words: Words) -> None:
        """Take the cells of a chunk."""
        if cells.dtype != pl.String:
            parsed = _finite(cells)
        elif self.sort == "number":
            parsed = as_numbers(cells, self.decimal, words)
        elif self.sort == "switch":
            parsed = as_switches(cells, words)
        else:
            parsed = as_clock(cells, minutes=self.minutes, order=self.order)
        wrong = int(np.count_nonzero(parsed.wrong))
        if wrong and not self.wrong:
            first = int(np.argmax(parsed.wrong))
            self.row, self.example = self.count + first, str(cells[first])[:SHOWN]
        self.wrong += wrong
        self.count += cells.len()
        self.texts += parsed.texts
        self.parts.append(parsed.values)


def _finite(cells: pl.Series) -> Parsed:
    """Return numbers as they are; what is infinite is no measurement."""
    numbers = cells if cells.dtype == pl.Float64 else cells.cast(pl.Float64)
    values = (numbers.fill_null(float("nan")) if numbers.null_count() else numbers).to_numpy()
    if np.isfinite(np.add.reduce(values)):  # most often, and told sooner than looking at each
        return Parsed(values, np.zeros(values.size, dtype=np.bool_))
    wrong = np.isinf(values)
    return Parsed(np.where(wrong, np.nan, values) if wrong.any() else values, wrong)


@dataclass(slots=True)
class Rows:
    """What became of the rows of a table."""

    count: int = 0  # rows with anything in them
    blank: int = 0
    short: int = 0  # had fewer cells; the missing ones are empty
    short_line: int | None = None
    long: int = 0  # had more cells and were refused
    long_line: int | None = None
    cut: int = 0  # the last one, cut off
    spans: list[tuple[int, int, NDArray[np.int64] | None]] = field(default_factory=list)

    def line(self, row: int) -> int | None:
        """Return the line of a row that was kept; None for a file without lines."""
        for first, count, places in self.spans:
            if row < count:
                return first + (row if places is None else int(places[row]))
            row -= count
        return None
