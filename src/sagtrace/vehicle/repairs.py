"""What can be done about a fault, what it costs, and what proves that it worked."""

from __future__ import annotations

from dataclasses import dataclass

from sagtrace.vehicle.nodes import Axle, Per

__all__ = ["Part", "PartUse", "Proof", "Repair", "Tariff"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """A part on the price list. `spread` is the factor of one standard deviation of the price."""

    id: str
    name: str
    price: float
    spread: float = 1.25


@dataclass(frozen=True, slots=True, kw_only=True)
class Tariff:
    """What a garage charges and what a come-back costs it; a shop replaces the file by its own."""

    id: str
    name: str
    currency: str
    labour_per_hour: float
    waiting_per_hour: float  # bay or parking space held while nobody works
    tax: float  # fraction added on the customer's page
    come_back: float  # unpaid diagnosis, collection and goodwill of one come-back
    period_months: int
    parts: tuple[Part, ...]
    basis: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PartUse:
    """So many of one part."""

    part: str
    quantity: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Repair:
    """A piece of work that removes faults.

    `holds` is the chance that the work, done properly, still holds after the tariff's period, and
    `cures` that the fault is gone when it is done, below 1 where it mends a part of what may be at
    fault. `spoils` are the faults that it leaves if it is done badly (a fitting not tight, a plug
    not home); without any they are those that it fixes.
    """

    id: str
    name: str
    per: Per = "vehicle"
    fixes: tuple[str, ...]
    spoils: tuple[str, ...] = ()
    parts: tuple[PartUse, ...] = ()
    minutes: float
    needs: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    holds: float
    cures: float = 1.0
    plain: str  # for the customer, before it is done
    done: str  # the same afterwards; what the tests showed is told by the proofs
    only_with: str = ""
    axle: Axle = ""  # repairs this axle's corners alone; without any it does not exist
    basis: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Proof:
    """The test that must pass before a repair of `faults` counts as proved.

    Either an outcome of the check is wanted (`outcome`; one of `also` passes too), or the
    quantity that it measures must lie at or below (`at_most`) or at or above (`at_least`) a limit
    in its own unit. A `whole` one tests the vehicle and not the part, so it must pass after every
    repair.
    """

    id: str
    per: Per = "vehicle"
    faults: tuple[str, ...]
    check: str
    outcome: str = ""
    also: tuple[str, ...] = ()
    at_most: float | None = None
    at_least: float | None = None
    whole: bool = False
    text: str
    only_with: str = ""
    axle: Axle = ""  # proves this axle's corners alone; without any it does not exist
    basis: str
