"""Tests of a height that need it to move: dead band, lost motion, following.

Assumes that a body on springs is lifted and lowered smoothly, so that a parabola fits some
millimetres of a move. Limits: a dead band shows only in a move, and lost motion only where the
move turns round after the last one and somebody else (a command, the other side) says when; a
recording at one or two samples a second sees a vent in a handful of samples.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy import special

from sagtrace.signals._audit_result import AuditResult
from sagtrace.signals._moves import Level, Move, partner_of
from sagtrace.signals._samples import block_means, runs
from sagtrace.signals.trace import Trace

__all__ = ["dead_band", "follow", "hysteresis", "vent_starts"]

Array = NDArray[np.float64]

LEAST_SWEEP = 8e-3  # [m] chosen: a shorter move holds too few steps of a dead band
PIECE = 10e-3  # [m] chosen: a parabola fits this much of a move
PIECE_SAMPLES = 10  # [-] chosen: in fewer a kink looks like a stair, so nothing is said
MOST_TRAVEL = 2.0  # [pieces] chosen: of a piece that a parabola must fit
# A slow recording has too few pieces to leave any out: others, and each may have a bend.
BENT_SAMPLES, BENT_TRAVEL = 8, 5.0  # [-], [pieces] chosen
HANDFUL = 0.7  # [s] chosen: with longer steps moves are so few samples that long pieces mislead
PARABOLA, KINK = 3, 2  # [-] parameters of a curve, and of a bend in it
KINKED = 0.25  # [-] chosen: share of the pieces that may hold a kink
LEAST_FREEDOM = 4  # [-] chosen: fewer hold no spread worth the name
TRIM = 0.4  # [s] chosen: at both ends, where valves open and close
UNEVEN = 0.25e-3  # [m] chosen: what is left of a sound move beside its parabolas
BENT_UNEVEN = 0.40e-3  # [m] chosen: and of the longer pieces of a slow recording
SLOW = 0.25  # [s] chosen: with longer steps nobody knows when within one a vent began
DEAD_ALARM = 1e-3  # [-] chosen: share of 1 % a channel
ROUNDING_LIKE = math.sqrt(12.0)  # [-] exact: a step over the deviation of rounding to it
SURE = 3.3  # [standard deviations] 0.1 % of normal values are beyond, both sides
LOST = 2.5e-3  # [m] chosen: more lost motion than the valves' own delays explain
BIG_MOVE = 10e-3  # [m] chosen: of the other side, before this one is asked to follow
FOLLOWS = 0.15  # [-] chosen: share of the other side's move; roll alone gives more
FOLLOW_STD = 0.1  # [-] chosen: of one move's share; sides carry different loads
LEAST_VENT = 3.0  # [s] chosen: a second of it only relieves the line after a fill
MOST = 8  # [-] chosen: moves, the largest; more tell little more and take time
LATE = 3.0  # [s] chosen: a vent that begins later after its command was not begun by it
TOGETHER = 6.0  # [s] chosen: moves of both sides that begin this near belong together


def dead_band(level: Level, moves: Sequence[Move]) -> AuditResult | None:
    """Return how coarse the height's steps are while it moves; None without a move.

    A sensor that sticks and jumps leaves a staircase, whose deviation from a smooth curve is that
    of rounding to its steps. Noise and the recorded resolution are taken off.
    """
    size = level.coarse_size
    swept = [move for move in moves if abs(move.rise) >= LEAST_SWEEP]
    swept = sorted(swept, key=lambda move: -abs(move.rise))[:MOST]
    pieces = _staircases(level, swept, bent=False)
    bent = level.dt > SLOW and len(pieces) * KINKED < 1.0
    if bent:
        pieces = _staircases(level, swept, bent=True)
    pieces.sort(key=lambda piece: piece[0] / piece[1])
    # The worst are left out: a valve that closes in the middle of a move makes a kink in it.
    kept = pieces[: len(pieces) - int(len(pieces) * KINKED)]
    square, freedom = sum(p[0] for p in kept), sum(p[1] for p in kept)
    if freedom < LEAST_FREEDOM:
        return None
    noise = level.noise**2 / size
    excess = square / freedom - noise
    likely = noise * (float(special.chdtri(freedom, DEAD_ALARM)) / freedom - 1.0)
    likely += (BENT_UNEVEN if bent else UNEVEN) ** 2
    value = ROUNDING_LIKE * math.sqrt(max(excess, 0.0))
    own = max(square / freedom, noise) * math.sqrt(2.0 / freedom)
    return AuditResult(
        kind="dead-band",
        channel=level.channel,
        value=value,
        std=ROUNDING_LIKE * own / (2.0 * math.sqrt(max(excess, own))),
        unit="m",
        threshold=ROUNDING_LIKE * math.sqrt(likely),
        when=tuple((move.start, move.end) for move in swept),
        text=f"moves in steps of about {1e3 * value:.1f} mm",
    )


def _staircases(level: Level, moves: Sequence[Move], *, bent: bool) -> list[tuple[float, int]]:
    """Return the squares left by a curve through each piece of the moves, and their freedom."""
    least = BENT_SAMPLES if bent else PIECE_SAMPLES
    most = PIECE * (BENT_TRAVEL if bent and level.dt < HANDFUL else MOST_TRAVEL)
    found: list[tuple[Array, Array]] = []
    for move in moves:
        a, b = _inside(level, move)
        t = block_means(level.time[a:b], level.coarse_size)
        x = block_means(level.values[a:b], level.coarse_size)
        count = max(1, min(int(abs(move.rise) / PIECE), t.size // least))
        edges = [k * (t.size // count) + min(k, t.size % count) for k in range(count + 1)]
        found += [
            (t[c:d], x[c:d])
            for c, d in pairwise(edges)
            if d - c >= least and abs(move.rise) * (d - c) / t.size <= most
        ]
    return _left_by_curves(found, bent=bent)


def _left_by_curves(
    pieces: Sequence[tuple[Array, Array]], *, bent: bool
) -> list[tuple[float, int]]:
    """Fit a parabola to each piece, all at once: rows of nothing fill up the shorter ones.

    With `bent` each may also bend once, where that helps most: a slow recording holds too few
    pieces to leave out those in which a valve closed.
    """
    longest = max((t.size for t, _ in pieces), default=0)
    base = np.zeros((len(pieces), longest, PARABOLA))
    x = np.zeros((len(pieces), longest))
    for k, (t, values) in enumerate(pieces):
        u = 2.0 * (t - t[0]) / (t[-1] - t[0]) - 1.0
        base[k, : t.size] = u[:, None] ** np.arange(PARABOLA)
        x[k, : t.size] = values - values[0]
    if not pieces:
        return []
    across = np.linalg.qr(base).Q
    rest = x - np.einsum("kij,kj->ki", across, np.einsum("kij,ki->kj", across, x))
    squares = np.einsum("ki,ki->k", rest, rest)
    told = PARABOLA
    if bent:
        told += KINK
        for k, (t, _) in enumerate(pieces):
            u, q = base[k, : t.size, 1], across[k, : t.size]
            bend = np.maximum(u[:, None] - u[2:-2], 0.0)
            bend -= q @ (q.T @ bend)
            squares[k] -= np.max((rest[k, : t.size] @ bend) ** 2 / np.sum(bend**2, axis=0))
    return [(float(s), t.size - told) for s, (t, _) in zip(squares, pieces, strict=True)]


def _inside(level: Level, move: Move) -> tuple[int, int]:
    """Return the samples of a move without its ends."""
    a, b = np.searchsorted(level.time, (move.start + TRIM, move.end - TRIM))
    if level.dt > TRIM:
        a, b = a + 1, b - 1
    return int(a), int(b)


def hysteresis(
    level: Level, all_moves: Mapping[str, Sequence[Move]], vents: Sequence[tuple[float, float]]
) -> AuditResult | None:
    """Return the motion that is lost where a vent turns the height round; None if not commanded.

    The vent's line is drawn back to the height before it, and the command says when it began. A
    pump needs a second to get going, so fills are no use. A rest before the vent may have used the
    play up: cooling air lets the body down.
    """
    found = []
    own_axle = (level.channel, partner_of(level.channel))
    elsewhere = np.array([m.start for c, o in all_moves.items() if c not in own_axle for m in o])
    moves = all_moves[level.channel]
    for before, move in pairwise(moves):
        if before.rise < 0.0 or move.rise > -LEAST_SWEEP or level.dt > SLOW:
            continue
        ahead = move.start - elsewhere
        if np.any((ahead > TRIM) & (ahead < TOGETHER)):
            continue  # the command was for the other axle first
        begin, told = _begin(level, move), _commanded(vents, move)
        if begin is not None and told is not None:
            lost = (begin[0] - told[0]) * begin[2]
            found.append((lost, begin[2] * math.hypot(begin[1], told[1]), move))
    if not found:
        return None
    weights = np.array([1.0 / std**2 for _, std, _ in found])
    value = float(np.array([lost for lost, _, _ in found]) @ weights / weights.sum())
    spread = float(1.0 / math.sqrt(weights.sum()))
    return AuditResult(
        kind="hysteresis",
        channel=level.channel,
        value=value,
        std=spread,
        unit="m",
        threshold=LOST + SURE * spread,
        when=tuple((move.start, move.end) for _, _, move in found),
        text=f"loses {1e3 * value:.1f} mm of motion where it turns round",
    )


def _begin(level: Level, move: Move) -> tuple[float, float, float] | None:
    """Return when a move's line leaves the height before, its spread, and the speed [m/s]."""
    a, b = _inside(level, move)
    b = a + max((b - a) * 2 // 3, 3)  # the end may already be slower
    t, x = level.time[a:b], level.values[a:b]
    if t.size < 3:
        return None
    centre, u = t.mean(), t - t.mean()
    speed = float(u @ x / (u @ u))
    if speed * move.rise <= 0.0:
        return None
    at = float(centre + (move.h0 - x.mean()) / speed)
    variance = level.noise**2 * (1.0 / t.size + (at - centre) ** 2 / float(u @ u) + 1.0 / 6.0)
    return at, math.sqrt(variance) / abs(speed), abs(speed)


def vent_starts(trace: Trace) -> tuple[tuple[float, float], ...]:
    """Return the times between which each vent was opened."""
    vent = trace.channels.get("vent.command")
    if vent is None:
        return ()
    on = np.flatnonzero((vent[1:] > 0.5) & (vent[:-1] <= 0.5))
    return tuple(zip(trace.time[on].tolist(), trace.time[on + 1].tolist(), strict=True))


def _commanded(vents: Sequence[tuple[float, float]], move: Move) -> tuple[float, float] | None:
    """Return when the vent was opened for a falling move, and how well that is known."""
    near = [(early, late) for early, late in vents if abs(late - move.start) < LATE]
    if len(near) != 1:
        return None
    early, late = near[0]
    return 0.5 * (late + early), (late - early) / ROUNDING_LIKE


def follow(trace: Trace, channel: str, moves: Mapping[str, Sequence[Move]]) -> AuditResult | None:
    """Return how little of what moves the body this height shows; None if nothing does.

    The other side's moves tell, and for an axle sensor the vents commanded: a pump may be dead,
    but a vent lets the body down unless it is blocked.
    """
    leads = [m for m in moves.get(partner_of(channel), ()) if abs(m.rise) > BIG_MOVE]
    spans = [(m.start, m.end) for m in leads]
    shares = [sum(_moved(moves[channel], m.start, m.end)) / m.rise for m in leads]
    if not partner_of(channel):
        spans = _vented(trace)
        shares = [float(bool(_moved(moves[channel], start, end))) for start, end in spans]
    if not shares:
        return None
    lacking = 1.0 - float(np.median(shares))
    return AuditResult(
        kind="follow",
        channel=channel,
        value=lacking,
        std=FOLLOW_STD / math.sqrt(len(shares)),
        unit="",
        threshold=1.0 - FOLLOWS,
        when=tuple(spans),
        text=f"makes {100.0 * (1.0 - lacking):.0f} % of the moves that the body is known to make",
    )


def _moved(moves: Sequence[Move], start: float, end: float) -> list[float]:
    return [m.rise for m in moves if m.start < end + TOGETHER and m.end > start - TOGETHER]


def _vented(trace: Trace) -> list[tuple[float, float]]:
    """Return the vents commanded for long enough to let the body down."""
    vent = trace.channels.get("vent.command")
    if vent is None:
        return []
    spans = [(trace.time[a], trace.time[b]) for a, b in zip(*runs(vent > 0.5), strict=True)]
    return [(float(a), float(b)) for a, b in spans if b - a >= LEAST_VENT]
