"""The account of an import: what was counted becomes sentences.

Every sentence says what, how often, where first, and what was made of it. Assumes lines as an
editor counts them.
"""

from __future__ import annotations

from sagtrace.adapters.recordings.filled import Filled, Rows
from sagtrace.adapters.recordings.table import Table
from sagtrace.signals.imported import Done, Note
from sagtrace.signals.timebase import Gap, Spacing, find_gaps, spacing
from sagtrace.signals.trace import Trace

__all__ = ["Account", "counted"]

GAPS_SAID = 5  # chosen: more are counted but not listed
ROUNDED = 9  # [-] chosen: decimals of a time in seconds; less is rounding
NAMES = {"utf-8": "UTF-8", "utf-16-le": "UTF-16 LE", "utf-16-be": "UTF-16 BE"}


def counted(n: int, one: str, more: str = "") -> str:
    """Return the number with its noun."""
    return f"{n} {one if n == 1 else more or one + 's'}"


class Account:
    """Collects notes while a file is read."""

    def __init__(self, table: Table) -> None:
        self.notes: list[Note] = list(table.notes)

    def add(
        self,
        code: str,
        done: Done,
        count: int,
        text: str,
        *,
        column: str = "",
        line: int | None = None,
        example: str = "",
    ) -> None:
        """Note something that happened, unless it never did."""
        if count:
            self.notes.append(
                Note(
                    code=code,
                    done=done,
                    count=count,
                    text=text,
                    column=column,
                    line=line,
                    example=example,
                )
            )

    def rows(self, rows: Rows) -> None:
        """Say what became of the rows."""
        self.add("rows", "found", rows.count, f"{counted(rows.count, 'row')} of values.")
        self.add(
            "blank-rows", "ignored", rows.blank, f"{counted(rows.blank, 'row')} without a value."
        )
        first = f", first in line {rows.short_line}" if rows.short_line else ""
        text = f"{counted(rows.short, 'row')} had fewer cells than the header{first}; "
        text += "what they lack counts as missing."
        self.add("short-rows", "repaired", rows.short, text, line=rows.short_line)
        first = f", first in line {rows.long_line}" if rows.long_line else ""
        text = f"{counted(rows.long, 'row')} had more cells than the header{first}, and "
        text += f"{'was' if rows.long == 1 else 'were'} left out: nothing says which is which."
        self.add("long-rows", "refused", rows.long, text, line=rows.long_line)
        text = "The last line is cut off and was left out."
        self.add("cut-row", "refused", rows.cut, text)

    def cells(self, name: str, column: Filled, rows: Rows, missing: int) -> None:
        """Say what became of a column's cells."""
        line = rows.line(column.row) if column.wrong else None
        where = f" in line {line}" if line else ""
        text = f"{name}: {counted(column.wrong, 'cell')} held no number, for example "
        text += f"{column.example!r}{where}; {'it counts' if column.wrong == 1 else 'they count'}"
        text += " as missing."
        self.add(
            "no-number",
            "refused",
            column.wrong,
            text,
            column=name,
            line=line,
            example=column.example,
        )
        text = f"{name}: {counted(column.texts, 'cell')} in words were read as on (1) or off (0)."
        self.add("words", "repaired", column.texts, text, column=name)
        empty = missing - column.wrong
        self.add("empty", "found", empty, f"{name}: {counted(empty, 'cell')} empty.", column=name)

    def time(self, trace: Trace) -> tuple[Spacing, tuple[Gap, ...]]:
        """Say how the samples lie."""
        found = spacing(trace.time)
        gaps = find_gaps(trace.time, found.median)
        span = float(trace.time[-1] - trace.time[0])
        text = f"{len(trace.time)} samples over {span:.6g} s, usually {found.median:.4g} s apart "
        text += f"(the middle half differs by {round(found.spread, ROUNDED):.2g} s)."
        self.add("spacing", "found", len(trace.time), text)
        listed = ", ".join(f"{g.start:.6g} to {g.end:.6g} s" for g in gaps[:GAPS_SAID])
        more = f" and {len(gaps) - GAPS_SAID} more" if len(gaps) > GAPS_SAID else ""
        self.add("gaps", "found", len(gaps), f"{counted(len(gaps), 'gap')}: {listed}{more}.")
        return found, gaps
