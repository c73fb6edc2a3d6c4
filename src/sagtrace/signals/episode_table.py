"""What each rest and each fill of a recording shows: sinking speed, rise, share of running.

A rest's slope is corrected for the air that cools or warms meanwhile: `per_kelvin` says how far
the height goes for a kelvin, from whoever knows the springs. With the ambient recorded its slope
is used; without, the interval is widened by what a place may warm or cool. Assumes that the gas
follows the air around within minutes, which a hold's settling gives it. Limits: a height that did
not run straight has a slope all the same; see `signals.episodes.fit_lines` for whether it did.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sagtrace.signals._episode import Episode, longest_step
from sagtrace.signals._lines import LEAST_SAMPLES, Line, median_step, slope
from sagtrace.signals._moves import height_roles
from sagtrace.signals._samples import UNIFORM, block_means
from sagtrace.signals.trace import Trace

__all__ = ["EpisodeTable", "FillRow", "HoldRow", "tabulate"]

Array = NDArray[np.float64]

POINTS = 100  # [-] chosen: a line's slope from so many block means takes half a millisecond
COVERAGE = 1.959963984540054  # [standard deviations] exact: 95 % of a normal value
SENSOR_LAG = 0.3  # [K] chosen: what a spring may do that the air sensor does not see
# [K], [K], [s] chosen: what an unheated place does if nobody recorded it, as for a check by hand.
LEAST_DRIFT, NIGHT_SWING, NIGHT = 0.7, 8.0, 8 * 3600.0
LEAST_RISE_TIME = 1.0  # [s] chosen: a shorter fill has no rate


@dataclass(frozen=True, slots=True, kw_only=True)
class HoldRow:
    """One rest of one height."""

    channel: str
    start: float  # [s]
    end: float  # [s]
    slope: float  # [m/s] as recorded
    slope_std: float  # [m/s]
    warming: float  # [K/s]
    warming_std: float  # [K/s]
    sinking: float  # [m/s] what is left for a leak, positive downwards
    sinking_std: float  # [m/s]

    @property
    def interval(self) -> tuple[float, float]:
        """Sinking speed, 95 % [m/s]."""
        reach = COVERAGE * self.sinking_std
        return self.sinking - reach, self.sinking + reach


@dataclass(frozen=True, slots=True, kw_only=True)
class FillRow:
    """One fill of one height."""

    channel: str
    start: float  # [s]
    end: float  # [s]
    rise: float  # [m]
    rate: float  # [m/s]
    rate_std: float  # [m/s]

    @property
    def interval(self) -> tuple[float, float]:
        """Rise rate, 95 % [m/s]."""
        return self.rate - COVERAGE * self.rate_std, self.rate + COVERAGE * self.rate_std


@dataclass(frozen=True, slots=True, kw_only=True)
class EpisodeTable:
    """All rests and fills, and how long the fills were of the time watched."""

    holds: tuple[HoldRow, ...]
    fills: tuple[FillRow, ...]
    filling: float  # [s]
    watched: float  # [s] gaps left out

    @property
    def duty(self) -> float:
        """Share of the time watched that was spent filling [-]."""
        return self.filling / self.watched if self.watched else 0.0


def tabulate(
    trace: Trace,
    episodes: Sequence[Episode],
    *,
    per_kelvin: float,
    per_kelvin_std: float,
) -> EpisodeTable:
    """Return the table of a recording; `per_kelvin` is the rise of a height by warming [m/K]."""
    holds, fills = [], []
    for channel in height_roles(trace):
        step = median_step(trace.channels[channel][:: max(1, trace.time.size // 20_000)])
        for episode in episodes:
            line = _line(trace, channel, episode, step)
            if line is None:
                continue
            if episode.kind == "hold":
                holds.append(_hold(trace, channel, episode, line, per_kelvin, per_kelvin_std))
            elif episode.kind == "fill" and episode.duration >= LEAST_RISE_TIME:
                fills.append(_fill(trace, channel, episode, line))
    steps = np.diff(trace.time)
    return EpisodeTable(
        holds=tuple(holds),
        fills=tuple(fills),
        filling=sum(episode.duration for episode in episodes if episode.kind == "fill"),
        watched=float(np.sum(steps[steps <= longest_step(trace)])),
    )


def _line(trace: Trace, channel: str, episode: Episode, step: float) -> Line | None:
    if episode.kind not in ("hold", "fill"):
        return None
    time, values = trace.time[episode.samples], trace.channels[channel][episode.samples]
    seen = np.isfinite(values)
    time, values = time[seen], values[seen]
    size = max(1, time.size // POINTS)
    time, values = block_means(time, size), block_means(values, size)
    if time.size < LEAST_SAMPLES:
        return None
    # A few rounded samples may lie on a line by chance; each is no better known than its step.
    return slope(time, values, step=step, least_scatter=step * UNIFORM / math.sqrt(size))


def _hold(
    trace: Trace, channel: str, episode: Episode, line: Line, per_kelvin: float, std: float
) -> HoldRow:
    warming, warming_std = _warming(trace, episode)
    # Blocks hide the noise of a quiet signal, but not what warming nobody saw may do.
    spread = math.hypot(line.std, per_kelvin * warming_std, std * warming)
    return HoldRow(
        channel=channel,
        start=episode.start,
        end=episode.end,
        slope=line.slope,
        slope_std=line.std,
        warming=warming,
        warming_std=warming_std,
        sinking=per_kelvin * warming - line.slope,
        sinking_std=spread,
    )


def _warming(trace: Trace, episode: Episode) -> tuple[float, float]:
    """Return the ambient's slope over a hold and its spread [K/s]."""
    ambient = trace.channels.get("ambient")
    span = episode.duration
    if ambient is not None:
        time, values = trace.time[episode.samples], ambient[episode.samples]
        seen = np.isfinite(values)
        size = max(1, int(seen.sum()) // POINTS)
        time, values = block_means(time[seen], size), block_means(values[seen], size)
        if time.size >= LEAST_SAMPLES:
            line = slope(time, values, step=median_step(values))
            return line.slope, math.hypot(line.std, SENSOR_LAG / span)
    swing = LEAST_DRIFT + NIGHT_SWING * min(1.0, span / NIGHT)
    return 0.0, swing / span


def _fill(trace: Trace, channel: str, episode: Episode, line: Line) -> FillRow:
    start, end = line.at(episode.start), line.at(episode.end)
    return FillRow(
        channel=channel,
        start=episode.start,
        end=episode.end,
        rise=end - start,
        rate=line.slope,
        rate_std=line.std,
    )
