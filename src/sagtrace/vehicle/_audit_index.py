"""What a record of the knowledge may refer to, and how to say that it refers to nothing."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from difflib import get_close_matches
from typing import Protocol

from sagtrace.errors import DomainError, UnitError
from sagtrace.units import KINDS, parse_quantity, to_si
from sagtrace.vehicle.knowledge import Knowledge

__all__ = ["Index", "Path", "Said", "Takes", "unit_problem", "unknown"]

Path = tuple[str | int, ...]
Said = tuple[Path, str]  # where in a record, and what is wrong there


class Takes(Protocol):
    """What an evidence model must be given, what it may be given, and what it gives."""

    @property
    def required(self) -> tuple[str, ...]:
        """Names that must be given."""

    @property
    def optional(self) -> tuple[str, ...]:
        """Names that may be given."""

    @property
    def facts(self) -> tuple[str, ...]:
        """Facts of the vehicle without which it cannot work."""

    @property
    def gives(self) -> str:
        """Kind of the quantity that comes out; empty if it is that of the input."""


def unknown(what: str, given: str, known: Collection[str]) -> str:
    """Return the sentence about an id that nothing has, with the nearest that something has."""
    near = get_close_matches(given, known, n=1, cutoff=0.4)
    return f"there is no {what} {given!r}" + (f"; did you mean {near[0]!r}?" if near else "")


def unit_problem(unit: str, kind: str) -> str:
    """Return what is wrong with a unit for this kind of quantity; an empty text if nothing."""
    try:
        to_si(1.0, unit)
        parse_quantity("1", kind, name="unit", default_unit=unit or None)
    except UnitError:
        return f"{unit!r} is no unit of a {kind}, such as {KINDS[kind].shown_unit!r}"
    except DomainError:
        pass  # the unit is right, and only 1 of it is not a likely reading
    return ""


class Index:
    """Everything in the knowledge that has an id."""

    def __init__(self, knowledge: Knowledge, models: Mapping[str, Takes]) -> None:
        self.models = models
        self.nodes = {node.id: node for node in knowledge.nodes()}
        self.checks = {check.id: check for check in knowledge.checks}
        self.access = {state.id: state for state in knowledge.access}
        self.parts = {part.id: part for part in knowledge.tariff.parts}
        self.features = {name for layout in knowledge.layouts for name in layout.features}
        self.ids = {
            kind: {record.id for record in getattr(knowledge, kind)}
            for kind in ("sources", "components", "cautions", "access", "checks", "faults")
        }

    def known(self, what: str, kind: str, given: Collection[str], field: str) -> Iterator[Said]:
        """Yield a problem for every id in the list that no record of this kind has."""
        for i, id_ in enumerate(given):
            if id_ not in self.ids[kind]:
                yield (field, i), unknown(what, id_, self.ids[kind])

    def feature(self, path: Path, name: str) -> Iterator[Said]:
        """Yield a problem if a feature is asked for that no layout has."""
        if name and name not in self.features:
            yield path, unknown("feature of any layout", name, self.features)

    def beneath(self, needs: Collection[str]) -> set[str]:
        """Return the access states that hold when these do."""
        found: set[str] = set()
        ahead = [name for name in needs if name in self.access]
        while ahead:
            name = ahead.pop()
            if name not in found:
                found.add(name)
                ahead += [below for below in self.access[name].after if below in self.access]
        return found

    def kind_of(self, name: str) -> str:
        """Return the kind's name if it is one, or the nearest sentence about it."""
        return "" if name in KINDS else unknown("kind of quantity", name, KINDS)
