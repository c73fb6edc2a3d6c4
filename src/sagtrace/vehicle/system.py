"""The system of one layout: what the knowledge says per corner, written out for every corner.

A record marked `per: corner` becomes one record a corner, with `@corner` behind its id and
the corner's name in its texts. References follow: from a corner to the same corner, from
the vehicle to every corner, from a corner to the vehicle. A record about one `axle` refers to
the corners of that axle and exists only where there are some.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields, is_dataclass, replace
from functools import cached_property
from graphlib import TopologicalSorter
from types import MappingProxyType
from typing import Protocol, TypeVar, cast

from sagtrace.errors import UnknownIdError
from sagtrace.vehicle.checks import Access, Caution, Check
from sagtrace.vehicle.knowledge import Knowledge
from sagtrace.vehicle.layouts import Component, Corner, Layout, Source
from sagtrace.vehicle.nodes import Axle, Beside, Cause, Fault, Node, Per
from sagtrace.vehicle.repairs import Proof, Repair, Tariff

__all__ = ["applies", "base_id", "corner_of", "expand", "PLACEHOLDER", "System"]

PLACEHOLDER = "<corner>"

T = TypeVar("T")


class _Record(Protocol):
    @property
    def id(self) -> str: ...
    @property
    def per(self) -> Per: ...
    @property
    def only_with(self) -> str: ...
    @property
    def axle(self) -> Axle: ...


R = TypeVar("R", bound=_Record)


def applies(record: _Record, layout: Layout) -> bool:
    """Return whether the layout has the feature and the axle that the record asks for."""
    return (not record.only_with or record.only_with in layout.features) and (
        not record.axle or any(corner.axle == record.axle for corner in layout.corners)
    )


def base_id(full_id: str) -> str:
    """Return the id as written in the knowledge, without its corner."""
    return full_id.partition("@")[0]


def corner_of(full_id: str) -> str:
    """Return the corner behind the id, or an empty text."""
    return full_id.partition("@")[2]


@dataclass(frozen=True, kw_only=True)
class System:
    """Everything that is known about one layout, every corner written out."""

    layout: Layout
    edition: str
    digest: str
    nodes: Mapping[str, Node]  # parents before children
    checks: Mapping[str, Check]
    repairs: Mapping[str, Repair]
    proofs: Mapping[str, Proof]
    access: Mapping[str, Access]
    cautions: Mapping[str, Caution]
    components: Mapping[str, Component]
    sources: Mapping[str, Source]
    tariff: Tariff

    @cached_property
    def faults(self) -> Mapping[str, Fault]:
        """The faults among the nodes."""
        return {id_: node for id_, node in self.nodes.items() if isinstance(node, Fault)}

    @cached_property
    def stories(self) -> Mapping[tuple[str, str], Cause]:
        """Arcs (parent, child) that tell how one thing brings about another."""
        return {
            (cause.parent, node.id): cause
            for node in self.nodes.values()
            for cause in node.causes
            if cause.story
        }

    def check(self, check_id: str) -> Check:
        """Return the check, or say which id is nearest."""
        return _look_up("check", check_id, self.checks)

    def node(self, node_id: str) -> Node:
        """Return the fault or condition, or say which id is nearest."""
        return _look_up("fault or condition", node_id, self.nodes)

    def repair(self, repair_id: str) -> Repair:
        """Return the repair, or say which id is nearest."""
        return _look_up("repair", repair_id, self.repairs)

    def proof_for(self, fault_id: str) -> Proof | None:
        """Return the proof that a repair of this fault must pass, if the knowledge has one."""
        return next((proof for proof in self.proofs.values() if fault_id in proof.faults), None)


def _look_up(kind: str, given: str, known: Mapping[str, T]) -> T:
    try:
        return known[given]
    except KeyError:
        hint = ""
        if corners := [name for name in known if base_id(name) == given]:
            hint = f"Say which corner: {', '.join(corners)}."
        raise UnknownIdError(kind, given, known, hint) from None


def _named(value: T, corner: Corner) -> T:
    """Return the value with the corner's name in every text inside it."""
    if isinstance(value, str):
        return cast("T", value.replace(PLACEHOLDER, corner.name))
    if isinstance(value, tuple):
        return cast("T", tuple(_named(item, corner) for item in value))
    if is_dataclass(value) and not isinstance(value, type):
        changes = {
            f.name: new
            for f in fields(value)
            if (new := _named(old := getattr(value, f.name), corner)) is not old
        }
        return cast("T", replace(value, **changes)) if changes else value
    return value


class _Expander:
    def __init__(self, knowledge: Knowledge, layout: Layout) -> None:
        self.layout = layout
        axles = {"", *(corner.axle for corner in layout.corners)}
        self.access = {a.id: a for a in knowledge.access if a.axle in axles}
        records: Iterable[_Record] = (
            *knowledge.nodes(),
            *knowledge.checks,
            *knowledge.repairs,
        )
        self.records = {record.id: record for record in records if applies(record, layout)}

    def copies(self, records: Iterable[R]) -> Iterable[tuple[R, Corner | None]]:
        for record in records:
            if not applies(record, self.layout):
                continue
            if record.per == "vehicle":
                yield record, None
                continue
            for corner in self.on(record.axle):
                yield replace(_named(record, corner), id=f"{record.id}@{corner.id}"), corner  # type: ignore[type-var]

    def on(self, axle: Axle) -> tuple[Corner, ...]:
        """Return the corners of this axle, or all."""
        return tuple(corner for corner in self.layout.corners if axle in ("", corner.axle))

    def refer(self, id_: str, corner: Corner | None, axle: Axle = "") -> tuple[str, ...]:
        """Return the ids that a reference from here means; none if the layout lacks it."""
        record = self.records.get(id_)
        if record is None:
            return ()
        if record.per == "vehicle":
            return (id_,)
        here = (corner,) if corner else self.on(axle)
        return tuple(f"{id_}@{c.id}" for c in self.on(record.axle) if c in here)

    def beside(self, corner: Corner | None, beside: Beside) -> tuple[Corner | None, ...]:
        """Return the corner itself or its neighbour; none if the layout lacks that."""
        if corner is None or not beside:
            return (corner,)
        same = self.on(corner.axle)
        if beside == "axle":
            return tuple(c for c in same if c != corner)
        # Both axles list their corners in the same order.
        other = tuple(c for c in self.layout.corners if c.axle != corner.axle)
        return other[same.index(corner) :][:1]

    def needs(self, names: tuple[str, ...], corner: Corner | None) -> tuple[str, ...]:
        """Return the access states that this corner needs."""
        if corner is None or corner.axle != "front":
            return names
        return tuple(self.access[name].at_front or name for name in names)

    def node(self, node: Node, corner: Corner | None) -> Node:
        causes = [
            replace(cause, parent=parent)
            for cause in node.causes
            if not cause.only_with or cause.only_with in self.layout.features
            for at in self.beside(corner, cause.beside)
            for parent in self.refer(cause.parent, at, node.axle)
        ]
        # Because inference takes causes in their order, all of one corner stand together.
        order = {f"@{c.id}": i for i, c in enumerate(self.layout.corners, start=1)}
        causes.sort(key=lambda cause: order.get(f"@{corner_of(cause.parent)}", 0))
        return replace(node, causes=tuple(causes))

    def check(self, check: Check, corner: Corner | None) -> Check:
        rows = tuple(
            replace(
                row,
                when={full: s for id_, s in row.when.items() for full in self.refer(id_, corner)},
            )
            for row in check.rows
            if all(self.refer(id_, corner) for id_ in row.when)
        )
        measure = check.measure and replace(
            check.measure, node=self.refer(check.measure.node, corner)[0]
        )
        return replace(
            check,
            rows=rows,
            measure=measure,
            yields_to=tuple(
                full for id_ in check.yields_to for full in self.refer(id_, corner, check.axle)
            ),
            needs=self.needs(check.needs, corner),
            without=self.needs(check.without, corner),
        )

    def repair(self, repair: Repair, corner: Corner | None) -> Repair:
        def all_of(faults: tuple[str, ...]) -> tuple[str, ...]:
            return tuple(full for f in faults for full in self.refer(f, corner, repair.axle))

        return replace(
            repair,
            fixes=all_of(repair.fixes),
            spoils=all_of(repair.spoils),
            needs=self.needs(repair.needs, corner),
        )

    def proof(self, proof: Proof, corner: Corner | None) -> Proof:
        faults = tuple(full for f in proof.faults for full in self.refer(f, corner, proof.axle))
        return replace(proof, faults=faults, check=self.refer(proof.check, corner)[0])


def _in_causal_order(nodes: Mapping[str, Node]) -> Mapping[str, Node]:
    graph = {id_: {cause.parent for cause in node.causes} for id_, node in nodes.items()}
    return {id_: nodes[id_] for id_ in TopologicalSorter(graph).static_order()}


def expand(knowledge: Knowledge, layout_id: str) -> System:
    """Return the system of the layout with every corner written out.

    Raises UnknownIdError for a layout that the knowledge lacks.
    """
    layout = _look_up("layout", layout_id, {layout.id: layout for layout in knowledge.layouts})
    ex = _Expander(knowledge, layout)
    nodes = {n.id: ex.node(n, c) for n, c in ex.copies(tuple(knowledge.nodes()))}
    checks = {k.id: ex.check(k, c) for k, c in ex.copies(knowledge.checks)}
    repairs = {r.id: ex.repair(r, c) for r, c in ex.copies(knowledge.repairs)}
    proofs = {p.id: ex.proof(p, c) for p, c in ex.copies(knowledge.proofs)}
    return System(
        layout=layout,
        edition=knowledge.edition,
        digest=knowledge.digest,
        nodes=MappingProxyType(_in_causal_order(nodes)),
        checks=MappingProxyType(checks),
        repairs=MappingProxyType(repairs),
        proofs=MappingProxyType(proofs),
        access=ex.access,
        cautions={c.id: c for c in knowledge.cautions},
        components={c.id: c for c in knowledge.components},
        sources={s.id: s for s in knowledge.sources},
        tariff=knowledge.tariff,
    )
