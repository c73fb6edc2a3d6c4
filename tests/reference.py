"""The same probabilities computed in other ways, slow and plain, for tests and documents only.

`direct_table` writes a noisy-max as one table over all its causes, by adding up what they
contribute, case by case: no chain as in `diagnosis.network`, no cumulative distribution as in
`diagnosis.elimination`. `Contraction` multiplies such tables with opt_einsum, for a network
of any size; `Worlds` lists every joint state of a small one; `sample_worlds` draws from it.

Limit: two nodes of the shipped network have so many causes that one table of each would
dominate the work. `Contraction` splits a table beyond `_WHOLE` cells into what each cause
contributes (variables of their own) and a balanced tree of maxima of two, which is exact too.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from typing import Any

import numpy as np
import opt_einsum
from numpy.typing import NDArray

from sagtrace.diagnosis.verdict import Reasoner
from sagtrace.evidence.findings import check_leaf
from sagtrace.evidence.likelihood import reads_like
from sagtrace.vehicle.checks import Check
from sagtrace.vehicle.nodes import Cause, Node
from sagtrace.vehicle.system import System

__all__ = [
    "Contraction",
    "direct_outcomes",
    "direct_table",
    "one_hot",
    "sample_worlds",
    "worst_difference",
    "WorstDifference",
    "Worlds",
]

Array = NDArray[np.float64]
Ints = NDArray[np.int64]
Evidence = Mapping[str, Array]  # variable -> likelihood of each of its states
Factor = tuple[tuple[str, ...], Array]

_WHOLE = 2000  # cells; on the shipped network all but `overrun` and `pump.delivery` fit


def one_hot(size: int, index: int) -> Array:
    """Return the likelihood that says which state it is."""
    return np.asarray(np.eye(size)[index])


def _given(node: Node) -> Array:
    """Return the background as a distribution."""
    sick = [node.background.get(state, 0.0) for state in node.state_ids[1:]]
    return np.array([1.0 - sum(sick), *sick])


def _gives(cause: Cause, parent: Node, child: Node) -> Array:
    """Return P(contributed state | parent state)."""
    rows = []
    for state in parent.state_ids:
        gives = cause.gives.get(state, {})
        sick = [gives.get(s, 0.0) for s in child.state_ids[1:]]
        rows.append([1.0 - sum(sick), *sick])
    return np.array(rows)


def direct_table(node: Node, nodes: Mapping[str, Node]) -> Array:
    """Return P(node | causes), one axis a cause and the node's own axis last."""
    table = _given(node)
    states = range(len(node.state_ids))
    for cause in node.causes:
        gives = _gives(cause, nodes[cause.parent], node)
        wider = np.zeros((*table.shape[:-1], *gives.shape))
        for so_far, new in product(states, states):
            wider[..., max(so_far, new)] += table[..., so_far, None] * gives[:, new]
        table = wider
    return table


def direct_outcomes(system: System, check: Check) -> Factor:
    """Return what the check looks at, and P(outcome | its states), the outcome's axis last."""
    if check.measure is not None:
        m, node = check.measure, system.nodes[check.measure.node]
        assert node.quantity is not None
        table = reads_like(node.quantity, m.typical_std, m.typical_relative, m.gross_error)
        names = list(node.quantity.states)
        return (m.node,), np.array([table[names.index(state)] for state in node.state_ids])
    parents = tuple(sorted({id_ for row in check.rows for id_ in row.when}))
    spaces = [system.nodes[id_].state_ids for id_ in parents]
    cells = []
    for states in product(*spaces):
        held = dict(zip(parents, states, strict=True))
        for row in check.rows:
            if all(held[id_] == s or held[id_] in s for id_, s in row.when.items()):
                cells.append([row.shows[outcome.id] for outcome in check.outcomes])
                break
    return parents, np.array(cells).reshape([*map(len, spaces), len(check.outcomes)])


class Worlds:
    """Every joint state of the faults and conditions of a small system."""

    def __init__(self, system: System) -> None:
        self.system = system
        self.ids = list(system.nodes)
        sizes = [len(node.state_ids) for node in system.nodes.values()]
        self.states: Ints = np.array(list(product(*map(range, sizes))))
        self.prior = np.ones(len(self.states))
        for node in system.nodes.values():
            index = [self.of(cause.parent) for cause in node.causes]
            self.prior *= direct_table(node, system.nodes)[(*index, self.of(node.id))]
        self.shows = {}
        for check in system.checks.values():
            parents, table = direct_outcomes(system, check)
            rows = table[tuple(self.of(parent) for parent in parents)]
            size = table.shape[-1]
            self.shows[check_leaf(check.id)] = np.broadcast_to(rows, (len(self.states), size))

    def of(self, id_: str) -> Ints:
        """Return the state of this node in every world."""
        column: Ints = self.states[:, self.ids.index(id_)]
        return column

    def present(self, id_: str) -> NDArray[np.bool_]:
        """Return in which worlds this fault is present."""
        return self.of(id_) > 0

    def weights(self, evidence: Evidence) -> Array:
        """Return P(world and evidence)."""
        weight = self.prior.copy()
        for variable, likelihood in evidence.items():
            if variable in self.shows:
                weight *= self.shows[variable] @ likelihood
            else:
                weight *= np.asarray(likelihood)[self.of(variable)]
        return weight

    def set_chances(self, evidence: Evidence) -> Mapping[frozenset[str], float]:
        """Return the probability of every set of faults: those present and no other."""
        weight = self.weights(evidence)
        faults = list(self.system.faults)
        here = np.array([self.present(fault) for fault in faults]).T
        chances: dict[frozenset[str], float] = {}
        for row, w in zip(here, weight / weight.sum(), strict=True):
            key = frozenset(f for f, there in zip(faults, row, strict=True) if there)
            chances[key] = chances.get(key, 0.0) + float(w)
        return chances


def sample_worlds(system: System, rng: np.random.Generator, count: int) -> Mapping[str, Ints]:
    """Return the state of every node and the outcome of every check in `count` drawn worlds."""
    drawn: dict[str, Ints] = {}
    for node in system.nodes.values():
        worst = _draw(rng, np.tile(_given(node), (count, 1)))
        for cause in node.causes:
            gives = _gives(cause, system.nodes[cause.parent], node)
            worst = np.maximum(worst, _draw(rng, gives[drawn[cause.parent]]))
        drawn[node.id] = worst
    for check in system.checks.values():
        parents, table = direct_outcomes(system, check)
        rows = table[tuple(drawn[parent] for parent in parents)]
        drawn[check_leaf(check.id)] = _draw(rng, np.broadcast_to(rows, (count, table.shape[-1])))
    return drawn


def _draw(rng: np.random.Generator, p: Array) -> Ints:
    """Return one index a row, drawn with the row's probabilities."""
    drawn: Ints = (rng.random((len(p), 1)) > np.cumsum(p, axis=1)[:, :-1]).sum(axis=1)
    return drawn


class Contraction:
    """Sums over the whole network, one opt_einsum contraction a question."""

    def __init__(self, system: System) -> None:
        self.nodes = system.nodes
        self.factors = {node.id: self._node(node) for node in system.nodes.values()}
        self.leaves = {
            check_leaf(check.id): direct_outcomes(system, check) for check in system.checks.values()
        }
        self.orders: dict[tuple[tuple[str, ...], ...], list[str]] = {}
        self.paths: dict[tuple[object, ...], list[tuple[int, ...]]] = {}

    def _node(self, node: Node) -> list[Factor]:
        cells = len(node.state_ids) * np.prod([self._size(c.parent) for c in node.causes])
        if cells <= _WHOLE:
            parents = tuple(cause.parent for cause in node.causes)
            return [((*parents, node.id), direct_table(node, self.nodes))]
        return self._tree(node)

    def _size(self, id_: str) -> int:
        return len(self.nodes[id_].state_ids)

    def _tree(self, node: Node) -> list[Factor]:
        n, serial = len(node.state_ids), 0
        larger = np.zeros((n, n, n))
        for i, j in product(range(n), range(n)):
            larger[i, j, max(i, j)] = 1.0
        factors: list[Factor] = [((f"{node.id} by itself",), _given(node))]
        for cause in node.causes:
            gives = _gives(cause, self.nodes[cause.parent], node)
            factors.append(((cause.parent, f"{node.id} by {cause.parent}"), gives))
        level = [factor[0][-1] for factor in factors]
        while len(level) > 1:
            above = level[len(level) // 2 * 2 :]
            for a, b in zip(level[::2], level[1::2], strict=False):
                serial += 1
                name = node.id if len(level) == 2 else f"{node.id} max {serial}"
                factors.append(((a, b, name), larger))
                above.insert(0, name)
            level = above
        return factors

    def joint(self, evidence: Evidence, kept: Sequence[str]) -> Array:
        """Return P(kept variables and evidence), one axis a kept node."""
        factors: list[Factor] = []
        for variable, likelihood in evidence.items():
            if variable in self.leaves:
                parents, table = self.leaves[variable]
                factors.append((parents, table @ likelihood))
            else:
                factors.append(((variable,), np.asarray(likelihood)))
        live = [*kept, *(id_ for scope, _ in factors for id_ in scope)]
        above: dict[str, None] = {}
        while live:
            if (id_ := live.pop()) not in above:
                above[id_] = None
                live.extend(cause.parent for cause in self.nodes[id_].causes)
        factors += [factor for id_ in sorted(above) for factor in self.factors[id_]]
        number = {v: i for i, v in enumerate(sorted({v for scope, _ in factors for v in scope}))}
        operands: list[Any] = []
        for scope, values in factors:
            operands += [values, [number[v] for v in scope]]
        path = self._cached_path(factors, tuple(kept))
        out = [number[v] for v in kept]
        return np.asarray(opt_einsum.contract(*operands, out, optimize=path))

    def _cached_path(
        self, factors: Sequence[Factor], kept: tuple[str, ...]
    ) -> list[tuple[int, ...]]:
        scopes = tuple(scope for scope, _ in factors)
        if scopes not in self.orders:
            self.orders[scopes] = _fewest_links(factors)
        if (scopes, kept) not in self.paths:
            order = [v for v in self.orders[scopes] if v not in kept]
            self.paths[scopes, kept] = _path(factors, order, kept)
        return self.paths[scopes, kept]


def _path(
    factors: Sequence[Factor], order: Sequence[str], kept: Sequence[str]
) -> list[tuple[int, ...]]:
    """Return pairs to multiply: all that hold the first variable, then the next."""
    sizes = {v: n for scope, x in factors for v, n in zip(scope, x.shape, strict=True)}
    pool = [frozenset(scope) for scope, _ in factors]
    path: list[tuple[int, ...]] = []

    def cells(scope: frozenset[str]) -> int:
        return int(np.prod([sizes[v] for v in scope]))

    def multiply(i: int, j: int) -> None:
        i, j = sorted((i, j))
        b, a = pool.pop(j), pool.pop(i)
        needed = frozenset(kept).union(*pool)
        pool.append((a | b) & needed)
        path.append((i, j))

    for v in order:
        while len(holders := [i for i, scope in enumerate(pool) if v in scope]) > 1:
            i, j = sorted(holders, key=lambda i: cells(pool[i]))[:2]
            multiply(i, j)
    while len(pool) > 1:
        multiply(0, 1)
    return path


def _fewest_links(factors: Sequence[Factor]) -> list[str]:
    """Return the variables, next always the one whose neighbours miss the fewest links.

    Links count by the cells that they open. The order decides only how long the sum takes.
    """
    near: dict[str, set[str]] = {}
    sizes: dict[str, int] = {}
    for scope, values in factors:
        sizes.update(zip(scope, values.shape, strict=True))
        for v in scope:
            near.setdefault(v, set()).update(set(scope) - {v})

    def missing(v: str) -> int:
        others = near[v]
        return sum(sizes[a] * sum(sizes[b] for b in others - near[a] if b != a) for a in others)

    cost = {v: missing(v) for v in near}
    order = []
    while cost:
        v = min(cost, key=lambda name: (cost[name], len(near[name]), name))
        del cost[v]
        order.append(v)
        others = near.pop(v)
        for a in others:
            near[a] |= others - {a}
            near[a].discard(v)
        for a in {a for b in others for a in (b, *near[b])}:
            cost[a] = missing(a)
    return order


@dataclass(frozen=True, slots=True, kw_only=True)
class WorstDifference:
    """How far three ways to the same probabilities lie apart, at worst."""

    sets: int  # of evidence
    chances: int  # compared with the contraction
    against_contraction: float  # any state of the nodes drawn, elimination - contraction
    log_evidence: float  # elimination - contraction
    engine_sets: int
    against_engine: float  # any state of any node, elimination - engine
    engine_log_evidence: float
    against_engine_and_contraction: float  # engine - contraction

    @property
    def overall(self) -> float:
        """The largest of all."""
        return max(
            self.against_contraction,
            self.log_evidence,
            self.against_engine,
            self.engine_log_evidence,
            self.against_engine_and_contraction,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Panel:
    """Evidence sets about the same checks and conditions, and pairs of nodes to compare."""

    evidence: Mapping[str, Array]  # variable -> shape (sets, states)
    pairs: tuple[tuple[str, str], ...]


def _panel(
    rng: np.random.Generator, system: System, worlds: Mapping[str, Ints], sets: int
) -> _Panel:
    """Return random findings as the network itself makes them: the truth, and what it shows."""
    nodes = list(system.nodes)
    checks = rng.choice(list(system.checks), rng.integers(1, 13), replace=False)
    numbers = [n for n in nodes if n != "complaint" and n not in system.faults]
    soft = rng.choice(numbers, rng.integers(0, 3), replace=False)
    (low,) = np.nonzero(worlds["complaint"])
    picked = rng.choice(low, sets)
    evidence: dict[str, Array] = {"complaint": np.tile([0.0, 1.0], (sets, 1))}
    for check in checks:
        parents_and_table = direct_outcomes(system, system.checks[check])
        leaf = check_leaf(check)
        evidence[leaf] = np.eye(parents_and_table[1].shape[-1])[worlds[leaf][picked]]
    for node in soft:
        truth = np.eye(len(system.nodes[node].state_ids))[worlds[node][picked]]
        evidence[node] = np.maximum(truth, rng.uniform(0.02, 0.9, truth.shape))
    six = rng.choice(nodes, 6, replace=False)
    return _Panel(
        evidence=evidence,
        pairs=tuple((str(a), str(b)) for a, b in zip(six[:3], six[3:], strict=True)),
    )


def worst_difference(
    reasoner: Reasoner, *, panels: int = 20, each: int = 10, engine_sets: int = 8, seed: int = 1
) -> WorstDifference:
    """Compare the ways on `panels` times `each` random evidence sets of the shipped network.

    Every set holds the complaint, 1 to 12 outcomes and up to two likelihoods of conditions.
    The engine is slow where checks tie many causes together, so it answers the first set of
    every other panel until it has answered `engine_sets`, for all nodes.
    """
    rng = np.random.default_rng(seed)
    system, contraction = reasoner.system, Contraction(reasoner.system)
    worlds = sample_worlds(system, rng, 4000)
    gap: dict[str, list[float]] = {"joint": [0.0], "log": [0.0], "engine": [0.0]}
    gap |= {"engine log": [0.0], "engine joint": [0.0]}
    chances = answered = 0
    for number in range(panels):
        panel = _panel(rng, system, worlds, each)
        batch = reasoner.elimination.ask(panel.evidence, system.nodes, each)
        for q in range(each):
            pair = panel.pairs[q % len(panel.pairs)]
            given = {name: v[q] for name, v in panel.evidence.items()}
            joint = contraction.joint(given, pair)
            total = float(joint.sum())
            gap["log"].append(abs(np.log(batch.evidence[q]) - np.log(total)))
            sides = [joint.sum(axis=1 - i) / total for i in range(2)]
            for node, side in zip(pair, sides, strict=True):
                gap["joint"].append(float(np.abs(batch.marginal(node)[q] - side).max()))
                chances += 1
            if q == 0 and number % 2 == 0 and answered < engine_sets:
                answered += 1
                exact = reasoner.engine.posterior(given, system.nodes)
                gap["engine log"].append(abs(exact.log_evidence - np.log(batch.evidence[q])))
                for node in system.nodes:
                    apart = np.abs(batch.marginal(node)[q] - exact.marginals[node])
                    gap["engine"].append(float(apart.max()))
                for node, side in zip(pair, sides, strict=True):
                    gap["engine joint"].append(float(np.abs(exact.marginals[node] - side).max()))
    return WorstDifference(
        sets=panels * each,
        chances=chances,
        against_contraction=max(gap["joint"]),
        log_evidence=float(max(gap["log"])),
        engine_sets=answered,
        against_engine=max(gap["engine"]),
        engine_log_evidence=float(max(gap["engine log"])),
        against_engine_and_contraction=max(gap["engine joint"]),
    )
