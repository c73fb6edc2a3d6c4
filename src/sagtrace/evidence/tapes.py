"""Heights taped while a recording ran, read for the fit and for the height sensors.

A time is on the recording's own clock, as its tables and figures show it. Assumes a tape is no
finer than `TAPE`, whatever was typed. A sensor that shows the mean of an axle is held against the
mean of both sides; a side without the other at that time counts for the fit only.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from sagtrace.errors import DomainError, UnknownIdError
from sagtrace.signals.audit import height_roles
from sagtrace.signals.calibration import Tape as ChannelTape
from sagtrace.signals.trace import Trace
from sagtrace.twin.identify.result import Tape
from sagtrace.units import parse_quantity
from sagtrace.vehicle.job import Taped
from sagtrace.vehicle.layouts import Layout

__all__ = ["read_tapes", "tapes_by_channel"]

TAPE = 2e-3  # [m] chosen: a wheel arch has an edge, and the tape is not held quite upright
TOGETHER = 4.0  # [s] chosen: both sides of an axle count as taped at one time


def read_tapes(layout: Layout, trace: Trace, taped: Sequence[Taped]) -> tuple[Tape, ...]:
    """Return what was typed, in SI.

    Raises UnknownIdError for a corner that the layout has not, UnitError for a text that is no
    time or height, DomainError for a time outside the recording.
    """
    corners = [corner.id for corner in layout.corners]
    first, last = float(trace.time[0]), float(trace.time[-1])
    found = []
    for one in taped:
        if one.corner not in corners:
            raise UnknownIdError("corner", one.corner, corners)
        time = parse_quantity(one.time, "time", name="time of the tape").value
        if not first <= time <= last:
            rule = f"in the recording, {first / 60:.1f} min to {last / 60:.1f} min"
            hint = "Times are on the recording's own clock."
            raise DomainError("time of the tape", time, "s", rule, hint)
        height = parse_quantity(one.height, "length", name=f"tape at {one.corner}")
        std = max(TAPE, height.std)
        found.append(Tape(time=time, corner=one.corner, height=height.value, std=std))
    return tuple(found)


def tapes_by_channel(
    layout: Layout, trace: Trace, tapes: Sequence[Tape]
) -> tuple[tuple[ChannelTape, ...], tuple[str, ...]]:
    """Return the tapes as each height channel sees them, and what could not be held against one."""
    found: list[ChannelTape] = []
    for channel in height_roles(trace):
        place = channel.partition(".")[2]
        corners = [c.id for c in layout.corners if place in (c.id, c.axle)]
        sides = [[tape for tape in tapes if tape.corner == corner] for corner in corners]
        if len(sides) == 1:
            found += [_of(channel, (tape,)) for tape in sides[0]]
        elif len(sides) == 2:
            found += [
                _of(channel, (one, other))
                for one in sides[0]
                for other in sides[1]
                if abs(one.time - other.time) <= TOGETHER
            ]
    return tuple(found), tuple(_alone(layout, trace, tapes))


def _of(channel: str, tapes: Sequence[Tape]) -> ChannelTape:
    n = len(tapes)
    return ChannelTape(
        channel=channel,
        time=sum(tape.time for tape in tapes) / n,
        height=sum(tape.height for tape in tapes) / n,
        std=math.sqrt(sum(tape.std**2 for tape in tapes)) / n,
    )


def _alone(layout: Layout, trace: Trace, tapes: Sequence[Tape]) -> list[str]:
    axle = {corner.id: corner.axle for corner in layout.corners}
    roles = height_roles(trace)
    return [
        f"The tape at {tape.corner} after {tape.time / 60:.1f} min has none of the other side at "
        f"that time, so it is not held against height.{axle[tape.corner]}, which shows their mean."
        for tape in tapes
        if f"height.{axle[tape.corner]}" in roles
        and not any(
            axle[other.corner] == axle[tape.corner]
            and other.corner != tape.corner
            and abs(other.time - tape.time) <= TOGETHER
            for other in tapes
        )
    ]
