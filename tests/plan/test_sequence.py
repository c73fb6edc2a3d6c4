"""The order of looking: worked examples and every order there is."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import permutations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from printed import printed
from sagtrace.errors import DomainError
from sagtrace.plan.sequence import MOST, best_sequence

E1_CHANCE = (0.40, 0.25, 0.20, 0.10, 0.05)
E1_LOOK = (30.0, 5.0, 12.0, 4.0, 2.5)
E1_REPAIR = (100.0, 40.0, 20.0, 60.0, 10.0)
E1 = "five suspects, p = .40 .25 .20 .10 .05, look 30 5 12 4 2.5, repair 100 40 20 60 10"
E3 = "p = .35 .33 .32, look 14 10 10, the last two behind one cover that costs 20"

CASES = 300


def in_order(chance: tuple[float, ...], look: tuple[float, ...], order: tuple[int, ...]) -> float:
    """Return what looking in this order costs: each look while the fault is not found."""
    left, cost = 1.0, 0.0
    for i in order:
        cost += left * look[i]
        left -= chance[i]
    return cost


def priced(look: Sequence[float]) -> Callable[[int, frozenset[int]], float]:
    """Return prices that do not depend on what was looked at before."""
    return lambda i, _seen: look[i]


E1_REPAIRED = sum(p * c for p, c in zip(E1_CHANCE, E1_REPAIR, strict=True))


@pytest.mark.arithmetic(f"{E1}: all 120 orders")
def test_every_order_of_five_suspects() -> None:
    """Sorted by p, 98.425; the cheapest look first, 90.25; the best, by p / look, 89.325."""
    cost = {
        order: in_order(E1_CHANCE, E1_LOOK, order) + E1_REPAIRED for order in permutations(range(5))
    }
    best, second, *_, worst = sorted(cost.values())
    assert (best, second, worst) == (printed("89.325"), printed("89.375"), printed("101.35"))
    assert cost[0, 1, 2, 3, 4] == printed("98.425")
    assert cost[4, 3, 1, 2, 0] == printed("90.25")
    found = best_sequence(E1_CHANCE, priced(E1_LOOK))
    assert found.order == (1, 3, 4, 2, 0)
    assert found.cost + E1_REPAIRED == printed("89.325")
    assert cost[found.order] == best


@pytest.mark.arithmetic(f"{E3}: 14 + .65 x 30 + .32 x 10")
def test_shared_access() -> None:
    """Ignoring the cover, p / look says 1, 2, 0 and pays 30 + .67 x 10 + .35 x 14 = 41.60."""
    chance, look = (0.35, 0.33, 0.32), (14.0, 10.0, 10.0)

    def cost_after(i: int, seen: frozenset[int]) -> float:
        return look[i] + (20.0 if i and not seen & {1, 2} else 0.0)

    found = best_sequence(chance, cost_after)
    assert found.order == (0, 1, 2)
    assert found.cost == printed("36.70")
    by_ratio = tuple(sorted(range(3), key=lambda i: -chance[i] / look[i]))
    assert by_ratio == (1, 2, 0)
    paid, left, seen = 0.0, 1.0, frozenset[int]()
    for i in by_ratio:
        paid, left, seen = paid + left * cost_after(i, seen), left - chance[i], seen | {i}
    assert paid == printed("41.60")


def test_by_ratio_is_never_beaten() -> None:
    """300 random cases of 6 suspects with costs of their own: p / look is the best of 720."""
    rng = np.random.default_rng(20)
    orders = np.array(list(permutations(range(6))))
    for _ in range(CASES):
        chance, look = rng.dirichlet(np.ones(6)), rng.uniform(1.0, 50.0, 6)
        p = chance[orders]
        cost = ((1.0 - np.cumsum(p, axis=1) + p) * look[orders]).sum(axis=1)
        prices = [float(price) for price in look]
        found = best_sequence(tuple(chance), priced(prices))
        assert found.cost == pytest.approx(cost.min(), rel=1e-12)
        assert found.order == tuple(np.argsort(-chance / look))


@given(
    chance=st.lists(st.floats(0.01, 1.0), min_size=1, max_size=5),
    base=st.lists(st.floats(0.1, 50.0), min_size=5, max_size=5),
    shared=st.lists(st.floats(0.0, 1.0), min_size=25, max_size=25),
)
@settings(max_examples=60, deadline=None)
def test_best_of_all_orders_when_one_look_makes_another_cheaper(
    chance: list[float], base: list[float], shared: list[float]
) -> None:
    """Every look seen takes a share off the price of every other."""
    p = [c / sum(chance) for c in chance]

    def cost_after(i: int, seen: frozenset[int]) -> float:
        price = base[i]
        for j in sorted(seen):
            price *= shared[5 * i + j]
        return price

    def walked(order: tuple[int, ...]) -> float:
        cost, seen = 0.0, frozenset[int]()
        for i in order:
            cost += (1.0 - sum(p[j] for j in seen)) * cost_after(i, seen)
            seen |= {i}
        return cost

    found = best_sequence(p, cost_after)
    assert sorted(found.order) == list(range(len(p)))
    best = min(walked(order) for order in permutations(range(len(p))))
    assert found.cost == pytest.approx(best, rel=1e-9, abs=1e-9)
    assert walked(found.order) == pytest.approx(best, rel=1e-9, abs=1e-9)


def test_nobody_to_suspect() -> None:
    found = best_sequence((), lambda _i, _seen: 1.0)
    assert (found.order, found.cost) == ((), 0.0)


def test_too_many_suspects() -> None:
    chance = [1.0 / (MOST + 1)] * (MOST + 1)
    with pytest.raises(DomainError, match=r"suspects = 11: must be at most 10\. Leave"):
        best_sequence(chance, lambda _i, _seen: 1.0)
