"""A recording in tables: what its audit, its rests and fills, and its fit say.

The same tables go on the technical record and on the terminal. Every number has its unit and its
spread, an interval where it is an estimate, and what it was read from. Limits: on paper long
tables are cut, and say so.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TypeVar

from sagtrace.evidence.recording import RecordingReport
from sagtrace.physics.estimate import Estimate
from sagtrace.report.tree import Column, Table
from sagtrace.report.words import between, percent
from sagtrace.signals.audit import AuditResult
from sagtrace.signals.episode_table import FillRow, HoldRow
from sagtrace.twin.identify.result import Fit, Fitted
from sagtrace.units import format_quantity, from_si

__all__ = [
    "audit_table",
    "duty_text",
    "fills_table",
    "fit_table",
    "misfit_text",
    "NOTHING_STANDS_OUT",
    "rests_table",
    "span_text",
    "standing_out",
]

T = TypeVar("T")

NOTHING_STANDS_OUT = "Audit of the height signals: nothing stands out"
SHOWN = {"m": "mm", "m/s": "mm/min", "m^3/s": "mL/min", "ohm": "mΩ"}
LEAST_STD = 1e-12  # because a spread of nothing cannot be shown
LEAST_RATE = 2e-6  # [m/s] chosen: 0.1 mm/min; a height that makes no step in a fill has this spread
ROUGH = 1.5  # chosen: mean square misfit from which the fit itself warns


def standing_out(report: RecordingReport) -> tuple[AuditResult, ...]:
    """Return the tests that a sound sensor would hardly fail."""
    return tuple(result for result in report.audit if result.stands_out)


def audit_table(report: RecordingReport) -> Table | None:
    """Return a line for each test that stands out; None if none does."""
    found = standing_out(report)
    if not found:
        return None
    rows = tuple(
        (
            str(i),
            result.channel,
            result.kind,
            _audited(result.value, result.std, result.unit),
            _audited(result.threshold, 0.0, result.unit),
            span_text(result.when),
            result.text,
        )
        for i, result in enumerate(found, 1)
    )
    columns = (
        Column(title="No.", share=0.5),
        Column(title="Signal", share=2),
        Column(title="Test", share=1.2),
        Column(title="Value", align="right", share=1.3),
        Column(title="Sound up to", align="right", share=1.1),
        Column(title="When", share=1.7),
        Column(title="What it does", share=3),
    )
    caption = "Audit of the height signals: what stands out."
    return Table(columns=columns, rows=rows, caption=caption)


def _audited(value: float, std: float, unit: str) -> str:
    scale, shown = (1e3, " mm") if unit == "m" else (1.0, f" {unit}" if unit else "")
    spread = f" ± {scale * std:.2g}" if std > 0.0 else ""
    return f"{scale * value:.3g}{spread}{shown}"


def span_text(spans: Sequence[tuple[float, float]]) -> str:
    """Return when something happened: the first time, and how many more."""
    if not spans:
        return "throughout"
    start, end = (f"{t / 60:.1f}" for t in spans[0])
    text = f"{start} min" if start == end else f"{start} to {end} min"
    return f"{text}, {len(spans) - 1} more" if len(spans) > 1 else text


def rests_table(report: RecordingReport, most: int | None = None) -> Table | None:
    """Return the rests with their sinking speed, the longest `most` of them."""
    holds = report.table.holds if report.table else ()
    kept = _longest(holds, [row.end - row.start for row in holds], most)
    if not kept:
        return None
    rows = tuple(_episode(row, row.sinking, row.sinking_std, row.interval) for row in kept)
    caption = "Rests: how fast the height sinks once warming is taken out, positive downwards"
    return Table(columns=_EPISODES, rows=rows, caption=f"{caption}{_cut(len(kept), len(holds))}.")


def fills_table(report: RecordingReport, most: int | None = None) -> Table | None:
    """Return the fills with their rise rate, the longest `most` of them."""
    fills = report.table.fills if report.table else ()
    kept = _longest(fills, [row.end - row.start for row in fills], most)
    if not kept:
        return None
    rates = [Estimate(value=r.rate, std=max(r.rate_std, LEAST_RATE), unit="m/s") for r in kept]
    rows = tuple(
        _episode(row, e.value, e.std, e.interval()) for row, e in zip(kept, rates, strict=True)
    )
    caption = "Fills: how fast the height rises"
    return Table(columns=_EPISODES, rows=rows, caption=f"{caption}{_cut(len(kept), len(fills))}.")


_EPISODES = (
    Column(title="Signal", share=2),
    Column(title="From", align="right", share=1.2),
    Column(title="For", align="right", share=1),
    Column(title="Speed (± one standard deviation)", align="right", share=2.4),
    Column(title="95 % interval", align="right", share=2.2),
)


def _episode(
    row: HoldRow | FillRow, speed: float, std: float, interval: tuple[float, float]
) -> tuple[str, ...]:
    long = row.end - row.start
    return (
        row.channel,
        f"{row.start / 60:.2f} min",
        f"{long:.0f} s",
        _value(speed, std, "mm/min"),
        _between(*interval, "mm/min"),
    )


def _longest(rows: Sequence[T], lengths: Sequence[float], most: int | None) -> list[T]:
    if most is None or len(rows) <= most:
        return list(rows)
    order = sorted(range(len(rows)), key=lambda i: -lengths[i])[:most]
    return [rows[i] for i in sorted(order)]


def _cut(kept: int, every: int) -> str:
    return f"; the longest {kept} of {every}" if kept < every else ""


def duty_text(report: RecordingReport) -> str:
    """Return how much of the time the pump was commanded."""
    return f"The pump ran {percent(report.run_share)} of the recorded time."


def fit_table(fit: Fit, source: str) -> Table:
    """Return what the fit says, one line a quantity; `source` names it."""
    columns = (
        Column(title="Quantity", share=2.6),
        Column(title="Value (± one standard deviation)", align="right", share=2.2),
        Column(title="95 % interval", align="right", share=1.9),
        Column(title="Read from", share=2.6),
    )
    caption = "The virtual vehicle fitted to the recording; flows at 20 °C and 1 atm."
    return Table(columns=columns, rows=tuple(_fitted(fit, source)), caption=caption)


def _fitted(fit: Fit, source: str) -> Iterator[tuple[str, ...]]:
    for name, leak in fit.leaks.items():
        axle, _, which = name.partition(".")
        what = f"leak of the {which} axle".replace("  ", " ") if axle == "axle" else ""
        yield _line(what or f"leak at the {name}", leak, "mL/min", source)
    if fit.pump is not None:
        yield _line("air of the pump at the springs, of a healthy one", fit.pump, "%", source)
    else:
        yield "air of the pump at the springs", "not told", "", source
    for name, other in fit.others.items():
        what, _, role = name.partition(".")
        if what == "feed":
            yield _line("feed of the pump, there and back", other, "mΩ", "voltages and current")
        elif what == "offset":
            yield _line(f"{role} shows too much by", other, "mm", source)
        else:
            yield _line(f"{role} moves too far by", other, "%", source)


def _line(what: str, fitted: Fitted, unit: str, source: str) -> tuple[str, str, str, str]:
    value = _value(fitted.value, fitted.std, unit) if fitted.told else "not told"
    return what, value, _between(fitted.low, fitted.high, unit), source


def _between(low: float, high: float, unit: str) -> str:
    return between(from_si(low, unit), from_si(high, unit), unit)


def _value(value: float, std: float, unit: str) -> str:
    return format_quantity(value, max(std, LEAST_STD), unit)


def misfit_text(fit: Fit) -> str:
    """Return how well the virtual vehicle follows the recording, in words."""
    number = f"mean square misfit {fit.misfit:.2g}, where noise alone gives 1"
    if fit.misfit <= ROUGH:
        return f"The virtual vehicle follows the recording as well as its noise allows ({number})."
    return (
        f"The virtual vehicle follows the recording only roughly ({number}); every interval is "
        "widened by that."
    )
