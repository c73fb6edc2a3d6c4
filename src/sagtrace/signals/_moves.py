"""Where a height moves: the kinks of a piecewise-straight signal, found from its slope.

The signal is averaged to a coarse grid and its slope taken over a short and a long span: the
short one sees a vent of two seconds, the long one a tired pump. A stretch whose slope stands out
and that carries the height far enough is a move; its ends are where the height leaves and reaches
the levels beside it. All is O(n). Limits: a leak that sinks as fast as a pump lifts is a move
too; two moves in the same direction with less than `LONG`/2 between them are one.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from sagtrace.signals._samples import block_means, noise_floor, resolution
from sagtrace.signals.trace import Trace

__all__ = [
    "find_moves",
    "HEIGHT",
    "height_roles",
    "Heights",
    "Level",
    "Move",
    "partner_of",
    "read_level",
]

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

HEIGHT = "height."
OPPOSITE = {"left": "right", "right": "left"}
COARSE = 10.0  # [1/s] chosen: a body on springs needs no faster samples
GRID = 0.5  # [s] chosen: finer tells nothing about a body on springs
SHORT, LONG = 2.0, 8.0  # [s] chosen: spans of the slopes; a vent's shortest and a weak fill
FAST, SLOW = 0.9e-3, 0.22e-3  # [m/s] chosen: of a sound pump; above the worst leak, a tired pump
SURE = 4.5  # [standard deviations] chosen: so the noise makes hardly a move in an hour
LEAST_MOVE = 2.5e-3  # [m] chosen: below it a correction is lost in noise and settling
LEAVES = 2.5  # [standard deviations] chosen: of noise, off the level beside
SHARE = 0.04  # [-] chosen: of the move, off the level beside, if that is more
BESIDE = 6  # [grid steps] chosen: the level beside a move is the median of so many
LEAST_GRID = 8  # [samples] chosen: fewer show no move


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """A stretch in which one height went one way."""

    channel: str
    first: int  # sample
    last: int  # sample, inclusive
    start: float  # [s]
    end: float  # [s]
    h0: float  # [m] level before
    h1: float  # [m] level after

    @property
    def rise(self) -> float:
        """Height gained [m]; negative if it sank."""
        return self.h1 - self.h0


@dataclass(frozen=True, kw_only=True)
class Level:
    """One height channel without its missing samples, and on the coarse grid."""

    channel: str
    time: Array  # [s] of the finite samples
    values: Array  # [m]
    index: NDArray[np.int64]  # of each in the trace
    step: float  # [m] resolution
    noise: float  # [m] standard deviation, rounding included
    size: int  # samples in a grid step

    @cached_property
    def dt(self) -> float:
        """Usual time between samples [s]."""
        few = self.time[:2000]
        return float(np.median(np.diff(few))) if few.size > 1 else 1.0

    @cached_property
    def coarse_size(self) -> int:
        """Samples in a block at `COARSE`, 1 if it was recorded more slowly."""
        return max(1, round(1.0 / self.dt / COARSE))

    @cached_property
    def coarse(self) -> Array:
        """The height averaged to `COARSE`."""
        return block_means(self.values, self.coarse_size)

    @cached_property
    def grid(self) -> tuple[Array, Array]:
        """Time and height of the coarse grid."""
        return block_means(self.time, self.size), block_means(self.values, self.size)


@dataclass(frozen=True, kw_only=True)
class Heights:
    """Every height of a recording and its moves: what audit and episodes both start from."""

    levels: Mapping[str, Level]
    moves: Mapping[str, tuple[Move, ...]]
    missing: Mapping[str, Mask]  # rows that hold no height although the recorder worked


def height_roles(trace: Trace) -> tuple[str, ...]:
    """Return the height channels of a recording, in their order."""
    return tuple(role for role in trace.channels if role.startswith(HEIGHT))


def partner_of(channel: str) -> str:
    """Return the channel of the same axle's other side, empty for an axle sensor.

    >>> partner_of("height.front-left"), partner_of("height.rear")
    ('height.front-right', '')
    """
    for side, other in OPPOSITE.items():
        if channel.endswith(side):
            return channel.removesuffix(side) + other
    return ""


def read_level(trace: Trace, channel: str, leave_out: Mask | None = None) -> Level:
    """Return a channel's finite samples with their resolution and noise."""
    raw = trace.channels[channel]
    seen = np.isfinite(raw)
    if leave_out is not None:
        seen &= ~leave_out
    if seen.all():
        index, time, values = trace.rows, trace.time, raw
    else:
        index = np.flatnonzero(seen)
        time, values = trace.time[index], raw[index]
    step = resolution(values) if values.size else 0.0
    noise = noise_floor(values, step) if values.size else 0.0
    few = time[:2000]
    dt = float(np.median(np.diff(few))) if few.size > 1 else 1.0
    size = max(1, round(GRID / dt))
    return Level(
        channel=channel, time=time, values=values, index=index, step=step, noise=noise, size=size
    )


def find_moves(level: Level) -> tuple[Move, ...]:
    """Return the moves of one channel in their order."""
    time, height = level.grid
    if height.size < LEAST_GRID:
        return ()
    step = float(np.median(np.diff(time)))
    noise = max(level.noise / np.sqrt(level.size), level.step * 0.1)
    state = np.zeros(height.size, dtype=np.int8)
    for span, least in ((LONG, SLOW), (SHORT, FAST)):
        half = max(1, round(span / step / 2.0))
        slope, std = _slope(height, half, step, noise)
        limit = max(least, SURE * std)
        state[slope > limit] = 1
        state[slope < -limit] = -1
    return _cut(level, time, height, state, noise)


def _slope(height: Array, half: int, step: float, noise: float) -> tuple[Array, float]:
    """Return the mean after less the mean before every grid point [m/s], and its noise."""
    if 2 * half > height.size:
        return np.zeros_like(height), 1.0
    total = np.concatenate(([0.0], np.cumsum(height - height[0])))
    mean = (total[half:] - total[:-half]) / half
    slope = np.zeros_like(height)
    slope[half : height.size - half + 1] = (mean[half:] - mean[:-half]) / (half * step)
    return slope, noise * float(np.sqrt(2.0 / half)) / (half * step)


def _cut(
    level: Level, time: Array, height: Array, state: NDArray[np.int8], noise: float
) -> tuple[Move, ...]:
    edges = np.flatnonzero(np.diff(state)) + 1
    firsts, lasts = np.concatenate(([0], edges)), np.concatenate((edges, [state.size])) - 1
    found = []
    for a, b in zip(firsts.tolist(), lasts.tolist(), strict=True):
        if state[a] == 0:
            continue
        move = _refined(level, time, height, a, b, int(state[a]), noise)
        if move is not None:
            found.append(move)
    return tuple(found)


def _refined(
    level: Level, time: Array, height: Array, a: int, b: int, sign: int, noise: float
) -> Move | None:
    """Pull the ends in to where the height leaves one level and reaches the other."""
    inside = sign * height[a : b + 1]
    low, high = a + int(inside.argmin()), a + int(inside.argmax())
    if high <= low:
        return None
    before = _middle(height[max(low - BESIDE, a - BESIDE, 0) : low + 1])
    after = _middle(height[high : min(high + BESIDE, b + BESIDE) + 1])
    rise = sign * (after - before)
    if rise < max(LEAST_MOVE, SURE * noise):
        return None
    off = max(LEAVES * noise, SHARE * rise)
    up = inside - sign * before > off
    start = int(up.argmax())  # 0 if none is
    done = sign * after - inside[start:] < off
    at = int(done.argmax())
    start, end = a + start, a + start + at if done[at] else b
    start, end = max(start - 1, 0), max(min(end, b), start)
    return _move(level, time, start, end, before, after)


def _middle(few: Array) -> float:
    """Return the upper median, because numpy's own takes ten times as long on a handful."""
    return float(np.sort(few)[few.size // 2])


def _move(level: Level, time: Array, start: int, end: int, before: float, after: float) -> Move:
    first = min(start * level.size + level.size // 2, level.values.size - 1)
    last = min(end * level.size + level.size // 2, level.values.size - 1)
    return Move(
        channel=level.channel,
        first=int(level.index[first]),
        last=int(level.index[last]),
        start=float(level.time[first]),
        end=float(level.time[last]),
        h0=before,
        h1=after,
    )
