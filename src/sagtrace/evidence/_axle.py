"""What one axle's height says about its leak, and what leak and pump have in common.

Assumes `height.rear` is the mean of both sides at the wheel arch, a constant load (so constant
pressure in the springs) and one temperature. Limits: one sensor cannot tell left from right.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sagtrace.evidence.findings import Finding, quantity_finding
from sagtrace.evidence.models import Measured
from sagtrace.physics import gas, leak
from sagtrace.physics.estimate import Caveat, Estimate, propagate
from sagtrace.signals.episodes import (
    LEAST_SAMPLES,
    SETTLING,
    Episode,
    FittedLine,
    Kind,
    Pooled,
    median_step,
    pool,
    slope,
)
from sagtrace.signals.trace import Trace
from sagtrace.units import from_si
from sagtrace.vehicle.system import System

__all__ = [
    "Axle",
    "counted",
    "leak_finding",
    "pool_caveats",
    "share_caveat",
    "sink_rate",
    "SPRINGS",
    "temperature",
    "WARM",
]

Array = NDArray[np.float64]

SPRINGS = 2.0  # [-] exact: the mean height of an axle moves with the air in both its springs
GROSS_ERROR = 0.03  # chosen: of 100 recordings, those with a wrong channel or a rocked vehicle
NEAR_STOP = 0.85  # [-] chosen: share of the bump travel, as in the check of one corner
WARM = 0.05  # [-] chosen: fresh air 15 K above the spring's takes this much more room
COOLING = 30.0  # [s] chosen: in which fresh air gives off 63 % of that warmth
NO_AMBIENT = Estimate(value=288.15, std=8.0, unit="K")  # chosen: as for a check without one
AMBIENT_ERROR = 1.5  # [K] chosen: the sensor is not in the spring
DRIFT_BESIDE_SENSOR = 0.3  # [K] chosen: what the spring may do that the sensor does not see
LEAST_DRIFT, NIGHT_SWING, NIGHT = 0.7, 8.0, 8 * 3600.0  # [K], [K], [s] chosen: as for a check
DISAGREE = 2.0  # [-] chosen: a Birge ratio worth a word

ONE_SENSOR = Caveat(
    code="one-axle-sensor",
    text="One sensor on the axle cannot tell left from right: tape both sides.",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Axle:
    """A recording of one axle, the lines fitted to it, and what is known of the vehicle."""

    system: System
    trace: Trace
    facts: Mapping[str, Estimate]
    id: str
    episodes: tuple[Episode, ...]
    lines: tuple[FittedLine, ...]

    def steady(self, kind: Kind) -> tuple[FittedLine, ...]:
        """Return the lines of this kind that ran straight."""
        return tuple(line for line in self.lines if line.kind == kind and line.steady)

    def finding(self, part: str, name: str, node: str, measured: Measured) -> Finding:
        """Return what this part of the recording says about a node."""
        return quantity_finding(
            id=f"{self.id}.{part}",
            source=self.id,
            name=name,
            node=self.system.node(node),
            measured=measured,
            gross_error=GROSS_ERROR,
        )


def sink_rate(axle: Axle) -> tuple[Pooled | None, list[str]]:
    """Return dh/dt at rest [m/s], with what the cooling of fresh air may add to its spread."""
    holds = axle.steady("hold")
    notes = []
    if moved := sum(line.kind == "hold" and not line.steady for line in axle.lines):
        notes.append(
            f"{moved} of the rests did not run straight (somebody got in or out, or the vehicle "
            "came down on its stop) and were left out."
        )
    if not holds:
        notes.append(
            "No rest is long enough to see a leak in: let the vehicle stand for some minutes with "
            "the pump off."
        )
        return None, notes
    rest = pool([line.slope for line in holds], [line.std for line in holds])
    # One allowance for all: the air cools the same way after every fill, so it does not average.
    cooling = sum(w * _cooling(axle, hold) for w, hold in zip(rest.weights, holds, strict=True))
    return replace(rest, std=math.hypot(rest.std, cooling)), notes


def _cooling(axle: Axle, hold: FittedLine) -> float:
    """Return the speed at which the last fill's air may still shrink, mean over the hold [m/s]."""
    fills = [line for line in axle.lines if line.kind == "fill"]
    lifts = [fill.h1 - fill.h0 for fill in fills if fill.end <= hold.start][-1:]
    # Nobody knows what was filled before the recording; as much as in it, at most.
    lift = max(lifts or [fill.h1 - fill.h0 for fill in fills] or [0.0])
    length = hold.end - hold.start
    left = math.exp(-SETTLING / COOLING) * -math.expm1(-length / COOLING)
    return WARM * max(lift, 0.0) * left / length


def temperature(axle: Axle) -> tuple[Estimate, Estimate, tuple[Caveat, ...]]:
    """Return the temperature [K], its drift [K/s] and what had to be assumed."""
    span = float(np.ptp(axle.trace.time))
    ambient = axle.trace.channels.get("ambient")
    if ambient is not None and np.count_nonzero(np.isfinite(ambient)) >= LEAST_SAMPLES:
        line = slope(axle.trace.time, ambient, step=median_step(ambient))
        level = Estimate(value=float(np.nanmean(ambient)), std=AMBIENT_ERROR, unit="K")
        unseen = DRIFT_BESIDE_SENSOR / span
        return level, Estimate(value=line.slope, std=math.hypot(line.std, unseen), unit="K/s"), ()
    swing = LEAST_DRIFT + NIGHT_SWING * min(1.0, span / NIGHT)
    text = (
        f"No air temperature was recorded; 15 ± 8 °C and a change of ± {swing:.1f} K over the "
        "recording are allowed for."
    )
    caveat = Caveat(code="no-temperature", text=text)
    return NO_AMBIENT, Estimate(value=0.0, std=swing / span, unit="K/s"), (caveat,)


_LEAK_FACTS = ("spring-area", "spring-volume", "spring-pressure", "barometer", "lever-ratio")


def leak_finding(axle: Axle, rest: Pooled) -> Finding:
    """Return what the fall at rest says about the leak of the axle."""
    air, drift, caveats = temperature(axle)

    def flow(x: Array) -> Array:
        rate, temp, warming, area, volume, gauge, outside, lever = x
        lost = SPRINGS * leak.leak_from_height_decay(
            area,
            gauge + outside,
            -lever * rate,  # in one second
            1.0,
            volume_start=volume,
            temp_start=temp,
            temp_end=temp + warming,
        )
        return gas.molar_flow_to_standard(lost, gas.REF_20C_1ATM)

    inputs = [Estimate(value=rest.value, std=rest.std, unit="m/s"), air, drift]
    inputs += [axle.facts[fact] for fact in _LEAK_FACTS]
    values, variances = [e.value for e in inputs], np.array([e.std**2 for e in inputs])
    value, std = propagate(flow, values, variances)
    _, alone = propagate(flow, values, variances * (np.arange(len(inputs)) < 3))
    holds = axle.steady("hold")
    travel = axle.facts["bump-travel"].value
    # One side may carry the whole fall, and the mean shows half of it.
    on_stop = any(SPRINGS * (hold.h0 - hold.h1) > NEAR_STOP * travel for hold in holds)
    caveats = (ONE_SENSOR, *caveats, *pool_caveats(rest, "rests"))
    caveats += share_caveat(from_si(alone, "mL/min"), from_si(std, "mL/min"), "mL/min")
    if on_stop:
        text = (
            "If one side alone loses the air, it came near its bump stop in one of the rests: the "
            "leak is at least this."
        )
        caveats += (Caveat(code="bump-stop", text=text),)
    estimate = Estimate(value=value, std=std, unit="m³/s", caveats=caveats)
    name = f"fall of the axle at rest, {counted(len(holds), 'stretch', 'stretches')}"
    return axle.finding(
        "leak", name, "air.escape-axle", Measured(estimate=estimate, at_least=on_stop)
    )


def counted(n: int, one: str, more: str) -> str:
    """Return the number with its noun."""
    return f"{n} {one if n == 1 else more}"


def pool_caveats(pooled: Pooled, what: str) -> tuple[Caveat, ...]:
    """Say so if the pooled values disagree."""
    if pooled.birge <= DISAGREE:
        return ()
    text = (
        f"The {what} differ {pooled.birge:.1f} times as much as their noise explains; the spread "
        "is widened by that."
    )
    return (Caveat(code="disagree", text=text),)


def share_caveat(alone: float, std: float, unit: str) -> tuple[Caveat, ...]:
    """Say so if the facts of the vehicle, and not the recording, set the spread."""
    if alone > std / math.sqrt(2.0):
        return ()
    whole, own = (f"{float(f'{spread:.2g}'):g}" for spread in (std, alone))
    text = (
        f"Of the ± {whole} {unit} only {own} come from the recording; the rest are the vehicle "
        "data (springs, pump, lever). Type the workshop manual's values to narrow it."
    )
    return (Caveat(code="vehicle-data", text=text),)
