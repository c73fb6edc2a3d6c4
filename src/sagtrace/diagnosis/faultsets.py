"""The most probable sets of faults, each with its exact probability.

A set means: these faults are present and no other is. Search: from a partial assignment,
either every open fault is as likely (one complete set), or the first of them that is not
deviates; the second kind splits into branches whose probability is known exactly before they
are opened, so branches that cannot reach the list are never opened.
"""

from __future__ import annotations

import heapq
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sagtrace.diagnosis.elimination import Elimination

__all__ = ["FaultSet", "most_probable_sets", "restrict"]

Array = NDArray[np.float64]
Assignment = tuple[tuple[str, bool], ...]  # fault, present

_ROUND = 32  # branches opened at once; a compromise between waste and calls
_ROUNDS = 24  # chosen: ends a search over very flat evidence; the list says what it left


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultSet:
    """These faults are present and no other, with the probability that this is so."""

    faults: tuple[str, ...]
    probability: float


def restrict(size: int, present: bool) -> Array:
    """Return the likelihood that says that a fault with `size` states is present or absent."""
    allowed = np.full(size, float(present))
    allowed[0] = float(not present)
    return allowed


class _Search:
    def __init__(
        self, elimination: Elimination, evidence: Mapping[str, Array], sizes: Mapping[str, int]
    ) -> None:
        self.elimination, self.evidence, self.sizes = elimination, evidence, sizes
        self.total = self.mass([()])[0]

    def mass(self, assignments: Sequence[Assignment]) -> Array:
        """Return P(assignment, evidence), one a question."""
        given = self._given(assignments)
        return self.elimination.ask(given, [], len(assignments)).evidence

    def ask(self, assignments: Sequence[Assignment]) -> tuple[Array, Mapping[str, Array]]:
        """Return P(assignment, evidence) and each fault's P(present | both), one a question."""
        batch = self.elimination.ask(self._given(assignments), self.sizes, len(assignments))
        with np.errstate(invalid="ignore"):
            chance = {f: 1.0 - batch.marginal(f)[:, 0] for f in self.sizes}
        return batch.evidence, chance

    def _given(self, assignments: Sequence[Assignment]) -> dict[str, Array]:
        n = len(assignments)
        given = {name: np.repeat(v[None], n, axis=0) for name, v in self.evidence.items()}
        for q, assignment in enumerate(assignments):
            for fault, present in assignment:
                if fault not in given:
                    given[fault] = np.ones((n, self.sizes[fault]))
                given[fault][q] *= restrict(self.sizes[fault], present)
        return given


def most_probable_sets(
    elimination: Elimination,
    evidence: Mapping[str, Array],
    sizes: Mapping[str, int],
    *,
    count: int = 8,
    least: float = 0.002,
) -> tuple[FaultSet, ...]:
    """Return up to `count` most probable fault sets, best first, none below `least`.

    `sizes` gives the number of states of every fault. The probabilities are exact; what they
    leave of 1 belongs to sets that are not listed.
    """
    search = _Search(elimination, evidence, sizes)
    found: dict[frozenset[str], float] = {}
    branches: list[tuple[float, int, Assignment]] = [(-1.0, 0, ())]
    serial = 1
    for _ in range(_ROUNDS):
        floor = sorted(found.values(), reverse=True)[count - 1] if len(found) >= count else least
        opened: list[Assignment] = []
        while branches and len(opened) < _ROUND and -branches[0][0] > floor:
            opened.append(heapq.heappop(branches)[2])
        if not opened:
            break
        mass, present = search.ask(opened)
        complete: list[Assignment] = []
        for q, prefix in enumerate(opened):
            if mass[q] <= 0.0:
                continue
            held = dict(prefix)
            chance = {f: float(p[q]) for f, p in present.items() if f not in held}
            order = sorted(chance, key=lambda f: -min(chance[f], 1.0 - chance[f]))
            likely = {f: chance[f] > 0.5 for f in order}
            complete.append((*prefix, *likely.items()))
            share = mass[q] / search.total
            for k, fault in enumerate(order):
                bound = share * min(chance[fault], 1.0 - chance[fault])
                if bound <= least:
                    break
                kept = tuple((f, likely[f]) for f in order[:k])
                branch = (*prefix, *kept, (fault, not likely[fault]))
                heapq.heappush(branches, (-bound, serial, branch))
                serial += 1
        if not complete:
            continue  # faults that come only together leave branches that nothing fits
        for assignment, p in zip(complete, search.mass(complete), strict=True):
            found[frozenset(f for f, here in assignment if here)] = float(p / search.total)
    best = sorted(found.items(), key=lambda item: (-item[1], sorted(item[0])))[:count]
    return tuple(
        FaultSet(faults=tuple(f for f in sizes if f in faults), probability=p)
        for faults, p in best
        if p >= least
    )
