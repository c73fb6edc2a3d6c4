"""The knowledge checked against itself: what no schema can see.

An id that nothing has, probabilities that do not add up, a row that never counts, a unit that
does not fit. Each problem names the kind and id of the record and the field inside it, so that
the loader can point at the line.
"""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, is_dataclass
from graphlib import CycleError, TopologicalSorter
from typing import Any

from sagtrace.vehicle._audit_checks import LEAST_SHOWN, audit_check, audit_proof
from sagtrace.vehicle._audit_index import Index, Path, Said, Takes, unit_problem, unknown
from sagtrace.vehicle.checks import Access
from sagtrace.vehicle.knowledge import Knowledge
from sagtrace.vehicle.layout_audit import layout_problems
from sagtrace.vehicle.layouts import Layout
from sagtrace.vehicle.nodes import Fault, Node, Quantity
from sagtrace.vehicle.repairs import Repair, Tariff
from sagtrace.vehicle.system import PLACEHOLDER

__all__ = ["ALWAYS_NEEDED", "LEAST_SHOWN", "Problem", "problems", "Takes"]

ALWAYS_NEEDED = ("allowed-duty", "barometer")  # facts that are used whatever the checks are

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
    "tariff",
)
_BRACKETED = re.compile(r"<[^<> ]*>")


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """One thing wrong in one record: `kind` and `id` name the record, `path` the field in it."""

    kind: str
    id: str
    path: Path
    text: str


def problems(knowledge: Knowledge, models: Mapping[str, Takes]) -> Iterator[Problem]:
    """Yield what is wrong in the knowledge.

    `models` maps the name of every evidence model to what it takes and gives.
    """
    index = Index(knowledge, models)
    yield from _in_two_kinds(knowledge)
    for kind in _KINDS:
        records = (knowledge.tariff,) if kind == "tariff" else getattr(knowledge, kind)
        yield from _ids_used_twice(kind, records)
        for record in records:
            for path, text in _in_record(kind, record, index):
                yield Problem(kind=kind, id=record.id, path=path, text=text)
    yield from _circles(knowledge)
    yield from _uncovered(knowledge)
    for kind, id_, path, text in layout_problems(knowledge):
        yield Problem(kind=kind, id=id_, path=path, text=text)


def _ids_used_twice(kind: str, records: Sequence[Any]) -> Iterator[Problem]:
    for id_, count in Counter(record.id for record in records).items():
        if count > 1:
            text = f"the id {id_!r} is used {count} times"
            yield Problem(kind=kind, id=id_, path=("id",), text=text)


def _in_two_kinds(knowledge: Knowledge) -> Iterator[Problem]:
    faults = {fault.id for fault in knowledge.faults}
    for condition in knowledge.conditions:
        if condition.id in faults:
            text = f"the id {condition.id!r} is that of a fault already"
            yield Problem(kind="conditions", id=condition.id, path=("id",), text=text)


def _in_record(kind: str, record: Any, index: Index) -> Iterator[Said]:
    for path, basis in _bases(record, ()):
        if basis not in index.ids["sources"]:
            yield path, unknown("source", basis, index.ids["sources"])
    per_corner = getattr(record, "per", "vehicle") == "corner"
    for path, text in _texts(record, ()):
        yield from ((path, said) for said in _placeholders(text, per_corner))
    yield from index.feature(("only_with",), getattr(record, "only_with", ""))
    if rule := _RULES.get(kind):
        yield from rule(record, index)


def _placeholders(text: str, per_corner: bool) -> Iterator[str]:
    for found in dict.fromkeys(_BRACKETED.findall(text)):
        if found != PLACEHOLDER:
            yield f"there is no placeholder {found!r}; did you mean {PLACEHOLDER!r}?"
        elif not per_corner:
            yield f"the text says {PLACEHOLDER}, so it must be per: corner"


def _inner(record: Any, path: Path) -> Iterator[tuple[Path, Any]]:
    """Yield the fields of a record, and the items of those that are lists, with their paths."""
    for f in fields(record):
        value, here = getattr(record, f.name), (*path, f.name)
        yield here, value
        if isinstance(value, tuple):
            yield from (((*here, i), item) for i, item in enumerate(value))


def _bases(record: Any, path: Path) -> Iterator[tuple[Path, str]]:
    """Yield every `basis` of a record, at any depth."""
    for here, value in _inner(record, path):
        if here[-1] == "basis":
            yield here, value
        elif is_dataclass(value):
            yield from _bases(value, here)


def _texts(record: Any, path: Path) -> Iterator[tuple[Path, str]]:
    """Yield every text of a record, at any depth."""
    for here, value in _inner(record, path):
        if isinstance(value, str):
            yield here, value
        elif is_dataclass(value):
            yield from _texts(value, here)


def _layout(layout: Layout, index: Index) -> Iterator[Said]:
    if not layout.corners:
        yield ("corners",), "a layout needs at least one corner"
    for field, ids in (
        ("corners", [corner.id for corner in layout.corners]),
        ("facts", [fact.id for fact in layout.facts]),
    ):
        for i, id_ in enumerate(ids):
            if id_ in ids[:i]:
                yield (field, i, "id"), f"the id {id_!r} is used twice"
    for i, fact in enumerate(layout.facts):
        if problem := index.kind_of(fact.kind):
            yield ("facts", i, "kind"), problem
        elif problem := unit_problem(fact.unit, fact.kind):
            yield ("facts", i, "unit"), problem
        if fact.std < 0.0:
            yield ("facts", i, "std"), f"{fact.std:g} is no spread"
    used = {check.measure.model for check in index.checks.values() if check.measure}
    models = (index.models[name] for name in used if name in index.models)
    needed = {*ALWAYS_NEEDED, *(fact for model in models for fact in model.facts)}
    if missing := needed - {fact.id for fact in layout.facts}:
        yield ("facts",), f"these facts are missing: {', '.join(sorted(missing))}"


def _node(node: Node, index: Index) -> Iterator[Said]:
    states = node.state_ids
    if len(states) < 2:
        yield ("states",), "a node needs at least two states, healthy first"
    yield from _contribution(("background",), node.background, states)
    if node.quantity:
        yield from _quantity(node.quantity, states)
    for i, cause in enumerate(node.causes):
        yield from index.feature(("causes", i, "only_with"), cause.only_with)
        parent = index.nodes.get(cause.parent)
        if parent is None:
            yield ("causes", i, "parent"), unknown("fault or condition", cause.parent, index.nodes)
            continue
        if cause.beside and "vehicle" in (node.per, parent.per):
            text = "only a corner has a neighbour: node and parent must both be per corner"
            yield ("causes", i, "beside"), text
        for state, gives in cause.gives.items():
            here: Path = ("causes", i, "gives", state)
            if state not in parent.state_ids[1:]:
                yield here, unknown(f"unhealthy state of {parent.id},", state, parent.state_ids[1:])
            yield from _contribution(here, gives, states)


def _quantity(quantity: Quantity, states: tuple[str, ...]) -> Iterator[Said]:
    here: Path = ("quantity", "states")
    if wrong := set(states) ^ set(quantity.states):
        yield (
            here,
            f"must name exactly the states {', '.join(states)}; "
            f"differs in {', '.join(sorted(wrong))}",
        )
    for state, spread in quantity.states.items():
        least = 1.0 if spread.shape == "lognormal" else 0.0
        if not (spread.width > least and (spread.shape == "normal" or spread.centre > 0)):
            yield (
                (*here, state),
                f"a {spread.shape} spread needs a width above {least:g}"
                + (" and a centre above zero" if least else ""),
            )


def _contribution(
    path: Path, gives: Mapping[str, float], states: tuple[str, ...]
) -> Iterator[Said]:
    for state, p in gives.items():
        if state not in states[1:]:
            yield (*path, state), unknown("unhealthy state", state, states[1:])
        if not 0.0 <= p <= 1.0:
            yield (*path, state), f"{p:g} is no probability"
    if math.fsum(gives.values()) > 1.0 + 1e-9:
        yield path, "the probabilities of the unhealthy states add up to more than 1"


def _fault(fault: Fault, index: Index) -> Iterator[Said]:
    yield from _node(fault, index)
    if fault.component not in index.ids["components"]:
        yield ("component",), unknown("component", fault.component, index.ids["components"])
    if not 0.0 <= fault.returns <= 1.0:
        yield ("returns",), f"{fault.returns:g} is no probability"


def _access(access: Access, index: Index) -> Iterator[Said]:
    yield from index.known("access state", "access", access.after, "after")
    yield from index.known("access state", "access", access.back_without, "back_without")
    yield from index.known("caution", "cautions", access.cautions, "cautions")
    yield from index.known("caution", "cautions", access.cautions_off, "cautions_off")
    if access.at_front and access.at_front not in index.access:
        yield ("at_front",), unknown("access state", access.at_front, index.access)


def _repair(repair: Repair, index: Index) -> Iterator[Said]:
    yield from index.known("fault", "faults", repair.fixes, "fixes")
    yield from index.known("fault", "faults", repair.spoils, "spoils")
    yield from index.known("access state", "access", repair.needs, "needs")
    yield from index.known("caution", "cautions", repair.cautions, "cautions")
    for i, use in enumerate(repair.parts):
        if use.part not in index.parts:
            yield ("parts", i, "part"), unknown("part", use.part, index.parts)
    if not 0.0 <= repair.holds <= 1.0:
        yield ("holds",), f"{repair.holds:g} is no probability"
    elif not repair.holds <= repair.cures <= 1.0:
        here = f"{repair.cures:g} must lie between holds ({repair.holds:g}) and 1"
        yield ("cures",), f"{here}: what is not gone cannot hold"


def _tariff(tariff: Tariff, _index: Index) -> Iterator[Said]:
    ids = [part.id for part in tariff.parts]
    for i, part in enumerate(tariff.parts):
        if part.id in ids[:i]:
            yield ("parts", i, "id"), f"the id {part.id!r} is used twice"
        if part.price < 0.0:
            yield ("parts", i, "price"), f"{part.price:g} is no price"
        if part.spread < 1.0:
            yield ("parts", i, "spread"), "a factor of one standard deviation is 1 or more"


_RULES: Mapping[str, Callable[[Any, Index], Iterator[Said]]] = {
    "layouts": _layout,
    "faults": _fault,
    "conditions": _node,
    "access": _access,
    "checks": audit_check,
    "repairs": _repair,
    "proofs": audit_proof,
    "tariff": _tariff,
}


def _circles(knowledge: Knowledge) -> Iterator[Problem]:
    faults = {fault.id for fault in knowledge.faults}
    causes = {node.id: {cause.parent for cause in node.causes} for node in knowledge.nodes()}
    if loop := _circle(causes):
        kind = "faults" if loop[0] in faults else "conditions"
        text = f"causes run in a circle: {' <- '.join(loop)}"
        yield Problem(kind=kind, id=loop[0], path=("causes",), text=text)
    if loop := _circle({state.id: set(state.after) for state in knowledge.access}):
        text = f"access states wait for each other: {' <- '.join(loop)}"
        yield Problem(kind="access", id=loop[0], path=("after",), text=text)
    elif loop := _circle(_ended_first(knowledge)):
        text = f"access states keep each other from being ended: {' <- '.join(loop)}"
        said = {state.id for state in knowledge.access if set(loop) & set(state.back_without)}
        first = next(name for name in loop if name in said)
        yield Problem(kind="access", id=first, path=("back_without",), text=text)


def _ended_first(knowledge: Knowledge) -> Mapping[str, set[str]]:
    """Return which states must be ended before each: what rests on it, and what is in the way."""
    ended = {state.id: set(state.back_without) for state in knowledge.access}
    for state in knowledge.access:
        for below in state.after:
            ended.setdefault(below, set()).add(state.id)
    return ended


def _circle(graph: Mapping[str, set[str]]) -> Sequence[str]:
    try:
        TopologicalSorter(graph).prepare()
    except CycleError as err:
        loop: Sequence[str] = err.args[1]
        return loop
    return ()


def _uncovered(knowledge: Knowledge) -> Iterator[Problem]:
    repaired = {fault for repair in knowledge.repairs for fault in repair.fixes}
    proved = {fault for proof in knowledge.proofs for fault in proof.faults}
    for fault in knowledge.faults:
        for what, done in (("repair", repaired), ("proof", proved)):
            if fault.id not in done:
                text = f"no {what} names {fault.id}"
                yield Problem(kind="faults", id=fault.id, path=("id",), text=text)
    if "other" not in {fault.id for fault in knowledge.faults}:
        text = "the fault 'other' must exist: a list is never complete"
        yield Problem(kind="faults", id="other", path=(), text=text)
