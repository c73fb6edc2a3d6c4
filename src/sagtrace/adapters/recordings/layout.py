"""How a text table is laid out: separator, lines above the header, names, units, decimals.

Assumes that the columns stand from the header to the end and that the separator is the one with
which most lines have the same number of cells that look like values. A decimal comma is told from
a comma between thousands by the cells of each column.
Limits: judged by the first lines; `MAX_COLUMNS`.
"""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from sagtrace.adapters.recordings.raw import Raw
from sagtrace.adapters.recordings.titles import bare, is_unit_row, split_title, unique_names
from sagtrace.signals.naming import Words

__all__ = [
    "first_lines",
    "HEAD_LINES",
    "Layout",
    "lay_out",
    "MAX_COLUMNS",
]

MAX_COLUMNS = 2000  # [-] chosen: a control unit has some hundred values to offer
HEAD_LINES = 200  # [lines] chosen: preambles are shorter
SCORED_LINES = 40  # [lines] chosen: the last ones, which stand below any preamble
HEAD_BYTES = 1 << 18  # [bytes] chosen: so many lines of some hundred columns
SEPARATORS = "\t;|,"  # of equal ones the first: a comma may be a decimal one
MOSTLY = 0.6  # [-] chosen: cells of a row that must look like values, or like units
KEPT = 0.5  # [-] chosen: lines that must agree on the number of cells
LONGEST = 64  # [characters] chosen: of a value
HEADER_ROWS = 4  # [rows] chosen: names, units, and perhaps groups and addresses

NUMBER = re.compile(r"[+\-−]?(?:\d[\d.,'’ \u00a0\u202f]*|[.,]\d+)(?:[eE][+-]?\d+)?")
TIME_TEXT = re.compile(
    r"(?:\d{1,4}[-./]\d{1,2}[-./]\d{1,4}[T ]*)?(?:\d{1,3}(?::\d{1,2}){1,2}(?:[.,:]\d+)?)?"
    r"\s*(?:[aApP]\.?[mM]\.?)?(?:Z|[+-]\d\d:?\d\d)?"
)
NAMED_SEPARATOR = re.compile(r'^"?sep=(.)"?$', re.I)


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """Where everything stands in a text table."""

    separator: str
    quoted: bool  # cells may stand in quotes
    names: tuple[str, ...]
    units: tuple[str, ...]  # "" if there is none
    header_line: int  # as an editor counts; 0 if there is no header
    unit_line: int  # 0 if there is none
    first_line: int  # of the first row of values
    narrow: str  # what is wrong with the width of the header; "" if nothing

    @property
    def width(self) -> int:
        """The number of columns."""
        return len(self.names)


def lay_out(raw: Raw, text: bytes, words: Words) -> Layout:
    """Return the layout of a table that begins with this text.

    Raises DocumentError if the text is no table.
    """
    head = first_lines(text[:HEAD_BYTES], HEAD_LINES)
    lines = [line.rstrip("\r") for line in head.decode("utf-8", "replace").split("\n")]
    if len(text) > HEAD_BYTES:
        if len(lines) == 1:
            problem = f"the first line has more than {HEAD_BYTES} bytes; expected a table in lines"
            raise raw.error(f"{problem}, with {MAX_COLUMNS} columns at most", line=1)
        lines.pop()
    told = NAMED_SEPARATOR.match(lines[0].strip())
    quoted = any('"' in line for line in lines)
    table, separator = _best_split(lines, told[1] if told else None, quoted, words)
    counts = Counter(len(row) for row in table if any(row)) or Counter([1])
    usual = counts.most_common(1)[0][0]
    body = _first_row(table, usual, words)
    if body is None:
        problem = (
            "no row of numbers in the first lines; expected a header row with a name and a unit "
            "in each cell, for example time [s], height.rear [mm], and numbers below"
        )
        raise raw.error(problem, line=1)
    names, units, header, unit_row = _titles(table, body, usual, words)
    narrow = _narrow_header(len(names), table[body:], separator) if header >= 0 else ""
    width = max(usual, len(names))
    if width > MAX_COLUMNS:
        problem = f"{width} columns; expected {MAX_COLUMNS} at most. Export fewer channels"
        raise raw.error(problem, line=header + 1)
    names += [""] * (width - len(names))
    units += [""] * (width - len(units))
    return Layout(
        separator=separator,
        quoted=quoted,
        names=tuple(unique_names(names)),
        units=tuple(units),
        header_line=header + 1,
        unit_line=unit_row + 1,
        first_line=body + 1,
        narrow=narrow,
    )


def first_lines(text: bytes, count: int) -> bytes:
    """Return so many lines from the start of a text, and the start of the next."""
    at = 0
    for _ in range(count):
        end = text.find(b"\n", at)
        if end < 0:
            return text
        at = end + 1
    return text[:at]


def _narrow_header(names: int, rows: Sequence[Sequence[str]], separator: str) -> str:
    """Return what is wrong with more cells than titles: nothing says which cell is whose."""
    beyond = [len(row) for row in rows if any(row[names:])]
    if beyond and len(beyond) > KEPT * len(rows):
        hint = " Is there a decimal comma between commas?" if separator == "," else ""
        problem = f"its rows have {max(beyond)} cells and the header {names}; expected as many."
        return f"{problem}{hint}"
    return ""


def _best_split(
    lines: Sequence[str], told: str | None, quoted: bool, words: Words
) -> tuple[list[list[str]], str]:
    best: tuple[float, list[list[str]], str] | None = None
    used = [s for s in told or SEPARATORS if any(s in line for line in lines)]
    for separator in used or [told or ","]:
        table = _split(lines, separator, quoted)
        counts = Counter(len(row) for row in table if any(row))
        if not counts:
            continue
        usual, often = counts.most_common(1)[0]
        rows = [row for row in table if len(row) == usual][-SCORED_LINES:]
        good = sum(_value_share(row, words) for row in rows) / len(rows)
        score = good * often / sum(counts.values()) * (1.0 if usual > 1 else 0.3)
        if best is None or score > best[0] + 1e-9:
            best = (score, table, separator)
    if best is None:
        return [[""]], ","
    return best[1], best[2]


def _split(lines: Sequence[str], separator: str, quoted: bool) -> list[list[str]]:
    if not quoted:
        return [[cell.strip() for cell in line.split(separator)] for line in lines]
    # Line by line, because an inch sign must not swallow the lines below it.
    rows = []
    for line in lines:
        try:
            row = next(csv.reader([line], delimiter=separator), [])
        except csv.Error:
            row = line.split(separator)
        rows.append([cell.strip() for cell in row] or [""])
    return rows


def looks_like_value(cell: str, words: Words) -> bool:
    """Say whether a cell may stand below a header."""
    if len(cell) > LONGEST:
        return False
    if NUMBER.fullmatch(cell) or (cell[:1].isdigit() and TIME_TEXT.fullmatch(cell)):
        return True
    plain = cell.casefold()
    return plain in words.missing or plain in words.on or plain in words.off


def _value_share(row: Sequence[str], words: Words) -> float:
    cells = [cell for cell in row if cell]
    return sum(looks_like_value(cell, words) for cell in cells) / len(cells) if cells else 0.0


def _first_row(table: Sequence[Sequence[str]], usual: int, words: Words) -> int | None:
    for i, row in enumerate(table):
        # A lone number in a preamble has fewer cells than the table.
        enough = len(row) >= max(1, usual - 1) and any(NUMBER.match(cell) for cell in row)
        if enough and _value_share(row, words) > MOSTLY:
            return i
    return None


def _titles(
    table: Sequence[Sequence[str]], body: int, usual: int, words: Words
) -> tuple[list[str], list[str], int, int]:
    """Return names, units, and the places of header and unit row; -1 if there is none."""
    rows = []
    for i in range(body - 1, max(-1, body - 1 - HEADER_ROWS), -1):
        if any(table[i]) and (len(table[i]) >= usual - 1 or (usual > 1 and len(table[i]) > 1)):
            rows.append(i)
        elif any(table[i]):
            if not rows and usual > 1 and i == body - 1:
                rows.append(i)  # a header that was split in another way than its rows
            break
    unit_row = next((i for i in rows if is_unit_row(table[i], words)), -1)
    header = next((i for i in rows if i != unit_row), -1)
    if header < 0 and unit_row >= 0:  # a header of units alone, such as s;V;A, names nothing
        header, unit_row = unit_row, -1
    if header < 0:
        return [], [], -1, -1
    titles = [split_title(cell, words) for cell in table[header]]
    below = [bare(cell) for cell in table[unit_row]] if unit_row >= 0 else []
    below += [""] * (len(titles) - len(below))
    units = [
        words.unit("" if words.measures_nothing(u) else u)
        for u in (own or low for (_, own), low in zip(titles, below, strict=False))
    ]
    return [name for name, _ in titles], units, header, unit_row
