"""What work costs: minutes, parts, getting at things and putting them back."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from sagtrace.vehicle.checks import Access, Check
from sagtrace.vehicle.repairs import Repair
from sagtrace.vehicle.system import System

__all__ = [
    "access_steps",
    "check_cost",
    "Price",
    "price_of",
    "repair_cost",
    "undone_first",
    "Way",
    "way_cautions",
    "way_to",
    "way_to_check",
]

_LABOUR_SPREAD = 0.15  # chosen: one standard deviation of the minutes; replace by the shop's own


@dataclass(frozen=True, slots=True, kw_only=True)
class Price:
    """What a set of repairs costs, without tax, with one standard deviation."""

    labour_minutes: float
    labour: float
    parts: float
    std: float
    currency: str

    @property
    def total(self) -> float:
        """Labour and parts."""
        return self.labour + self.parts


def access_steps(
    access: Mapping[str, Access], needs: Iterable[str], held: Iterable[str]
) -> tuple[str, ...]:
    """Return the access states still to be reached, in an order in which that is possible."""
    steps: list[str] = []
    have = set(held)

    def reach(name: str) -> None:
        if name in have:
            return
        for before in access[name].after:
            reach(before)
        have.add(name)
        steps.append(name)

    for need in needs:
        reach(need)
    return tuple(steps)


def undone_first(
    access: Mapping[str, Access], without: Iterable[str], held: Iterable[str]
) -> tuple[str, ...]:
    """Return the held states that must be undone, in order.

    First comes what rests on a state and what keeps it from being undone.
    """
    undone: dict[str, None] = {}
    have = tuple(held)

    def undo(name: str) -> None:
        for other in have:
            if name in access[other].after or other in access[name].back_without:
                undo(other)
        undone[name] = None

    for name in without:
        if name in have:
            undo(name)
    return tuple(undone)


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """How to get at a check or a repair from here, and what that takes."""

    undo: tuple[str, ...]
    reach: tuple[str, ...]
    minutes: float  # undoing, reaching, and putting back what was newly reached

    def held_after(self, held: Iterable[str]) -> tuple[str, ...]:
        """Return the access states that hold once the work is done."""
        kept = [name for name in held if name not in self.undo]
        return (*kept, *(name for name in self.reach if name not in kept))


def way_to(
    system: System, needs: Iterable[str], without: Iterable[str], held: Iterable[str]
) -> Way:
    """Return the way from the access states that hold to those that are needed."""
    held = tuple(held)
    undo = undone_first(system.access, without, held)
    reach = access_steps(system.access, needs, [name for name in held if name not in undo])
    steps = [system.access[name] for name in reach]
    there = sum((step.minutes_on + step.minutes_off for step in steps), 0.0)
    back = sum((system.access[name].minutes_off for name in undo), 0.0)
    return Way(undo=undo, reach=reach, minutes=there + back)


def way_to_check(system: System, check: Check, held: Iterable[str]) -> Way:
    """Return the way to a check from the access states that hold."""
    return way_to(system, check.needs, check.without, held)


def way_cautions(
    system: System, needs: Iterable[str], without: Iterable[str], held: Iterable[str]
) -> tuple[str, ...]:
    """Return the cautions of the way, and the dangers of what it needs and is said to hold already.

    What holds is only what somebody entered, so no danger is left out because of it.
    """
    needs, held = tuple(needs), tuple(held)
    way, access = way_to(system, needs, without, held), system.access
    found = [c for name in way.undo for c in access[name].cautions_off]
    found += [c for name in way.reach for c in access[name].cautions]
    found += [
        c
        for name in access_steps(access, needs, ())
        for c in access[name].cautions
        if system.cautions[c].level == "danger"
    ]
    return tuple(dict.fromkeys(found))


def check_cost(system: System, check: Check, held: Iterable[str]) -> float:
    """Return what the check costs from here, with access, in the tariff's currency."""
    minutes = check.minutes + way_to_check(system, check, held).minutes
    tariff = system.tariff
    return (minutes * tariff.labour_per_hour + check.wait_minutes * tariff.waiting_per_hour) / 60.0


def price_of(system: System, repairs: Iterable[Repair], held: Iterable[str]) -> Price:
    """Return the price of doing the repairs together; access that they share counts once."""
    chosen = tuple(repairs)
    needs = dict.fromkeys(need for repair in chosen for need in repair.needs)
    way = way_to(system, needs, (), held)
    minutes = sum((repair.minutes for repair in chosen), way.minutes)
    labour = minutes * system.tariff.labour_per_hour / 60.0
    prices = {part.id: part for part in system.tariff.parts}
    used = [(prices[use.part], use.quantity) for repair in chosen for use in repair.parts]
    parts = sum((part.price * n for part, n in used), 0.0)
    variance = sum((part.price * n * (part.spread - 1.0)) ** 2 for part, n in used)
    std = (variance + (_LABOUR_SPREAD * labour) ** 2) ** 0.5
    return Price(
        labour_minutes=minutes,
        labour=labour,
        parts=parts,
        std=std,
        currency=system.tariff.currency,
    )


def repair_cost(system: System, repair: Repair, held: Iterable[str]) -> float:
    """Return the price of one repair done alone."""
    return price_of(system, (repair,), held).total
