"""What can be done while a check that was begun waits: nothing that would spoil its reading."""

from __future__ import annotations

from collections.abc import Iterable

from sagtrace.repair.costs import way_to_check
from sagtrace.vehicle.checks import Check
from sagtrace.vehicle.system import System

__all__ = ["leaves_alone"]

# Cautions of whatever moves the body or runs the pump, by which air comes and goes.
_MOVING = frozenset({"sudden-move", "pump-run-limit"})


def leaves_alone(
    system: System, waiting: Iterable[Check], check: Check, access: Iterable[str]
) -> bool:
    """Return whether a check can be done without spoiling those that were begun and wait.

    It must not undo an access state that one of them rests on, nor reach one that it must be
    without (a vehicle on stands does not sink), nor move the body or run the pump, on the way
    to it or at it. Access states that hold together count for the whole vehicle: a hold at one
    corner is spoilt by lifting any other. A check that needs no waiting was only put off.
    """
    waiting, held = tuple(w for w in waiting if w.wait_minutes), tuple(access)
    for each in waiting:
        held = way_to_check(system, each, held).held_after(held)
    way = way_to_check(system, check, held)
    used = {*check.cautions, *(c for state in way.reach for c in system.access[state].cautions)}
    needed = {state for each in waiting for state in each.needs}
    barred = {state for each in waiting for state in each.without}
    spoilt = needed & {*way.undo, *check.without} or barred & {*way.reach, *check.needs}
    return not waiting or not (spoilt or used & _MOVING)
