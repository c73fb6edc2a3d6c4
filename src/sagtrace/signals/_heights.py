"""All heights of a recording read once: what is no height left out, the moves found.

Assumes a body on springs: it cannot jump by `JUMP` between two samples, nor be `FAR` from where it
usually stands. Limits: a recorder that writes a cell for every second row looks sparse, not
broken; rows in which nothing at all was recorded are gaps.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sagtrace.signals._moves import Heights, find_moves, height_roles, read_level
from sagtrace.signals._samples import runs
from sagtrace.signals.trace import Trace

__all__ = ["read_heights"]

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

FAR = 0.16  # [m] chosen: more than the whole travel of a car's spring, from its usual height
JUMP = 0.04  # [m] chosen: between samples; a vent of 7 mm/s needs six seconds for it
JUMP_WITHIN = 2.0  # [s] chosen: slower recordings show no jumps
AWAY = 0.03  # [m] chosen: a stretch between jumps this far from the usual height is no height
NO_HEIGHT = 0.05  # [m] chosen: a sensor whose usual reading is this near zero may read zero
SPARSE = 3.0  # [samples] chosen: values that stand alone are a channel slower than the recording


def read_heights(trace: Trace) -> Heights:
    """Return every height channel with its moves; audit and episodes take it to save time."""
    missing = {channel: _gone(trace, channel) for channel in height_roles(trace)}
    levels = {channel: read_level(trace, channel, bad) for channel, bad in missing.items()}
    moves = {channel: find_moves(level) for channel, level in levels.items()}
    return Heights(levels=levels, moves=moves, missing=missing)


def _gone(trace: Trace, channel: str) -> Mask:
    """Return which rows hold no height although the recorder worked."""
    raw = trace.channels[channel]
    missing = np.isnan(raw)
    bad = np.zeros(raw.size, dtype=np.bool_)
    if missing.any() and not _is_sparse(missing):
        others = [v for role, v in trace.channels.items() if role != channel]
        silent = np.all([np.isnan(v) for v in others], axis=0) if others else np.False_
        bad |= missing & ~silent
    if missing.all():
        return bad
    usual = float(np.nanmedian(raw[:: max(1, raw.size // 20_000)]))
    away = np.abs(raw - usual)
    if np.nanmax(away) <= AWAY:
        return bad
    bad |= away > FAR
    if abs(usual) > NO_HEIGHT:
        bad |= raw == 0.0
    return bad | _jumped(trace.time, raw, missing, usual)


def _is_sparse(missing: Mask) -> bool:
    firsts, lasts = runs(~missing)
    return firsts.size > 1 and float(np.mean(lasts - firsts + 1)) < SPARSE


def _jumped(time: Array, raw: Array, missing: Mask, usual: float) -> Mask:
    """Return the stretches between two jumps that lie away from the usual height."""
    at = np.flatnonzero(~missing)
    x = raw[at]
    quick = np.diff(time[at]) <= JUMP_WITHIN
    edges = np.flatnonzero((np.abs(np.diff(x)) > JUMP) & quick) + 1
    bad = np.zeros(raw.size, dtype=np.bool_)
    if edges.size == 0:
        return bad
    starts = np.concatenate(([0], edges))
    lengths = np.diff(np.concatenate((starts, [x.size])))
    means = np.add.reduceat(x, starts) / lengths
    bad[at] = np.repeat(np.abs(means - usual) > AWAY, lengths)
    return bad
