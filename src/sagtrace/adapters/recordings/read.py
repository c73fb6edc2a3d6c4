"""Import of a recording: bytes in, trace and account out.

Assumes a table of columns with titles; see the modules beside this one for what is understood. The
file is never changed. Every refusal is a DocumentError, or an InputError for what a person said
about the file. Limits: those of `raw`, `layout` and `table`; fewer than `LEAST_ROWS` samples are no
recording.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from sagtrace.adapters.recordings.account import Account, counted
from sagtrace.adapters.recordings.channels import to_si
from sagtrace.adapters.recordings.choose import TIME, Choice, Remembered, choose
from sagtrace.adapters.recordings.columns import Column, look
from sagtrace.adapters.recordings.filled import Filled, Rows
from sagtrace.adapters.recordings.infos import column_info
from sagtrace.adapters.recordings.raw import Raw, kind_of
from sagtrace.adapters.recordings.rising import Group, from_the_start, rising_time
from sagtrace.adapters.recordings.table import Table, open_parquet, open_text
from sagtrace.adapters.recordings.times import TimeBase, Times, find_times
from sagtrace.signals.imported import Assignment, Imported, ImportReport
from sagtrace.signals.naming import Words
from sagtrace.signals.timebase import Rising, merge_rows, on_axis, union
from sagtrace.signals.trace import ROLES, Trace
from sagtrace.units import parse_quantity

__all__ = ["import_recording", "LEAST_ROWS"]

Array = NDArray[np.float64]

LEAST_ROWS = 10  # [-] chosen: fewer samples show neither a rest nor a fill
FEW_KEPT = 0.5  # [-] chosen: if fewer rows than this fit, the file was not understood


def import_recording(
    source: bytes | Path,
    name: str,
    *,
    words: Words,
    assignment: Assignment | None = None,
    remembered: Remembered | None = None,
) -> Imported:
    """Return the recording in a file, or in its bytes, with an account of how it was read.

    `name` is what the file is called in an error. Raises DocumentError for a file that is no
    recording, InputError for an assignment that does not fit it, and MissingPartError for MDF
    without the library that reads it.
    """
    raw = Raw(source, name)
    with ThreadPoolExecutor(1) as aside:  # because the digest needs no more than the bytes
        digest = aside.submit(raw.sha256)
        return _imported(raw, words, assignment or Assignment(), remembered or {}, digest)


def _imported(
    raw: Raw, words: Words, said: Assignment, remembered: Remembered, digest: Future[str]
) -> Imported:
    if said.rate:  # even where the file has a time, because the job would keep it
        _rate(raw, said)
    table = _open(raw, words)
    columns = look(table, words)
    choice = choose(raw, table.header_line, columns, said, remembered)
    if table.problem:
        raise raw.error(table.problem, table.header_line, "header")
    spoken = {i: g.unit for i, g in choice.roles.items() if g.role == TIME}
    times = find_times(
        raw, table.header_line, columns, words, spoken, choice.left_out, table.groups
    )
    _drop_times(choice, times)
    bases = times.bases or [_by_rate(raw, table, columns, said)]
    account = Account(table)
    filled, rows = _fill(raw, table, columns, choice, bases)
    account.rows(rows)
    trace, missing = _trace(raw, account, bases, choice, columns, filled, rows, said)
    found, gaps = account.time(trace)
    infos = tuple(column_info(c, choice, times, missing, account) for c in columns)
    report = ImportReport(
        file=raw.name,
        size=raw.size,
        sha256=digest.result(),
        format=table.format,
        encoding=table.encoding,
        separator=table.separator,
        decimal=_decimal(columns, filled) if table.format == "text" else "",
        rows=rows.count,
        samples=len(trace.time),
        spacing=found,
        gaps=gaps,
        notes=tuple(account.notes),
    )
    return Imported(trace=trace, report=report, columns=infos)


def _open(raw: Raw, words: Words) -> Table:
    kind = kind_of(raw)
    if kind == "parquet":
        return open_parquet(raw, words)
    if kind == "mdf":
        # Imported where it is needed, because its library is large and optional.
        from sagtrace.adapters.recordings.mdf import open_mdf

        return open_mdf(raw, words)
    return open_text(raw, words)


def _drop_times(choice: Choice, times: Times) -> None:
    """Take the time columns out of what is left to a person."""
    telling = {c.index for base in times.bases for c in base.time}
    telling |= {c.index for c in (*times.others, *times.lost)}
    choice.open -= telling
    for i in telling & choice.roles.keys():
        if choice.roles[i].role != TIME:
            del choice.roles[i]


def _by_rate(raw: Raw, table: Table, columns: Sequence[Column], said: Assignment) -> TimeBase:
    if not said.rate:
        problem = (
            "no time column; expected one named time [s] beside columns such as height.rear [mm] "
            "and pump.command [-], or the rate of the samples: --rate '10 Hz'"
        )
        raise raw.error(problem, table.header_line, "header")
    return TimeBase(time=(), unit="s", channels=list(columns))


def _fill(
    raw: Raw, table: Table, columns: Sequence[Column], choice: Choice, bases: Sequence[TimeBase]
) -> tuple[dict[int, Filled], Rows]:
    """Read the columns that are used."""
    wanted = {c.index: c for base in bases for c in base.time}
    wanted |= {
        c.index: c
        for base in bases
        for c in base.channels
        if c.index in choice.roles and choice.roles[c.index].role != TIME
    }
    if len(wanted) == sum(len(base.time) for base in bases) and len(columns) == len(wanted):
        known = ", ".join(list(ROLES)[:6])
        problem = f"nothing but a time; expected at least one of {known} …"
        raise raw.error(problem, table.header_line, "header")
    filled = {i: wanted[i].filled() for i in sorted(wanted)}
    if not filled:  # no time and no role: only the rows are counted
        first = next((c for c in columns if c.holds in ("number", "switch", "clock")), None)
        if first is None:
            raise raw.error("no column of numbers below the header", table.header_line)
        filled = {first.index: first.filled()}
    rows = table.fill(list(filled.values()))
    if rows.count - rows.long - rows.cut < FEW_KEPT * rows.count:
        problem = (
            f"{rows.long} of {rows.count} rows have more cells than the header, first in line "
            f"{rows.long_line}; expected {len(columns)} cells in each. Is there a decimal comma?"
        )
        raise raw.error(problem, rows.long_line)
    return filled, rows


def _trace(
    raw: Raw,
    account: Account,
    bases: Sequence[TimeBase],
    choice: Choice,
    columns: Sequence[Column],
    filled: Mapping[int, Filled],
    rows: Rows,
    said: Assignment,
) -> tuple[Trace, dict[str, int]]:
    read: list[Group] = []
    for base in bases:
        used = [c for c in base.channels if c.index in filled and c.index in choice.roles]
        values = {c.index: filled[c.index].values() for c in used}
        for column in used:
            account.cells(column.name, filled[column.index], rows, _lost(values[column.index]))
        # The wrong cells of a column are known by their row, so they come before the time.
        si = {
            c.index: to_si(raw, account, c.name, choice.roles[c.index], values.pop(c.index), rows)
            for c in used
        }
        if base.time:
            rising, keep = rising_time(
                raw, account, base, filled, rows, list(si.values()), alone=len(bases) == 1
            )
        else:
            count = next(iter(filled.values())).count
            rising, keep = _even(count, _rate(raw, said)), None
        read.append((rising, keep, used, si))
    _refuse_short(raw, max(r.time.size for r, *_ in read))
    read = from_the_start(account, bases, read)
    axis = union([rising.time for rising, *_ in read])
    channels, missing = {}, {}
    for rising, keep, used, si in read:
        lost = 0
        for column in used:
            own = si.pop(column.index)
            merged, gone = merge_rows(own if keep is None else own[keep], rising)
            lost += gone
            role = choice.roles[column.index].role
            missing[role] = _lost(merged)
            channels[role] = on_axis(merged, rising.time, axis)
        text = (
            f"{counted(rising.merged, 'row')} had the time of the row before and became one with it"
        )
        text += (
            f"; of {counted(lost, 'value')} that differed the later one counts." if lost else "."
        )
        account.add("merged", "repaired", rising.merged, text)
    return Trace(time=axis, channels=channels), missing


def _rate(raw: Raw, said: Assignment) -> float:
    """Return the rate that was said [Hz]."""
    rate = parse_quantity(said.rate, "frequency", name="rate").value
    if not (rate > 0.0 and math.isfinite(rate)):
        raise raw.error(f"a rate of {said.rate}; expected one above zero, such as 10 Hz")
    return rate


def _even(count: int, rate: float) -> Rising:
    time = np.arange(count) / rate
    return Rising(time=time, order=None, starts=None, backward=0, restarts=(), merged=0)


def _lost(values: Array) -> int:
    if not np.isnan(np.add.reduce(values)):  # most often, and told sooner than counted
        return 0
    return int(np.count_nonzero(np.isnan(values)))


def _refuse_short(raw: Raw, count: int) -> None:
    if count < LEAST_ROWS:
        problem = f"{count} rows below the header; expected at least {LEAST_ROWS}"
        raise raw.error(problem)


def _decimal(columns: Sequence[Column], filled: Mapping[int, Filled]) -> str:
    signs = {columns[i].decimal for i in filled if columns[i].holds == "number"}
    return " and ".join(sorted({".": "point", ",": "comma"}.get(sign, "") for sign in signs))
