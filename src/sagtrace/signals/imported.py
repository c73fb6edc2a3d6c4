"""What came of a file: the trace, every column, and an account of all that was done to it.

A note counts one thing that was found, repaired, refused or ignored and says it in a sentence, so
that nothing is dropped silently. Sentences are made where the counting is done; here they are kept.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from sagtrace.signals.claims import Guess
from sagtrace.signals.timebase import Gap, Spacing
from sagtrace.signals.trace import Trace

__all__ = ["Assignment", "ColumnInfo", "Done", "Imported", "ImportReport", "Note", "SAID_NO"]

SAID_NO = "a person left it out"

Done = Literal["found", "repaired", "refused", "ignored"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Assignment:
    """What a person said about a file before it is read.

    `roles` maps a column's name to a role with its unit, such as "height.rear [mm]", to
    "time [s]", or to "-" for a column to leave out. Without `guess` only those columns and
    columns that are named like a role are used.
    """

    roles: Mapping[str, str] = field(default_factory=dict)
    rate: str = ""  # of the samples, for a file without a time, such as "10 Hz"
    guess: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Note:
    """One thing that was done to a file, counted."""

    code: str
    done: Done
    count: int
    text: str
    column: str = ""  # "" if it is about the file
    line: int | None = None  # of the first time it happened
    example: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ColumnInfo:
    """One column: its name, what it was taken for and why, and what else it may be."""

    name: str
    unit: str  # as the file has it; "" if it has none
    role: str = ""  # "" if it is not used
    role_unit: str = ""  # the unit it was read in
    confidence: float = 0.0
    reason: str = ""
    guesses: tuple[Guess, ...] = ()  # best first
    unsettled: bool = False  # it may have a role, and a person must say
    missing: int = 0  # samples of the time axis without a value, of those at its own rate


@dataclass(frozen=True, kw_only=True)
class ImportReport:
    """How a file was read, and everything that was repaired, refused or ignored."""

    file: str
    size: int  # [bytes]
    sha256: str  # of the file as it came
    format: Literal["text", "parquet", "mdf"]
    encoding: str = ""
    separator: str = ""
    decimal: str = ""
    rows: int = 0  # below the header, as they came
    samples: int = 0  # of the time axis
    spacing: Spacing | None = None
    gaps: tuple[Gap, ...] = ()
    notes: tuple[Note, ...] = ()

    def count(self, code: str, column: str = "") -> int:
        """Return how often something happened, in a column or, with "", to the file."""
        return sum(n.count for n in self.notes if n.code == code and n.column == column)

    def total(self, done: Done) -> int:
        """Return how much was found, repaired, refused or ignored in all."""
        return sum(n.count for n in self.notes if n.done == done)

    def sentences(self) -> tuple[str, ...]:
        """Return the whole account."""
        return tuple(note.text for note in self.notes)


@dataclass(frozen=True, kw_only=True)
class Imported:
    """A file as read."""

    trace: Trace
    report: ImportReport
    columns: tuple[ColumnInfo, ...]

    @property
    def unsettled(self) -> tuple[ColumnInfo, ...]:
        """The columns of which a person must say what they are."""
        return tuple(column for column in self.columns if column.unsettled)

    def assignment(self) -> Mapping[str, str]:
        """Return what reads this file again in the same way; empty if its header says it all."""
        used = [c for c in self.columns if c.role]
        if all(c.reason == "" for c in used) and all(c.reason != SAID_NO for c in self.columns):
            return {}
        return {c.name: f"{c.role} [{c.role_unit or '-'}]" for c in used}
