"""A recording at a lower rate: means of neighbouring samples, for work that needs no faster ones.

A command is what it was for most of the samples. Assumes a nearly even rate. Limits: what is
shorter than half of the samples put together is lost; a channel has a value where any had one.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sagtrace.signals._samples import block_means
from sagtrace.signals.trace import ROLES, Trace

__all__ = ["averaged"]

Array = NDArray[np.float64]


def averaged(trace: Trace, most: int) -> Trace:
    """Return the recording with at most so many samples; as it is if it has no more.

    >>> trace = Trace(time=np.arange(6.0), channels={"ambient": np.array([1.0, 3, 5, 7, 9, 11])})
    >>> averaged(trace, 3).channels["ambient"].tolist()
    [2.0, 6.0, 10.0]
    """
    size = -(-trace.time.size // most)
    if size <= 1:
        return trace
    channels = {role: _means(values, size) for role, values in trace.channels.items()}
    for role, values in channels.items():
        if ROLES[role] == "count":
            channels[role] = np.where(np.isnan(values), np.nan, np.rint(values))
    return Trace(time=block_means(trace.time, size), channels=channels)


def _means(values: Array, size: int) -> Array:
    means = block_means(values, size)
    holed = np.flatnonzero(np.isnan(means))
    if holed.size:
        rows = values[: means.size * size].reshape(-1, size)[holed]
        known = np.isfinite(rows)
        count = known.sum(axis=1)
        total = np.where(known, rows, 0.0).sum(axis=1)
        means[holed] = np.where(count > 0, total / np.maximum(count, 1), np.nan)
    return means
