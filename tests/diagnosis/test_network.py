"""The tables of the causal graph: noisy-max, its chain, and what checks show."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from reference import direct_outcomes, direct_table
from sagtrace.diagnosis.network import (
    Network,
    Table,
    build_network,
    check_table,
    outcome_ids,
    worst_of,
)
from sagtrace.diagnosis.verdict import Reasoner
from sagtrace.evidence.findings import check_leaf
from sagtrace.vehicle.checks import Check, Measure
from sagtrace.vehicle.nodes import Node, Quantity, Spread
from sagtrace.vehicle.renewal import Renewal
from sagtrace.vehicle.system import System
from small_system import cause, condition, fault, look, system_of

Array = NDArray[np.float64]


def tables_of(network: Network) -> dict[str, Table]:
    return {table.child: table for table in network.tables}


def multiplied_back(node: Node, tables: dict[str, Table]) -> Array:
    """Return P(node | causes) from the node's chain, its helper variables summed out."""
    table = tables[node.id]
    if not node.causes or table.parents == tuple(c.parent for c in node.causes):
        return table.values
    last, so_far = table.values, table.parents[0]
    links = []
    while so_far.startswith("worst:"):
        links.append(last)
        last = tables[so_far].values
        so_far = tables[so_far].parents[0]
    whole = last
    for link in reversed(links):
        whole = np.tensordot(whole, link, axes=([-1], [0]))
    return whole


def test_noisy_max_by_hand() -> None:
    """By itself: slow 0.1. The cause gives slow 0.3 and fast 0.2, so it gives nothing in 0.5.

    absent: neither, 0.9 x 0.5 = 0.45; fast: the cause only, 0.2; slow: the rest, 0.35.
    """
    node = fault(
        "leak",
        {"slow": 0.1},
        cause("wear", {"present": {"slow": 0.3, "fast": 0.2}}),
        states="absent slow fast",
    )
    tables = tables_of(
        build_network(Renewal(system_of([fault("wear", {"present": 0.2}), node], [])))
    )
    assert tables["wear"].values == pytest.approx([0.8, 0.2])
    assert tables["leak"].values[0] == pytest.approx([0.9, 0.1, 0.0])
    assert tables["leak"].values[1] == pytest.approx([0.45, 0.35, 0.20])


def test_noisy_max_of_two_causes_by_hand() -> None:
    """Both at work and nothing by itself: a gives 1 in 0.5, b gives 1 in 0.2 and 2 in 0.4.

    0: 0.5 x 0.4 = 0.2; 2: 0.4; 1: the rest, 0.4 (= 0.5 x 0.6 + 0.5 x 0.2).
    """
    nodes: list[Node] = [
        fault("a", {"present": 0.1}),
        fault("b", {"present": 0.1}),
        condition(
            "x",
            "0 1 2",
            {},
            cause("a", {"present": {"1": 0.5}}),
            cause("b", {"present": {"1": 0.2, "2": 0.4}}),
        ),
    ]
    tables = tables_of(build_network(Renewal(system_of(nodes, []))))
    assert set(tables) == {"a", "b", "x", "worst:x:0"}
    assert multiplied_back(nodes[2], tables)[1, 1] == pytest.approx([0.2, 0.4, 0.4])


def test_the_worse_of_two_dice() -> None:
    """The larger of two dice is k in (2k - 1) of 36 throws."""
    die = np.full(6, 1 / 6)
    assert worst_of(die, die) == pytest.approx([(2 * k - 1) / 36 for k in range(1, 7)])


def test_every_chain_is_the_direct_table(system: System, reasoner: Reasoner) -> None:
    """Adding up every combination of contributions gives the same as the chain."""
    tables = tables_of(reasoner.network)
    for node in system.nodes.values():
        back = multiplied_back(node, tables)
        np.testing.assert_allclose(back, direct_table(node, system.nodes), rtol=0, atol=1e-14)


def test_every_check_is_the_direct_table(system: System, reasoner: Reasoner) -> None:
    tables = tables_of(reasoner.network)
    for check in system.checks.values():
        parents, direct = direct_outcomes(system, check)
        table = tables[check_leaf(check.id)]
        order = [table.parents.index(parent) for parent in parents]
        np.testing.assert_allclose(
            np.transpose(table.values, (*order, len(order))), direct, rtol=0, atol=1e-15
        )


def test_tables_are_distributions_in_causal_order(reasoner: Reasoner) -> None:
    seen: set[str] = set()
    for table in reasoner.network.tables:
        assert seen.issuperset(table.parents)
        seen.add(table.child)
        assert table.values.shape[-1] == len(table.states)
        assert np.all(table.values >= 0.0)
        np.testing.assert_allclose(table.values.sum(axis=-1), 1.0, rtol=0, atol=1e-12)


def test_the_first_row_that_fits_counts() -> None:
    nodes: list[Node] = [
        fault("a", {"slow": 0.1, "fast": 0.1}, states="absent slow fast"),
        fault("b", {"present": 0.1}),
    ]
    check = look(
        "c",
        "yes no",
        ({"a": ("slow", "fast"), "b": "present"}, "0.9 0.1"),
        ({"a": "fast"}, "0.6 0.4"),
        ({}, "0.1 0.9"),
    )
    system = system_of(nodes, [check])
    table = check_table(system, check)
    assert table.parents == ("a", "b")
    yes = [[0.1, 0.1], [0.1, 0.9], [0.6, 0.9]]
    assert table.values[..., 0] == pytest.approx(np.array(yes))
    assert outcome_ids(system, check) == ("yes", "no")


def test_a_check_that_looks_at_nothing_shows_the_same_whatever_is_wrong() -> None:
    """What it looked at is missing from the layout: only the last row is left."""
    check = look("c", "heads tails", ({}, "0.3 0.7"))
    table = check_table(system_of([fault("a", {"present": 0.1})], [check]), check)
    assert table.values == pytest.approx(np.array([[0.3, 0.7], [0.3, 0.7]]))


def test_a_measured_check_follows_the_order_of_the_quantity() -> None:
    """Outcomes are the states as the quantity lists them, here worst first; rows the node's."""
    spreads = {
        "high": Spread(shape="normal", centre=10.0, width=0.1),
        "none": Spread(shape="normal", centre=0.0, width=0.1),
    }
    node = condition(
        "x",
        "none high",
        {"high": 0.5},
        quantity=Quantity(name="x", unit="V", states=spreads, basis="invented"),
    )
    measure = Measure(
        model="m", node="x", inputs=(), typical_std=0.1, gross_error=0.02, basis="invented"
    )
    check = Check(
        id="m",
        name="m",
        kind="measure",
        minutes=1.0,
        steps=(),
        expect="",
        why="",
        measure=measure,
        basis="invented",
    )
    table = check_table(system_of([node], [check]), check)
    assert table.states == ("high", "none")
    # Far apart, so only the gross error (half of it lands on each state) mixes them up.
    assert table.values == pytest.approx(np.array([[0.01, 0.99], [0.99, 0.01]]))
