"""What is assumed of a vehicle, beside what somebody read in its workshop manual."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sagtrace.report.words import sentence
from sagtrace.vehicle.layouts import Layout
from sagtrace.web.views.people import Person

__all__ = ["FactField", "facts_of", "facts_of_all"]


@dataclass(frozen=True, slots=True, kw_only=True)
class FactField:
    """A fact of the layout to be typed."""

    name: str
    ask: str
    unit: str
    assumed: str  # as a placeholder, with its spread and unit
    differs: str  # what is assumed of other layouts
    value: str = ""


def facts_of(layout: Layout, typed: Mapping[str, str], person: Person) -> tuple[FactField, ...]:
    """Return the facts of one layout with what was typed."""
    return tuple(
        FactField(
            name=fact.id,
            ask=sentence(fact.name).rstrip("."),
            unit=person.reader.unit(fact.unit),
            assumed=person.spread(fact.value, fact.std, fact.unit),
            differs="",
            value=typed.get(fact.id, ""),
        )
        for fact in layout.facts
    )


def facts_of_all(layouts: Sequence[Layout], person: Person) -> tuple[FactField, ...]:
    """Return every fact that some layout has, once; where layouts differ it says how."""
    found: dict[str, FactField] = {}
    assumed: dict[str, dict[str, list[str]]] = {}
    for layout in layouts:
        for field in facts_of(layout, {}, person):
            found.setdefault(field.name, field)
            assumed.setdefault(field.name, {}).setdefault(field.assumed, []).append(layout.name)
    return tuple(
        FactField(
            name=name, ask=field.ask, unit=field.unit,
            assumed=field.assumed if len(assumed[name]) == 1 else "",
            differs="; ".join(f"{', '.join(who)}: {text}" for text, who in assumed[name].items())
            if len(assumed[name]) > 1 else "",
        )
        for name, field in found.items()
    )  # fmt: skip
