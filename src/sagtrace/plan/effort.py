"""What the checks of a job took: minutes with getting there, waiting, and what that costs."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from sagtrace.repair.costs import check_cost, way_to_check
from sagtrace.vehicle.job import NOT_DONE, Entry
from sagtrace.vehicle.system import System

__all__ = ["Effort", "effort_of"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Effort:
    """What checks took together, as the knowledge reckons it, not by anybody's watch."""

    checks: tuple[str, ...]  # in order; one done twice stands twice
    minutes: float  # of work, with access and putting it back
    wait_minutes: float  # nobody stands there
    cost: float  # in the tariff's currency, without tax


def effort_of(system: System, entries: Iterable[Entry]) -> Effort:
    """Return what these answers took, starting with nothing off, raised or unplugged."""
    held: tuple[str, ...] = ()
    done: list[str] = []
    minutes = waited = cost = 0.0
    for entry in entries:
        if entry.withdrawn or entry.outcome == NOT_DONE:
            continue
        check = system.checks[entry.check]
        way = way_to_check(system, check, held)
        minutes += check.minutes + way.minutes
        waited += check.wait_minutes
        cost += check_cost(system, check, held)
        held = way.held_after(held)
        done.append(check.id)
    return Effort(checks=tuple(done), minutes=minutes, wait_minutes=waited, cost=cost)
