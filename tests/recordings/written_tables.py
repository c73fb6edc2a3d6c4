"""A known recording, and the ways in which people's tools write it down."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sagtrace.adapters.recordings.read import import_recording
from sagtrace.adapters.words import load_words
from sagtrace.signals.imported import Assignment, Imported

Array = NDArray[np.float64]

COUNT = 60
_ROW = np.arange(COUNT, dtype=np.float64)
TIME: Array = np.asarray(_ROW * 0.5, dtype=np.float64)
HEIGHT: Array = np.asarray(np.round(404.0 - 0.37 * _ROW % 17, 2), dtype=np.float64)  # [mm]
PUMP: Array = (_ROW % 20 < 5).astype(np.float64)
SUPPLY: Array = np.round(12.4 - 0.6 * PUMP + 0.01 * (_ROW % 7), 2)  # [V]
CURRENT: Array = np.round(17.5 * PUMP + 0.02 * (_ROW % 5), 2)  # [A]

TITLES = ("Time", "Rear height", "Compressor relay", "Battery voltage", "Compressor current")
UNITS = ("s", "mm", "", "V", "A")
ROLES = ("time", "height.rear", "pump.command", "supply", "pump.current")


def plain(x: float) -> str:
    return f"{x:.12g}"


def comma(x: float) -> str:
    return plain(x).replace(".", ",")


@dataclass(frozen=True, kw_only=True)
class Written:
    """How a table is written down."""

    separator: str = ","
    number: Callable[[float], str] = plain
    bracket: str = " [{}]"
    unit_row: bool = False
    preamble: Sequence[str] = ()
    end: str = "\n"
    encoding: str = "utf-8"
    mark: bytes = b""
    quote: str = ""
    titles: Sequence[str] = TITLES
    units: Sequence[str] = UNITS
    columns: Sequence[Sequence[str]] | None = None  # texts, instead of the known numbers
    cells: Mapping[int, Callable[[float], str]] = field(default_factory=dict)
    footer: Sequence[str] = ()
    last_end: bool = True

    def rows(self) -> list[list[str]]:
        if self.columns is not None:
            return [list(row) for row in zip(*self.columns, strict=True)]
        arrays = (TIME, HEIGHT, PUMP, SUPPLY, CURRENT)
        writers = [self.cells.get(i, self.number) for i in range(len(arrays))]
        return [
            [write(float(x)) for write, x in zip(writers, row, strict=True)]
            for row in zip(*arrays, strict=True)
        ]

    def lines(self) -> list[str]:
        titles = [
            title + (self.bracket.format(unit) if unit and not self.unit_row else "")
            for title, unit in zip(self.titles, self.units, strict=True)
        ]
        rows = [titles, *([list(self.units)] if self.unit_row else []), *self.rows()]
        q = self.quote
        body = [self.separator.join(f"{q}{cell}{q}" for cell in row) for row in rows]
        return [*self.preamble, *body, *self.footer]

    def bytes(self) -> bytes:
        text = self.end.join(self.lines()) + (self.end if self.last_end else "")
        return self.mark + text.encode(self.encoding)


def imported(
    data: bytes | Path,
    roles: Mapping[str, str] | None = None,
    rate: str = "",
    *,
    guess: bool = True,
    remembered: Mapping[tuple[str, str], str] | None = None,
) -> Imported:
    return import_recording(
        data,
        "drive.csv",
        words=load_words(),
        assignment=Assignment(roles=roles or {}, rate=rate, guess=guess),
        remembered=remembered,
    )


def assert_known(found: Imported, time: NDArray[np.floating[Any]] = TIME) -> None:
    """Every channel of the known recording came back, to nine digits."""
    assert found.unsettled == ()
    np.testing.assert_allclose(found.trace.time, time, rtol=1e-9, atol=1e-9)
    expected: dict[str, Array] = {
        "height.rear": HEIGHT / 1000.0,
        "pump.command": PUMP,
        "supply": SUPPLY,
        "pump.current": CURRENT,
    }
    assert found.trace.channels.keys() == expected.keys()
    for role, values in expected.items():
        np.testing.assert_allclose(found.trace.channels[role], values, rtol=1e-9, err_msg=role)


def codes(found: Imported) -> dict[str, int]:
    """Everything that was repaired, refused or ignored, by code."""
    return {n.code: n.count for n in found.report.notes if n.done != "found"}
