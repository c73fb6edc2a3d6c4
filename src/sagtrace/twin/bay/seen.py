"""What a perfect observer would answer, from the runs and numbers of the virtual vehicle.

Only for checks whose outcome the plant shows. A check that is not here, such as soap on a fold, is
answered from the knowledge's rows alone. Limits are those of the check's own words.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from types import MappingProxyType

import numpy as np

from sagtrace.twin import _slots as s
from sagtrace.twin.bay.bench import LINE_TEST
from sagtrace.twin.bay.looks import fallen, rise_of, unrest
from sagtrace.twin.bay.runs import HOUR, LOADED_AT, Runs
from sagtrace.twin.bay.seen_electric import (
    commanded,
    cured_by_relay,
    lamp_at_plug,
    runs_at_all,
    sound_of_pump,
    tired_battery,
)
from sagtrace.twin.bay.telling import BUBBLE, DOWN, JUMPS, LOW, PER_KELVIN
from sagtrace.twin.script import Door, Lift, Mode

__all__ = ["SEEN"]

See = Callable[[Runs, str], str]

BACK, IN_TIME = 0.75, 60.0  # [-] of a sound vehicle's rise, [s] check try.lift: up within 60 s
TOOL_RISE, TOOL_SLOW = 0.010, 0.003  # [m] check try.rise: 10 mm in 20 s; chosen: less is none
FIVE = 0.005  # [m] checks hold.temperature and target.compare
PLAIN = 0.020  # [m] chosen: seen without a tape
BETTER = 1.15  # [-] chosen: what is seen as clearly more on a gauge


def _yes(yes: str, no: str, test: Callable[[Runs, str], bool]) -> See:
    return lambda runs, corner: yes if test(runs, corner) else no


def _ridden(r: Runs, corner: str) -> float:
    run = r.drive()
    assert run.truth is not None
    return -float(run.truth.heights[corner][-1])


def _low_at_work(r: Runs, corner: str) -> bool:
    return _ridden(r, corner) > LOW + r.parameters.control.stop


def _arrival(r: Runs, corner: str) -> bool:
    parked = fallen(r.hold(), corner, HOUR)
    return _low_at_work(r, corner) or parked > LOW


def _customer_sees(r: Runs, corner: str) -> bool:
    return _low_at_work(r, corner) or fallen(r.hold(), corner, 12 * HOUR) > PLAIN


def _when(r: Runs, corner: str) -> str:
    if _low_at_work(r, corner):
        return "always"
    if fallen(r.hold(), corner, HOUR) > DOWN:
        return "within-hour"
    return "overnight" if fallen(r.hold(), corner, 12 * HOUR) > LOW else "not-low"


def _held_off(r: Runs) -> bool:
    return any(
        (isinstance(e, Door) and e.open)
        or (isinstance(e, Mode) and e.on)
        or (isinstance(e, Lift) and e.up)
        for e in r.events
    )


def _reason(r: Runs, corner: str) -> str:
    if _held_off(r):
        return "held-off"
    return "pausing" if r.pausing else "no-reason"


def _lift(r: Runs, corner: str) -> str:
    best = max(rise_of(r, c)[0] for c in r.parameters.corners)
    if best < 0.25:  # chosen: less than a quarter is no lift
        return "stays"
    run, usual = r.lift(), r.sound.lift()
    assert run.truth is not None
    assert usual.truth is not None
    since = run.time - run.time[0] - LOADED_AT
    late = (since > 10.0) & (since < 10.0 + IN_TIME)
    back = []
    for c in r.parameters.corners:
        low = usual.truth.heights[c][since > 0.0].min()
        whole = usual.truth.heights[c][-1] - low
        here = run.truth.heights[c]
        back.append(here[late].max() - here[since > 0.0].min() >= BACK * whole)
    return "normal" if any(back) else "slow"


def _tool_rise(r: Runs, corner: str) -> str:
    run = r.raised((corner,))
    assert run.truth is not None
    up = float(run.truth.heights[corner][200] - run.truth.heights[corner][0])
    if up >= TOOL_RISE:
        return "rises"
    return "slow" if up >= TOOL_SLOW else "stays"


def _night(axle: slice) -> See:
    def see(r: Runs, corner: str) -> str:
        run = r.hold()
        air = np.interp([0.0, 12 * HOUR], run.time - run.time[0], run.channels["ambient"])
        fell = max(fallen(run, c, 12 * HOUR) for c in r.parameters.corners[axle])
        if fell < FIVE:
            return "no-fall"
        rest = fell - PER_KELVIN * float(air[0] - air[1])
        return "explained" if rest < FIVE else "unexplained"

    return see


def _pressure(r: Runs, seconds: float, *without: str) -> float:
    run = r.vessel(seconds=seconds, without=without)
    assert run.truth is not None
    return float(run.truth.pressures["gallery"][-1]) - r.bench.barometer


def _bare(r: Runs, corner: str) -> str:
    bare = ("intake_loss", "block_leak", "vent_leak", "dryer")
    share = _pressure(r, 60.0, *bare) / _pressure(r.sound, 60.0, *bare)
    if share < 0.2:  # chosen: next to nothing
        return "nothing"
    return "strong" if share > 0.8 else "weak"  # check: within 20 %


def _more(r: Runs, seconds: float, without: str) -> bool:
    usual, freed = _pressure(r, seconds), _pressure(r, seconds, without)
    return freed > 1e4 and freed > BETTER * usual  # a tenth of a bar at least


def _sweep(r: Runs, corner: str) -> str:
    corner = corner or r.parameters.corners[-1]
    if r.bench.sensor_of(corner)[s.S_OPEN]:
        return "flat"
    return "jumps" if unrest(r, corner) > JUMPS else "smooth"


def _vents(r: Runs, corner: str) -> bool:
    run = r.vented()
    assert run.truth is not None
    rear = r.parameters.corners[-2:]
    return all(run.truth.heights[c][0] - run.truth.heights[c][-1] > LOW for c in rear)


def _corner_code(r: Runs, corner: str) -> str:
    if r.bench.sensor_of(corner)[s.S_OPEN]:
        return "sensor"
    return "valve" if r.bench.of_corner(corner)[s.V_COIL] else "none"


def _number(slot: int) -> Callable[[Runs, str], bool]:
    return lambda r, corner: bool(r.bench.number(slot) > 0.0)


SEEN: Mapping[str, See] = MappingProxyType(
    {
        "battery.test": _yes("weak", "good", tired_battery),
        "codes.corner": _corner_code,
        "corner-sensor.sweep": _sweep,
        "dryer.compare": _yes("faster", "same", lambda r, c: _more(r, 60.0, "dryer")),
        "fuse.test": _yes("blown", "whole", _number(s.BLOWN)),
        "height.arrival": _yes("low", "level", _arrival),
        "height.running": _yes("low", "level", _low_at_work),
        "hold.temperature": _night(slice(-2, None)),
        "hold.temperature-front": _night(slice(0, 2)),
        "inhibit.live": _reason,
        "inhibit.look": _yes("held-off", "nothing-set", lambda r, c: _held_off(r)),
        "intake.off": _yes("better", "same", lambda r, c: _more(r, 15.0, "intake_loss")),
        "live.command": _yes("commanded", "not-commanded", lambda r, c: commanded(r)),
        "outlet.film": _yes(
            "bubbles", "flat", lambda r, c: r.bench.at_rest() > BUBBLE
        ),
        "outlet.running": _yes(
            "bubbles", "quiet",
            lambda r, c: r.bench.at_outlet(r.bench.barometer + LINE_TEST) > BUBBLE,
        ),
        "pump.bare-fill": _bare,
        "pump.listen": sound_of_pump,
        "pump.motor-ohms": _yes("open", "low", lambda r, c: r.bench.number(s.R_ARM) > 2.0),
        "pump.plug-lamp": lamp_at_plug,
        "relay.click": _yes(
            "click", "silent", lambda r, c: commanded(r) and not r.bench.number(s.COIL_OPEN)
        ),
        "relay.coil-ohms": _yes("open", "in-range", _number(s.COIL_OPEN)),
        "relay.coil-signal": _yes("lit", "dark", lambda r, c: commanded(r)),
        "relay.feed": _yes("dark", "lit", _number(s.BLOWN)),
        "relay.stays-on": _yes("runs-on", "rests", _number(s.STUCK_ON)),
        "relay.swap": _yes("works-now", "no-change", cured_by_relay),
        "sensor.sweep": _sweep,
        "story.when-low": _when,
        "story.where-low": _yes("low", "level", _customer_sees),
        "target.compare": _yes("differs", "matches", lambda r, c: abs(r.bench.aim()) > FIVE),
        "try.lift": _lift,
        "try.rise": _tool_rise,
        "valve.coil-ohms": _yes(
            "open", "in-range", lambda r, c: bool(r.bench.of_corner(c)[s.V_COIL])
        ),
        "valve.port-flow": _yes(
            "no-flow", "flows",
            lambda r, c: bool(
                r.bench.of_corner(c)[s.V_COIL] or r.bench.of_corner(c)[s.V_STUCK_CLOSED]
            ),
        ),
        "vent.release": _yes("lowers", "stays", _vents),
        "wait.pause": _yes(
            "works-now",
            "no-change",
            lambda r, c: not runs_at_all(r.called()) and runs_at_all(r.waited()),
        ),
    }
)  # fmt: skip
