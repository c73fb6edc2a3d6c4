"""The knowledge checked against itself: what no schema can see.

Each problem names the kind and id of the record and the field inside it, so that the
loader can point at the line.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, fields
from difflib import get_close_matches
from graphlib import CycleError, TopologicalSorter
from typing import Any, Protocol

from sagtrace.units import KINDS
from sagtrace.vehicle.checks import Check
from sagtrace.vehicle.knowledge import Knowledge
from sagtrace.vehicle.layout_audit import layout_problems
from sagtrace.vehicle.nodes import Node
from sagtrace.vehicle.system import PLACEHOLDER

__all__ = ["LEAST_SHOWN", "Problem", "problems", "Takes"]

LEAST_SHOWN = 0.002  # chosen: nobody is infallible; keeps one slip from ruling a fault out for good

Path = tuple[str | int, ...]


class Takes(Protocol):
    """What an evidence model must be given, and what it may be given."""

    @property
    def required(self) -> tuple[str, ...]:
        """Names that must be given."""

    @property
    def optional(self) -> tuple[str, ...]:
        """Names that may be given."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """One thing wrong in one record: `kind` and `id` name the record, `path` the field in it."""

    kind: str
    id: str
    path: Path
    text: str


def _unknown(what: str, given: str, known: Collection[str]) -> str:
    near = get_close_matches(given, known, n=1, cutoff=0.4)
    return f"there is no {what} {given!r}" + (f"; did you mean {near[0]!r}?" if near else "")


class _Audit:
    def __init__(self, knowledge: Knowledge, models: Mapping[str, Takes]) -> None:
        self.k = knowledge
        self.models = models
        self.nodes = {node.id: node for node in knowledge.nodes()}
        self.checks = {check.id: check for check in knowledge.checks}
        self.ids = {
            kind: {record.id for record in getattr(knowledge, kind)}
            for kind in ("sources", "components", "cautions", "access", "checks", "faults")
        }
        self.parts = {part.id for part in knowledge.tariff.parts}

    def run(self) -> Iterator[Problem]:
        for kind in _KINDS:
            records = getattr(self.k, kind)
            for id_, count in Counter(record.id for record in records).items():
                if count > 1:
                    yield Problem(
                        kind=kind,
                        id=id_,
                        path=("id",),
                        text=f"the id {id_!r} is used {count} times",
                    )
            for record in records:
                yield from self.basis(kind, record)
                yield from (
                    Problem(kind=kind, id=record.id, path=path, text=text)
                    for path, text in getattr(self, f"_{kind}", self._nothing)(record)
                )
        yield from self.cycles()
        yield from self.covered()
        for kind, id_, path, text in layout_problems(self.k):
            yield Problem(kind=kind, id=id_, path=path, text=text)

    def _nothing(self, _record: Any) -> Iterator[tuple[Path, str]]:
        yield from ()

    def basis(self, kind: str, record: Any) -> Iterator[Problem]:
        """Every `basis`, at any depth, names a source."""
        for path, given in _bases(record, ()):
            if given not in self.ids["sources"]:
                yield Problem(
                    kind=kind,
                    id=record.id,
                    path=path,
                    text=_unknown("source", given, self.ids["sources"]),
                )

    def _node(self, node: Node) -> Iterator[tuple[Path, str]]:
        states = node.state_ids
        if len(states) < 2:
            yield ("states",), "a node needs at least two states, healthy first"
        yield from _contribution(("background",), node.background, states)
        if node.quantity:
            if missing := set(states) ^ set(node.quantity.states):
                yield (
                    ("quantity", "states"),
                    f"must name exactly the states {', '.join(states)}; "
                    f"differs in {', '.join(sorted(missing))}",
                )
            for state, spread in node.quantity.states.items():
                least = 1.0 if spread.shape == "lognormal" else 0.0
                if not (spread.width > least and (spread.shape == "normal" or spread.centre > 0)):
                    yield (
                        ("quantity", "states", state),
                        f"a {spread.shape} spread needs a width above {least:g}"
                        + (" and a centre above zero" if least else ""),
                    )
        for i, cause in enumerate(node.causes):
            here: Path = ("causes", i)
            parent = self.nodes.get(cause.parent)
            if parent is None:
                yield (*here, "parent"), _unknown("fault or condition", cause.parent, self.nodes)
                continue
            for parent_state, gives in cause.gives.items():
                if parent_state not in parent.state_ids[1:]:
                    yield (
                        (*here, "gives", parent_state),
                        _unknown(
                            f"unhealthy state of {parent.id},", parent_state, parent.state_ids[1:]
                        ),
                    )
                yield from _contribution((*here, "gives", parent_state), gives, states)

    _conditions = _node

    def _faults(self, fault: Any) -> Iterator[tuple[Path, str]]:
        yield from self._node(fault)
        yield from self._known("component", "components", [fault.component], ("component",))
        if not 0.0 <= fault.returns <= 1.0:
            yield ("returns",), f"{fault.returns:g} is no probability"

    def _known(
        self, what: str, kind: str, given: Collection[str], path: Path
    ) -> Iterator[tuple[Path, str]]:
        for i, id_ in enumerate(given):
            if id_ not in self.ids[kind]:
                yield (
                    (path if len(path) == 1 and what == "component" else (*path, i)),
                    _unknown(what, id_, self.ids[kind]),
                )

    def _access(self, access: Any) -> Iterator[tuple[Path, str]]:
        yield from self._known("access state", "access", access.after, ("after",))
        if access.at_front and access.at_front not in self.ids["access"]:
            yield ("at_front",), _unknown("access state", access.at_front, self.ids["access"])
        yield from self._known("caution", "cautions", access.cautions, ("cautions",))

    def _repairs(self, repair: Any) -> Iterator[tuple[Path, str]]:
        yield from self._known("fault", "faults", repair.fixes, ("fixes",))
        yield from self._known("access state", "access", repair.needs, ("needs",))
        yield from self._known("caution", "cautions", repair.cautions, ("cautions",))
        for i, use in enumerate(repair.parts):
            if use.part not in self.parts:
                yield ("parts", i, "part"), _unknown("part", use.part, self.parts)

    def _proofs(self, proof: Any) -> Iterator[tuple[Path, str]]:
        yield from self._known("fault", "faults", proof.faults, ("faults",))
        check = self.checks.get(proof.check)
        if check is None:
            yield ("check",), _unknown("check", proof.check, self.checks)
        elif check.measure is None and proof.outcome not in (
            names := {o.id for o in check.outcomes}
        ):
            yield ("outcome",), _unknown(f"outcome of {check.id},", proof.outcome, names)
        elif check.measure is not None and proof.at_most is None and proof.at_least is None:
            yield (
                ("check",),
                f"{check.id} measures a number, so the proof needs at_most or at_least",
            )

    def _checks(self, check: Check) -> Iterator[tuple[Path, str]]:
        yield from self._known("access state", "access", check.needs, ("needs",))
        yield from self._known("access state", "access", check.without, ("without",))
        yield from self._known("check", "checks", check.yields_to, ("yields_to",))
        yield from self._known("caution", "cautions", check.cautions, ("cautions",))
        if (check.measure is None) == (not check.rows):
            yield ("rows",), "a check has either rows with outcomes or a measure"
        elif check.measure is None:
            yield from self._rows(check)
        else:
            yield from self._measure(check)
        if check.per == "vehicle" and PLACEHOLDER in f"{check.name}{check.steps}{check.expect}":
            yield ("per",), f"the text says {PLACEHOLDER}, so it must be per: corner"

    def _rows(self, check: Check) -> Iterator[tuple[Path, str]]:
        names = {outcome.id for outcome in check.outcomes}
        if check.rows[-1].when:
            yield (
                ("rows", len(check.rows) - 1, "when"),
                "the last row must fit always (an empty `when`)",
            )
        for i, row in enumerate(check.rows):
            here: Path = ("rows", i)
            for given in set(row.shows) - names:
                yield (*here, "shows"), _unknown("outcome", given, names)
            total = math.fsum(row.shows.values())
            if set(row.shows) != names or abs(total - 1.0) > 1e-6:
                yield (
                    (*here, "shows"),
                    f"must give every outcome a probability and add up to 1 (adds up to {total:g})",
                )
            elif min(row.shows.values()) < LEAST_SHOWN:
                yield (
                    (*here, "shows"),
                    f"no probability may be below {LEAST_SHOWN:g}: nobody is infallible",
                )
            for node_id, wanted in row.when.items():
                node = self.nodes.get(node_id)
                if node is None:
                    yield (
                        (*here, "when", node_id),
                        _unknown("fault or condition", node_id, self.nodes),
                    )
                    continue
                for state in (wanted,) if isinstance(wanted, str) else wanted:
                    if state not in node.state_ids:
                        yield (
                            (*here, "when", node_id),
                            _unknown(f"state of {node_id},", state, node.state_ids),
                        )
                if check.per == "vehicle" and node.per == "corner":
                    yield (*here, "when", node_id), f"{node_id} is per corner and the check is not"

    def _measure(self, check: Check) -> Iterator[tuple[Path, str]]:
        measure = check.measure
        assert measure is not None
        node = self.nodes.get(measure.node)
        if node is None:
            yield ("measure", "node"), _unknown("fault or condition", measure.node, self.nodes)
        elif node.quantity is None:
            yield ("measure", "node"), f"{node.id} has no quantity that a number could show"
        elif check.per == "vehicle" and node.per == "corner":
            yield ("measure", "node"), f"{node.id} is per corner and the check is not"
        if measure.model not in self.models:
            yield ("measure", "model"), _unknown("evidence model", measure.model, self.models)
        else:
            model = self.models[measure.model]
            given = {entry.name for entry in measure.inputs}
            wrong = (set(model.required) - given) | (given - {*model.required, *model.optional})
            if wrong:
                yield (
                    ("measure", "inputs"),
                    (
                        f"{measure.model} needs {', '.join(model.required)} and may take "
                        f"{', '.join(model.optional) or 'nothing else'}; "
                        f"differs in {', '.join(sorted(wrong))}"
                    ),
                )
        for i, entry in enumerate(measure.inputs):
            if entry.kind not in KINDS:
                yield (
                    ("measure", "inputs", i, "kind"),
                    _unknown("kind of quantity", entry.kind, KINDS),
                )
        if not (measure.typical_std > 0 or measure.typical_relative > 0):
            yield ("measure",), "needs typical_std or typical_relative above zero for planning"
        if not 0 < measure.gross_error < 1:
            yield ("measure", "gross_error"), "must lie between 0 and 1: nobody is infallible"

    def cycles(self) -> Iterator[Problem]:
        try:
            TopologicalSorter(
                {n.id: {c.parent for c in n.causes} for n in self.nodes.values()}
            ).prepare()
        except CycleError as err:
            loop = err.args[1]
            kind = "faults" if loop[0] in self.ids["faults"] else "conditions"
            yield Problem(
                kind=kind,
                id=loop[0],
                path=("causes",),
                text=f"causes run in a circle: {' <- '.join(loop)}",
            )

    def covered(self) -> Iterator[Problem]:
        repaired = {fault for repair in self.k.repairs for fault in repair.fixes}
        proved = {fault for proof in self.k.proofs for fault in proof.faults}
        for fault in self.k.faults:
            for what, done in (("repair", repaired), ("proof", proved)):
                if fault.id not in done:
                    yield Problem(
                        kind="faults", id=fault.id, path=("id",), text=f"no {what} names {fault.id}"
                    )
        if "other" not in self.ids["faults"]:
            yield Problem(
                kind="faults",
                id="other",
                path=(),
                text="the fault 'other' must exist: a list is never complete",
            )


_KINDS = (
    "sources",
    "components",
    "layouts",
    "faults",
    "conditions",
    "cautions",
    "access",
    "checks",
    "repairs",
    "proofs",
)


def _contribution(
    path: Path, gives: Mapping[str, float], states: tuple[str, ...]
) -> Iterator[tuple[Path, str]]:
    for state, p in gives.items():
        if state not in states[1:]:
            yield (*path, state), _unknown("unhealthy state", state, states[1:])
        if not 0.0 <= p <= 1.0:
            yield (*path, state), f"{p:g} is no probability"
    if math.fsum(gives.values()) > 1.0 + 1e-9:
        yield path, "the probabilities of the unhealthy states add up to more than 1"


def _bases(record: Any, path: Path) -> Iterator[tuple[Path, str]]:
    for f in fields(record):
        value, here = getattr(record, f.name), (*path, f.name)
        if f.name == "basis":
            yield here, value
        elif hasattr(value, "__dataclass_fields__"):
            yield from _bases(value, here)
        elif isinstance(value, tuple):
            for i, item in enumerate(value):
                if hasattr(item, "__dataclass_fields__"):
                    yield from _bases(item, (*here, i))


def problems(knowledge: Knowledge, models: Mapping[str, Takes]) -> Iterator[Problem]:
    """Yield what is wrong in the knowledge.

    `models` maps the name of every evidence model to what it takes.
    """
    yield from _Audit(knowledge, models).run()
