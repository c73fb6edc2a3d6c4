"""Recordings of virtual vehicles whose truth is known, and defects put into one height signal.

For measuring how often the audit and the episodes are right, and for their tests. Assumes the
twin's chosen vehicles with loads, volumes and roll bars spread around them. Everything follows from
the seed.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sagtrace.bootstrap import virtual
from sagtrace.signals.trace import ROLES, Trace
from sagtrace.twin.faults import CornerFault, FaultParameters, TimedFault
from sagtrace.twin.parameters import VehicleParameters
from sagtrace.twin.script import Ambient, Engine, Event, Load, Script
from sagtrace.twin.simulate import Simulation, simulate

__all__ = [
    "day",
    "DEFECTS",
    "defect",
    "height_of",
    "layout_of",
    "Recording",
    "sampled",
    "still",
    "sweep",
    "true_spans",
    "vehicle",
]

Array = NDArray[np.float64]
Span = tuple[float, float]

FULL_RATE = 50.0  # [1/s]
NOISE, STEP = 3e-4, 5e-4  # [m] of the twin's healthy sensor
LEVEL = 0.4  # [m]

LAYOUTS = ("rear-pair", "four-corner", "four-corner-reservoir")


def _vehicle(layout: str) -> VehicleParameters:
    return virtual().vehicles[layout]


@dataclass(frozen=True, kw_only=True)
class Recording:
    """A run at full rate."""

    vehicle: VehicleParameters
    run: Simulation

    def true_height(self, channel: str) -> Array:
        """Return what the sensor of a channel stands at [m]."""
        assert self.run.truth is not None
        sensor = next(s for s in self.vehicle.sensors if s.role == channel)
        heights = np.array([self.run.truth.heights[c] for c in sensor.corners])
        return np.asarray(LEVEL + heights.mean(axis=0))


def layout_of(seed: int) -> str:
    """Return one of the layouts, in turn."""
    return LAYOUTS[seed % len(LAYOUTS)]


def vehicle(seed: int) -> VehicleParameters:
    """Return a healthy vehicle."""
    rng = np.random.default_rng(seed)
    plain = _vehicle(layout_of(seed))
    springs = tuple(
        replace(s, load=s.load * rng.uniform(0.8, 1.25), volume=s.volume * rng.uniform(0.8, 1.3))
        for s in plain.springs
    )
    roll = plain.roll_stiffness * rng.uniform(0.5, 1.6)
    return replace(plain, springs=springs, roll_stiffness=roll)


def _target(at: float, by: float) -> TimedFault:
    return TimedFault(name="level", change=FaultParameters(target_offset=by), onset=at)


def sweep(seed: int, rate: float = FULL_RATE, corner: CornerFault | None = None) -> Recording:
    """Return a vehicle commanded up, down by twice as much and back, with rests between."""
    rng, made = np.random.default_rng(1000 + seed), vehicle(seed)
    by = rng.uniform(0.021, 0.027)
    script = Script(duration=420.0, engine=True, ambient=rng.uniform(273.0, 303.0))
    faults = [_target(40.0, by), _target(160.0, -2.0 * by), _target(300.0, by)]
    if corner is not None:
        change = FaultParameters(corners={made.corners[0]: corner})
        faults.append(TimedFault(name="corner", change=change))
    return Recording(vehicle=made, run=simulate(made, script, faults=faults, seed=seed, rate=rate))


def still(seed: int, rate: float = FULL_RATE) -> Recording:
    """Return a parked vehicle."""
    rng, made = np.random.default_rng(3000 + seed), vehicle(seed)
    script = Script(duration=300.0, engine=False, ambient=rng.uniform(273.0, 303.0))
    return Recording(vehicle=made, run=simulate(made, script, seed=seed, rate=rate))


def day(seed: int, rate: float = 2.0, hours: float = 1.5) -> Recording:
    """Return an ordinary recording: engine on and off, people in and out, a leak, the weather."""
    rng, made = np.random.default_rng(2000 + seed), vehicle(seed)
    length = 3600.0 * hours
    temp = rng.uniform(273.0, 303.0)
    events: list[Event] = [
        Engine(at=rng.uniform(60.0, 300.0), on=True),
        Ambient(at=300.0, to=temp + rng.uniform(-8.0, 5.0), over=length - 300.0),
    ]
    at = rng.uniform(500.0, 900.0)
    while at < length - 400.0:
        mass = {corner: float(rng.uniform(0.0, 90.0)) for corner in made.corners}
        events.append(Load(at=at, kilograms=mass, over=float(rng.uniform(1.0, 6.0))))
        at += rng.uniform(400.0, 1200.0)
    corner = made.corners[rng.integers(len(made.corners))]
    leak = CornerFault(leak=float(rng.choice([0.0, 1.0, 3.0, 6.0])) * 1e-12)
    faults = [TimedFault(name="leak", change=FaultParameters(corners={corner: leak}))]
    if rng.random() < 0.4:
        faults.append(TimedFault(name="ring", change=FaultParameters(ring_leak=2e-10)))
    script = Script(duration=length, ambient=temp, events=tuple(events))
    return Recording(vehicle=made, run=simulate(made, script, faults=faults, seed=seed, rate=rate))


def true_spans(run: Simulation, kind: str) -> list[Span]:
    """Return when springs were filled (`fill`) or vented (`vent`), from the control's log."""
    spans: list[Span] = []
    rows = [np.zeros(run.changes.shape[1]), *run.changes]
    for row, after in zip(rows, [*rows[1:], None], strict=True):
        valves = bool(row[5:].any())
        filled = valves and row[2] < 0.5 and (row[1] > 0.5 or row[3] > 0.5)
        if filled if kind == "fill" else valves and row[2] > 0.5:
            end = float(run.time[-1]) if after is None else float(after[0])
            joined = bool(spans) and float(row[0]) - spans[-1][1] < 2.0
            spans[-1:] = [(spans[-1][0], end)] if joined else [*spans[-1:], (float(row[0]), end)]
    return spans


def height_of(recording: Recording) -> str:
    """Return the first height channel."""
    return recording.vehicle.sensors[0].role


def sampled(
    recording: Recording, rate: int, values: Array | None, rng: np.random.Generator
) -> Trace:
    """Return the run at a lower rate; `values` instead of the first height's truth, sensed anew.

    The other channels keep the samples that the twin gave them.
    """
    stride = round(FULL_RATE / rate)
    at = slice(int(rng.integers(stride)), None, stride)
    channels = {role: v[at] for role, v in recording.run.channels.items() if role in ROLES}
    if values is not None:
        part = values[at]
        noisy = part + rng.normal(0.0, NOISE, part.shape)
        channels[height_of(recording)] = np.rint(noisy / STEP) * STEP
    return Trace(time=recording.run.time[at], channels=channels)


# --- defects of the sensor's travel, before noise and sampling


def sticking(x: Array, band: float) -> Array:
    """Return a sensor that stays until the truth is `band` away, then jumps to it."""
    out, held = np.empty_like(x), x[0]
    for k, value in enumerate(x):
        if abs(value - held) >= band:
            held = value
        out[k] = held
    return out


def loose(x: Array, play: float) -> Array:
    """Return a sensor with play in its link."""
    out, held = np.empty_like(x), x[0]
    for k, value in enumerate(x):
        held = min(max(held, value - play / 2.0), value + play / 2.0)
        out[k] = held
    return out


def worn(x: Array, at: float, width: float, jump: float) -> Array:
    """Return a sensor whose track is worn over `width` from the height `at`."""
    return np.where((x > at) & (x < at + width), x + jump, x)


# --- defects of a recorded signal; each takes the trace's values, its rate and a generator


def _spiky(x: Array, rate: float, rng: np.random.Generator) -> Array:
    out, n = x.copy(), int(rng.integers(1, 12))
    at = rng.integers(2, x.size - 3, n)
    out[at] += rng.choice([-1.0, 1.0], n) * rng.uniform(2e-3, 15e-3, n)
    return out


def _noisy(x: Array, rate: float, rng: np.random.Generator) -> Array:
    return x + rng.normal(0.0, rng.uniform(0.8e-3, 4e-3), x.size)


def _dropping(x: Array, rate: float, rng: np.random.Generator) -> Array:
    out = x.copy()
    for at in rng.integers(2, x.size - 5, rng.integers(1, 8)):
        out[at : at + rng.integers(1, 4)] = rng.choice([np.nan, 0.0, x.mean() - 0.084])
    return out


def _missing(x: Array, rate: float, rng: np.random.Generator) -> Array:
    out, a = x.copy(), int(rng.integers(0, x.size // 2))
    gone = rng.choice([np.nan, 0.0, LEVEL - 0.084])
    out[a : a + int(x.size * rng.uniform(0.1, 0.5))] = gone
    return out


def _railed(x: Array, rate: float, rng: np.random.Generator) -> Array:
    return np.full_like(x, LEVEL - 0.084) + rng.normal(0.0, NOISE, x.size)


def _hanging(x: Array, rate: float, rng: np.random.Generator) -> Array:
    return np.full_like(x, LEVEL + rng.uniform(-0.06, 0.06)) + rng.normal(0.0, NOISE, x.size)


def _shifted(x: Array, rate: float, rng: np.random.Generator) -> Array:
    return np.asarray(x + rng.choice([-1.0, 1.0]) * rng.uniform(0.012, 0.06))


def _bent(x: Array, rate: float, rng: np.random.Generator) -> Array:
    return np.asarray(LEVEL + (x - LEVEL) * rng.uniform(0.5, 0.8) + rng.uniform(-0.03, 0.03))


def _frozen(x: Array, rate: float, rng: np.random.Generator) -> Array:
    out, a = x.copy(), int(rng.integers(0, x.size // 2))
    out[a : a + int(x.size * rng.uniform(0.2, 0.5))] = x[a]
    return out


Defect = Callable[[Array, float, np.random.Generator], Array]
# What each state of a height signal looks like, in equal parts: chosen.
DEFECTS: Mapping[str, tuple[Defect, ...]] = {
    "offset": (_hanging, _shifted, _bent, _shifted, _hanging),
    "noisy": (_spiky, _noisy, _dropping, _spiky, _dropping),
    "invalid": (_missing, _railed, _missing, _frozen),
}


def defect(trace: Trace, channel: str, state: str, rate: float, rng: np.random.Generator) -> Trace:
    """Return the trace with one channel in one of the bad states."""
    kinds = DEFECTS[state]
    made = kinds[int(rng.integers(len(kinds)))](trace.channels[channel], rate, rng)
    return Trace(time=trace.time, channels={**trace.channels, channel: np.rint(made / STEP) * STEP})
