"""Tests of a height that need no other channel: range, dropouts, noise, spikes, stuck runs.

Each takes the samples as they come. Limits: noise is compared with that of a parked vehicle, so
a drive looks noisy.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy import special

from sagtrace.signals._audit_result import AuditResult, Span
from sagtrace.signals._moves import Level, Move
from sagtrace.signals._samples import UNIFORM, block_means, runs
from sagtrace.signals._spikes import Spikes, largest_expected, scan
from sagtrace.signals.trace import Trace

__all__ = ["dropouts", "noise", "spikes", "stuck", "track"]

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Index = NDArray[np.int64]

LASTS, LASTS_SAMPLES = 5.0, 5  # [s], [-] chosen: longer is no dropout but a missing signal
NOISY = 1.0e-3  # [m] chosen: three times a sound sensor's 0.3 mm with its rounding
SPIKES_ALARM, TRACK_ALARM, STUCK_ALARM = 6e-3, 1e-3, 5e-4  # [-] chosen: shares of 1 % a channel
REPEATED, REPEATED_ALARM = 3.5, 5e-4  # [standard deviations], [-] chosen: a few middling ones
JUST_OVER = 1.001  # [-] several middling ones together stand out by no more than this
SLOW_RATE = 4.0  # [1/s] chosen: slower recordings see a move in few samples
# [samples] chosen: more hold the noise down, and meet kinks more often
SIDES, SLOW_SIDES, SHORT_SIDE = (32, 8), (16, 4), 4
# Averaged or not, samples, share of the false alarms: chosen, most for what is found least.
SLOW_SCANS = ((False, 1, 0.7),)  # the rest is for kinks, which a slow recording half shows
SCANS = ((False, 1, 0.8), (False, 2, 0.2))
FAST_SCANS = ((False, 1, 0.75), (False, 2, 0.15), (True, 1, 0.05), (True, 2, 0.05))
SPOTS = (1, 2, 3, 4, 6, 9)  # [samples of 0.1 s] chosen: a spot of 2 mm lasts 0.3 to 0.6 s
UNEVEN = 0.15e-3  # [m] chosen: valves and the other side make a move this uneven
APART = np.full(3, np.nan)  # more than a gap of a scan, so that none reaches across unseen
QUIET = 0.97  # [-] chosen: a signal that stays on its step this often may do so for long
UNSURE = 0.85  # [-] chosen: the noise may be this much smaller where the run is
MOST_SPANS = 50  # [-] chosen: what a person reads


def dropouts(trace: Trace, channel: str, bad: Mask) -> tuple[AuditResult, AuditResult]:
    """Return the result for short dropouts and the one for a signal that is gone."""
    time = trace.time
    firsts, lasts = runs(bad) if bad.any() else (np.zeros(0, dtype=np.int64),) * 2
    ends = time[np.minimum(lasts + 1, time.size - 1)]
    long = (ends - time[firsts] >= LASTS) & (lasts - firsts + 1 >= LASTS_SAMPLES)
    lost = float(np.sum((ends - time[firsts])[long]))
    share = lost / float(time[-1] - time[0])
    count = int(np.count_nonzero(~long))
    short = AuditResult(
        kind="dropouts",
        channel=channel,
        value=float(count),
        std=0.0,
        unit="",
        threshold=0.0,
        when=_spans(time[firsts[~long]], ends[~long]),
        text=f"{count} short dropouts (no value, zero, or a jump no body can make)",
    )
    missing = AuditResult(
        kind="range",
        channel=channel,
        value=share,
        std=0.0,
        unit="",
        threshold=0.0,
        when=_spans(time[firsts[long]], ends[long]),
        text=f"no possible height for {lost:.0f} s, {100.0 * share:.1f} % of the time",
    )
    return short, missing


def _spans(starts: Array, ends: Array) -> tuple[Span, ...]:
    pairs = zip(starts.tolist(), ends.tolist(), strict=True)
    return tuple(pairs)[:MOST_SPANS]


def noise(level: Level) -> AuditResult:
    """Return the noise of a height beside that of a sound sensor."""
    count = max(level.values.size // 2, 1)
    return AuditResult(
        kind="noise",
        channel=level.channel,
        value=level.noise,
        std=level.noise / math.sqrt(count),
        unit="m",
        threshold=NOISY,
        when=(),
        text=f"noise of {1e3 * level.noise:.2f} mm, recorded in steps of {1e3 * level.step:.2g} mm",
    )


def spikes(level: Level) -> AuditResult:
    """Return the largest deviation of one or two samples, or several middling ones together.

    Fast recordings are scanned a second time at 10 samples a second, for spikes that last longer.
    """
    scans = _spike_scans(level)
    best, limit = max(
        ((float(np.abs(found.score).max(initial=0.0)), limit) for _, found, limit in scans),
        key=lambda pair: pair[0] / pair[1],
    )
    at = np.concatenate([found.at * size for size, found, _ in scans])
    score = np.concatenate([np.abs(found.score) / own for _, found, own in scans])
    over = score > 1.0
    first = scans[0][1]
    middling = np.abs(first.score) > REPEATED
    count = int(np.count_nonzero(middling))
    expected = 2.0 * special.ndtr(-REPEATED) * first.looked_at
    if count > 2 and special.pdtrc(count - 1, expected) < REPEATED_ALARM:
        best = max(best, limit * JUST_OVER)
        over[: first.at.size] |= middling
    reach = 2 * max(size for size, *_ in scans)  # the widest scan takes two
    at = _apart(at[over], score[over], reach)
    return AuditResult(
        kind="spikes",
        channel=level.channel,
        value=best,
        std=1.0,
        unit="",
        threshold=limit,
        when=_around(level, at, reach),
        text=f"{at.size} spikes; the largest deviation is {best:.1f} times its usual one",
    )


def _spike_scans(level: Level) -> list[tuple[int, Spikes, float]]:
    """Return block size, deviations and limit of each scan; the first looks at single samples."""
    rate, size = 1.0 / level.dt, level.coarse_size
    # A slow recording is seen with a short reach too, because its moves are a handful of samples.
    sides = SIDES if rate > SLOW_RATE else SLOW_SIDES
    wanted = SLOW_SCANS if rate <= SLOW_RATE else SCANS if size == 1 else FAST_SCANS
    rounding = level.step * UNIFORM / max(level.noise, level.step * UNIFORM) if level.step else 0.0
    found = []
    for coarse, width, share in wanted:
        values, own = (level.coarse, size) if coarse else (level.values, 1)
        single = width == own == 1
        limit = largest_expected(values.size, share * SPIKES_ALARM, rounding if single else 0.0)
        noise = _noise_of(level, own)
        found.append((own, scan(values, noise, sides=sides, limit=limit, width=width), limit))
    return found


def _apart(at: Index, score: Array, reach: int) -> Index:
    """Return the highest of places that lie together, because a spike shows in several scans."""
    kept: list[int] = []
    for place in at[np.argsort(-score, kind="stable")].tolist():
        if len(kept) < MOST_SPANS and all(abs(place - other) > reach for other in kept):
            kept.append(place)
    return np.array(sorted(kept), dtype=np.int64)


def _noise_of(level: Level, size: int) -> float:
    return max(level.noise / math.sqrt(size), level.step * UNIFORM if size == 1 else 0.0)


def _around(level: Level, at: Index, size: int) -> tuple[Span, ...]:
    last = level.time.size - 1
    return _spans(level.time[np.minimum(at, last)], level.time[np.minimum(at + size, last)])


def track(level: Level, moves: tuple[Move, ...]) -> AuditResult | None:
    """Return the largest excursion within a move: where the sensor's track is worn, it jumps."""
    size = level.coarse_size
    widths = SPOTS if 1.0 / level.dt / size > SLOW_RATE else SPOTS[:1]
    usual = math.hypot(_noise_of(level, size), UNEVEN)
    parts, places = _all_moves(level, moves, size)
    looked = int(np.count_nonzero(np.isfinite(parts))) * len(widths)
    if looked == 0:
        return None
    limit = largest_expected(looked, TRACK_ALARM)
    scans = [
        scan(parts, usual, sides=(SHORT_SIDE,), limit=limit, width=width, gap=int(width > 1))
        for width in widths
    ]
    score = np.abs(np.concatenate([found.score for found in scans]))
    at = np.concatenate([found.at for found in scans])
    over = score > limit
    where = np.unique(np.round(1e3 * parts[at[over]]))
    spots = ", ".join(f"{h:.0f}" for h in where[:5])
    return AuditResult(
        kind="track",
        channel=level.channel,
        value=float(score.max(initial=0.0)),
        std=1.0,
        unit="",
        threshold=limit,
        when=_around(level, np.unique(places[at[over]]), size),
        text=f"jumps at {spots} mm while it moves" if over.any() else "moves without jumps",
    )


def _all_moves(level: Level, moves: tuple[Move, ...], size: int) -> tuple[Array, Index]:
    """Return the block means of all moves, apart, and the sample each begins with."""
    values, places = [], []
    firsts = np.searchsorted(level.index, [move.first for move in moves])
    lasts = np.searchsorted(level.index, [move.last for move in moves])
    for a, b in zip(firsts.tolist(), (lasts + 1).tolist(), strict=True):
        part = block_means(level.values[a:b], size)
        values += [part, APART]
        places.append(a + size * np.arange(part.size + APART.size))
    if not values:
        return np.zeros(0), np.zeros(0, dtype=np.int64)
    return np.concatenate(values), np.concatenate(places)


def stuck(level: Level) -> AuditResult | None:
    """Return the longest run of one value; None if the signal is too quiet to tell.

    A noisy signal leaves its step again and again: at best, in the middle of a step, it stays with
    the probability that the noise is less than half a step.
    """
    x, step = level.values, level.step
    if x.size < 2 * LASTS_SAMPLES:
        return None
    if step == 0.0:
        return _stuck(level, float(x.size), 0.0, 0, x.size - 1)
    own = math.sqrt(max(level.noise**2 - (step * UNIFORM) ** 2, 0.0)) * UNSURE
    stays = math.erf(0.5 * step / (math.sqrt(2.0) * own)) if own > 0.0 else 1.0
    if stays > QUIET:
        return None
    firsts, lasts = _runs_of_same(x)
    lengths = lasts - firsts + 1
    longest = int(np.argmax(lengths))
    limit = math.log(STUCK_ALARM / x.size) / math.log(stays)
    return _stuck(level, float(lengths[longest]), limit, int(firsts[longest]), int(lasts[longest]))


def _runs_of_same(x: Array) -> tuple[Index, Index]:
    """Return first and last index of every run of equal values."""
    edges = np.flatnonzero(x[1:] != x[:-1]) + 1
    return np.concatenate(([0], edges)), np.concatenate((edges, [x.size])) - 1


def _stuck(level: Level, length: float, limit: float, first: int, last: int) -> AuditResult:
    start, end = float(level.time[first]), float(level.time[last])
    return AuditResult(
        kind="stuck",
        channel=level.channel,
        value=length,
        std=0.0,
        unit="",
        threshold=limit,
        when=((start, end),) if length > limit else (),
        text=f"the longest run of one value is {length:.0f} samples, {end - start:.1f} s",
    )
