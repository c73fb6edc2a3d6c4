"""The rows of a text table, read a chunk at a time into one array a column.

A chunk whose wanted columns are plain numbers in whole rows is parsed as numbers at once; one that
is not is read as text, and every row and cell that does not fit is counted.
Limits: a line break within quotes is kept only inside a chunk.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import polars as pl
from numpy.typing import NDArray

from sagtrace.adapters.recordings.filled import Filled, Rows
from sagtrace.adapters.recordings.layout import Layout
from sagtrace.adapters.recordings.numbers import BLANK
from sagtrace.signals.naming import Words

__all__ = ["cell_counts", "quotes_close", "read_text", "strings"]

LINE_FEED, QUOTE = 10, 34
BLOCK = 1 << 18  # [bytes] chosen: small enough for any cache
CELLS = 1 << 24  # [-] chosen: cells of text at a time; some hundred megabytes


def read_text(
    chunks: Iterable[bytes],
    layout: Layout,
    columns: Sequence[Filled],
    words: Words,
    rows: Rows,
) -> Iterator[int]:
    """Fill the columns from the text of a file, note what became of its rows, yield the line."""
    reader = _Reader(layout=layout, columns=columns, words=words, rows=rows)
    skip = layout.first_line - 1
    for chunk in chunks:
        at, skipped = 0, 0
        while skip and (end := chunk.find(b"\n", at)) >= 0:
            at, skip, skipped = end + 1, skip - 1, skipped + 1
        reader.line += skipped
        if not skip and at < len(chunk):
            yield from reader.read(chunk, at, skipped)


def count_byte(data: NDArray[np.uint8], byte: int) -> int:
    """Return how often a byte stands in some data, in blocks that stay in the cache."""
    blocks = range(0, data.size, BLOCK)
    return sum(int(np.count_nonzero(data[at : at + BLOCK] == byte)) for at in blocks)


@dataclass(slots=True, kw_only=True)
class _Reader:
    """Reads chunk after chunk; knows the line that comes next."""

    layout: Layout
    columns: Sequence[Filled]
    words: Words
    rows: Rows
    line: int = 1

    def read(self, chunk: bytes, at: int, skip: int) -> Iterator[int]:
        """Read a chunk from a place on, `skip` lines below its start; yield the next line."""
        data = np.frombuffer(chunk, dtype=np.uint8, offset=at)
        most = max(1, CELLS // (self.layout.width + 1))
        if count_byte(data, LINE_FEED) <= most:
            self.piece(chunk, at, skip)
            yield self.line
            return
        # Rows that are all but empty would be too many cells at a time.
        ends = np.flatnonzero(data == LINE_FEED)[most - 1 :: most] + 1 + at
        for start, end in pairwise([at, *ends.tolist(), len(chunk)]):
            if start < end:
                self.piece(chunk[start:end], 0, 0)
                yield self.line

    def piece(self, chunk: bytes, at: int, skip: int) -> None:
        """Read some whole lines."""
        quoted = self.layout.quoted and chunk.find(b'"', at) >= 0
        if quoted:
            chunk, at, skip = chunk[at:], 0, 0
            quoted = quotes_close(chunk)
        table = self.at_once(chunk, at, skip, quoted)
        kept = None
        if table is None:
            table, kept = self.as_text(chunk[at:] if at else chunk, quoted)
        places = None if kept is None else np.flatnonzero(kept)
        self.rows.count += table.height
        self.rows.spans.append((self.line, table.height, places))
        for k, column in enumerate(self.columns):
            column.add(table.to_series(k), self.words)
        self.line += table.height if kept is None else kept.size

    def at_once(self, chunk: bytes, at: int, skip: int, quoted: bool) -> pl.DataFrame | None:
        """Return the wanted columns, or None if not all is plain numbers in whole rows."""
        layout = self.layout
        comma = any(c.decimal == "," for c in self.columns if c.sort == "number")
        if comma and (chunk.find(b".", at) >= 0 or layout.separator == ","):
            return None  # because 1.234 would be read as a little more than one
        wanted = [column.index for column in self.columns]
        whole = wanted == list(range(layout.width))
        try:
            table = pl.read_csv(
                chunk,
                has_header=False,
                skip_rows=skip,
                separator=layout.separator,
                quote_char='"' if quoted else None,
                schema=_schema(layout.width, self.columns),
                columns=None if whole else wanted,
                decimal_comma=comma,
            )
        except pl.exceptions.PolarsError:
            return None
        # A row with more cells is refused above, and one with fewer has nothing in the last.
        full = whole and not quoted and table.to_series(-1).null_count() == 0
        if not full and not self.whole_rows(chunk, at, quoted, table.height):
            return None
        return table.select(f"c{i}" for i in wanted)

    def whole_rows(self, chunk: bytes, at: int, quoted: bool, height: int) -> bool:
        """Say whether every row has as many cells as the header.

        Where all columns are read, the reader refuses a row with more, so counting is enough.
        """
        width, separator = self.layout.width, self.layout.separator
        if quoted or len(self.columns) < width:
            counts = cell_counts(chunk, separator, quoted=quoted, at=at)
            return counts.size == height and bool(np.all(counts == width))
        data = np.frombuffer(chunk, dtype=np.uint8, offset=at)
        return count_byte(data, ord(separator)) == height * (width - 1)

    def as_text(self, chunk: bytes, quoted: bool) -> tuple[pl.DataFrame, NDArray[np.bool_]]:
        """Return the wanted columns as text, without rows that do not fit, and which are left."""
        separator = self.layout.separator
        counts = cell_counts(chunk, separator, quoted=quoted)
        whole = strings(chunk, self.layout, counts.size, quoted=quoted)
        if whole is None:  # its quotes mean nothing after all
            counts = cell_counts(chunk, separator, quoted=False)
            whole = strings(chunk, self.layout, counts.size, quoted=False)
        if whole is None:
            raise ValueError(f"rows that cannot be told apart after line {self.line}")
        kept = self.kept(whole, chunk, counts)
        names = [whole.columns[column.index] for column in self.columns]
        return whole.select(names).filter(pl.Series(kept)), kept

    def kept(
        self, table: pl.DataFrame, chunk: bytes, counts: NDArray[np.int64]
    ) -> NDArray[np.bool_]:
        """Return which rows count, after noting those that do not fit."""
        width, rows, line = self.layout.width, self.rows, self.line
        cells = pl.all().is_not_null() & (pl.all().str.strip_chars(BLANK) != "")
        some = table.select(pl.any_horizontal(cells).alias("some"))["some"].to_numpy().copy()
        extra = table.to_series(width)
        # An empty cell too many is a separator at the end of the line.
        beyond = (extra.is_not_null() & (extra.str.strip_chars(BLANK) != "")).fill_null(value=False)
        long = some & (beyond.to_numpy() | (counts > width + 1))
        short = some & (counts < width)
        blank = int(np.count_nonzero(~some))
        if short.any() and short[-1] and not chunk.endswith(b"\n"):
            rows.cut, short[-1], some[-1] = 1, False, False
        rows.blank += blank
        rows.short_line = rows.short_line or _first(short, line)
        rows.long_line = rows.long_line or _first(long, line)
        rows.short += int(np.count_nonzero(short))
        rows.long += int(np.count_nonzero(long))
        rows.count += int(np.count_nonzero(long)) + rows.cut
        kept: NDArray[np.bool_] = some & ~long
        return kept


def quotes_close(chunk: bytes) -> bool:
    """Say whether every quote of a chunk closes on the line where it opened."""
    data = np.frombuffer(chunk, dtype=np.uint8)
    inside = (np.cumsum(data == QUOTE, dtype=np.uint8) & 1).astype(np.bool_)
    return not inside[-1] and not np.any(inside & (data == LINE_FEED))


def cell_counts(chunk: bytes, separator: str, *, quoted: bool, at: int = 0) -> NDArray[np.int64]:
    """Return the number of cells of every row from a place on."""
    data = np.frombuffer(chunk, dtype=np.uint8, offset=at)
    ends, marks = data == LINE_FEED, data == ord(separator)
    if quoted:
        marks &= (np.cumsum(data == QUOTE, dtype=np.uint8) & 1) == 0
    lines = np.flatnonzero(ends)
    if not ends[-1]:
        lines = np.append(lines, data.size)
    return np.diff(np.searchsorted(np.flatnonzero(marks), lines), prepend=0) + 1


def _schema(width: int, columns: Sequence[Filled]) -> dict[str, type[pl.DataType]]:
    schema: dict[str, type[pl.DataType]] = {f"c{i}": pl.String for i in range(width)}
    for column in columns:
        if column.sort == "number":
            schema[f"c{column.index}"] = pl.Float64
    return schema


def _first(mask: NDArray[np.bool_], line: int) -> int | None:
    return line + int(np.argmax(mask)) if mask.any() else None


def strings(chunk: bytes, layout: Layout, count: int, *, quoted: bool) -> pl.DataFrame | None:
    """Return the cells of a chunk as text, with one column more for cells beyond the last.

    None if they are not as many rows as there should be.
    """
    try:
        table = pl.read_csv(
            # A first row of the full width, because the reader takes the width from it.
            layout.separator.encode() * layout.width + b"\n" + chunk,
            has_header=False,
            separator=layout.separator,
            quote_char='"' if quoted else None,
            infer_schema=False,
            truncate_ragged_lines=True,
        ).slice(1)
    except pl.exceptions.PolarsError:
        return None
    return table if (table.height, table.width) == (count, layout.width + 1) else None
