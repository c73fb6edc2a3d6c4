"""The figures of a recording: heights with the fitted curve, what was commanded, what is left over.

Two heights of one axle share a figure. The numbers are thinned to what a page can show, extremes
and gaps kept. Limits: straight lines are drawn only where there is no fit; a fitted curve ends
where the fit does.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from sagtrace.report.assessment import Recorded
from sagtrace.report.recorded import standing_out
from sagtrace.report.tree import Axis, Line, LinePlot, Span, Strip
from sagtrace.report.words import listed
from sagtrace.signals.audit import height_roles
from sagtrace.signals.decimate import decimate
from sagtrace.signals.trace import Trace
from sagtrace.twin.identify.result import Curve

__all__ = ["recording_figures"]

Array = NDArray[np.float64]

COLUMNS = 600  # [-] chosen: more than a page's width shows
MARKED: tuple[Literal["hold", "fill", "vent"], ...] = ("hold", "fill", "vent")
COMMANDS = {"pump.command": "pump", "vent.command": "vent", "engine": "engine"}
MOST_MARKS = 5  # [-] chosen: more rows push the axis too far down
GAP_IN_STEPS = 20.0  # [-] chosen: a channel's own rate may be slow, and a few samples may be lost
TIME = Axis(title="time", unit="min")


def recording_figures(recorded: Recorded) -> Iterator[LinePlot]:
    """Yield the figures of a recording in their order."""
    trace = recorded.trace
    axles: dict[str, list[str]] = {}
    for role in height_roles(trace):
        if _has_samples(trace, role):
            axles.setdefault(role.partition(".")[2].partition("-")[0], []).append(role)
    commands = tuple(_commands(trace))
    for axle, roles in axles.items():
        yield _heights(recorded, axle, roles, commands)
        if (left := _residuals(recorded, axle, roles)) is not None:
            yield left
    for role in ("pump.voltage", "supply"):
        if _has_samples(trace, role):
            yield LinePlot(
                title="Voltage at the pump" if role == "pump.voltage" else "Supply voltage",
                x=TIME,
                y=Axis(title="voltage", unit="V"),
                lines=(_line("recorded", trace.time, trace.channels[role]),),
                low=True,
                text="Voltage over time.",
            )
            break


def _has_samples(trace: Trace, role: str) -> bool:
    """Return whether a channel is there and has a value."""
    return role in trace.channels and bool(np.isfinite(trace.channels[role]).any())


def _heights(
    recorded: Recorded, axle: str, roles: Sequence[str], commands: tuple[Strip, ...]
) -> LinePlot:
    trace, report = recorded.trace, recorded.report
    spans = tuple(
        Span(start=e.start / 60, end=e.end / 60, label=role, role=role)
        for e in report.episodes
        for role in MARKED
        if e.kind == role
    )
    curves = report.fit.curves if report.fit is not None else {}
    lines = [
        _line(_named("recorded", role, roles), trace.time, 1e3 * trace.channels[role])
        for role in roles
    ]
    lines += [
        _line(_named("fitted", role, roles), curves[role].time, 1e3 * curves[role].fitted, "fitted")
        for role in roles
        if role in curves
    ]
    how = "the virtual vehicle fitted to it"
    if not curves:
        how = "the lines fitted to them"
        lines += [*_straight(recorded)] if roles == ["height.rear"] else []
    marks = _marks(recorded, roles)
    told = ["what was commanded"] * bool(commands)
    told += ["where tests of the audit stand out, by their number"] * bool(marks)
    below = f"; below, {listed(told)}" if told else ""
    return LinePlot(
        title=f"Height of the {axle} axle",
        x=TIME,
        y=Axis(title="height", unit="mm"),
        lines=tuple(lines),
        spans=spans,
        strips=(*commands, *marks),
        text=f"Height over time with rests and fills marked and {how}{below}.",
    )


def _named(what: str, role: str, roles: Sequence[str]) -> str:
    return what if len(roles) == 1 else f"{role.rpartition('-')[2]}, {what}"


def _straight(recorded: Recorded) -> Iterator[Line]:
    # One line with gaps, so that the drawing names it once.
    ends = [(line.start, line.h0, line.end, line.h1) for line in recorded.report.lines]
    if ends:
        yield Line(
            name="fitted",
            x=tuple(v for t0, _, t1, _ in ends for v in (t0 / 60, t1 / 60, t1 / 60)),
            y=tuple(v for _, h0, _, h1 in ends for v in (1e3 * h0, 1e3 * h1, math.nan)),
            role="fitted",
        )


def _residuals(recorded: Recorded, axle: str, roles: Sequence[str]) -> LinePlot | None:
    fit = recorded.report.fit
    curves = {role: fit.curves[role] for role in roles if role in fit.curves} if fit else {}
    if not curves:
        return None
    lines = [
        _line(_named("left over", role, roles), c.time, 1e3 * (c.measured - c.fitted))
        for role, c in curves.items()
    ]
    usual = 1e3 * float(np.median(np.concatenate([c.std for c in curves.values()])))
    lines += list(_limits(tuple(curves.values()), 2.0 * usual))
    return LinePlot(
        title=f"What the fit leaves over, {axle} axle",
        x=TIME,
        y=Axis(title="recorded less fitted", unit="mm"),
        lines=tuple(lines),
        low=True,
        text=f"Means of blocks; two standard deviations of a usual one are {2 * usual:.2f} mm.",
    )


def _limits(curves: Sequence[Curve], limit: float) -> Iterator[Line]:
    ends = (min(c.time[0] for c in curves) / 60, max(c.time[-1] for c in curves) / 60)
    x = (float(ends[0]), float(ends[1]), float(ends[1]), float(ends[0]), float(ends[1]))
    y = (-limit, -limit, math.nan, limit, limit)
    yield Line(name="± 2 std", x=x, y=y, role="limit")


def _line(
    name: str, time: Array, values: Array, role: Literal["measured", "fitted"] = "measured"
) -> Line:
    """Return a line thinned to what a page shows; it is broken where its samples lie far apart."""
    seen = np.isfinite(values)
    time, values = time[seen], values[seen]
    steps = np.diff(time)
    gap = GAP_IN_STEPS * float(np.median(steps)) if steps.size else math.inf
    kept = decimate(time / 60, values[None, :], COLUMNS, gap=gap / 60)
    return Line(name=name, x=tuple(kept.time.tolist()), y=tuple(kept.values[0].tolist()), role=role)


def _commands(trace: Trace) -> Iterator[Strip]:
    for role, name in COMMANDS.items():
        if _has_samples(trace, role):
            spans = _on(trace.time / 60, trace.held(role) > 0.5)
            yield Strip(name=name, spans=spans)


def _on(time: Array, on: NDArray[np.bool_]) -> tuple[tuple[float, float], ...]:
    """Return when something was on; breaks too short to be seen are closed."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], on, [False]]).astype(np.int8)))
    starts, ends = edges[::2], np.minimum(edges[1::2], time.size - 1)
    if not starts.size:
        return ()
    shut = (time[-1] - time[0]) / (2 * COLUMNS)
    new = np.concatenate([[True], time[starts[1:]] - time[ends[:-1]] > shut])
    first = [*np.flatnonzero(new).tolist(), starts.size]
    return tuple((float(time[starts[a]]), float(time[ends[b - 1]])) for a, b in pairwise(first))


def _marks(recorded: Recorded, roles: Sequence[str]) -> tuple[Strip, ...]:
    return tuple(
        Strip(
            name=f"{i} {result.kind}",
            spans=tuple((a / 60, b / 60) for a, b in result.when),
            role="mark",
        )
        for i, result in enumerate(standing_out(recorded.report), 1)
        if result.when and result.channel in roles
    )[:MOST_MARKS]
