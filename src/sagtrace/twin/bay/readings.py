"""The checks that ask for numbers: what a perfect person with perfect instruments would read.

Each function gives the true inputs of a check in SI, or the reason why there is nothing to read: a
pump that is not fed shows no drop across a joint, and no person writes one down.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import TypeAlias

import numpy as np

from sagtrace.twin import _slots as s
from sagtrace.twin.bay.bench import LINE_TEST
from sagtrace.twin.bay.looks import SETTLED, fallen, sensed
from sagtrace.twin.bay.runs import DAY, HOUR, VESSEL, Runs
from sagtrace.twin.simulate import Simulation

__all__ = ["READINGS"]

Generator: TypeAlias = np.random.Generator
Inputs: TypeAlias = Mapping[str, float] | str  # or why there is nothing to read

LINE_VOLUME = 150e-6  # [m^3] the knowledge's own: line, dryer and gauge hose
LIVE = 1.0  # [A] below this a circuit counts as carrying no current
LEAST_GAUGE = 0.5e5  # [Pa] chosen: less than this is no pressure to hold
NOT_FED = "no voltage reaches the pump"
LEAST_FEED = 5.0  # [V] the least voltage that the forms take


def _gauge(run: Simulation, seconds: float, barometer: float) -> float:
    assert run.truth is not None
    p = np.interp(run.time[0] + seconds, run.time, run.truth.pressures["gallery"])
    return float(p) - barometer


# Standing.


def _overnight(r: Runs, corner: str, rng: Generator) -> Inputs:
    time = float(rng.integers(100, 141)) * 360.0  # ten to fourteen hours, in tenths
    run = r.hold()
    at = run.time[0] + SETTLED + np.array([0.0, time])
    air = np.interp(at, run.time, run.channels["ambient"])
    return _held(r, run, corner, time, float(air[0]), float(air[1]))


def _short(r: Runs, corner: str, rng: Generator) -> Inputs:
    # Down by half of the way to the stop after ten minutes, nobody waits for half an hour.
    stop = -next(x for x in r.parameters.springs if x.corner == corner).bump_at
    quick = fallen(r.still(), corner, 600.0) > 0.5 * stop
    return _held(r, r.still(), corner, 600.0 if quick else 1800.0, DAY, DAY)


def _held(r: Runs, run: Simulation, corner: str, time: float, first: float, last: float) -> Inputs:
    assert run.truth is not None
    level = r.parameters.level
    stood = float(np.interp(run.time[0] + SETTLED, run.time, run.truth.heights[corner]))
    return {
        "height-start": level + stood,
        "height-end": level + stood - fallen(run, corner, time),
        "time": time,
        "temperature-start": first,
        "temperature-end": last,
    }


def _line(r: Runs, corner: str, rng: Generator) -> Inputs:
    # Two minutes to cool, and air that was pumped for some seconds only.
    fill = r.vessel(LINE_VOLUME, 20.0)
    assert fill.truth is not None
    reached = float(fill.truth.pressures["gallery"].max()) - r.bench.barometer
    if reached < LEAST_GAUGE:
        return "the pump builds no pressure in the line"
    rest = r.vessel(LINE_VOLUME, 720.0, pressure=min(reached, LINE_TEST), pump=False)
    baro = r.bench.barometer
    if (first := _gauge(rest, 120.0, baro)) < LEAST_GAUGE:
        return "the pressure in the line is gone before it can be read"
    return {
        "pressure-start": first,
        "pressure-end": _gauge(rest, 720.0, baro),
        "time": 600.0,
        "volume": LINE_VOLUME,
        "temperature-start": DAY,
        "temperature-end": DAY,
    }


def _reservoir_hold(r: Runs, time: float, fall: float) -> Inputs:
    full = r.charged() - r.bench.barometer
    if full < LEAST_GAUGE:
        return "the reservoir is empty"
    assert r.parameters.reservoir is not None
    if not r.reaches_reservoir:
        return "the gauge does not see the reservoir behind its valve"
    volume = r.parameters.reservoir.volume
    run = r.vessel(volume, time, pressure=full, pump=False, store="alone", fall=fall)
    last = _gauge(run, time, r.bench.barometer)
    return {
        "pressure-start": full,
        "pressure-end": last,
        "time": time,
        "volume": volume,
        "temperature-start": DAY,
        "temperature-end": DAY - fall,
    }


# The pump at work.


def _duty(r: Runs, corner: str, rng: Generator) -> Inputs:
    return {"running": r.commanded() * HOUR, "watched": HOUR}


def _rise(r: Runs, corner: str, rng: Generator) -> Inputs:
    rear = r.parameters.corners[-2:]
    run = r.raised(rear)
    assert run.truth is not None
    height = np.mean([run.truth.heights[c] for c in rear], axis=0)
    up = height - height[0]
    last = int(np.argmax(up >= 0.020)) if float(up.max()) >= 0.020 else len(up) - 1
    at_pump = float(run.channels["pump.voltage"][last // 2 + 1])
    if at_pump < LEAST_FEED:
        return NOT_FED
    level = r.parameters.level
    return {
        "height-start": level,
        "height-end": level + float(up[last]),
        "time": float(run.time[last] - run.time[0]),
        "supply": at_pump,
        "temperature": DAY,
    }


def _fill(r: Runs, volume: float, start: float, store: str = "") -> Inputs:
    run = r.vessel(volume, 90.0, pressure=start, store=store)
    assert run.truth is not None
    gauge = run.truth.pressures["gallery"] - r.bench.barometer
    over = gauge >= LINE_TEST
    last = int(np.argmax(over)) if over.any() and not store else len(gauge) - 1
    at_pump = float(run.channels["pump.voltage"][last // 2 + 1])
    if at_pump < LEAST_FEED:
        return NOT_FED
    return {
        "pressure-start": float(gauge[0]),
        "pressure-end": float(gauge[last]),
        "time": float(run.time[last] - run.time[0]),
        "volume": volume,
        "supply": at_pump,
    }


def _reservoir_fill(r: Runs, corner: str, rng: Generator) -> Inputs:
    assert r.parameters.reservoir is not None
    if not r.reaches_reservoir:
        return "no air gets into the reservoir through its valve"
    before = min(r.charged(), r.used_up) - r.bench.barometer
    return _fill(r, r.parameters.reservoir.volume, before, "with line")


def _feed_loss(r: Runs, corner: str, rng: Generator) -> Inputs:
    work = r.working(r.bench.highest)
    lost = work.battery - work.at_pump
    if work.current < LIVE and lost < 6.0:
        return "no current flows, so no joint loses anything"
    return {"battery": work.battery, "pump": work.at_pump, "current": work.current}


def _drop(slot: int) -> Callable[[Runs, str, Generator], Inputs]:
    def read(r: Runs, corner: str, rng: Generator) -> Inputs:
        work = r.working(r.bench.highest)
        if work.current < LIVE + 1.0:
            return "no current flows through the joint"
        return {"drop": work.current * r.bench.number(slot), "current": work.current}

    return read


def _sensor(r: Runs, corner: str, rng: Generator) -> Inputs:
    corner = corner or r.parameters.corners[-1]
    heights = np.array(sensed(r, corner)) + r.parameters.level
    names = ("signal-low", "tape-low", "signal-high", "tape-high")
    return dict(zip(names, heights.tolist(), strict=True))


def _clamp(r: Runs, corner: str, rng: Generator) -> Inputs:
    return {"value": r.working(r.bench.highest).current}


def _supply(r: Runs, corner: str, rng: Generator) -> Inputs:
    return {"value": r.working(r.bench.highest, support=False).battery}


READINGS: Mapping[str, Callable[[Runs, str, Generator], Inputs]] = MappingProxyType(
    {
        "connector.drop": _drop(s.R_CONN),
        "corner-sensor.tape": _sensor,
        "feed-wire.drop": _drop(s.R_FEED),
        "feed.loss": _feed_loss,
        "ground.drop": _drop(s.R_GROUND),
        "hold.overnight": _overnight,
        "hold.short": _short,
        "pump.current-clamp": _clamp,
        "pump.duty": _duty,
        "pump.fill-test": lambda r, corner, rng: _fill(r, VESSEL, 0.0),
        "pump.rise-rate": _rise,
        "relay.drop": _drop(s.R_RELAY),
        "reservoir.decay": lambda r, corner, rng: _reservoir_hold(r, HOUR, 0.5),
        "reservoir.fill": _reservoir_fill,
        "reservoir.overnight": lambda r, corner, rng: _reservoir_hold(r, 12 * HOUR, r.night_fall),
        "sensor.tape": _sensor,
        "supply-line.decay": _line,
        "supply.running": _supply,
    }
)
