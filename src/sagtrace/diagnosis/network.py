"""The causal graph as probability tables: one for every fault, condition and check.

Each node is a noisy-max: the worst of a background and of what each cause contributes. It
is written as a chain (the worst so far, one cause at a time), which gives exactly the same
joint distribution as one table over all causes and grows with their number, not with its
power. Checks are leaves; a check that measures a number gets one outcome a state ("reads
like slow"), used only to plan it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import product

import numpy as np
from numpy.typing import NDArray

from sagtrace.evidence.findings import check_leaf
from sagtrace.evidence.likelihood import reads_like
from sagtrace.vehicle.checks import Check
from sagtrace.vehicle.nodes import Cause, Node
from sagtrace.vehicle.renewal import Renewal
from sagtrace.vehicle.system import System

__all__ = [
    "background",
    "build_network",
    "check_table",
    "contribution",
    "leaf_tables",
    "Network",
    "outcome_ids",
    "Table",
    "worst_of",
]

Array = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Table:
    """P(child | parents): `values` has one axis a parent, in order, and the child's last."""

    child: str
    states: tuple[str, ...]
    parents: tuple[str, ...]
    values: Array


@dataclass(frozen=True, kw_only=True)
class Network:
    """Tables in an order that has parents before children."""

    tables: tuple[Table, ...]

    def states(self) -> Mapping[str, tuple[str, ...]]:
        """Return the states of every variable."""
        return {table.child: table.states for table in self.tables}


def outcome_ids(system: System, check: Check) -> tuple[str, ...]:
    """Return what the check may show: its outcomes, or the states that its number may read like."""
    if check.measure is None:
        return tuple(outcome.id for outcome in check.outcomes)
    quantity = system.nodes[check.measure.node].quantity
    assert quantity is not None  # the audit refuses a measure of a node without a quantity
    return tuple(quantity.states)


def background(node: Node) -> Array:
    """Return the distribution of the node's state when no cause is at work."""
    p = np.array([node.background.get(state, 0.0) for state in node.state_ids])
    p[0] = 1.0 - p.sum()
    return p


def contribution(cause: Cause, parent: Node, child: Node) -> Array:
    """Return P(contributed state | parent state), shape (parent states, child states)."""
    table = np.zeros((len(parent.state_ids), len(child.state_ids)))
    for i, parent_state in enumerate(parent.state_ids):
        gives = cause.gives.get(parent_state, {})
        for j, child_state in enumerate(child.state_ids):
            table[i, j] = gives.get(child_state, 0.0)
        table[i, 0] = 1.0 - table[i, 1:].sum()
    return table


def worst_of(p: Array, q: Array) -> Array:
    """Return the distribution of the worse of two independent states; the last axis is the state.

    The cumulative distribution of a maximum is the product of the cumulative distributions.
    """
    return np.diff(np.cumsum(p, axis=-1) * np.cumsum(q, axis=-1), axis=-1, prepend=0.0)


def _node_tables(node: Node, nodes: Mapping[str, Node]) -> Iterator[Table]:
    states = node.state_ids
    if not node.causes:
        yield Table(child=node.id, states=states, parents=(), values=background(node))
        return
    certain = np.eye(len(states))
    so_far = ""
    for i, cause in enumerate(node.causes):
        gives = contribution(cause, nodes[cause.parent], node)
        child = node.id if i == len(node.causes) - 1 else f"worst:{node.id}:{i}"
        if so_far:
            values = worst_of(certain[:, None, :], gives[None, :, :])
            yield Table(child=child, states=states, parents=(so_far, cause.parent), values=values)
        else:
            values = worst_of(background(node)[None, :], gives)
            yield Table(child=child, states=states, parents=(cause.parent,), values=values)
        so_far = child


def _fits(wanted: str | tuple[str, ...], state: str) -> bool:
    return state == wanted if isinstance(wanted, str) else state in wanted


def check_table(system: System, check: Check) -> Table:
    """Return P(outcome | what the check looks at)."""
    child, outcomes = check_leaf(check.id), outcome_ids(system, check)
    if (m := check.measure) is not None:
        quantity = system.nodes[m.node].quantity
        assert quantity is not None
        order = [list(quantity.states).index(s) for s in system.nodes[m.node].state_ids]
        values = reads_like(quantity, m.typical_std, m.typical_relative, m.gross_error)[order]
        return Table(child=child, states=outcomes, parents=(m.node,), values=values)
    parents = tuple(dict.fromkeys(node_id for row in check.rows for node_id in row.when))
    # A layout may lack all that a check looks at; it then shows the same whatever is wrong.
    parents = parents or (next(iter(system.nodes)),)
    spaces = [system.nodes[parent].state_ids for parent in parents]
    values = np.empty((*(len(space) for space in spaces), len(outcomes)))
    for index in product(*(range(len(space)) for space in spaces)):
        held = {p: spaces[k][i] for k, (p, i) in enumerate(zip(parents, index, strict=True))}
        row = next(r for r in check.rows if all(_fits(w, held[n]) for n, w in r.when.items()))
        values[index] = [row.shows[outcome] for outcome in outcomes]
    return Table(child=child, states=outcomes, parents=parents, values=values)


def leaf_tables(renewal: Renewal) -> tuple[Table, ...]:
    """Return a table for every check, as it would be done now and as it was done before."""
    system = renewal.system
    now = {check.id: check_table(system, check) for check in system.checks.values()}
    past = (
        replace(
            now[check],
            child=check_leaf(name),
            parents=tuple(renewal.at(parent, time) for parent in now[check].parents),
        )
        for name, check, time in renewal.past_checks()
    )
    return (*now.values(), *past)


def build_network(renewal: Renewal) -> Network:
    """Return the tables of every version of every fault, condition and check."""
    known = renewal.nodes
    nodes = [table for node in known.values() for table in _node_tables(node, known)]
    return Network(tables=(*nodes, *leaf_tables(renewal)))
