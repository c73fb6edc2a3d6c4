"""A table before anything is taken from it: titles, a sample of its rows, and a way to read it.

The same for text, Parquet and MDF, so that roles and times are found in one way. Assumes that a
sample from all over a file shows what its columns hold.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from io import BytesIO
from typing import Literal

import polars as pl

from sagtrace.adapters.recordings.cells import cell_counts, quotes_close, read_text, strings
from sagtrace.adapters.recordings.filled import Filled, Rows
from sagtrace.adapters.recordings.layout import (
    HEAD_LINES,
    MAX_COLUMNS,
    Layout,
    first_lines,
    lay_out,
)
from sagtrace.adapters.recordings.raw import Raw, Text
from sagtrace.adapters.recordings.titles import split_title
from sagtrace.signals.imported import Note
from sagtrace.signals.naming import Words

__all__ = ["MAX_CELLS", "open_parquet", "open_text", "SAMPLE_ROWS", "Table"]

WHOLE = 1 << 18  # [bytes] chosen: a file up to this size is its own sample
BLOCKS, BLOCK = 16, 1 << 14  # chosen: places and bytes of a sample; some thousand rows
SAMPLE_ROWS = 4000  # [rows] chosen: as many
MAX_CELLS = 200_000_000  # [-] chosen: of the columns that are used; 1.6 GB as numbers
LONGEST = 64  # [characters] chosen: of a cell that may be a number, a switch or a clock
SLICE = 1 << 20  # [rows] chosen: of Parquet at a time


@dataclass(slots=True, kw_only=True)
class Table:
    """A file's columns, of which some can be read."""

    format: Literal["text", "parquet", "mdf"]
    names: tuple[str, ...]
    units: tuple[str, ...]  # "" if there is none
    sample: tuple[pl.Series, ...]  # text, or numbers
    fill: Callable[[Sequence[Filled]], Rows]
    header_line: int = 1
    encoding: str = ""
    separator: str = ""
    problem: str = ""  # with the rows as a whole; worth saying only if the titles are right
    groups: tuple[int, ...] = ()  # for every column its time column, if the file says
    notes: list[Note] = field(default_factory=list)


def open_text(raw: Raw, words: Words) -> Table:
    """Return the table of a text file. Raises DocumentError for what is none."""
    text = Text.of(raw)
    first = next(iter(text.chunks()), b"")
    if not first or first.isspace():
        form = "a name and a unit, for example time [s], height.rear [mm], pump.command [-]"
        raise raw.error(f"the file is empty; expected a header row with {form}")
    layout = lay_out(raw, first, words)
    table = Table(
        format="text",
        names=layout.names,
        units=layout.units,
        sample=_text_sample(text, first, layout),
        fill=lambda columns: _read(raw, text, layout, columns, words),
        header_line=layout.header_line or layout.first_line,
        problem=layout.narrow,
        encoding=text.encoding + (" with a byte order mark" if text.mark else ""),
        separator={"\t": "tab", ";": "semicolon", ",": "comma", "|": "bar"}.get(
            layout.separator, layout.separator
        ),
    )
    table.notes += _layout_notes(layout, text)
    return table


def _read(raw: Raw, text: Text, layout: Layout, columns: Sequence[Filled], words: Words) -> Rows:
    try:
        rows = Rows()
        for _ in read_text(text.chunks(), layout, columns, words, rows):
            _refuse_many(raw, rows.count + rows.blank, len(columns))
        return rows
    except ValueError as err:
        raise raw.error(f"{err}; expected one row a line") from None


def _refuse_many(raw: Raw, rows: int, columns: int) -> None:
    if rows * columns > MAX_CELLS:
        problem = f"{rows} rows and more of {columns} columns; at most {MAX_CELLS} cells are read"
        raise raw.error(f"{problem}. Cut the recording or use fewer columns")


def _text_sample(text: Text, first: bytes, layout: Layout) -> tuple[pl.Series, ...]:
    above = len(first_lines(first, layout.first_line - 1))
    if text.end - text.mark <= WHOLE:
        blocks = [first[above:]]
    else:
        start = first_lines(first[above : above + WHOLE], HEAD_LINES)
        blocks = [start[: start.rfind(b"\n") + 1], *text.sample(BLOCKS, BLOCK)]
    block = b"\n".join(part.rstrip(b"\n") for part in blocks)
    quoted = layout.quoted and b'"' in block and quotes_close(block)
    found = None
    if block:
        counts = cell_counts(block, layout.separator, quoted=quoted)
        found = strings(block, layout, counts.size, quoted=quoted)
    if found is None:
        return tuple(pl.Series([], dtype=pl.String) for _ in layout.names)
    return tuple(found.get_columns()[: layout.width])


def _layout_notes(layout: Layout, text: Text) -> list[Note]:
    notes = []
    header = layout.header_line or layout.first_line
    if header > 1:
        count = header - 1
        said = f"Line{'s' if count > 1 else ''} 1{f' to {count}' if count > 1 else ''}"
        said += f" above the header {'were' if count > 1 else 'was'} not read as data."
        notes.append(Note(code="preamble", done="ignored", count=count, text=said, line=1))
    if layout.unit_line:
        said = f"Line {layout.unit_line} holds the units."
        notes.append(Note(code="unit-row", done="found", count=1, text=said, line=layout.unit_line))
    if not layout.header_line:
        said = "The file has no header; its columns are called by their number."
        notes.append(Note(code="no-header", done="found", count=1, text=said))
    if text.nuls:
        said = f"{text.nuls} zero bytes at the end, as after a loss of power, were left out."
        notes.append(Note(code="zero-bytes", done="repaired", count=text.nuls, text=said))
    return notes


def open_parquet(raw: Raw, words: Words) -> Table:
    """Return the table of a Parquet file. Raises DocumentError for a damaged one."""

    def source() -> BytesIO | str:
        return BytesIO(raw.source) if isinstance(raw.source, bytes) else str(raw.source)

    try:
        scan = pl.scan_parquet(source())
        schema = scan.collect_schema()
        count = int(scan.select(pl.len()).collect().item())
    except (pl.exceptions.PolarsError, OSError, ValueError) as err:
        raise raw.error(f"a damaged Parquet file ({_short(err)})") from None
    usable = [n for n, t in schema.items() if t.is_numeric() or t.is_temporal()]
    usable += [n for n, t in schema.items() if t in (pl.Boolean, pl.String, pl.Null)]
    if len(schema) > MAX_COLUMNS:
        raise raw.error(f"{len(schema)} columns; expected {MAX_COLUMNS} at most")
    names = [name for name in schema if name in usable]
    titles = [split_title(name, words) for name in names]
    units = [
        "s" if schema[name].is_temporal() else "" if words.measures_nothing(unit) else unit
        for name, (_, unit) in zip(names, titles, strict=True)
    ]

    def rows(start: int, length: int, wanted: Sequence[str]) -> pl.DataFrame:
        try:
            part = pl.scan_parquet(source()).select(wanted).slice(start, length).collect()
        except (pl.exceptions.PolarsError, OSError, ValueError) as err:
            raise raw.error(f"a damaged Parquet file ({_short(err)})") from None
        return part.select(_as_seconds(name, dtype) for name, dtype in part.schema.items())

    def fill(columns: Sequence[Filled]) -> Rows:
        _refuse_many(raw, count, len(columns))
        for start in range(0, count, SLICE):
            part = rows(start, SLICE, [names[column.index] for column in columns])
            for k, column in enumerate(columns):
                column.add(part.to_series(k), words)
        return Rows(count=count)

    starts = sorted({k * max(0, count - 250) // 15 for k in range(16)})
    small = count <= SAMPLE_ROWS
    parts = [rows(0, count, names)] if small else [rows(start, 250, names) for start in starts]
    table = Table(
        format="parquet",
        names=tuple(name for name, _ in titles),
        units=tuple(words.unit(unit) for unit in units),
        sample=tuple(pl.concat(parts).get_columns()),
        fill=fill,
    )
    for name in (n for n in schema if n not in usable):
        said = f"{name!r} was ignored: it holds {schema[name]} and no numbers."
        table.notes.append(
            Note(code="column-ignored", done="ignored", count=1, text=said, column=name)
        )
    return table


def _as_seconds(name: str, dtype: pl.DataType) -> pl.Expr:
    column = pl.col(name)
    if dtype in (pl.Datetime, pl.Date):
        return column.cast(pl.Datetime("us")).dt.epoch("us").cast(pl.Float64) / 1e6
    if dtype == pl.Duration:
        return column.dt.total_microseconds().cast(pl.Float64) / 1e6
    if dtype == pl.Time:
        return column.cast(pl.Duration("us")).dt.total_microseconds().cast(pl.Float64) / 1e6
    # No number, switch or clock is longer, and a long text would be looked through in vain.
    return column.str.slice(0, LONGEST) if dtype == pl.String else column.cast(pl.Float64)


def _short(err: Exception) -> str:
    return str(err).partition("\n")[0][:120]
