"""Columns of a virtual run as a file: CSV as the reader of recordings takes it, or Parquet.

Both are made from the same numbers in the same units, rounded at the ninth decimal, which turns
0.30000000000000004 into 0.3 and is beyond anything measured. CSV comes in parts, so that a long run
is never held as one text. CSV has no place for a remark, so only Parquet says `invented` inside.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from io import BytesIO
from pathlib import Path

import numpy as np
import polars as pl

from sagtrace.app.columns import Column
from sagtrace.errors import InputError
from sagtrace.units import from_si

__all__ = ["check_table_name", "table_parts"]

SUFFIXES = (".csv", ".parquet")
PART = 100_000  # [rows] chosen: some megabytes of text
DIGITS = 9  # [-] see above
WHAT = "virtual vehicle, invented data"


def check_table_name(path: Path) -> None:
    """Refuse a name that says neither CSV nor Parquet."""
    if path.suffix not in SUFFIXES:
        raise InputError(f"{path}: expected a name that ends in {' or '.join(SUFFIXES)}.")


def table_parts(
    columns: Sequence[Column], suffix: str, tell: Callable[[float], None] = lambda _: None
) -> Iterator[bytes]:
    """Yield the bytes of the file; `suffix` is ".csv" or ".parquet". Tells the share done."""
    if suffix == ".parquet":
        out = BytesIO()
        _frame(columns, 0, len(columns[0].values)).write_parquet(out, metadata={"invented": WHAT})
        yield out.getvalue()
        tell(1.0)
        return
    rows = len(columns[0].values)
    for start in range(0, rows, PART):
        end = min(start + PART, rows)
        text = _frame(columns, start, end).write_csv(include_header=not start, quote_style="never")
        yield text.encode("utf-8")
        tell(end / rows)


def _frame(columns: Sequence[Column], start: int, end: int) -> pl.DataFrame:
    return pl.DataFrame([_series(column, start, end) for column in columns])


def _series(column: Column, start: int, end: int) -> pl.Series:
    values = column.values[start:end]
    if not column.unit:
        return pl.Series(column.title, np.rint(values).astype(np.int32))
    zero = from_si(0.0, column.unit)
    scale = from_si(1.0, column.unit) - zero
    return pl.Series(column.title, np.round(scale * values + zero, DIGITS) + 0.0)
