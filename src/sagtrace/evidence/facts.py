"""What is assumed of the vehicle, and what somebody read in its workshop manual."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from sagtrace.errors import DomainError, UnknownIdError
from sagtrace.physics.estimate import Estimate
from sagtrace.units import KINDS, from_si, parse_quantity, to_si
from sagtrace.vehicle.layouts import Fact, Layout

__all__ = ["Facts", "read_facts", "spread_to_si"]


_FAR = 6.0  # chosen: a fact further than this factor from the usual is a slip of unit or sign


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """Facts of one vehicle in SI, and which of them are still assumed."""

    values: Mapping[str, Estimate]
    assumed: tuple[Fact, ...]


def spread_to_si(spread: float, unit: str) -> float:
    """Return a spread in `unit` as a spread in the SI unit; an offset (°C) does not count."""
    return to_si(spread, unit) - to_si(0.0, unit)


def _assumed(fact: Fact) -> Estimate:
    si_unit = KINDS[fact.kind].si_unit
    std = spread_to_si(fact.std, fact.unit)
    return Estimate(value=to_si(fact.value, fact.unit), std=std, unit=si_unit)


def _refuse_implausible(fact: Fact, typed: float) -> None:
    low, high = fact.value / _FAR, fact.value * _FAR
    if not low <= typed <= high:
        hint = "Is it the vehicle's own value, in the unit written?"
        raise DomainError(fact.id, typed, fact.unit, f"between {low:.3g} and {high:.3g}", hint)


def read_facts(layout: Layout, typed: Mapping[str, str]) -> Facts:
    """Return the layout's facts with those replaced that a person typed.

    Raises UnknownIdError for a fact that the layout lacks, and what
    `units.parse_quantity` raises for a text that is no such quantity.
    """
    known = {fact.id: fact for fact in layout.facts}
    values = {fact.id: _assumed(fact) for fact in layout.facts}
    # The barometer first, because an absolute pressure typed for a gauge one needs it.
    for id_, text in sorted(typed.items(), key=lambda item: item[0] != "barometer"):
        if id_ not in known:
            raise UnknownIdError("fact of the vehicle", id_, known)
        fact = known[id_]
        q = parse_quantity(
            text,
            fact.kind,
            name=fact.name,
            default_unit=fact.unit or None,
            barometer=values["barometer"].value,
        )
        _refuse_implausible(fact, from_si(q.value, fact.unit))
        values[id_] = Estimate(value=q.value, std=q.std, unit=KINDS[fact.kind].si_unit)
    return Facts(
        values=values, assumed=tuple(f for f in layout.facts if f.id not in typed and f.std > 0.0)
    )
