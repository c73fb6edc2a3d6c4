"""Many exact posteriors at once, by variable elimination and its derivative.

The planner asks the same network a few hundred questions that differ in one finding, and
the search for fault sets does too. Here all of them run together along one axis.

A noisy-max needs no chain for this: the cumulative distribution of a maximum is the product
of the cumulative distributions, so each cause touches only one helper variable, and a
difference turns the cumulative back into a distribution. This keeps the products small and
is a different way through the arithmetic than `engine`, against which it is checked.

The gradient of the evidence's probability with respect to a variable's likelihood is that
variable's joint distribution with the evidence, so one pass back gives all marginals.
"""

from __future__ import annotations

import threading
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from sagtrace.diagnosis.network import background, contribution, leaf_tables
from sagtrace.vehicle.nodes import Node
from sagtrace.vehicle.renewal import Renewal

__all__ = ["Batch", "Elimination"]

Array = NDArray[np.float64]
Arc = tuple[str, str]  # cause, effect

_TABLE = -1  # in place of a slot: what is the same in every question

_HELD = 60  # chosen: plans that are kept; every new answer needs some three
_AT_ONCE = 80  # questions that go through together; more gain little and take more memory
_CELLS = 30_000_000  # chosen: of all their products together, at 8 bytes


@dataclass(frozen=True, slots=True)
class _Factor:
    scope: tuple[str, ...]  # sorted by the order in which variables go
    values: Array
    arc: Arc | None = None  # what a cause contributes


@dataclass(frozen=True, slots=True)
class _Bucket:
    """One step: multiply the members, sum out the first variable, pass the rest on."""

    scope: tuple[str, ...]
    members: tuple[int, ...]  # slots of the factors and messages that are multiplied
    result: int  # slot of the message
    tables: tuple[int, ...]  # slots of the members that are the same in every question
    table: Array  # their product


@dataclass(frozen=True, kw_only=True)
class Batch:
    """Answers to a batch of questions: P(evidence), and joint distributions with the evidence."""

    evidence: Array  # shape (questions,)
    joint: Mapping[str, Array]  # variable -> shape (questions, states)

    def marginal(self, variable: str) -> Array:
        """Return P(variable | evidence), shape (questions, states)."""
        return self.joint[variable] / self.evidence[:, None]


class Elimination:
    """The network of one system and its repairs, compiled for batches of questions.

    Likelihoods may be given for every fault, every condition and every check. What a
    question does not touch is left out of its products; the plans are kept for the next one.
    """

    def __init__(self, renewal: Renewal) -> None:
        self._nodes = renewal.nodes
        self._sizes: dict[str, int] = {}
        self._tables: dict[str, tuple[_Factor, ...]] = {}
        self._leaves: dict[str, tuple[tuple[str, ...], Array]] = {}
        self._plans: dict[tuple[frozenset[str], frozenset[str]], _Plan] = {}
        self._turn = threading.Lock()
        for node in renewal.nodes.values():
            self._tables[node.id] = self._factors(node)
        for table in leaf_tables(renewal):
            self._leaves[table.child] = (table.parents, table.values)
        self.leaves = tuple(self._leaves)

    def _factors(self, node: Node) -> tuple[_Factor, ...]:
        self._sizes[node.id] = n = len(node.state_ids)
        if not node.causes:
            return (_Factor((node.id,), background(node)),)
        upto = _upto(node.id)
        self._sizes[upto] = n
        difference = np.eye(n) - np.eye(n, k=-1)  # of a cumulative: the distribution
        gives = [(c.parent, contribution(c, self._nodes[c.parent], node)) for c in node.causes]
        return (
            _Factor((node.id, upto), difference),
            _Factor((upto,), np.cumsum(background(node))),
            *(_Factor((cause, upto), np.cumsum(p, axis=1), (cause, node.id)) for cause, p in gives),
        )

    def _plan(self, names: Iterable[str]) -> _Plan:
        """Return the plan for questions about these variables and everything above them."""
        leaves = frozenset(name for name in names if name in self._leaves)
        live = [name for name in names if name not in self._leaves]
        live += [parent for leaf in leaves for parent in self._leaves[leaf][0]]
        above: set[str] = set()
        while live:
            if (name := live.pop()) not in above:
                above.add(name)
                live.extend(cause.parent for cause in self._nodes[name].causes)
        key = (frozenset(above), leaves)
        with self._turn:
            plan = self._plans.pop(key, None) or self._make_plan(above, leaves)
            self._plans[key] = plan  # the newest is last
            if len(self._plans) > _HELD:
                del self._plans[next(iter(self._plans))]
        return plan

    def _make_plan(self, above: set[str], leaves: frozenset[str]) -> _Plan:
        fixed = [f for name in self._nodes if name in above for f in self._tables[name]]
        free = {n: _Factor((n,), np.ones(self._sizes[n])) for n in self._nodes if n in above}
        for leaf in self.leaves:
            if leaf in leaves:
                parents, values = self._leaves[leaf]
                free[leaf] = _Factor(parents, np.ones(values.shape[:-1]))
        return _Plan(fixed, free, self._sizes)

    def ask(
        self,
        likelihoods: Mapping[str, Array],
        targets: Iterable[str],
        questions: int = 1,
        silent: Mapping[Arc, NDArray[np.bool_]] = MappingProxyType({}),
    ) -> Batch:
        """Answer a batch of questions.

        `likelihoods[variable]` has shape (questions, states) or (1, states); variables that
        are not named are not observed. `targets` are faults, conditions or checks.
        `silent[cause, effect]`, shape (questions,), says where it is also given that this
        cause contributed nothing; the effect must be observed or asked for.
        """
        wanted = tuple(targets)
        plan = self._plan((*likelihoods, *wanted))
        parts = []
        at_once = max(1, min(_AT_ONCE, _CELLS // max(plan.work, 1)))
        for start in range(0, questions, at_once):
            rows = slice(start, min(start + at_once, questions))
            given = {
                name: self._given(plan, name, v if len(v) == 1 else v[rows])
                for name, v in likelihoods.items()
            }
            quiet = {arc: off[rows] for arc, off in silent.items()}
            parts.append(self._ask(plan, given, wanted, rows.stop - rows.start, quiet))
        joint = {t: np.concatenate([part.joint[t] for part in parts]) for t in wanted}
        for leaf in joint.keys() & likelihoods.keys() & self._leaves.keys():
            joint[leaf] = joint[leaf] * likelihoods[leaf]  # its slope is what the rest says
        return Batch(evidence=np.concatenate([part.evidence for part in parts]), joint=joint)

    def _given(self, plan: _Plan, name: str, likelihood: Array) -> Array:
        """Return the likelihood over what the plan keeps free: a node, or a check's parents."""
        if name not in self._leaves:
            return np.asarray(likelihood).T
        parents, table = self._leaves[name]
        values = np.einsum("qo,...o->...q", likelihood, table)
        axes = [parents.index(v) for v in plan.scopes[plan.slot[name]]]
        return np.asarray(np.transpose(values, (*axes, len(parents))))

    def _ask(
        self,
        plan: _Plan,
        given: Mapping[str, Array],
        wanted: Sequence[str],
        questions: int,
        silent: Mapping[Arc, NDArray[np.bool_]],
    ) -> Batch:
        values: dict[int, Array] = {}  # of slots; an open slot is 1 everywhere and not in here
        for arc, off in silent.items():
            slot = plan.arcs[arc]
            start = plan.start[slot][..., None]
            # P(contributes nothing) leaves the worst so far as it is: it fits below every state.
            nothing = start.take([0], plan.scopes[slot].index(_upto(arc[1])))
            values[slot] = np.where(off, nothing, start)
        for name, likelihood in given.items():
            values[plan.slot[name]] = likelihood
        asked = {plan.slot[t] for t in wanted}
        open_slots = asked - values.keys()
        steps: list[list[tuple[int, Array]]] = []
        for bucket in plan.buckets:
            members = plan.members(bucket, values)
            whole = _product([array for _, array in members])
            whole = _spread(whole, bucket, open_slots, plan)
            steps.append(members)
            values[bucket.result] = whole.sum(axis=0)
        loose = [values[b.result] for b in plan.buckets if not b.scope[1:]]
        evidence = np.broadcast_to(_product(loose), (questions,)).copy()
        slopes = _slopes(plan, values, steps, evidence, asked)
        joint = {t: self._joint(plan, t, slopes[plan.slot[t]], values, questions) for t in wanted}
        return Batch(evidence=evidence, joint=joint)

    def _joint(
        self, plan: _Plan, name: str, slope: Array, values: Mapping[int, Array], questions: int
    ) -> Array:
        slot = plan.slot[name]
        slope = np.broadcast_to(slope, (*slope.shape[:-1], questions))
        if name not in self._leaves:
            return np.asarray((slope * values[slot] if slot in values else slope).T)
        parents, table = self._leaves[name]
        axes = [parents.index(v) for v in plan.scopes[slot]] + [len(parents)]
        flat = np.transpose(table, axes).reshape(-1, table.shape[-1])
        return np.asarray(slope.reshape(-1, questions).T @ flat)


class _Plan:
    """In which order to multiply and sum, for one choice of what is in the question."""

    def __init__(
        self, fixed: Sequence[_Factor], free: Mapping[str, _Factor], sizes: Mapping[str, int]
    ) -> None:
        scopes = [factor.scope for factor in (*fixed, *free.values())]
        order = _elimination_order(scopes, sizes)
        place = {v: i for i, v in enumerate(order)}
        slots = [_sorted(factor, place) for factor in (*fixed, *free.values())]
        self.start = tuple(factor.values for factor in slots)
        self.slot = {name: len(fixed) + i for i, name in enumerate(free)}
        self.arcs = {factor.arc: slot for slot, factor in enumerate(slots) if factor.arc}
        self.scopes: list[tuple[str, ...]] = [factor.scope for factor in slots]
        waiting: dict[str, list[int]] = {v: [] for v in order}
        for slot, scope in enumerate(self.scopes):
            waiting[scope[0]].append(slot)
        buckets = []
        for v in order:
            members = waiting[v]
            scope = tuple(
                sorted({w for m in members for w in self.scopes[m]}, key=place.__getitem__)
            )
            result = len(self.scopes)
            self.scopes.append(scope[1:])
            if scope[1:]:
                waiting[scope[1]].append(result)
            same = tuple(m for m in members if m < len(fixed))
            table = _product([self._aligned(m, self.start[m][..., None], scope) for m in same])
            rest = tuple(m for m in members if m not in same)
            buckets.append(_Bucket(scope, rest, result, same, table))
        self.buckets = tuple(buckets)
        self.sizes = sizes
        # Cells of all products of one question: what a batch costs is proportional to it.
        self.work = sum(int(np.prod([sizes[v] for v in b.scope])) for b in buckets)

    def members(self, bucket: _Bucket, values: Mapping[int, Array]) -> list[tuple[int, Array]]:
        """Return the slots and values that are multiplied; what does not differ is one of them."""
        found = [(m, values[m]) for m in bucket.members if m in values]
        if not bucket.tables:
            own = []
        elif values.keys().isdisjoint(bucket.tables):
            own = [(_TABLE, bucket.table)]
        else:
            own = [
                (_TABLE, self._aligned(m, values.get(m, self.start[m][..., None]), bucket.scope))
                for m in bucket.tables
            ]
        return own + [(m, self._aligned(m, v, bucket.scope)) for m, v in found]

    def _aligned(self, slot: int, values: Array, whole: Sequence[str]) -> Array:
        """Return the values with an axis of one for every variable of `whole` that they lack."""
        sizes, held = iter(values.shape), self.scopes[slot]
        shape = [next(sizes) if v in held else 1 for v in whole]
        return values.reshape([*shape, values.shape[-1]])


def _upto(node: str) -> str:
    """Return the name of the helper variable whose causes' cumulatives are multiplied."""
    return f"up to:{node}"


def _elimination_order(
    scopes: Iterable[tuple[str, ...]], sizes: Mapping[str, int]
) -> tuple[str, ...]:
    """Return the variables, always next the one that links its neighbours least (min-fill)."""
    near: dict[str, set[str]] = {}
    for scope in scopes:
        for v in scope:
            near.setdefault(v, set()).update(scope)
    for v, others in near.items():
        others.discard(v)

    def fill(v: str) -> int:
        """Return twice the cells of the links that would be new."""
        others = near[v]
        return sum(sizes[a] * (sum(map(size, others - near[a])) - sizes[a]) for a in others)

    size = sizes.__getitem__
    cost = {v: fill(v) for v in near}
    order: list[str] = []
    while near:
        v = min(cost, key=lambda name: (cost[name], name))
        touched = set(near[v])
        for other in near[v]:
            near[other].update(near[v])
            near[other] -= {other, v}
            touched |= near[other]
        del near[v], cost[v]
        for other in touched - {v}:
            cost[other] = fill(other)
        order.append(v)
    return tuple(order)


def _sorted(factor: _Factor, place: Mapping[str, int]) -> _Factor:
    axes = sorted(range(len(factor.scope)), key=lambda i: place[factor.scope[i]])
    scope = tuple(factor.scope[i] for i in axes)
    return _Factor(scope, np.transpose(factor.values, axes), factor.arc)


def _product(arrays: Sequence[Array]) -> Array:
    # Small ones first: the big one is then touched once.
    first, *rest = sorted(arrays, key=lambda a: a.size) or [np.ones(1)]
    for array in rest:
        first = first * array
    return first


def _spread(whole: Array, bucket: _Bucket, open_slots: set[int], plan: _Plan) -> Array:
    """Return the product with every variable of the open slots that are asked for."""
    if open_slots.isdisjoint(bucket.members):
        return whole
    held = {v for m in bucket.members if m in open_slots for v in plan.scopes[m]}
    shape = [
        plan.sizes[v] if v in held else n
        for v, n in zip(bucket.scope, whole.shape[:-1], strict=True)
    ]
    return np.broadcast_to(whole, (*shape, whole.shape[-1]))


def _slopes(
    plan: _Plan,
    values: Mapping[int, Array],
    steps: Sequence[Sequence[tuple[int, Array]]],
    evidence: Array,
    wanted: set[int],
) -> Mapping[int, Array]:
    """Return d(evidence)/d(factor) of the wanted slots, going back through the buckets."""
    needed = set(wanted)
    for bucket in plan.buckets:
        if needed.intersection(bucket.members):
            needed.add(bucket.result)
    slope: dict[int, Array] = {}
    for bucket, members in zip(reversed(plan.buckets), reversed(steps), strict=True):
        if bucket.result not in needed:
            continue
        if bucket.scope[1:]:
            above = slope.pop(bucket.result)[None]
        else:
            own = values[bucket.result]
            above = np.divide(evidence, own, out=np.zeros_like(evidence), where=own != 0.0)
            above = above.reshape(*(1 for _ in bucket.scope), -1)
        for i, (slot, array) in enumerate(members):
            if slot in needed:
                others = _product([above, *(m for j, (_, m) in enumerate(members) if j != i)])
                slope[slot] = _gathered(others, array.shape).reshape(*values[slot].shape[:-1], -1)
        open_slots = [m for m in bucket.members if m in wanted and m not in values]
        if open_slots:
            whole = _spread(_product([above, *(m for _, m in members)]), bucket, wanted, plan)
            for slot in open_slots:
                scope = plan.scopes[slot]
                axes = tuple(i for i, v in enumerate(bucket.scope) if v not in scope)
                slope[slot] = whole.sum(axis=axes)
    return slope


def _gathered(slope: Array, shape: tuple[int, ...]) -> Array:
    """Return the slope with the axes of the factor: summed where the factor has none."""
    axes = tuple(i for i, n in enumerate(shape[:-1]) if n == 1 and slope.shape[i] > 1)
    found = slope.sum(axis=axes, keepdims=True) if axes else slope
    return np.broadcast_to(found, (*shape[:-1], found.shape[-1]))
