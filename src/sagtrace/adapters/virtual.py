"""The data of the virtual vehicles, read, checked and put together with the knowledge.

`vehicles.yaml` has the numbers of all layouts under `common` and what differs under `layouts`;
`effects.yaml` says what each fault changes. A mistake names file, line, field and the nearest right
name. Reading takes about a fifth of a second, so nothing is kept.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping
from dataclasses import MISSING, dataclass, field, fields
from importlib.resources import files
from importlib.resources.abc import Traversable

from sagtrace.adapters.documents import LocatedDocument, load_located
from sagtrace.errors import DocumentError, SagtraceError, UnknownIdError
from sagtrace.twin.effect_audit import effect_problems
from sagtrace.twin.effects import Effect, Effects
from sagtrace.twin.layouts import FROM_FACTS, needed, vehicle_of
from sagtrace.twin.measures import in_si
from sagtrace.twin.parameters import GROUPS, VehicleParameters, units_of
from sagtrace.twin.virtual import VirtualKnowledge
from sagtrace.vehicle.knowledge import Knowledge
from sagtrace.vehicle.layouts import Layout

__all__ = ["load_virtual", "SHIPPED"]

SHIPPED = files("sagtrace") / "knowledge" / "virtual"

Path = tuple[str | int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Number:
    """A number, or the fact of the layout that says it."""

    value: float | None = None
    unit: str = ""
    basis: str = ""
    fact: str = ""


_Groups = Mapping[str, Mapping[str, _Number]]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Vehicles:
    common: _Groups
    layouts: Mapping[str, _Groups] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Effects:
    effects: tuple[Effect, ...]


def load_virtual(folder: Traversable, knowledge: Knowledge) -> VirtualKnowledge:
    """Return the virtual vehicles and the effects of the faults of this knowledge.

    Raises DocumentError at the first mistake, with file, line and field.
    """
    vehicles, effects = _located(folder, "vehicles.yaml"), _located(folder, "effects.yaml")
    records = effects.into(_Effects).effects
    made = Effects(records=records, knowledge=knowledge)
    if (first := next(effect_problems(made), None)) is not None:
        raise effects.error(("effects", *first[0]), first[1])
    reader = _Reader(vehicles, vehicles.into(_Vehicles), knowledge)
    parts = (knowledge.digest, *(_text(folder, d.source) for d in (vehicles, effects)))
    return VirtualKnowledge(
        digest=hashlib.sha256("\0".join(parts).encode()).hexdigest(),
        vehicles={layout.id: reader.vehicle(layout) for layout in knowledge.layouts},
        effects=made,
        bases=(*reader.bases(), *_bases(records)),
    )


def _text(folder: Traversable, name: str) -> str:
    try:
        return (folder / name).read_text(encoding="utf-8")
    except OSError as err:
        raise DocumentError(str(folder), None, name, "this file is missing") from err


def _located(folder: Traversable, name: str) -> LocatedDocument:
    return load_located(_text(folder, name), name)


def _bases(records: tuple[Effect, ...]) -> Iterator[str]:
    for record in records:
        for outcome in record.states.values():
            yield from (size.basis for size in outcome.sets.values() if size.basis)


class _Reader:
    """The numbers of one file, checked as a whole when made."""

    def __init__(self, document: LocatedDocument, read: _Vehicles, knowledge: Knowledge) -> None:
        self.document, self.read, self.knowledge = document, read, knowledge
        known = [layout.id for layout in knowledge.layouts]
        for layout in read.layouts:
            if layout not in known:
                raise self.unknown(("layouts", layout), "layout", layout, known)
        for path, groups in self.places():
            for group, numbers in groups.items():
                if group not in GROUPS:
                    raise self.unknown((*path, group), "group", group, list(GROUPS))
                for name, number in numbers.items():
                    self.check((*path, group, name), number)

    def places(self) -> Iterator[tuple[Path, _Groups]]:
        """Yield the common numbers, then those of each layout."""
        yield ("common",), self.read.common
        for layout, groups in self.read.layouts.items():
            yield ("layouts", layout), groups

    def bases(self) -> Iterator[str]:
        """Yield the source of every number."""
        for _, groups in self.places():
            for numbers in groups.values():
                yield from (number.basis for number in numbers.values() if number.basis)

    def unknown(self, path: Path, kind: str, given: str, known: list[str]) -> DocumentError:
        return self.document.error(path, str(UnknownIdError(kind, given, known)))

    def check(self, path: Path, number: _Number) -> None:
        """Refuse a number that is none of the group's, has no source or the wrong unit."""
        group, name = str(path[-2]), str(path[-1])
        units = units_of(group)
        if name not in units:
            raise self.unknown(path, f"number of {group},", name, list(units))
        fact = FROM_FACTS.get((group, name), "")
        if fact or number.fact:
            stated = number.value is not None or number.unit or number.basis
            if number.fact != fact or stated:
                said = f"the layout's fact {fact!r} says it: write only fact: {fact}"
                text = said if fact else "no fact says it: write value, unit and basis"
                raise self.document.error(path, text)
            return
        if number.value is None:
            raise self.document.error(path, "it needs value, unit and basis")
        sources = [source.id for source in self.knowledge.sources]
        if number.basis not in sources:
            raise self.unknown((*path, "basis"), "source", number.basis, sources)
        try:
            in_si(number.value, number.unit, units[name])
        except SagtraceError as err:
            raise self.document.error((*path, "unit"), str(err)) from err

    def vehicle(self, layout: Layout) -> VehicleParameters:
        """Return the vehicle of a layout; what the layout says itself goes before the common."""
        own = self.read.layouts.get(layout.id, {})
        numbers: dict[str, dict[str, float]] = {}
        for group in needed(layout):
            units = units_of(group)
            given = {**self.read.common.get(group, {}), **own.get(group, {})}
            optional = {f.name for f in fields(GROUPS[group]) if f.default is not MISSING}
            if missing := [n for n in units if n not in given and n not in optional]:
                text = f"{layout.id} needs these numbers of {group}: {', '.join(missing)}"
                raise self.document.error(("common", group), text)
            numbers[group] = {
                name: in_si(number.value, number.unit, units[name])
                for name, number in given.items()
                if number.value is not None
            }
        try:
            return vehicle_of(layout, numbers)
        except SagtraceError as err:
            raise self.document.error((), str(err)) from err
