"""What of the knowledge each layout is left with, and where that does not hang together.

A record that asks for a feature or an axle exists in some layouts only. Found here: a record
that one layout keeps though nothing that it is about exists there, an access state that one
layout lacks, a fault that one layout can neither repair nor prove.

Limits: what is wrong whatever the layouts are is told once by `audit`, not again for each: an id
that nothing has, a fault that nothing repairs or proves, a feature that a check or proof must
ask for because what it rests on does.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping

from sagtrace.vehicle.checks import Access, Check
from sagtrace.vehicle.knowledge import Knowledge
from sagtrace.vehicle.layouts import Layout
from sagtrace.vehicle.nodes import Node
from sagtrace.vehicle.repairs import Proof, Repair
from sagtrace.vehicle.system import applies

__all__ = ["layout_problems"]

Found = tuple[str, str, tuple[str | int, ...], str]  # kind, id, path in the record, text


def layout_problems(knowledge: Knowledge) -> Iterator[Found]:
    """Yield kind and id of the record, the field, and what is wrong with it in some layout."""
    for layout in knowledge.layouts:
        yield from _Left(knowledge, layout).problems()


class _Left:
    """The records that one layout keeps."""

    def __init__(self, knowledge: Knowledge, layout: Layout) -> None:
        self.knowledge = knowledge
        self.where = f"in the layout {layout.id!r}"
        self.faults = [f for f in knowledge.faults if applies(f, layout)]
        self.checks = [c for c in knowledge.checks if applies(c, layout)]
        self.repairs = [r for r in knowledge.repairs if applies(r, layout)]
        self.proofs = [p for p in knowledge.proofs if applies(p, layout)]
        self.gone = {n.id for n in knowledge.nodes() if not applies(n, layout)}
        axles = {"", *(corner.axle for corner in layout.corners)}
        records: tuple[Node | Check | Access, ...] = (
            *knowledge.nodes(),
            *knowledge.checks,
            *knowledge.access,
        )
        self.no_axle = {record.id for record in records if record.axle not in axles}
        self.at_front = {a.id: a.at_front for a in knowledge.access if "front" in axles}

    def problems(self) -> Iterator[Found]:
        """Yield what leads nowhere, and faults that nothing repairs or proves."""
        for check in self.checks:
            yield from self._check(check)
        for repair in self.repairs:
            yield from self._some("repairs", repair.id, "fixes", repair.fixes)
            yield from self._needs("repairs", repair.id, "needs", repair.needs)
        for proof in self.proofs:
            yield from self._proof(proof)
        yield from self._uncovered()

    def _check(self, check: Check) -> Iterator[Found]:
        rows = [row for row in check.rows if row.when]
        if check.measure and check.measure.node in self.no_axle:
            text = f"{self.where} there is no {check.measure.node}: say axle"
            yield "checks", check.id, ("measure", "node"), text
        if rows and all(self.gone.intersection(row.when) for row in rows):
            text = f"{self.where} nothing that it looks at exists: say only_with"
            yield "checks", check.id, ("rows",), text
        yield from self._needs("checks", check.id, "needs", check.needs)
        yield from self._needs("checks", check.id, "without", check.without)

    def _proof(self, proof: Proof) -> Iterator[Found]:
        yield from self._some("proofs", proof.id, "faults", proof.faults)
        if proof.check in self.no_axle:
            text = f"{self.where} there is no {proof.check}: say axle"
            yield "proofs", proof.id, ("check",), text

    def _some(self, kind: str, id_: str, field: str, faults: Collection[str]) -> Iterator[Found]:
        if faults and self.gone.issuperset(faults):
            yield kind, id_, (field,), f"{self.where} none of its faults exists: say only_with"

    def _needs(self, kind: str, id_: str, field: str, names: tuple[str, ...]) -> Iterator[Found]:
        for i, name in enumerate(names):
            for wanted in (name, self.at_front.get(name, "")):
                if wanted in self.no_axle:
                    yield kind, id_, (field, i), f"{self.where} there is no access state {wanted!r}"

    def _uncovered(self) -> Iterator[Found]:
        """Yield the faults that some repair or proof names, but none that this layout keeps."""
        kept = _covered(self.repairs, self.proofs)
        elsewhere = _covered(self.knowledge.repairs, self.knowledge.proofs)
        for fault in self.faults:
            for what, faults in elsewhere.items():
                if fault.id in faults - kept[what]:
                    yield "faults", fault.id, ("id",), f"{self.where} no {what} names {fault.id}"


def _covered(repairs: Iterable[Repair], proofs: Iterable[Proof]) -> Mapping[str, set[str]]:
    return {
        "repair": {fault for repair in repairs for fault in repair.fixes},
        "proof": {fault for proof in proofs for fault in proof.faults},
    }
