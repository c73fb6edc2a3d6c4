"""What of the knowledge each layout is left with, and where that does not hang together.

A record that asks for a feature or an axle exists in some layouts only. Found here: a feature
that no layout has, a reference that leads nowhere in one layout, a fault that one layout can
neither repair nor prove. Assumes that ids are known; `audit` sees to that first.
"""

from __future__ import annotations

from collections.abc import Iterator
from difflib import get_close_matches

from sagtrace.vehicle.checks import Check
from sagtrace.vehicle.knowledge import Knowledge
from sagtrace.vehicle.layouts import Layout
from sagtrace.vehicle.system import applies

__all__ = ["layout_problems"]

Found = tuple[str, str, tuple[str | int, ...], str]  # kind, id, path in the record, text


def layout_problems(knowledge: Knowledge) -> Iterator[Found]:
    """Yield kind and id of the record, the field, and what is wrong with it in some layout."""
    yield from _features(knowledge)
    for layout in knowledge.layouts:
        yield from _corners(layout)
        yield from _Left(knowledge, layout).problems()


def _features(knowledge: Knowledge) -> Iterator[Found]:
    known = sorted({feature for layout in knowledge.layouts for feature in layout.features})
    for kind in ("faults", "conditions", "checks", "repairs", "proofs"):
        for record in getattr(knowledge, kind):
            asked: list[tuple[tuple[str | int, ...], str]] = [(("only_with",), record.only_with)]
            for i, cause in enumerate(getattr(record, "causes", ())):
                asked.append((("causes", i, "only_with"), cause.only_with))
            for path, feature in asked:
                if feature and feature not in known:
                    near = get_close_matches(feature, known, n=1, cutoff=0.4)
                    hint = f"; did you mean {near[0]!r}?" if near else ""
                    yield kind, record.id, path, f"no layout has the feature {feature!r}{hint}"


def _corners(layout: Layout) -> Iterator[Found]:
    ids = [corner.id for corner in layout.corners]
    if not ids:
        yield "layouts", layout.id, ("corners",), "a layout needs at least one corner"
    for i, id_ in enumerate(ids):
        if id_ in ids[:i]:
            yield "layouts", layout.id, ("corners", i, "id"), f"the corner {id_!r} is there twice"


class _Left:
    """The records that one layout keeps."""

    def __init__(self, knowledge: Knowledge, layout: Layout) -> None:
        self.where = f"in the layout {layout.id!r}"
        self.faults = [f for f in knowledge.faults if applies(f, layout)]
        self.checks = [c for c in knowledge.checks if applies(c, layout)]
        self.repairs = [r for r in knowledge.repairs if applies(r, layout)]
        self.proofs = [p for p in knowledge.proofs if applies(p, layout)]
        self.nodes = {n.id for n in knowledge.nodes() if applies(n, layout)}
        axles = {"", *(corner.axle for corner in layout.corners)}
        self.access = {a.id for a in knowledge.access if a.axle in axles}
        self.at_front = {a.id: a.at_front for a in knowledge.access if "front" in axles}

    def problems(self) -> Iterator[Found]:
        """Yield what leads nowhere, and faults that nothing repairs or proves."""
        for check in self.checks:
            yield from self._check(check)
        faults = {fault.id for fault in self.faults}
        for repair in self.repairs:
            if not faults.intersection(repair.fixes):
                text = f"{self.where} none of its faults exists: say only_with"
                yield "repairs", repair.id, ("fixes",), text
            yield from self._needs("repairs", repair.id, "needs", repair.needs)
        checks = {check.id for check in self.checks}
        for proof in self.proofs:
            if not faults.intersection(proof.faults):
                text = f"{self.where} none of its faults exists: say only_with"
                yield "proofs", proof.id, ("faults",), text
            if proof.check not in checks:
                yield "proofs", proof.id, ("check",), f"{self.where} there is no {proof.check}"
        repaired = {fault for repair in self.repairs for fault in repair.fixes}
        proved = {fault for proof in self.proofs for fault in proof.faults}
        for fault in self.faults:
            for what, done in (("repair", repaired), ("proof", proved)):
                if fault.id not in done:
                    yield "faults", fault.id, ("id",), f"{self.where} no {what} names {fault.id}"

    def _check(self, check: Check) -> Iterator[Found]:
        if check.measure is not None:
            if check.measure.node not in self.nodes:
                text = f"{self.where} there is no {check.measure.node}: say only_with"
                yield "checks", check.id, ("measure", "node"), text
        elif not any(row.when and set(row.when) <= self.nodes for row in check.rows):
            text = f"{self.where} nothing that it looks at exists: say only_with"
            yield "checks", check.id, ("rows",), text
        yield from self._needs("checks", check.id, "needs", check.needs)
        yield from self._needs("checks", check.id, "without", check.without)

    def _needs(self, kind: str, id_: str, field: str, names: tuple[str, ...]) -> Iterator[Found]:
        for i, name in enumerate(names):
            front = self.at_front.get(name, "")
            for wanted in (name, front) if front else (name,):
                if wanted not in self.access:
                    yield kind, id_, (field, i), f"{self.where} there is no access state {wanted!r}"
