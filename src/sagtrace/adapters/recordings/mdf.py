"""Recordings in ASAM MDF 4, read by the library asammdf, an optional part of the installation.

Every channel group has a time of its own; a channel keeps its group's. The file's blocks are walked
first, so that the library gets none that are endless or unpack to more than they say.
Limits: finished files of version 4; channels of numbers or short texts, one value a sample.
"""

from __future__ import annotations

import gc
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from io import BytesIO
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from sagtrace.adapters.recordings.blocks import check_blocks
from sagtrace.adapters.recordings.filled import Filled, Rows
from sagtrace.adapters.recordings.raw import Raw
from sagtrace.adapters.recordings.table import SAMPLE_ROWS, Table
from sagtrace.adapters.recordings.titles import split_title, unique_names
from sagtrace.errors import MissingPartError
from sagtrace.signals.imported import Note
from sagtrace.signals.naming import Words

__all__ = ["open_mdf"]

TIME_MASTER = 1  # synchronisation by time, ASAM MDF 4, channel block
MOST_TEXT = 1_000_000  # [samples] chosen: of a channel of texts


@dataclass(slots=True)
class _Channel:
    name: str
    unit: str
    cells: pl.Series
    group: int  # its master's place among all channels
    time: NDArray[np.float64]


def open_mdf(raw: Raw, words: Words) -> Table:
    """Return the channels of an MDF file.

    Raises MissingPartError without the library, and DocumentError for a damaged file.
    """
    check_blocks(raw)
    try:
        from asammdf import MDF
    except ImportError:
        raise MissingPartError(
            f"{raw.name} is an MDF file, and the library that reads these is not installed: "
            "pip install 'sagtrace[mdf]', or export the recording as CSV"
        ) from None
    notes: list[Note] = []
    channels, problem = _opened(MDF, raw, notes, words)
    if problem:
        raise raw.error(f"a damaged MDF file ({problem}); export it again, or as CSV")
    if not channels:
        raise raw.error("no channel with a time; expected an MDF file of a recording over time")

    def fill(columns: Sequence[Filled]) -> Rows:
        for column in columns:
            column.add(channels[column.index].cells, words)
        return Rows(count=max(column.count for column in columns))

    return Table(
        format="mdf",
        names=tuple(unique_names([channel.name for channel in channels])),
        units=tuple(channel.unit for channel in channels),
        sample=_in_step(channels),
        fill=fill,
        groups=tuple(channel.group for channel in channels),
        notes=notes,
    )


def _opened(reader: Any, raw: Raw, notes: list[Note], words: Words) -> tuple[list[_Channel], str]:
    """Return the channels, or what the library says against the file."""
    source = BytesIO(raw.source) if isinstance(raw.source, bytes) else raw.source
    hook = sys.unraisablehook
    # A reader that failed half-way complains a second time when it is thrown away.
    sys.unraisablehook = lambda _: None
    try:
        with reader(source) as mdf:
            return _channels(mdf, notes, words), ""
    except Exception as err:  # noqa: BLE001  because a damaged file makes the library raise anything
        problem = f"{type(err).__name__}: {err}".partition("\n")[0][:120]
        err.__traceback__ = None  # it holds the reader
    finally:
        gc.collect()
        sys.unraisablehook = hook
    return [], problem


def _channels(mdf: Any, notes: list[Note], words: Words) -> list[_Channel]:
    found: list[_Channel] = []
    for i, group in enumerate(mdf.groups):
        master = mdf.masters_db.get(i)
        if group.channel_group.cycles_nr == 0:
            continue
        if master is None or group.channels[master].sync_type != TIME_MASTER:
            _ignore(notes, f"channel group {i + 1}", "it has no time")
            continue
        time = np.asarray(mdf.get_master(i), dtype=np.float64)
        at = len(found)
        own = pl.Series(time)
        found.append(_Channel(group.channels[master].name, "s", own, at, time))
        for k, channel in enumerate(group.channels):
            if k == master:
                continue
            signal = mdf.get(group=i, index=k)
            cells, why = _cells(signal, time)
            if cells is None:
                _ignore(notes, channel.name, why)
                continue
            name, bracket = split_title(signal.name, words)
            unit = signal.unit or bracket
            unit = "" if words.measures_nothing(unit) else words.unit(unit)
            found.append(_Channel(name, unit, cells, at, time))
    return found


def _ignore(notes: list[Note], name: str, why: str) -> None:
    text = f"{name!r} was ignored: {why}."
    notes.append(Note(code="column-ignored", done="ignored", count=1, text=text, column=name))


def _cells(signal: Any, time: NDArray[np.float64]) -> tuple[pl.Series | None, str]:
    """Return a channel at every time of its group, or None and why not."""
    samples = signal.samples
    if samples.ndim != 1 or samples.dtype.names:
        return None, "it has several values a sample"
    if samples.dtype.kind in "biuf":
        values = samples.astype(np.float64)
        if signal.invalidation_bits is not None and len(signal.invalidation_bits) == len(values):
            values[np.asarray(signal.invalidation_bits, dtype=np.bool_)] = np.nan
        if len(values) != len(time):
            whole = np.full(len(time), np.nan)
            places = np.searchsorted(time, signal.timestamps).clip(0, len(time) - 1)
            whole[places] = values
            values = whole
        return pl.Series(values), ""
    if samples.dtype.kind in "SU" and len(samples) == len(time) <= MOST_TEXT:
        texts = samples.astype(str) if samples.dtype.kind == "U" else _decoded(samples)
        return pl.Series(texts, dtype=pl.String), ""
    return None, "it holds neither numbers nor short texts"


def _decoded(samples: NDArray[Any]) -> list[str]:
    return [bytes(text).decode("utf-8", "replace") for text in samples.tolist()]


def _in_step(channels: Sequence[_Channel]) -> tuple[pl.Series, ...]:
    """Return a sample of all channels at common times, each as it was last before them."""
    start = min(float(c.time[0]) for c in channels)
    end = max(float(c.time[-1]) for c in channels)
    common = np.linspace(start, end, SAMPLE_ROWS)
    sample = []
    for channel in channels:
        place = np.searchsorted(channel.time, common, side="right") - 1
        cells = channel.cells.gather(np.maximum(place, 0))
        sample.append(cells.set(pl.Series(place < 0), None))
    return tuple(sample)
