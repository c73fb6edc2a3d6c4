"""The audit of a height signal becomes one finding: how well each state of it explains all tests.

Every test looks at the same samples, so they are not multiplied: together they have one outcome
(`outcome_of`), and `RATES` says how often each state of a signal gives it. The rates were measured
on virtual vehicles with defects put into their signals (`tools/measure_audit.py`); sound signals
there include those of vehicles with leaks and stuck valves, which look like a sensor that does not
follow. Tape heights are another reading, independent of these given the state, and multiply in.
Limits: which defects a state shows, and in which share, was chosen there; a signal that is steady
but wrong shows in no test unless a tape or the other side tells.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from types import MappingProxyType
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from sagtrace.evidence.facts import Facts
from sagtrace.evidence.findings import Finding
from sagtrace.evidence.likelihood import state_likelihoods
from sagtrace.evidence.models import MODELS
from sagtrace.physics import leak
from sagtrace.physics.estimate import Caveat, Estimate, propagate
from sagtrace.signals.audit import Audit, AuditKind, AuditResult, audit_heights, height_roles
from sagtrace.signals.calibration import Calibration, Tape, calibrate
from sagtrace.signals.episode_table import EpisodeTable, tabulate
from sagtrace.signals.episodes import Episode
from sagtrace.signals.trace import Trace
from sagtrace.units import from_si
from sagtrace.vehicle.nodes import Node
from sagtrace.vehicle.system import System

__all__ = [
    "audit_findings",
    "audit_recording",
    "audited_results",
    "body_moved",
    "height_channels",
    "Outcome",
    "outcome_of",
    "RATES",
    "read_episodes",
    "rise_per_kelvin",
    "signal_node",
    "STATES",
]

Array = NDArray[np.float64]
Outcome = Literal["sound", "jumps", "wrong", "gone"]

AXLE_CHANNEL, AXLE_NODE, CORNER_NODE = "height.rear", "height.signal", "corner-signal"
STATES = ("agrees", "offset", "noisy", "invalid")
GONE: frozenset[AuditKind] = frozenset({"range", "stuck"})
JUMPS: frozenset[AuditKind] = frozenset({"noise", "spikes", "dropouts", "track"})
WRONG: frozenset[AuditKind] = frozenset({"dead-band", "hysteresis", "follow", "rest", "sides"})
SWEPT = 16e-3  # [m] chosen: two moves of the least that shows a dead band
ASKED = 6.0  # [s] chosen: commanded for so long, the body moves, whatever its sensors say
GROSS_ERROR = 0.04  # chosen: as for the same comparison by hand
ROOM = 293.15  # [K] 20 °C; the rise goes with its inverse, 7 % from frost to here
MANY_STD = 2.0  # [-] chosen: warming explains a rise up to so many deviations more

# P(outcome | state) in the order of STATES, by whether the body moved. Measured on the virtual
# vehicle, 600 recordings each: tools/measure_audit.py, `outcome_rates`; 0.5 added to every count.
RATES: Mapping[bool, Mapping[Outcome, tuple[float, float, float, float]]] = MappingProxyType(
    {
        True: {
            "sound": (0.9277, 0.4460, 0.1703, 0.0008),
            "jumps": (0.0091, 0.1420, 0.8098, 0.0075),
            "wrong": (0.0623, 0.4095, 0.0125, 0.2566),
            "gone": (0.0008, 0.0025, 0.0075, 0.7350),
        },
        False: {
            "sound": (0.9909, 0.8281, 0.2965, 0.0772),
            "jumps": (0.0075, 0.0357, 0.6952, 0.0224),
            "wrong": (0.0008, 0.1354, 0.0008, 0.1869),
            "gone": (0.0008, 0.0008, 0.0075, 0.7135),
        },
    }
)


def signal_node(system: System, channel: str) -> Node | None:
    """Return the node that speaks of a height channel's signal; None if the layout has none."""
    name = AXLE_NODE if channel == AXLE_CHANNEL else f"{CORNER_NODE}@{channel.partition('.')[2]}"
    return system.nodes.get(name)


def height_channels(system: System) -> tuple[str, ...]:
    """Return the height channels that a vehicle of this layout has."""
    corners = [corner.id for corner in system.layout.corners]
    channels = [AXLE_CHANNEL, *(f"height.{corner}" for corner in corners)]
    return tuple(c for c in channels if signal_node(system, c) is not None)


def outcome_of(results: Sequence[AuditResult]) -> Outcome:
    """Return the one outcome of all tests of a channel; what is gone cannot jump."""
    kinds = {result.kind for result in results if result.stands_out}
    if kinds & GONE:
        return "gone"
    if kinds & JUMPS:
        return "jumps"
    return "wrong" if kinds & WRONG else "sound"


def body_moved(audit: Audit) -> bool:
    """Return whether the recording holds a sweep in which most defects could have shown."""
    return audit.swept >= SWEPT or audit.asked >= ASKED


def rise_per_kelvin(facts: Facts) -> Estimate:
    """Return how far a closed spring lifts the wheel arch for a kelvin of warming [m/K].

    It is the rise at which the kernel of a leak sees none.
    """
    names = ("spring-area", "spring-volume", "spring-pressure", "barometer", "lever-ratio")
    given = [facts.values[name] for name in names]

    def rise(x: Array) -> Array:
        area, volume, gauge, outside, lever = x

        def lost(fall: float, warming: float) -> Array:
            return leak.leak_from_height_decay(
                area,
                gauge + outside,
                fall,
                1.0,
                volume_start=volume,
                temp_start=ROOM,
                temp_end=ROOM + warming,
            )

        millimetre = 1e-3
        return np.asarray(-lost(0.0, 1.0) / lost(millimetre, 0.0) * millimetre / lever)

    value, std = propagate(rise, [e.value for e in given], [e.std**2 for e in given])
    return Estimate(value=abs(value), std=std, unit="m/K")


def read_episodes(trace: Trace, episodes: Sequence[Episode], facts: Facts) -> EpisodeTable:
    """Return the table of rests and fills with what these springs do in the warmth."""
    per_kelvin = rise_per_kelvin(facts)
    return tabulate(trace, episodes, per_kelvin=per_kelvin.value, per_kelvin_std=per_kelvin.std)


def audited_results(system: System, audit: Audit) -> tuple[AuditResult, ...]:
    """Return the results, each with the likelihood that the outcome of its channel has.

    It is the same for all results of a channel, because they are one piece of evidence.
    """
    told = []
    for result in audit.results:
        node = signal_node(system, result.channel)
        if node is not None:
            rates = RATES[body_moved(audit)]
            row = dict(zip(STATES, rates[outcome_of(audit.of(result.channel))], strict=True))
            result = replace(result, likelihood=tuple(row[s] for s in node.state_ids))
        told.append(result)
    return tuple(told)


def audit_recording(trace: Trace, facts: Facts) -> Audit:
    """Return the audit without the rises at rest that warming explains."""
    audit = audit_heights(trace)
    results = tuple(r for r in audit.results if not _only_warm(r, trace, facts))
    return replace(audit, results=results)


def audit_findings(
    system: System,
    trace: Trace,
    facts: Facts,
    tapes: Sequence[Tape],
    id: str,  # noqa: A002
    audit: Audit | None = None,
) -> tuple[Finding, ...]:
    """Return one finding for every height channel whose signal the layout knows.

    `audit` is that of `audit_recording`, if it is at hand.
    """
    audit = audit or audit_recording(trace, facts)
    found = []
    for channel in height_roles(trace):
        node = signal_node(system, channel)
        if node is None:
            continue
        results = audit.of(channel)
        line = calibrate(trace, channel, tapes)
        found.append(_finding(node, channel, results, body_moved(audit), line, tapes, id))
    return tuple(found)


def _only_warm(result: AuditResult, trace: Trace, facts: Facts) -> bool:
    """Return whether warming explains a rise at rest."""
    ambient = trace.channels.get("ambient")
    if result.kind != "rest" or ambient is None or not result.when:
        return False
    start, end = result.when[0]
    inside = ambient[(trace.time >= start) & (trace.time <= end)]
    if not np.isfinite(inside).any():
        return False
    per_kelvin = rise_per_kelvin(facts)
    warming = float(np.nanmax(inside) - np.nanmin(inside))
    most = warming * (per_kelvin.value + MANY_STD * per_kelvin.std)
    return result.value - most < result.threshold


def _finding(
    node: Node,
    channel: str,
    results: Sequence[AuditResult],
    moved: bool,
    line: Calibration | None,
    tapes: Sequence[Tape],
    id: str,  # noqa: A002
) -> Finding:
    outcome = outcome_of(results)
    rates = dict(zip(STATES, RATES[moved][outcome], strict=True))
    likelihood = {state: rates[state] for state in node.state_ids}
    caveats: tuple[Caveat, ...] = ()
    if not moved:
        text = "The height hardly moved, so a sensor that sticks or lags would not have shown."
        caveats = (Caveat(code="no-sweep", text=text),)
    estimate = None
    if line is not None:
        estimate, by_tape = _against_tape(node, channel, line, tapes)
        likelihood = {s: likelihood[s] * by_tape[s] for s in likelihood}
        caveats += estimate.caveats
    else:
        few = (
            "No tape heights" if not any(t.channel == channel for t in tapes) else "One tape height"
        )
        text = f"{few}: a signal that is steady but wrong would not have shown."
        caveats += (Caveat(code="no-tape", text=text),)
    best = max(likelihood, key=lambda state: likelihood[state])
    top = likelihood[best]
    says = next(state.text for state in node.states if state.id == best)
    return Finding(
        id=f"{id}.audit.{channel}",
        source=id,
        name=f"audit of {channel}, {len(results)} tests",
        text=f"{_told(results)}; reads like: {says}",
        target=node.id,
        likelihood=tuple(likelihood[state] / top for state in node.state_ids),
        estimate=estimate,
        caveats=caveats,
    )


def _told(results: Sequence[AuditResult]) -> str:
    out = [result.text for result in results if result.stands_out]
    return "; ".join(out) if out else "no test stands out"


def _against_tape(
    node: Node, channel: str, line: Calibration, tapes: Sequence[Tape]
) -> tuple[Estimate, Mapping[str, float]]:
    """Return the difference from the tape as the check by hand tells it, and its likelihood."""
    own = sorted((t for t in tapes if t.channel == channel), key=lambda tape: tape.height)
    given = {}
    for name, tape in (("low", own[0]), ("high", own[-1])):
        value, std = line.at(tape.height)
        given[f"signal-{name}"] = Estimate(value=value, std=std, unit="m")
        # The line's spread holds the tape's own already.
        given[f"tape-{name}"] = Estimate(value=tape.height, std=0.0, unit="m")
    measured = MODELS["sensor-difference"].compute(given, {}).estimate
    assert node.quantity is not None
    value = from_si(measured.value, node.quantity.unit)
    std = from_si(measured.std, node.quantity.unit)
    density = state_likelihoods(node.quantity, value, std, GROSS_ERROR)
    by_state = dict(zip(node.quantity.states, density.tolist(), strict=True))
    estimate = Estimate(value=value, std=std, unit=node.quantity.unit, caveats=measured.caveats)
    return estimate, by_state
