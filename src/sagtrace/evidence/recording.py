"""A recording of one axle becomes findings: its leak, its pump and how long the pump runs.

Assumes `height.rear` is the mean of both sides at the wheel arch, a constant load (so constant
pressure in the springs) and one temperature. Straight lines are fitted to holds and fills and
pooled; the vehicle's facts turn millimetres a second into air, and mostly set the spread.
Limits: one sensor cannot tell left from right. The findings share those facts, which the spread
of each shows and their product does not. Noise of the height around the lines becomes a note and
no finding, because without a tape it says nothing about the height's truth.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from sagtrace.errors import InputError
from sagtrace.evidence._axle import (
    SPRINGS,
    WARM,
    Axle,
    counted,
    leak_finding,
    pool_caveats,
    share_caveat,
    sink_rate,
    temperature,
)
from sagtrace.evidence.audit import (
    audit_findings,
    audit_recording,
    audited_results,
    height_channels,
    read_episodes,
)
from sagtrace.evidence.facts import Facts
from sagtrace.evidence.findings import Finding
from sagtrace.evidence.fitted import fitted_findings
from sagtrace.evidence.models import MODELS, Measured
from sagtrace.physics.estimate import Caveat, Estimate
from sagtrace.signals.audit import AuditResult, height_roles
from sagtrace.signals.calibration import Tape
from sagtrace.signals.episode_table import EpisodeTable
from sagtrace.signals.episodes import (
    Episode,
    FittedLine,
    Pooled,
    find_episodes,
    fit_lines,
    median_step,
    pool,
    run_time,
)
from sagtrace.signals.trace import Trace
from sagtrace.twin.identify.result import Fit
from sagtrace.units import from_si
from sagtrace.vehicle.system import System

__all__ = ["check_channels", "read_recording", "RecordingReport"]

VOLTMETER = 0.1  # [V] chosen: of a recorded voltage
FEED_LOSS = Estimate(value=0.6, std=0.5, unit="V")  # chosen: usual wire to a clearly bad one
NO_SUPPLY = 6.0  # [V] chosen: below this the pump was not fed, whatever was commanded
SAME_MOMENT = 1e-9  # [s] below any step: the last sample of a fill belongs to it
LONG_ENOUGH = 900.0  # [s] chosen: a quarter of an hour shows a cycle or two of a bad leak
USUAL_FILL = 20.0  # [s] chosen: the fill that the end of the recording may have cut off

AXLE, PUMP, DUTY = "air.escape-axle", "pump.delivery", "overrun"


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordingReport:
    """What a recording says and what it was read from."""

    id: str
    findings: tuple[Finding, ...]
    episodes: tuple[Episode, ...]
    lines: tuple[FittedLine, ...]
    run_share: float  # of the recorded time, that the pump was commanded [-]
    notes: tuple[str, ...]  # what was left out and why
    fit: Fit | None = None
    audit: tuple[AuditResult, ...] = ()  # all tests, whether they stand out or not
    table: EpisodeTable | None = None  # each rest and each fill


def read_recording(
    system: System,
    trace: Trace,
    facts: Facts,
    *,
    id: str,  # noqa: A002
    fit: Fit | None = None,
    tapes: Sequence[Tape] = (),
) -> RecordingReport:
    """Return what the recording says about height signals, leak, pump and duty.

    Leak and pump come from the fit where there is one, else from straight lines through the rests
    and fills of one axle. Raises InputError if the recording lacks a height that the layout has,
    or the pump command, and UnknownIdError if the system has no pump.
    """
    check_channels(system, trace)
    episodes = find_episodes(trace)
    lines, stuck = _lines(trace, episodes)
    axle = Axle(
        system=system, trace=trace, facts=facts.values, id=id, episodes=episodes, lines=lines
    )
    findings, notes = _read_stuck(axle) if stuck else _read_lines(axle, fit)
    audit = audit_recording(trace, facts)
    running, watched = run_time(trace, np.ones(len(trace.time), dtype=np.bool_))
    return RecordingReport(
        id=id,
        findings=(*findings, *audit_findings(system, trace, facts, tapes, id, audit)),
        episodes=episodes,
        lines=lines,
        run_share=running / watched if watched else 0.0,
        notes=(*notes, *_noise_notes(axle)),
        fit=fit,
        audit=audited_results(system, audit),
        table=read_episodes(trace, episodes, facts),
    )


def check_channels(system: System, trace: Trace) -> None:
    """Raise InputError if the recording lacks a height that the layout has, or the pump command."""
    known = height_channels(system)
    if not set(known) & set(trace.channels):
        there = ", ".join(height_roles(trace)) or "no height"
        raise InputError(
            f"the recording has no height of this vehicle, which are {', '.join(known)}; it has "
            f"{there}. Is it of another vehicle, or a column taken for the wrong thing? Leak and "
            "sensors are read from the heights."
        )
    if "pump.command" not in trace.channels:
        hint = "Record when the pump is commanded too; its delivery and duty are read from that."
        raise InputError(f"the recording has no channel pump.command. {hint}")


def _lines(trace: Trace, episodes: tuple[Episode, ...]) -> tuple[tuple[FittedLine, ...], bool]:
    """Return the lines of the axle's height, and whether it never changes."""
    height = trace.channels.get("height.rear")
    if height is None:
        return (), False
    stuck = median_step(height) == 0.0
    return (() if stuck else fit_lines(trace, episodes)), stuck


def _read_lines(axle: Axle, fit: Fit | None) -> tuple[tuple[Finding, ...], list[str]]:
    found: list[Finding] = []
    notes: list[str] = []
    if fit is not None:
        found += fitted_findings(axle.system, fit, axle.facts, id=axle.id)
        notes += [*fit.notes, *([fit.wanted] if fit.wanted else [])]
        parts = [_duty(axle)]
    elif AXLE in axle.system.nodes and axle.lines:
        rest, notes = sink_rate(axle)
        found += [leak_finding(axle, rest)] if rest is not None else []
        parts = [_pump(axle, rest), _duty(axle)]
    else:
        notes += ["Without a fit of the virtual vehicle no leak is read from corner heights."]
        parts = [_duty(axle)]
    for finding, more in parts:
        found += [finding] if finding else []
        notes += more
    return tuple(found), notes


def _read_stuck(axle: Axle) -> tuple[tuple[Finding, ...], list[str]]:
    finding, notes = _duty(axle)
    text = (
        "The height never changes by a single step, so it says nothing about leak and pump: the "
        "signal may be stuck. Compare it with a tape at two heights."
    )
    return ((finding,) if finding else ()), [text, *notes]


def _pump(axle: Axle, rest: Pooled | None) -> tuple[Finding | None, list[str]]:
    fills = axle.steady("fill")
    if not fills:
        return None, ["The pump was not commanded for long enough to see what it gives."]
    rise = pool([line.slope for line in fills], [line.std for line in fills])
    volts, caveats = _pump_voltage(axle)
    if volts is not None and volts.value < NO_SUPPLY:
        text = (
            f"The pump got only {volts.value:.1f} V while it was commanded, so nothing can be said "
            "about the pump itself: look at its feed."
        )
        return None, [text]
    caveats += pool_caveats(rise, "fills")
    if rest is None:
        text = "No rest shows the leak, so what leaks during a fill is not added: at least this."
        caveats += (Caveat(code="leak-unknown", text=text),)
    health, alone = _health(axle, rise, rest, volts)
    estimate = health.estimate.with_caveats(*caveats)
    spread, own = from_si(estimate.std, "%"), from_si(alone, "%")
    estimate = estimate.with_caveats(*share_caveat(own, spread, "%"))
    name = f"rise of the axle while the pump is commanded, {counted(len(fills), 'fill', 'fills')}"
    measured = Measured(estimate=estimate, at_least=rest is None)
    return axle.finding("pump", name, PUMP, measured), []


def _health(
    axle: Axle, rise: Pooled, rest: Pooled | None, volts: Estimate | None
) -> tuple[Measured, float]:
    """Return the pump's health, and its spread if the facts of the vehicle had none."""
    gain = rise.value - (rest.value if rest else 0.0)
    std = math.hypot(rise.std, rest.std if rest else 0.0, WARM * gain)
    given = {
        "height-start": Estimate(value=0.0, std=0.0, unit="m"),
        "height-end": Estimate(value=gain, std=std, unit="m"),
        "time": Estimate(value=1.0, std=0.0, unit="s"),
    }
    air, _, caveats = temperature(axle)
    if not caveats:
        given["temperature"] = air
    if volts is not None:
        given["supply"] = volts
    springs = {"springs-filled": Estimate(value=SPRINGS, std=0.0, unit="")}
    compute = MODELS["rise-rate"].compute
    exact = {name: replace(fact, std=0.0) for name, fact in axle.facts.items()}
    alone = compute(given, {**exact, **springs}).estimate.std
    return compute(given, {**axle.facts, **springs}), alone


def _pump_voltage(axle: Axle) -> tuple[Estimate | None, tuple[Caveat, ...]]:
    """Return the voltage at the pump while it is commanded; None if nothing was recorded."""
    fills = axle.steady("fill")
    time = axle.trace.time
    during = np.zeros(time.size, dtype=np.bool_)
    for fill in fills:
        during[slice(*np.searchsorted(time, (fill.start, fill.end + SAME_MOMENT)))] = True
    for role, loss in (("pump.voltage", None), ("supply", FEED_LOSS)):
        channel = axle.trace.channels.get(role)
        seen = channel[during & np.isfinite(channel)] if channel is not None else np.array([])
        if seen.size == 0:
            continue
        level = float(np.median(seen))
        if loss is None:
            return Estimate(value=level, std=VOLTMETER, unit="V"), ()
        text = (
            "The voltage at the pump was not recorded; a loss of 0.6 ± 0.5 V on its feed is "
            "allowed for."
        )
        std = math.hypot(VOLTMETER, loss.std)
        caveat = Caveat(code="no-pump-voltage", text=text)
        return Estimate(value=level - loss.value, std=std, unit="V"), (caveat,)
    return None, ()


def _duty(axle: Axle) -> tuple[Finding | None, list[str]]:
    known = "engine" in axle.trace.channels
    every = np.ones(len(axle.trace.time), dtype=np.bool_)
    awake = axle.trace.held("engine") > 0.5 if known else every
    running, watched = run_time(axle.trace, awake)
    fills = sum(episode.kind == "fill" for episode in axle.episodes)
    why_not = ""
    if watched < LONG_ENOUGH:
        why_not = f"{watched / 60:.0f} min with the engine on; it takes {LONG_ENOUGH / 60:.0f}"
    elif any(episode.kind == "vent" for episode in axle.episodes):
        why_not = "the axle was lowered meanwhile"
    elif not all(line.steady for line in axle.lines):
        why_not = "the load changed, or the height did not run straight for another reason"
    elif not fills and not known:
        why_not = "the pump never ran and it is not recorded whether the control was awake"
    if why_not:
        return None, [f"How long the pump has to run was not judged: {why_not}."]
    # The recording may end, or begin, in the middle of a cycle: one fill more or less.
    cycle = running / fills if fills else USUAL_FILL
    given = {
        "running": Estimate(value=running, std=cycle, unit="s"),
        "watched": Estimate(
            value=watched, std=float(np.median(np.diff(axle.trace.time))), unit="s"
        ),
    }
    text = f"This is the duty of {watched / 60:.0f} min at rest, not of the weeks before."
    caveats = [Caveat(code="short-watch", text=text)]
    if not known:
        text = "It is not recorded when the engine ran; the whole recording counts as awake."
        caveats.append(Caveat(code="no-engine", text=text))
    measured = MODELS["duty"].compute(given, axle.facts)
    measured = replace(measured, estimate=measured.estimate.with_caveats(*caveats))
    name = "share of the time that the pump is commanded"
    return axle.finding("duty", name, DUTY, measured), []


def _noise_notes(axle: Axle) -> list[str]:
    holds = [line for line in axle.lines if line.kind == "hold"]
    notes = []
    if holds:
        scatter = 1e3 * float(np.median([line.scatter for line in holds]))
        notes.append(
            f"The height scatters by {scatter:.1f} mm around straight lines at rest; whether it "
            "agrees with a tape, only a tape can say."
        )
    roles = height_roles(axle.trace)
    for role in roles:
        if missing := int(np.count_nonzero(~np.isfinite(axle.trace.held(role)))):
            what = "the height" if len(roles) == 1 else role
            notes.append(f"{missing} samples of {what} are missing and were left out.")
    return notes
