"""True states of the knowledge's conditions, as the physics of the virtual vehicle has them.

`TOLD` says for each condition how its state follows from numbers or runs. `NOT_TOLD` lists those
that no physics here can tell, with the reason; they follow the knowledge's own causes. `FOLLOWS`
are those that the knowledge defines by others.

A number becomes the state whose spread it fits best. Where the knowledge gives no spread, the
limit is that of a check's own words, or chosen and said here.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import fields, replace
from types import MappingProxyType

import numpy as np

from sagtrace.physics.constants import P_ATM
from sagtrace.twin import _slots as s
from sagtrace.twin.bay.hidden import likely_state
from sagtrace.twin.bay.looks import SETTLED, fallen, rise_of, sensed, unrest
from sagtrace.twin.bay.runs import Runs
from sagtrace.twin.codes import CODE_CLASSES
from sagtrace.twin.faults import TimedFault
from sagtrace.twin.script import Load
from sagtrace.units import from_si
from sagtrace.vehicle.nodes import Node

__all__ = [
    "BUBBLE",
    "delivered_share",
    "DOWN",
    "FOLLOWS",
    "JUMPS",
    "LOW",
    "NOT_TOLD",
    "PER_KELVIN",
    "TOLD",
]

Tell = Callable[[Runs, Node, str], str]

LOW = 0.010  # [m] check height.arrival: more than 10 mm is low
DOWN = 0.030  # [m] chosen: down at a glance
HOT = 30.0  # [K] check pump.heat-look
DISAGREES = 0.008  # [m] check sensor.tape: signal and tape agree within 8 mm
JUMPS = 0.002  # [m] chosen: noise that a person sees as jumping; ten times a sound sensor's
RANGE = 0.07  # [m] chosen: a signal that far off level is at its electrical end
PER_KELVIN = 0.5e-3  # [m/K] check hold.temperature
BUBBLE = 0.5e-6 / 60.0  # [m^3/s] chosen: half a millilitre a minute shows in three minutes
MOVES, QUICK, WHOLE = 0.25, 0.7, 0.8  # [-] chosen: of what the sound vehicle does
# What lies between battery and pump, by the names of its faults in the plant.
FEED = ("feed", "relay", "connector", "ground", "battery", "fuse", "no_command")
NO_TURN = 5.0  # [A] chosen: a motor that draws this and stands still stalls
OVER = 150.0  # [kg] chosen: more than people, and there before anybody gets in
LIFTING = ("level not reached in time", "pump over temperature", "run budget used up",
           "pressure not reached")  # fmt: skip
CIRCUIT = ("pump relay circuit open", "reservoir valve circuit open",
           "pressure signal out of range")  # fmt: skip

NOT_TOLD: Mapping[str, str] = MappingProxyType(
    {
        "moisture": "the plant follows water no further than the dryer",
        "pressure.signal": "the control unit reads the true pressure: no sensor stands between",
        "reservoir.path": "the reservoir's valve has no fault of its own in the plant",
        "seen": "what a driver notices is no physics",
        "complaint": "what brings a driver in is no physics",
    }
)
FOLLOWS = ("air.escape-axle", "air.escape-front", "height.signals")


def _fits(node: Node, si: float) -> str:
    assert node.quantity is not None
    return likely_state(node.quantity, from_si(si, node.quantity.unit))


def delivered_share(runs: Runs) -> float:
    """Return what stays behind the pump as a share of a healthy one, properly fed [-].

    Feed, ground, relay and command are taken as sound: the knowledge tells them apart from it.
    """
    fed = Runs(parameters=runs.parameters, faults=tuple(map(_with_sound_feed, runs.faults)))
    p = runs.bench.highest
    return max(fed.working(p).flow, 0.0) / runs.sound.working(p).flow


def _with_sound_feed(fault: TimedFault) -> TimedFault:
    sound = {f.name: f.default for f in fields(fault.change) if f.name.startswith(FEED)}
    return replace(fault, change=replace(fault.change, **sound))  # type: ignore[arg-type]


def _overrun(runs: Runs, node: Node, corner: str) -> str:
    return _fits(node, runs.duty())


def _heat(runs: Runs, node: Node, corner: str) -> str:
    run = runs.work()
    assert run.truth is not None
    over = run.truth.temperatures["head"] - run.channels["ambient"]
    return "hot" if float(over.max()) > HOT else "cool"


def _outlet(runs: Runs, node: Node, corner: str) -> str:
    return "leaving" if runs.bench.at_rest() > BUBBLE else "quiet"


def _charge(runs: Runs, node: Node, corner: str) -> str:
    p = runs.charged()
    if p < runs.used_up + 0.2e5:  # chosen: a fifth of a bar above what lifts nothing
        return "empty"
    return "full" if p > runs.parameters.control.refill_below - 1e5 else "low"


def _feed(runs: Runs, node: Node, corner: str) -> str:
    bench = runs.bench
    broken = (s.BLOWN, s.COIL_OPEN, s.LOOP_OPEN)
    whole = not any(bench.number(slot) for slot in broken)
    usual = runs.sound.working(bench.highest).current
    lost = min(usual * bench.joints, bench.rest_voltage) if whole else bench.rest_voltage
    return _fits(node, lost)


def _motor(runs: Runs, node: Node, corner: str) -> str:
    fed = Runs(parameters=runs.parameters, faults=tuple(map(_with_sound_feed, runs.faults)))
    work = fed.working(runs.bench.highest)
    if work.turning:
        return "turns"
    return "stalls" if work.current > NO_TURN else "dead"


def _current(runs: Runs, node: Node, corner: str) -> str:
    return _fits(node, runs.working(runs.bench.highest, obeyed=True).current)


def _signal(runs: Runs, node: Node, corner: str) -> str:
    corner = corner or runs.parameters.corners[-1]
    low, at_low, high, at_high = sensed(runs, corner)
    if runs.bench.sensor_of(corner)[s.S_OPEN] or abs(high) > RANGE:
        return "invalid"
    if unrest(runs, corner) > JUMPS:
        return "noisy"
    apart = max(abs(low - at_low), abs(high - at_high))
    return "offset" if apart > DISAGREES else "agrees"


def _command(runs: Runs, node: Node, corner: str) -> str:
    return "given" if runs.called().channels["pump.command"].any() else "withheld"


def _load(runs: Runs, node: Node, corner: str) -> str:
    there = sum(sum(e.kilograms.values()) for e in runs.events if isinstance(e, Load))
    return "over" if there > OVER else "within"


def _aim(runs: Runs, node: Node, corner: str) -> str:
    low = runs.bench.aim()
    if len(runs.parameters.sensors) == 1:  # each corner's own signal is a condition of its own
        told, true, _, _ = sensed(runs, runs.parameters.corners[-1])
        low -= told - true
    return "low" if low < -LOW else "right"


def _state_of_rise(far: float, fast: float, names: Sequence[str]) -> str:
    if far < MOVES:
        return names[2]
    return names[0] if far >= WHOLE and fast >= QUICK else names[1]


def _sag(runs: Runs, node: Node, corner: str) -> str:
    run, bench = runs.hold(), runs.bench
    assert run.truth is not None
    fell, at = 0.0, 60.0
    while fell < LOW and at < 12 * 3600.0:
        at *= 1.25
        fell = fallen(run, corner, at)
    air = np.interp([SETTLED, SETTLED + at], run.time - run.time[0], run.channels["ambient"])
    shrunk = PER_KELVIN * float(air[0] - air[1])
    spring = next(x for x in runs.parameters.springs if x.corner == corner)
    lost = spring.area * runs.parameters.lever * max(fell - shrunk, 0.0)
    return _fits(node, lost * bench.spring_pressure(corner) / P_ATM / at)


def _lift(runs: Runs, node: Node, corner: str) -> str:
    # What holds a single corner down is told of that corner.
    best = [_state_of_rise(*rise_of(runs, c), node.state_ids) for c in runs.parameters.corners]
    return min(best, key=node.state_ids.index)


def _corner_rise(runs: Runs, node: Node, corner: str) -> str:
    return _state_of_rise(*rise_of(runs, corner), node.state_ids)


def _stand(runs: Runs, node: Node, corner: str) -> str:
    if fallen(runs.hold(), corner, 3600.0) > DOWN:
        return "drops"
    return "sinks" if fallen(runs.hold(), corner, 12 * 3600.0) > LOW else "holds"


def _ride(runs: Runs, node: Node, corner: str) -> str:
    run = runs.drive()
    assert run.truth is not None
    # A control unit stops inside its deadband, so a hair more than that is low.
    limit = LOW + runs.parameters.control.stop
    return "low" if float(run.truth.heights[corner][-1]) < -limit else "level"


def _code(runs: Runs, names: tuple[str, ...]) -> str:
    found = [code.status for code in runs.work().codes if code.name in names]
    if any(status.failing_now for status in found):
        return "failing"
    return "stored" if any(status.history for status in found) else "clear"


def _circuit_code(runs: Runs, node: Node, corner: str) -> str:
    # In a valve block the code of a spring valve names its corner: see check codes.corner.
    spring_valve = ("spring valve circuit open",) if len(runs.parameters.springs) == 2 else ()
    return _code(runs, (*CIRCUIT, *spring_valve))


TOLD: Mapping[str, Tell] = MappingProxyType(
    {
        "overrun": _overrun,
        "pump.heat": _heat,
        "air.escape": lambda r, node, c: _fits(node, r.bench.leak(c)),
        "air.supply-line": lambda r, node, c: _fits(node, r.bench.line_leak()),
        "pump.delivery": lambda r, node, c: _fits(node, delivered_share(r)),
        "sag": _sag,
        "path": lambda r, node, c: "open" if r.bench.opens(c) else "closed",
        "outlet.air": _outlet,
        "reservoir.loss": lambda r, node, c: _fits(node, r.bench.reservoir_leak()),
        "reservoir.charge": _charge,
        "supply": lambda r, node, c: _fits(node, r.working(r.bench.highest, support=False).battery),
        "feed.path": _feed,
        "pump.motor": _motor,
        "pump.current": _current,
        "height.signal": _signal,
        "corner-signal": _signal,
        "command": _command,
        "load": _load,
        "aim": _aim,
        "lift": _lift,
        "rise": _corner_rise,
        "stand": _stand,
        "ride": _ride,
        "code.height": lambda r, node, c: _code(r, (CODE_CLASSES[0],)),
        "code.lifting": lambda r, node, c: _code(r, LIFTING),
        "code.circuit": _circuit_code,
    }
)
