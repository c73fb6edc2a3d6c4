"""In which order to look at a few suspects, when getting at one makes another cheaper."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache

from sagtrace.errors import DomainError

__all__ = ["best_sequence", "MOST", "Sequenced"]

MOST = 10  # suspects; the work doubles with each


@dataclass(frozen=True, slots=True, kw_only=True)
class Sequenced:
    """An order of suspects and what looking in that order is expected to cost."""

    order: tuple[int, ...]
    cost: float


def best_sequence(
    chance: Sequence[float], cost_after: Callable[[int, frozenset[int]], float]
) -> Sequenced:
    """Return the order of looking that costs least until the one fault is found.

    Exactly one suspect is at fault, `chance` says how probably each; a look is sure.
    `cost_after(i, seen)` is what looking at i costs once `seen` have been looked at, which is
    where shared access comes in. Exact, by dynamic programming over the sets already seen.

    Raises DomainError for more than `MOST` suspects.
    """
    n = len(chance)
    if n > MOST:
        raise DomainError("suspects", n, "", f"at most {MOST}", "Leave the least likely out.")

    @cache
    def rest(seen: frozenset[int]) -> tuple[float, tuple[int, ...]]:
        if len(seen) == n:
            return 0.0, ()
        left = max(0.0, sum(chance) - sum(chance[i] for i in seen))
        return min(_ahead(i, seen, left) for i in range(n) if i not in seen)

    def _ahead(i: int, seen: frozenset[int], left: float) -> tuple[float, tuple[int, ...]]:
        cost, order = rest(seen | {i})
        return left * cost_after(i, seen) + cost, (i, *order)

    cost, order = rest(frozenset())
    return Sequenced(order=order, cost=cost)
