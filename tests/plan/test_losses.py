"""What finishing the job costs, against every order and against a slow step-by-step account."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import permutations
from math import inf

import numpy as np
import pytest
from numpy.typing import ArrayLike, NDArray

from printed import printed
from sagtrace.diagnosis.outlook import look_ahead
from sagtrace.plan.losses import Losses, expected_cost, losses_of
from small_system import found, look, small_reasoner

Array = NDArray[np.float64]

SMALL = small_reasoner()
E1 = "five suspects, p = .40 .25 .20 .10 .05, look 30 5 12 4 2.5, repair 100 40 20 60 10"


def losses(
    look: ArrayLike,
    repair: ArrayLike,
    *,
    outright: ArrayLike = inf,
    missed: ArrayLike = 1e9,
    wrong: ArrayLike = 0.0,
) -> Losses:
    """Return losses of faults; unless said, replacing blindly is out of the question."""
    looks = np.asarray(look, dtype=np.float64)
    return Losses(
        look_by=("",) * len(looks),
        look=looks,
        repair=np.asarray(repair, dtype=np.float64),
        outright=np.broadcast_to(np.asarray(outright, dtype=np.float64), looks.shape),
        missed=np.broadcast_to(np.asarray(missed, dtype=np.float64), looks.shape),
        wrong=np.broadcast_to(np.asarray(wrong, dtype=np.float64), looks.shape),
    )


def step_by_step(x: Losses, present: Sequence[float], order: Sequence[int]) -> float:
    """Return the least that going through the suspects in this order costs, wherever it stops.

    At each turn: look (and repair what is found) or repair outright, whichever is cheaper.
    """
    best = sum(p * float(m) for p, m in zip(present, x.missed, strict=True))
    spent = 0.0
    for n, i in enumerate(order):
        left = min(1.0, sum(present[j] for j in order[n:]))
        if left > 0.0:
            by_look = left * float(x.look[i]) + present[i] * float(x.repair[i])
            blind = left * float(x.outright[i]) + max(left - present[i], 0.0) * float(x.wrong[i])
            spent += min(by_look, blind)
        missed = sum(present[j] * float(x.missed[j]) for j in order[n + 1 :])
        best = min(best, spent + missed)
    return best


@pytest.mark.arithmetic(f"{E1}: all 120 orders")
def test_five_suspects() -> None:
    one = losses([30.0, 5.0, 12.0, 4.0, 2.5], [100.0, 40.0, 20.0, 60.0, 10.0])
    course = expected_cost(one, np.array([[0.40, 0.25, 0.20, 0.10, 0.05]]))
    assert course.cost[0] == printed("89.325")
    assert course.order[0].tolist() == [1, 3, 4, 2, 0]
    assert course.steps[0] == 5
    assert not course.outright.any()


def test_by_ratio_is_never_beaten() -> None:
    """300 random cases of 6 suspects, one of them at fault: the best of all 720 orders."""
    rng = np.random.default_rng(21)
    orders = np.array(list(permutations(range(6))))
    for _ in range(300):
        p, look, repair = rng.dirichlet(np.ones(6)), rng.uniform(1, 50, 6), rng.uniform(5, 200, 6)
        q = p[orders]
        every = ((1.0 - np.cumsum(q, axis=1) + q) * look[orders]).sum(axis=1) + p @ repair
        cost = expected_cost(losses(look, repair), p[None]).cost[0]
        assert cost == pytest.approx(every.min(), rel=1e-12)


def random_losses(rng: np.random.Generator, n: int) -> Losses:
    repair = rng.uniform(5.0, 300.0, n)
    return losses(
        np.where(rng.random(n) < 0.2, inf, rng.uniform(1.0, 60.0, n)),
        repair,
        outright=repair * rng.uniform(0.8, 1.2, n),
        missed=rng.uniform(0.0, 900.0, n),
    )


def test_against_a_slow_account() -> None:
    """Beliefs over several faults at once, in a batch, each in the order that was chosen."""
    rng = np.random.default_rng(22)
    for _ in range(40):
        n = int(rng.integers(1, 9))
        one, present = random_losses(rng, n), rng.uniform(0.0, 1.0, (5, n)) ** 3
        one = replace(one, wrong=np.where(rng.random(n) < 0.3, rng.uniform(0.0, 500.0, n), 0.0))
        present[rng.random((5, n)) < 0.2] = 0.0
        course = expected_cost(one, present)
        for row, order, cost in zip(present, course.order, course.cost, strict=True):
            assert cost == pytest.approx(step_by_step(one, row.tolist(), order.tolist()), rel=1e-12)


def gaps_to_the_best_order() -> list[float]:
    """Return, for 150 cases of up to five suspects with one at fault, cost / best - 1."""
    rng = np.random.default_rng(23)
    over = []
    for _ in range(150):
        n = int(rng.integers(2, 6))
        one, p = random_losses(rng, n), rng.dirichlet(np.ones(n))
        cost = float(expected_cost(one, p[None]).cost[0])
        best = min(step_by_step(one, p.tolist(), order) for order in permutations(range(n)))
        over.append(cost / best - 1.0)
    return over


def test_no_order_is_dearer_than_what_is_told() -> None:
    """With stopping and repairing outright the order is a rule only, so never below the best."""
    assert min(gaps_to_the_best_order()) >= -1e-12


@pytest.mark.regression
def test_how_far_the_rule_is_from_the_best_order() -> None:
    """On average 4.7 % with these losses, one in five without a look; nothing to be proud of."""
    assert np.mean(gaps_to_the_best_order()) == pytest.approx(0.0475, abs=5e-4)


@pytest.mark.parametrize("what", ["repair", "missed", "wrong"])
def test_dearer_work_never_makes_the_job_cheaper(what: str) -> None:
    rng = np.random.default_rng(24)
    for _ in range(60):
        one, present = random_losses(rng, 6), rng.uniform(0.0, 0.6, (4, 6))
        dearer = replace(one, **{what: getattr(one, what) + rng.uniform(0.0, 50.0, 6)})
        assert np.all(
            expected_cost(dearer, present).cost >= expected_cost(one, present).cost - 1e-9
        )


def test_dearer_looks_never_make_the_job_cheaper() -> None:
    """One suspect at fault and every look sure, where the order is the best there is."""
    rng = np.random.default_rng(25)
    for _ in range(60):
        look, repair, p = rng.uniform(1, 50, 6), rng.uniform(5, 99, 6), rng.dirichlet(np.ones(6))
        cheap = expected_cost(losses(look, repair), p[None]).cost[0]
        dear = expected_cost(losses(look + rng.uniform(0, 30, 6), repair), p[None]).cost[0]
        assert dear >= cheap - 1e-9


def test_what_does_no_harm_is_left() -> None:
    course = expected_cost(losses([5.0, 5.0], [50.0, 50.0], missed=0.0), np.array([[0.5, 0.4]]))
    assert course.cost[0] == 0.0
    assert course.steps[0] == 0


def test_a_certain_fault_is_repaired_without_a_look() -> None:
    """Present for sure: looking costs 5 more and tells nothing."""
    one = losses([5.0], [50.0], outright=50.0, missed=900.0)
    course = expected_cost(one, np.array([[1.0]]))
    assert course.cost[0] == pytest.approx(50.0)
    assert course.outright[0, 0]


def test_look_or_repair_by_hand() -> None:
    """Half probable. Look 5 and repair 20 in half of the cases: 0.5 x 5 + 10 = 12.5, not 0.5 x 20.

    While the fault is the only suspect, nothing is done once it is known to be absent, so
    repairing outright costs 0.5 x 20 = 10, less than a look; with a second suspect it costs 20.
    """
    alone = expected_cost(losses([5.0], [20.0], outright=20.0), np.array([[0.5]]))
    assert alone.cost[0] == pytest.approx(10.0)
    two = losses([5.0, 8.0], [20.0, 20.0], outright=20.0)
    course = expected_cost(two, np.array([[0.5, 0.5]]))
    # First: look, 5 + 10; then the other for sure, outright: 0.5 x 20.
    assert course.cost[0] == pytest.approx(25.0)
    assert course.outright[0].tolist() == [False, True]


def test_without_any_look_the_suspect_is_repaired_or_left() -> None:
    one = losses([inf], [50.0], outright=50.0, missed=900.0)
    assert expected_cost(one, np.array([[0.3]])).cost[0] == pytest.approx(15.0)
    harmless = losses([inf], [50.0], outright=50.0, missed=10.0)
    assert expected_cost(harmless, np.array([[0.3]])).cost[0] == pytest.approx(3.0)


def test_a_fault_that_is_ruled_out_costs_nothing() -> None:
    """Not even if no look at it is left."""
    one = losses([inf, 5.0], [50.0, 20.0], outright=[50.0, 20.0])
    both = expected_cost(one, np.array([[0.0, 0.5], [0.0, 0.0]]))
    assert both.cost.tolist() == [10.0, 0.0]


def test_a_look_that_costs_nothing_comes_first() -> None:
    course = expected_cost(losses([0.0, 5.0], [20.0, 20.0]), np.array([[0.1, 0.9]]))
    assert course.order[0].tolist() == [0, 1]
    assert course.cost[0] == pytest.approx(0.9 * 5.0 + 20.0)


# --- From a system


def test_losses_by_hand() -> None:
    """The leak: 30 min and 14 for raising the vehicle, seal 20: 64; proof 6 min and 600 waited.

    The proof costs 6 + 60 = 66, so the repair 130; missed 0.9 x (300 + 64) = 327.60.
    Soap is the cheapest clear look: 5 + 14 = 19, divided by how clearly it shows the leak.
    """
    checks = ["soap", "overnight", "coin"]
    outlook = look_ahead(SMALL, [], checks)
    at = outlook.faults.index("leak")
    one = losses_of(SMALL.system, outlook, ())
    assert one.repair[at] == pytest.approx(130.0)
    assert one.outright[at] == pytest.approx(130.0)
    assert one.missed[at] == pytest.approx(327.6)
    assert one.look_by[at] == "soap"
    # Without the leak bubbles in 0.02; with it 2/3 x 0.6 + 1/3 x 0.9 = 0.7: it shows in 0.68.
    assert one.look[at] == pytest.approx(19.0 / 0.68)
    # The cheaper of two repairs: kit 80 + 50, unit 60 + 200, both behind the cover (14 + 9).
    pump = outlook.faults.index("pump")
    assert one.repair[pump] == pytest.approx(80.0 + 50.0 + 23.0)
    # No open check shows the pump clearly.
    assert one.look_by[pump] == ""
    assert one.look[pump] == inf


def test_access_that_is_reached_makes_all_of_it_cheaper() -> None:
    outlook = look_ahead(SMALL, [found(SMALL.system, "ask", "low")], ["soap", "fuse.look"])
    before, after = (losses_of(SMALL.system, outlook, held) for held in ((), ("up",)))
    leak = outlook.faults.index("leak")
    assert before.repair[leak] - after.repair[leak] == pytest.approx(14.0)
    assert before.look[leak] / after.look[leak] == pytest.approx(19.0 / 5.0)
    assert before.missed[leak] - after.missed[leak] == pytest.approx(0.9 * 14.0)


def test_the_clearer_look_at_the_same_price() -> None:
    """Two looks at 5: one shows in 0.9 - 0.1, the other in 0.99 - 0.01; below a half, none."""
    system = replace(
        SMALL.system,
        checks={
            check.id: check
            for check in (
                look("dull", "y n", ({"valve": "present"}, "0.9 0.1"), ({}, "0.1 0.9")),
                look("clear", "y n", ({"valve": "present"}, "0.99 0.01"), ({}, "0.01 0.99")),
                look("faint", "y n", ({"relay": "present"}, "0.6 0.4"), ({}, "0.11 0.89")),
                look("overnight", "held fell", ({}, "0.5 0.5")),
            )
        },
    )
    outlook = look_ahead(type(SMALL)(system), [], list(system.checks))
    one = losses_of(system, outlook, ())
    valve, relay = outlook.faults.index("valve"), outlook.faults.index("relay")
    assert one.look_by[valve] == "clear"
    assert one.look[valve] == pytest.approx(5.0 / 0.98)
    assert one.look_by[relay] == ""
