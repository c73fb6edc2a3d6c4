"""Fills, vents and loads read from the heights alone, and what happens beside the commands.

A control unit brings a height back to its level once it is off by more than its dead band, one axle
at a time; a load takes it anywhere, within seconds, both axles alike. So a move that ends at the
usual level and is large enough is a fill or a vent, and so is a long one; a short one that goes
anywhere else is a load if it is small, if an answer follows or if the engine is off. What is left
went somewhere else for good: somebody commanded it.
Limits: a heavy load with nobody to answer looks like a command, and so does one that happens to end
at the level; a move smaller than `LEAST_MOVE` is not seen.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from sagtrace.signals._episode import Episode
from sagtrace.signals._moves import Heights, Level, Move, height_roles
from sagtrace.signals._samples import runs
from sagtrace.signals.trace import Trace

__all__ = ["engine_starts", "pauses", "states_from_heights", "uncommanded_loads"]

Array = NDArray[np.float64]
States = NDArray[np.int64]
REST, FILL, VENT, LOAD = 0, 1, 2, 4

AT_LEVEL = 5e-3  # [m] chosen: units stop some 2 mm short, and the air settles
LEAST_ANSWER = 6e-3  # [m] chosen: units wait for a dead band of 8 mm or more
BY_HAND = 16e-3  # [m] chosen: a smaller move to nowhere is a load
LONG = 9.0  # [s] chosen: nobody takes longer to get in
ANSWER = 30.0  # [s] chosen: units wait some seconds before they answer
ANSWERED = 0.4  # [-] chosen: share of the move that the answer takes back
BOTH_AXLES = 3e-3  # [m] chosen: a fill of one axle moves the other by less
ALONG = 0.5  # [-] chosen: a move of less than this beside a larger one comes along with the body
BESIDE = 3.0  # [s] chosen: of a command, in which a move belongs to it
CHARGING = 0.8  # [V] chosen: rise of the supply when an engine starts; a pump moves it by half
CHARGING_SPAN = 4.0  # [s] chosen: before and after
SHORT_OF = 5e-3  # [m] chosen: a fill that ends this far below the next one's end was cut
SUNK = 4e-3  # [m] chosen: what a leak takes meanwhile, at most
PAUSE = (15.0, 3600.0)  # [s] chosen: shorter is relief, longer another story


def states_from_heights(trace: Trace, heights: Heights) -> States:
    """Return 0 at rest, 1 in a fill, 2 in a vent, 4 in a load, for every sample."""
    moves = heights.moves
    state = np.zeros(trace.time.size, dtype=np.int64)
    found: list[tuple[Move, int]] = []
    for channel, own in moves.items():
        others = [move for c in moves if c != channel for move in moves[c]]
        found += _judged(trace, heights.levels[channel], own, others)
    for move, kind in sorted(_leading(found), key=lambda item: item[1] != LOAD):
        state[move.first : move.last + 1] = kind
    return state


def _judged(
    trace: Trace, level: Level, moves: Sequence[Move], others: Sequence[Move]
) -> list[tuple[Move, int]]:
    if not moves:
        return []
    usual = _usual(level, moves)
    starts, ends = (np.array([getattr(o, at) for o in others]) for at in ("start", "end"))
    found = []
    for i, move in enumerate(moves):
        following = moves[i + 1] if i + 1 < len(moves) else None
        load = _engine_off(trace, move) or (
            move.end - move.start < LONG
            and not _to_level(move, usual)
            and (abs(move.rise) < BY_HAND or _answered(move, following))
        )
        near = np.flatnonzero((starts < move.end) & (ends > move.start))
        load = load or any(_both_at_once(move, others[j]) for j in near.tolist())
        found.append((move, LOAD if load else FILL if move.rise > 0.0 else VENT))
    return found


def _to_level(move: Move, usual: float) -> bool:
    before, after = abs(move.h0 - usual), abs(move.h1 - usual)
    return after < AT_LEVEL and after < before and abs(move.rise) > LEAST_ANSWER


def _both_at_once(move: Move, other: Move) -> bool:
    shared = min(move.end, other.end) - max(move.start, other.start)
    if shared <= 0.0 or ("front" in move.channel) == ("front" in other.channel):
        return False
    shorter = min(move.end - move.start, other.end - other.start)
    return min(abs(move.rise), abs(other.rise)) > BOTH_AXLES and shared > ALONG * shorter


def _usual(level: Level, moves: Sequence[Move]) -> float:
    """Return the height at which most moves end and most of the rest is spent."""
    time, height = level.grid
    moving = np.zeros(time.size, dtype=np.bool_)
    for move in moves:
        a, b = np.searchsorted(time, (move.start, move.end))
        moving[a:b] = True
    still = height[~moving][:: max(1, time.size // 1000)]
    ends = np.array([move.h1 for move in moves])
    places = np.concatenate((ends, [float(np.median(still))] if still.size else []))
    score = np.sum(np.abs(places[:, None] - ends) < AT_LEVEL, axis=1) / ends.size
    if still.size:
        score = score + np.mean(np.abs(places[:, None] - still) < AT_LEVEL, axis=1)
    best = places[int(np.argmax(score))]
    near = ends[np.abs(ends - best) < AT_LEVEL]
    return float(np.median(near)) if near.size else float(best)


def _answered(move: Move, following: Move | None) -> bool:
    return (
        following is not None
        and following.start - move.end < ANSWER
        and following.rise * move.rise < 0.0
        and abs(following.rise) > ANSWERED * abs(move.rise)
    )


def _engine_off(trace: Trace, move: Move) -> bool:
    engine = trace.channels.get("engine")
    return engine is not None and move.rise > 0.0 and bool(engine[move.first] < 0.5)


def _leading(found: Sequence[tuple[Move, int]]) -> list[tuple[Move, int]]:
    """Leave out small moves beside a larger one of another channel: the body rolls along."""
    kept: list[tuple[Move, int]] = []
    for move, kind in sorted(found, key=lambda item: -abs(item[0].rise)):
        along = any(
            other.channel != move.channel
            and other.start < move.end
            and move.start < other.end
            and abs(move.rise) < ALONG * abs(other.rise)
            for other, _ in kept
        )
        if not along:
            kept.append((move, kind))
    return kept


def uncommanded_loads(trace: Trace, heights: Heights) -> States:
    """Return 4 where a height moves by a load, 0 elsewhere; commands are left out if recorded."""
    state = states_from_heights(trace, heights)
    if "pump.command" in trace.channels:
        state[_near_commands(trace)] = REST
    return np.where(state == LOAD, LOAD, REST).astype(np.int64)


def _near_commands(trace: Trace) -> NDArray[np.bool_]:
    busy = trace.channels["pump.command"] > 0.5
    if "vent.command" in trace.channels:
        busy = busy | (trace.channels["vent.command"] > 0.5)
    near = np.zeros_like(busy)
    firsts, lasts = runs(busy)
    starts = np.searchsorted(trace.time, trace.time[firsts] - BESIDE, side="right")
    ends = np.searchsorted(trace.time, trace.time[lasts] + BESIDE)
    for start, end in zip(starts.tolist(), ends.tolist(), strict=True):
        near[start:end] = True
    return near


def engine_starts(trace: Trace) -> tuple[int, ...]:
    """Return the samples with which the engine starts, from its channel or the supply's rise."""
    engine = trace.channels.get("engine")
    if engine is not None:
        return tuple((np.flatnonzero((engine[1:] > 0.5) & (engine[:-1] <= 0.5)) + 1).tolist())
    supply = trace.channels.get("supply")
    if supply is None or not np.isfinite(supply).all():
        return ()
    half = max(1, round(CHARGING_SPAN / trace.usual_step))
    if supply.size < 2 * half:
        return ()
    total = np.concatenate(([0.0], np.cumsum(supply)))
    mean = (total[half:] - total[:-half]) / half
    rise = mean[half:] - mean[:-half]
    above = rise > CHARGING
    starts = np.flatnonzero(above[1:] & ~above[:-1]) + 1
    return tuple(int(i + np.argmax(rise[i : i + half])) + half for i in starts)


def pauses(trace: Trace, episodes: Sequence[Episode]) -> list[tuple[int, int]]:
    """Return first and last sample of the rests in which a fill was cut off.

    The height is still short of where the next fill brings it, nearly where the last one left it:
    the unit stopped the pump for its time, its heat or its budget.
    """
    found = []
    heights = [trace.channels[channel] for channel in height_roles(trace)]
    fills = [e for e in episodes if e.kind == "fill"]
    for before, after in pairwise(fills):
        between = [e for e in episodes if before.last < e.first < after.first]
        if any(e.kind == "load" for e in between):
            continue
        if not PAUSE[0] <= after.start - before.end <= PAUSE[1]:
            continue
        for height in heights:
            at = (before.last, after.first, after.last)
            stopped, again, end = (_level_at(height, i) for i in at)
            if end - stopped > SHORT_OF and abs(again - stopped) < SUNK and _gained(height, before):
                found.append((before.last + 1, after.first - 1))
                break
    return found


def _gained(height: Array, fill: Episode) -> bool:
    return _level_at(height, fill.last) - _level_at(height, fill.first) > SHORT_OF


def _level_at(height: Array, at: int) -> float:
    near = height[max(at - 1, 0) : at + 2]
    near = near[np.isfinite(near)]
    return float(np.median(near)) if near.size else float("nan")
