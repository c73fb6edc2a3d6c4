"""A recording from a plain CSV file: one header row, commas, decimal points.

A header cell is `role [unit]`, such as `time [s]`, `height.rear [mm]`, `pump.command [-]`; the
roles are those of `sagtrace.signals.trace.ROLES`. An empty cell or `nan` is a missing sample.
Every refusal is a DocumentError with line and column. Limits: `MAX_BYTES`; no quotes, no other
separators, no decimal commas, no unknown columns; the whole file is held in memory.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from sagtrace.errors import DocumentError, InputError, UnknownIdError
from sagtrace.signals.trace import ROLES, Trace
from sagtrace.units import KINDS, parse_quantity

__all__ = ["read_csv_recording"]

Array = NDArray[np.float64]

MAX_BYTES = 200_000_000  # [-] chosen: a day at 50 Hz with 12 channels is about this
LEAST_ROWS = 10  # [-] chosen: fewer samples show neither a rest nor a fill
SHOWN = 40  # [characters] chosen: how much of a wrong cell an error repeats
FORM = "a name and a unit, for example time [s], height.rear [mm], pump.command [-]"
TIME = "time"
COMMANDS = frozenset({"pump.command", "vent.command", "engine"})
# Two readings that lie inside the sanity range of every kind in any usual unit of it.
PROBES = {"temperature": (200.0, 300.0)}
USUAL_PROBES = (1.0, 2.0)
OTHER_IN_UNITS = "°\"'″′’ "


@dataclass(frozen=True, slots=True, kw_only=True)
class _Column:
    role: str
    kind: str
    scale: float  # SI value = scale * number + offset
    offset: float


def read_csv_recording(data: bytes, name: str) -> Trace:
    """Return the recording that the bytes of a CSV file hold, in SI.

    `name` is what the file is called in an error. Raises DocumentError, and nothing else, for
    bytes that are no such recording.
    """
    header, lines = _lines(name, data)
    columns = _columns(name, header)
    table, numbers = _table(name, lines, len(columns))
    values = {
        column.role: _values(name, column, table[f"field_{i}"], numbers)
        for i, column in enumerate(columns)
    }
    time = values.pop(TIME)
    _check_time(name, time, numbers)
    return Trace(time=time, channels=values)


def _lines(name: str, data: bytes) -> tuple[str, pl.Series]:
    """Return the header and the lines below it."""
    if len(data) > MAX_BYTES:
        size = f"{len(data) / 1e6:.0f} MB; expected {MAX_BYTES / 1e6:.0f} MB at most"
        raise DocumentError(
            name, None, "", f"{size}. Cut the recording or record fewer times a second"
        )
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as err:
        line = data.count(b"\n", 0, err.start) + 1
        problem = "bytes that are no text; expected a CSV file saved as UTF-8"
        raise DocumentError(name, line, "", problem) from err
    if (nul := text.find("\0")) >= 0:
        line = text.count("\n", 0, nul) + 1
        raise DocumentError(name, line, "", "a zero byte; expected a CSV file, which is text")
    if not text.strip():
        raise DocumentError(name, None, "", f"the file is empty; expected a header row with {FORM}")
    header, *rest = text.replace("\r\n", "\n").split("\n")
    return header, pl.Series("line", rest, dtype=pl.String)


def _columns(name: str, header: str) -> tuple[_Column, ...]:
    cells = header.split(",")
    if len(cells) == 1 and re.search(r"[;\t|]", header):
        raise DocumentError(name, 1, "", "expected commas between the cells of the header row")
    columns = tuple(_column(name, cell) for cell in cells)
    roles = [column.role for column in columns]
    if TIME not in roles:
        raise DocumentError(name, 1, "header", "no time column; expected one named time [s]")
    if len(roles) == 1:
        known = ", ".join(ROLES)
        raise DocumentError(
            name, 1, "header", f"nothing but a time; expected at least one of {known}"
        )
    for i, role in enumerate(roles):
        if role in roles[:i]:
            raise DocumentError(name, 1, role, "stands twice in the header row; expected it once")
    return columns


def _column(name: str, cell: str) -> _Column:
    title, bracket, rest = cell.strip().partition("[")
    role, unit = title.strip(), rest.removesuffix("]") if bracket else None
    if (
        not role
        or "]" in role
        or (bracket and (not rest.endswith("]") or set("[]") & set(unit or "")))
    ):
        problem = f"{_short(cell)} is no column title; expected {FORM}"
        raise DocumentError(name, 1, "header", problem)
    kinds = {TIME: "time", **ROLES}
    if role not in kinds:
        unknown = UnknownIdError("channel", role[:SHOWN], kinds)
        raise DocumentError(name, 1, "header", str(unknown))
    scale, offset = _to_si(name, role, kinds[role], unit)
    return _Column(role=role, kind=kinds[role], scale=scale, offset=offset)


def _to_si(name: str, role: str, kind: str, unit: str | None) -> tuple[float, float]:
    """Return scale and offset of a unit as typed in a header."""
    if KINDS[kind].dimension == "count":
        if unit is not None and unit.strip() not in ("", "-", "–", "1"):
            problem = f"{_short(unit)} is no unit of a command; expected [-], and 0 or 1 below"
            raise DocumentError(name, 1, role, problem)
        return 1.0, 0.0
    shown = "s" if kind == "time" else KINDS[kind].shown_unit
    if unit is None or not unit.strip():
        problem = f"no unit; expected one in brackets, for example {role} [{shown}]"
        raise DocumentError(name, 1, role, problem)
    low, high = PROBES.get(kind, USUAL_PROBES)
    try:
        first, second = (_read(probe, unit.strip(), kind, role) for probe in (low, high))
    except InputError as err:
        what = f"expected a unit of {KINDS[kind].dimension}, for example [{shown}]"
        problem = f"{_short(unit)} is no unit that fits; {what}"
        raise DocumentError(name, 1, role, problem) from err
    scale = (second - first) / (high - low)
    return scale, first - scale * low


def _read(number: float, unit: str, kind: str, role: str) -> float:
    # Digits and signs are refused because 1 with the "unit" 1/2 in would read as one and a half.
    if not all(char.isalpha() or char in OTHER_IN_UNITS for char in unit):
        raise InputError(f"{unit!r} is not a unit alone.")
    return parse_quantity(f"{number:g} {unit}", kind, name=role).value


def _table(name: str, lines: pl.Series, width: int) -> tuple[pl.DataFrame, Array]:
    """Return the cells as text, and the line of each row in the file."""
    table = lines.to_frame().with_row_index("number", offset=2)
    table = table.filter(pl.col("line").str.strip_chars() != "")
    commas = table["line"].str.count_matches(",", literal=True)
    numbers = table["number"].cast(pl.Float64).to_numpy()
    if (row := _first(commas.to_numpy() != width - 1)) is not None:
        problem = f"{commas[row] + 1} cells; expected {width}, as many as the header has"
        raise DocumentError(name, int(numbers[row]), "", problem)
    if table.height < LEAST_ROWS:
        problem = f"{table.height} rows below the header; expected at least {LEAST_ROWS}"
        raise DocumentError(name, None, "", problem)
    cells = table.select(pl.col("line").str.split_exact(",", width - 1)).unnest("line")
    return cells.select(pl.all().str.strip_chars()), numbers


def _values(name: str, column: _Column, cells: pl.Series, numbers: Array) -> Array:
    cast = cells.cast(pl.Float64, strict=False)
    raw = cast.fill_null(float("nan")).to_numpy()

    def refuse(wrong: NDArray[np.bool_], rule: Callable[[str], str]) -> None:
        if (row := _first(wrong)) is not None:
            raise DocumentError(name, int(numbers[row]), column.role, rule(_short(cells[row])))

    text = (cast.is_null() & (cells != "")).to_numpy()
    refuse(text, lambda cell: f"{cell} is no number; expected one such as 401.5, or nothing")
    refuse(np.isinf(raw), lambda cell: f"{cell} is not finite; expected a number, or nothing")
    if column.role in COMMANDS:
        wrong = ~np.isnan(raw) & (raw != 0.0) & (raw != 1.0)
        refuse(wrong, lambda cell: f"{cell}; expected 0 (off) or 1 (on)")
    si = column.scale * raw + column.offset
    if column.role != TIME:
        kind = KINDS[column.kind]
        rule = f"expected {kind.low:g} to {kind.high:g} {kind.si_unit}".rstrip()
        beyond = (si < kind.low) | (si > kind.high)
        refuse(beyond, lambda cell: f"{cell} is outside what can be; {rule}. Is the unit right?")
    return np.ascontiguousarray(si, dtype=np.float64)


def _check_time(name: str, time: Array, numbers: Array) -> None:
    if (row := _first(np.isnan(time))) is not None:
        raise DocumentError(name, int(numbers[row]), TIME, "no time; expected one in every row")
    if (row := _first(np.diff(time) <= 0.0)) is not None:
        problem = "the time does not rise; expected it later than in the row before"
        raise DocumentError(name, int(numbers[row + 1]), TIME, problem)


def _first(wrong: NDArray[np.bool_]) -> int | None:
    return int(np.argmax(wrong)) if wrong.any() else None


def _short(text: str) -> str:
    return repr(text if len(text) <= SHOWN else text[:SHOWN] + "…")
