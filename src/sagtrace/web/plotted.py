"""What the plots of a recording draw: rows of numbers in shown units, panels, shades and marks.

A row is a channel, a fitted curve or what the fit leaves over. Channels of one unit share a panel;
commands lie above each other in one. A window is thinned to the width of the screen, lowest and
highest kept. Limits: the fitted curve is known by blocks and drawn straight between them.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import groupby
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from sagtrace.errors import InputError
from sagtrace.report.assessment import Recorded
from sagtrace.report.recorded import standing_out
from sagtrace.signals.decimate import decimate
from sagtrace.signals.episodes import find_events
from sagtrace.signals.trace import ROLES, Trace
from sagtrace.twin.identify.result import Curve
from sagtrace.units import METRIC, Reader, as_read, convert, from_si
from sagtrace.web.words import _, later

__all__ = ["Mark", "Panel", "Plotted", "Row", "Samples", "Shade", "make_plotted", "role_words"]

Array = NDArray[np.float64]

GAP_IN_STEPS = 20.0  # [-] chosen: a channel's own rate may be slow, and a few samples may be lost
SHOWN = {
    "length": "mm",
    "count": "",
    "voltage": "V",
    "current": "A",
    "temperature": "°C",
    "pressure_gauge": "bar",
    "speed": "km/h",
}
TITLES = {
    "current": later("Current"),
    "voltage": later("Voltage"),
    "pressure_gauge": later("Pressure above the air around"),
    "temperature": later("Temperature"),
    "speed": later("Speed of the vehicle"),
}
ORDER = ("length", "left", "count", "current", "voltage", "pressure_gauge", "temperature", "speed")
LABELS = {
    "hold": later("rest"),
    "fill": later("fill"),
    "vent": later("vent"),
    "load": later("load"),
    "engine": later("engine starts"),
}
# What a finding was read from: the kind of episode by the last part of its id.
READ_FROM = {"leak": "hold", "pump": "fill", "duty": "fill"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One line of a panel."""

    name: str  # the role, with "fitted " or "left " before it
    label: str
    unit: str  # "" for a command
    what: Literal["measured", "fitted", "left", "command"]
    step: float  # [s] usual time between its own samples


@dataclass(frozen=True, slots=True, kw_only=True)
class Panel:
    """Rows that share a panel, by their place in the list of rows."""

    title: str
    unit: str
    rows: tuple[int, ...]
    limit: float = 0.0  # two standard deviations either side of nothing left over; 0 for none


@dataclass(frozen=True, slots=True, kw_only=True)
class Shade:
    """A stretch in which one thing happened."""

    kind: str
    label: str
    start: float  # [s]
    end: float  # [s]


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """A place that a sentence speaks of; `target` is the id of the sentence on the page."""

    label: str
    title: str
    target: str
    spans: tuple[tuple[float, float], ...]  # [s]
    row: int = -1  # the row that it is about; -1 for all


@dataclass(frozen=True, slots=True, kw_only=True)
class Samples:
    """A window: times [s] after `start`, and values in shown units, a row each."""

    start: float
    time: Array
    values: Array

    def content(self) -> bytes:
        """Return times, then the rows, as 32-bit floats, the low byte first."""
        return np.vstack([self.time[None], self.values]).astype("<f4").tobytes()


@dataclass(frozen=True, slots=True, kw_only=True)
class Plotted:
    """Everything that the plots of one recording draw."""

    trace: Trace
    curves: Mapping[str, Curve]
    rows: tuple[Row, ...]
    panels: tuple[Panel, ...]
    shades: tuple[Shade, ...]
    marks: tuple[Mark, ...]

    @property
    def start(self) -> float:
        """The first time [s]."""
        return float(self.trace.time[0])

    @property
    def end(self) -> float:
        """The last time [s]."""
        return float(self.trace.time[-1])

    def as_read(self, reader: Reader) -> Plotted:
        """Return the same in the units that are read."""
        if reader == METRIC:
            return self
        panels = tuple(
            replace(p, unit=unit, limit=convert(p.limit, p.unit, unit) if p.limit else 0.0)
            for p in self.panels
            for unit in (reader.unit(p.unit),)
        )
        return replace(
            self,
            rows=tuple(replace(row, unit=reader.unit(row.unit)) for row in self.rows),
            panels=panels,
            marks=as_read(self.marks, reader),
        )

    def samples(self, start: float, end: float, width: int) -> Samples:
        """Return a window in about `width` columns, with a sample beside it on either side.

        Raises InputError for a window that begins after its end or lies outside the recording.
        """
        if not start < end:
            raise InputError(
                _("%(window)s: it must begin before it ends.", window=_window(start, end))
            )
        if end < self.start or start > self.end:
            raise InputError(
                _(
                    "%(window)s: the recording runs from %(start)s to %(end)s.",
                    window=_window(start, end),
                    start=_seconds(self.start),
                    end=_seconds(self.end),
                )
            )
        time = self.trace.time
        first = max(0, int(np.searchsorted(time, start, side="right")) - 1)
        last = min(time.size, int(np.searchsorted(time, end, side="left")) + 1)
        part = slice(first, max(last, first + 2))
        steps = np.diff(time[part])
        gap = GAP_IN_STEPS * float(np.median(steps)) if steps.size else math.inf
        rows = [self._thinned(row, time[part], part, width, gap) for row in self.rows if _own(row)]
        kept = rows[0][0]
        values = [v for _, v in rows] + [self._curve(r, kept) for r in self.rows if not _own(r)]
        return Samples(start=float(kept[0]), time=kept - kept[0], values=np.array(values))

    def _thinned(
        self, row: Row, time: Array, part: slice, width: int, gap: float
    ) -> tuple[Array, Array]:
        # One channel after the other, so that a large recording is never copied whole.
        thin = decimate(time, self.trace.channels[row.name][None, part], width, gap=gap)
        return thin.time, _shown(thin.values[0], row.unit)

    def _curve(self, row: Row, time: Array) -> Array:
        what, _, role = row.name.partition(" ")
        curve = self.curves[role]
        values = curve.fitted if what == "fitted" else curve.measured - curve.fitted
        return _shown(np.interp(time, curve.time, values, left=np.nan, right=np.nan), row.unit)


def _own(row: Row) -> bool:
    return row.what in ("measured", "command")


def _shown(values: Array, unit: str) -> Array:
    if not unit:
        return values
    zero = from_si(0.0, unit)
    return values * (from_si(1.0, unit) - zero) + zero


def make_plotted(recorded: Recorded) -> Plotted:
    """Return what the plots of a recording draw."""
    trace, report = recorded.trace, recorded.report
    curves = dict(report.fit.curves) if report.fit is not None else {}
    rows = (*_channels(trace), *_fitted(curves))
    shades = tuple(
        Shade(
            kind=e.kind,
            label=_(LABELS[e.kind]) if e.kind in LABELS else e.kind,
            start=e.start,
            end=e.end,
        )
        for e in sorted(
            (*report.episodes, *find_events(trace, report.episodes)), key=lambda e: e.start
        )
    )
    return Plotted(
        trace=trace,
        curves=curves,
        rows=rows,
        panels=tuple(_panels(rows, curves)),
        shades=shades,
        marks=(*_finding_marks(recorded), *_audit_marks(recorded, rows), *_gap_marks(recorded)),
    )


def _channels(trace: Trace) -> Iterator[Row]:
    for role, values in trace.channels.items():
        seen = trace.time[np.isfinite(values)]
        if seen.size == 0:
            continue
        kind = ROLES[role]
        yield Row(
            name=role,
            label=role_words(role),
            unit=SHOWN[kind],
            what="command" if kind == "count" else "measured",
            step=float(np.median(np.diff(seen))) if seen.size > 1 else 0.0,
        )


def _fitted(curves: Mapping[str, Curve]) -> Iterator[Row]:
    for what in ("fitted", "left"):
        for role, curve in curves.items():
            yield Row(
                name=f"{what} {role}",
                label=_("%(channel)s, fitted", channel=role_words(role))
                if what == "fitted"
                else _("%(channel)s, left over", channel=role_words(role)),
                unit="mm",
                what="fitted" if what == "fitted" else "left",
                step=float(np.median(np.diff(curve.time))) if curve.time.size > 1 else 0.0,
            )


def _panels(rows: tuple[Row, ...], curves: Mapping[str, Curve]) -> Iterator[Panel]:
    keyed = sorted(((_group(row), i) for i, row in enumerate(rows)), key=_by_panel)
    for (kind, axle), members in groupby(keyed, key=lambda pair: pair[0]):
        found = tuple(i for _, i in members)
        roles = [rows[i].name.partition(" ")[2] for i in found]
        stds = [curves[role].std for role in roles] if kind == "left" else []
        yield Panel(
            title=_title(kind, axle),
            unit=rows[found[0]].unit,
            rows=found,
            limit=2e3 * float(np.median(np.concatenate(stds))) if stds else 0.0,
        )


def _by_panel(pair: tuple[tuple[str, str], int]) -> tuple[int, str, int]:
    (kind, axle), i = pair
    return ORDER.index(kind), axle, i


def _group(row: Row) -> tuple[str, str]:
    role = row.name.rpartition(" ")[2]
    kind = ROLES[role]
    if kind != "length":
        return kind, ""
    axle = role.partition(".")[2].partition("-")[0]
    return ("left" if row.what == "left" else kind), axle


def _title(kind: str, axle: str) -> str:
    where = {
        "left": _("left side"), "right": _("right side"),
        "front": _("front axle"), "rear": _("rear axle"),
    }.get(axle, axle)  # fmt: skip
    if kind == "length":
        return _("Height, %(where)s", where=where)
    if kind == "left":
        return _("What the fit leaves over, %(where)s", where=where)
    return _(TITLES[kind]) if kind in TITLES else _("Commands")


def _window(start: float, end: float) -> str:
    return f"from = {_seconds(start)}, to = {_seconds(end)}"


def _seconds(time: float) -> str:
    return f"{time:g} s"


def role_words(role: str) -> str:
    """Return a role in words.

    >>> role_words("height.rear-left"), role_words("pump.command"), role_words("supply")
    ('height, rear left', 'pump, command', 'supply')
    """
    return role.replace(".", ", ").replace("-", " ")


def _finding_marks(recorded: Recorded) -> Iterator[Mark]:
    """Yield a mark at the longest episodes that each finding was read from."""
    for letter, finding in zip(
        "abcdefghijklmnopqrstuvwxyz", recorded.report.findings, strict=False
    ):
        parts = finding.id.split(".")
        kind = next((READ_FROM[p] for p in parts if p in READ_FROM), "")
        spans = [(e.start, e.end) for e in recorded.report.episodes if e.kind == kind]
        if spans:
            longest = max(spans, key=lambda span: span[1] - span[0])
            yield Mark(
                label=letter,
                title=f"{finding.name}: {finding.text}",
                target=f"finding-{letter}",
                spans=(longest,),
            )


def _audit_marks(recorded: Recorded, rows: tuple[Row, ...]) -> Iterator[Mark]:
    names = [row.name for row in rows]
    for i, result in enumerate(standing_out(recorded.report), 1):
        if result.when:
            yield Mark(
                label=str(i),
                title=f"{result.channel}, {result.kind}: {result.text}",
                target=f"audit-{i}",
                spans=result.when,
                row=names.index(result.channel) if result.channel in names else -1,
            )


def _gap_marks(recorded: Recorded) -> Iterator[Mark]:
    gaps = recorded.imported.gaps if recorded.imported is not None else ()
    if gaps:
        spans = tuple((gap.start, gap.end) for gap in gaps)
        title = _("no samples: see how the file was read")
        yield Mark(label=_("gap"), title=title, target="import", spans=spans)
