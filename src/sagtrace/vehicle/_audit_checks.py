"""The rules for checks and proofs: rows that cover every case, measures that fit their model."""

from __future__ import annotations

import math
from collections.abc import Iterator

from sagtrace.vehicle._audit_index import Index, Path, Said, unit_problem, unknown
from sagtrace.vehicle.checks import Check, Measure, Row
from sagtrace.vehicle.nodes import Node
from sagtrace.vehicle.repairs import Proof

__all__ = ["audit_check", "audit_proof", "LEAST_SHOWN"]

LEAST_SHOWN = 0.002  # chosen: nobody is infallible; keeps one slip from ruling a fault out for good


def audit_check(check: Check, index: Index) -> Iterator[Said]:
    """Yield what is wrong in one check."""
    yield from index.known("access state", "access", check.needs, "needs")
    yield from index.known("access state", "access", check.without, "without")
    yield from index.known("check", "checks", check.yields_to, "yields_to")
    yield from index.known("caution", "cautions", check.cautions, "cautions")
    for i, name in enumerate(check.without):
        if name in index.beneath(check.needs):
            yield (
                ("without", i),
                f"{name} must be undone first, but what the check needs rests on it",
            )
    if (check.measure is None) == (not check.rows):
        yield ("rows",), "a check has either rows with outcomes or a measure"
    elif check.measure is None:
        yield from _rows(check, index)
    else:
        yield from _measure(check, check.measure, index)


def _rows(check: Check, index: Index) -> Iterator[Said]:
    last = len(check.rows) - 1
    if check.rows[last].when:
        yield ("rows", last, "when"), "the last row must fit always (an empty `when`)"
    for i, row in enumerate(check.rows):
        if i < last and not row.when:
            yield ("rows", i, "when"), "this row fits always, so the rows below it never count"
        yield from _shows(("rows", i, "shows"), check, row)
        for node_id, wanted in row.when.items():
            here: Path = ("rows", i, "when", node_id)
            node = index.nodes.get(node_id)
            if node is None:
                yield here, unknown("fault or condition", node_id, index.nodes)
                continue
            for state in (wanted,) if isinstance(wanted, str) else wanted:
                if state not in node.state_ids:
                    yield here, unknown(f"state of {node_id},", state, node.state_ids)
            if check.per == "vehicle" and node.per == "corner":
                yield here, f"{node_id} is per corner and the check is not"


def _shows(here: Path, check: Check, row: Row) -> Iterator[Said]:
    names = {outcome.id for outcome in check.outcomes}
    for given in set(row.shows) - names:
        yield here, unknown("outcome", given, names)
    total = math.fsum(row.shows.values())
    if set(row.shows) != names or abs(total - 1.0) > 1e-6:
        yield (
            here,
            f"must give every outcome a probability and add up to 1 (adds up to {total:g})",
        )
    elif min(row.shows.values()) < LEAST_SHOWN:
        yield here, f"no probability may be below {LEAST_SHOWN:g}: nobody is infallible"


def _measure(check: Check, measure: Measure, index: Index) -> Iterator[Said]:
    yield from _inputs(measure, index)
    node = index.nodes.get(measure.node)
    if node is None:
        yield ("measure", "node"), unknown("fault or condition", measure.node, index.nodes)
    else:
        yield from _measured(check, measure, node, index)
    if not (measure.typical_std > 0 or measure.typical_relative > 0):
        yield ("measure",), "needs typical_std or typical_relative above zero for planning"
    if not 0 < measure.gross_error < 1:
        yield ("measure", "gross_error"), "must lie between 0 and 1: nobody is infallible"


def _inputs(measure: Measure, index: Index) -> Iterator[Said]:
    if measure.model not in index.models:
        yield ("measure", "model"), unknown("evidence model", measure.model, index.models)
    else:
        model = index.models[measure.model]
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
        if problem := index.kind_of(entry.kind):
            yield ("measure", "inputs", i, "kind"), problem
        elif problem := unit_problem(entry.unit, entry.kind):
            yield ("measure", "inputs", i, "unit"), problem


def _measured(check: Check, measure: Measure, node: Node, index: Index) -> Iterator[Said]:
    """Yield why what the model gives cannot be the quantity of this node."""
    here: Path = ("measure", "node")
    if node.quantity is None:
        yield here, f"{node.id} has no quantity that a number could show"
    elif check.per == "vehicle" and node.per == "corner":
        yield here, f"{node.id} is per corner and the check is not"
    elif node.only_with not in ("", check.only_with):
        yield here, f"{node.id} exists only with {node.only_with}, so the check needs that too"
    elif model := index.models.get(measure.model):
        gives = model.gives or next((entry.kind for entry in measure.inputs), "")
        if not index.kind_of(gives) and (problem := unit_problem(node.quantity.unit, gives)):
            yield here, f"{node.id} does not fit what {measure.model} gives: {problem}"


def audit_proof(proof: Proof, index: Index) -> Iterator[Said]:
    """Yield what is wrong in one proof."""
    yield from index.known("fault", "faults", proof.faults, "faults")
    check = index.checks.get(proof.check)
    if check is None:
        yield ("check",), unknown("check", proof.check, index.checks)
        return
    outcomes = [outcome.id for outcome in check.outcomes]
    if check.measure is None and proof.outcome not in outcomes:
        yield ("outcome",), unknown(f"outcome of {check.id},", proof.outcome, outcomes)
    for id_ in proof.also:
        if id_ not in outcomes:
            yield ("also",), unknown(f"outcome of {check.id},", id_, outcomes)
    if check.measure is not None and proof.at_most is None and proof.at_least is None:
        yield (
            ("check",),
            f"{check.id} measures a number, so the proof needs at_most or at_least",
        )
    if proof.per == "vehicle" and check.per == "corner":
        yield ("check",), f"{check.id} is per corner and the proof is not"
    elif check.only_with not in ("", proof.only_with):
        yield (
            ("check",),
            f"{check.id} exists only with {check.only_with}, so the proof needs that too",
        )
