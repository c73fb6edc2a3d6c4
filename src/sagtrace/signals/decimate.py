"""Many samples drawn in few columns: the lowest and the highest of each column are kept.

All channels share one time axis, so each column has two times: a value stands at most one column
from where it was measured, and no extreme is lost. Where the samples have a gap the result has one
too, as a sample of NaN; so has a column in which a channel has no value. Assumes a rising time.
Limits: a missing value inside a column that has others is not seen; gaps are kept up to a quarter
of the columns, the longest first.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from sagtrace.errors import DomainError, InputError

__all__ = ["decimate", "Decimated"]

Array = NDArray[np.float64]

EACH = 2  # [-] exact: a column keeps its lowest and its highest
GAP_SHARE = 4  # [-] chosen: a gap for every four columns can still be seen


@dataclass(frozen=True, slots=True, kw_only=True)
class Decimated:
    """What is left to draw: a row of `values` for each channel."""

    time: Array
    values: Array


def decimate(time: Array, values: Array, columns: int, *, gap: float = math.inf) -> Decimated:
    """Return channels in at most about `columns` columns.

    `values` has a row for each channel. Two samples more than `gap` apart [s] are not joined.
    Raises InputError for shapes that do not fit, DomainError for less than one column.

    >>> kept = decimate(np.arange(6.0), np.array([[0.0, 5.0, 1.0, 2.0, -3.0, 2.0]]), 2)
    >>> kept.values.tolist()
    [[0.0, 5.0, 2.0, -3.0]]
    """
    if columns < 1:
        raise DomainError("columns", columns, "", "at least 1")
    if values.ndim != 2 or time.shape != values.shape[1:]:
        raise InputError(f"{values.shape} values and {time.size} times; a row for each channel.")
    pieces = []
    bounds = _bounds(time, columns, gap)
    for first, end in pairwise(bounds):
        share = max(1, round(columns * (end - first) / max(time.size, 1)))
        pieces.append(_piece(time[first:end], values[:, first:end], share))
    if len(pieces) == 1:
        return pieces[0]
    # A sample of nothing between two pieces breaks the line.
    nothing = np.full((len(values), 1), np.nan)
    times, parts = [pieces[0].time], [pieces[0].values]
    for before, after in pairwise(pieces):
        times += [np.array([(before.time[-1] + after.time[0]) / 2.0]), after.time]
        parts += [nothing, after.values]
    return Decimated(time=np.concatenate(times), values=np.concatenate(parts, axis=1))


def _bounds(time: Array, columns: int, gap: float) -> list[int]:
    steps = np.diff(time)
    cuts = np.flatnonzero(steps > gap)
    most = max(1, columns // GAP_SHARE)
    if cuts.size > most:
        cuts = cuts[np.argsort(steps[cuts])[-most:]]
    return [0, *(np.sort(cuts) + 1).tolist(), time.size]


def _piece(time: Array, values: Array, columns: int) -> Decimated:
    n = time.size
    if n <= EACH * columns:
        return Decimated(time=time, values=values)
    size = math.ceil(n / columns)
    whole = n // size
    parts = [_columns(time[: whole * size], values[:, : whole * size], size)]
    if rest := n - whole * size:
        parts.append(_columns(time[-rest:], values[:, -rest:], rest))
    return Decimated(
        time=np.concatenate([part.time for part in parts]),
        values=np.concatenate([part.values for part in parts], axis=1),
    )


def _columns(time: Array, values: Array, size: int) -> Decimated:
    """Return the two kept samples of each column of `size` samples, in their order."""
    boxes = values.reshape(len(values), -1, size)
    low, high = boxes.argmin(axis=2), boxes.argmax(axis=2)
    kept = [np.take_along_axis(boxes, at[..., None], axis=2)[..., 0] for at in (low, high)]
    # The first NaN of a column counts as its lowest and highest; only there look again.
    holed = np.isnan(kept[0])
    if holed.any():
        part = boxes[holed]
        low[holed] = np.where(np.isnan(part), np.inf, part).argmin(axis=1)
        high[holed] = np.where(np.isnan(part), -np.inf, part).argmax(axis=1)
        kept = [np.take_along_axis(boxes, at[..., None], axis=2)[..., 0] for at in (low, high)]
    rising = low <= high
    first, second = np.where(rising, kept[0], kept[1]), np.where(rising, kept[1], kept[0])
    ends = time.reshape(-1, size)
    return Decimated(
        time=np.stack([ends[:, 0], ends[:, -1]], axis=1).reshape(-1) if size > 1 else ends[:, 0],
        values=np.stack([first, second], axis=2).reshape(len(values), -1) if size > 1 else first,
    )
