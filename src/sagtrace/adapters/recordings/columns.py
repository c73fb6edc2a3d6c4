"""What each column of a table holds, judged by a sample: numbers, switches, a clock, or neither."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import polars as pl
from numpy.typing import NDArray

from sagtrace.adapters.recordings.filled import Filled, Sort
from sagtrace.adapters.recordings.numbers import (
    Decimal,
    Order,
    as_clock,
    as_numbers,
    as_switches,
    clock_order,
    decimal_of,
)
from sagtrace.adapters.recordings.table import Table
from sagtrace.signals.naming import Named, Words

__all__ = ["Column", "decimal_sign", "look"]

Array = NDArray[np.float64]
Holds = Literal["number", "switch", "clock", "date", "text", "nothing"]

MOSTLY = 0.5  # [-] chosen: of the cells that are not empty; a damaged column stays what it is
LOOKED_AT = 400  # [cells] chosen: enough to tell text from numbers


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """A column of the file and what its sample shows."""

    index: int
    name: str
    unit: str
    named: Named
    holds: Holds
    values: Array  # the sample as numbers
    decimal: Decimal = "."
    minutes: bool = False
    order: Order = ""
    halves: bool = False  # am and pm

    def filled(self) -> Filled:
        """Return a place to read the whole column into."""
        sorts: Mapping[str, Sort] = {"clock": "clock", "date": "clock", "switch": "switch"}
        return Filled(
            index=self.index,
            sort=sorts.get(self.holds, "number"),
            decimal=self.decimal,
            minutes=self.minutes,
            order=self.order,
        )


def look(table: Table, words: Words) -> tuple[Column, ...]:
    """Return what every column of a table holds."""
    plain = _plain_numbers(table.sample)
    decimals: list[Decimal] = [
        "." if values is not None else decimal_of(cells.head(LOOKED_AT))
        for values, cells in zip(plain, table.sample, strict=True)
    ]
    proved = [d for d, values in zip(decimals, plain, strict=True) if values is None]
    usual = decimal_sign(proved, table.separator)
    if "," in proved:  # then 1.234 may be a thousand and more in the others
        texts = [cells.dtype == pl.String for cells in table.sample]
        plain = [None if text else values for text, values in zip(texts, plain, strict=True)]
        decimals = [
            decimal_of(cells.head(LOOKED_AT)) if text else "."
            for text, cells in zip(texts, table.sample, strict=True)
        ]
    return tuple(
        _column(i, table, values, decimal or usual, words)
        for i, (values, decimal) in enumerate(zip(plain, decimals, strict=True))
    )


def _plain_numbers(sample: Sequence[pl.Series]) -> list[Array | None]:
    """Return the columns in which every cell is a number or empty, all in one go."""
    frame = pl.DataFrame([cells.alias(f"c{i}") for i, cells in enumerate(sample)])
    cast = frame.select(pl.all().cast(pl.Float64, strict=False))
    before, after = frame.null_count().row(0), cast.null_count().row(0)
    return [
        _known(cast.to_series(i)) if before[i] == after[i] < frame.height else None
        for i in range(frame.width)
    ]


def _known(numbers: pl.Series) -> Array:
    values = (numbers.fill_null(float("nan")) if numbers.null_count() else numbers).to_numpy()
    return np.where(np.isinf(values), np.nan, values)


def decimal_sign(decimals: Sequence[Decimal], separator: str) -> Decimal:
    """Return the decimal sign of a file for columns that prove none."""
    comma, point = decimals.count(","), decimals.count(".")
    if comma == point == 0:
        return "." if separator == "comma" else ","
    return "," if comma > point else "."


def _column(i: int, table: Table, plain: Array | None, decimal: Decimal, words: Words) -> Column:
    name, unit, cells = table.names[i], table.units[i], table.sample[i]
    named = words.named(name)
    if cells.dtype != pl.String and plain is None:
        plain = _known(cells.cast(pl.Float64))
    if plain is not None:
        holds: Holds = "number" if np.isfinite(plain).any() else "nothing"
        return Column(index=i, name=name, unit=unit, named=named, holds=holds, values=plain)
    holds, minutes, order, halves = _holds(cells, unit, decimal, words)
    if holds == "number":
        values = as_numbers(cells, decimal, words).values
    elif holds == "switch":
        values = as_switches(cells, words).values
    elif holds in ("clock", "date"):
        values = as_clock(cells, minutes=minutes, order=order).values
    else:
        values = np.full(cells.len(), np.nan)
    return Column(
        index=i,
        name=name,
        unit=unit,
        named=named,
        holds=holds,
        values=values,
        decimal=decimal,
        minutes=minutes,
        order=order,
        halves=halves,
    )


def _holds(
    cells: pl.Series, unit: str, decimal: Decimal, words: Words
) -> tuple[Holds, bool, Order, bool]:
    full = cells.filter(
        cells.is_not_null() & ~cells.str.strip_chars().str.to_lowercase().is_in(list(words.missing))
    )
    step = max(1, full.len() // LOOKED_AT)
    some = full.gather_every(step)
    if some.is_empty():
        return "nothing", False, "", False
    if _share(as_numbers(some, decimal, words).values) > MOSTLY:
        return "number", False, "", False
    if _share(as_switches(some, words).values) > MOSTLY:
        return "switch", False, "", False
    order, halves = clock_order(some)
    # Two numbers without hours in the unit: a recording at 1 Hz and more shows seconds.
    minutes = not unit.casefold().startswith("h")
    times = as_clock(some, minutes=minutes, order=order).values
    if _share(times) <= MOSTLY:
        return "text", False, "", False
    if order and bool((~some.str.contains(":", literal=True)).all()):
        return "date", minutes, order, halves
    return "clock", minutes, order, halves


def _share(values: Array) -> float:
    return float(np.mean(np.isfinite(values)))
