"""Elimination against the engine, against a third computation and against every joint state."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from reference import Worlds, one_hot, worst_difference
from sagtrace.diagnosis.elimination import Elimination
from sagtrace.diagnosis.verdict import Reasoner
from sagtrace.evidence.findings import check_leaf
from sagtrace.vehicle.renewal import Renewal
from small_system import fault, look, small_reasoner, system_of

Array = NDArray[np.float64]

SMALL = small_reasoner()
WORLDS = Worlds(SMALL.system)
SIZES = {id_: len(node.state_ids) for id_, node in SMALL.system.nodes.items()}
SIZES |= {leaf: rows.shape[-1] for leaf, rows in WORLDS.shows.items()}


@pytest.mark.arithmetic("one table a node, multiplied with opt_einsum; and pyAgrum")
def test_three_ways_agree_on_200_sets_of_evidence(
    reasoner: Reasoner, capsys: pytest.CaptureFixture[str]
) -> None:
    worst = worst_difference(reasoner)
    with capsys.disabled():
        print(f"\nworst difference: {worst.overall:.1e} ({worst})")
    assert (worst.sets, worst.chances, worst.engine_sets) == (200, 400, 8)
    assert worst.overall <= 1e-9


@st.composite
def evidence(draw: st.DrawFn) -> dict[str, Array]:
    names = draw(st.lists(st.sampled_from(list(SIZES)), unique=True, max_size=6))
    result = {}
    for name in names:
        kind = draw(st.sampled_from(["outcome", "likelihood"]))
        if kind == "outcome" and name in WORLDS.shows:
            result[name] = one_hot(SIZES[name], draw(st.integers(0, SIZES[name] - 1)))
        else:
            part = st.lists(st.floats(0.01, 1.0), min_size=SIZES[name], max_size=SIZES[name])
            result[name] = np.array(draw(part))
    return result


@given(found=evidence())
@settings(max_examples=60, deadline=None)
def test_against_every_joint_state(found: dict[str, Array]) -> None:
    """All faults, conditions and checks, those that were observed too."""
    weight = WORLDS.weights(found)
    batch = SMALL.elimination.ask({name: v[None] for name, v in found.items()}, SIZES)
    assert batch.evidence[0] == pytest.approx(weight.sum(), rel=1e-12)
    for name, size in SIZES.items():
        if name in WORLDS.shows:
            shown = WORLDS.shows[name]
            # An outcome and what was found there are the same variable.
            rest = WORLDS.weights({k: v for k, v in found.items() if k != name})
            expected = (rest @ shown) * found.get(name, np.ones(size))
        else:
            expected = np.array([weight[WORLDS.of(name) == i].sum() for i in range(size)])
        np.testing.assert_allclose(batch.joint[name][0], expected, rtol=0, atol=1e-13)


def test_the_engine_agrees_on_an_observed_check() -> None:
    leaf = check_leaf("listen")
    found = {leaf: np.array([0.2, 0.7, 0.1]), check_leaf("soap"): one_hot(2, 0)}
    batch = SMALL.elimination.ask({name: v[None] for name, v in found.items()}, [leaf])
    exact = SMALL.engine.posterior(found, [leaf])
    assert batch.marginal(leaf)[0] == pytest.approx(exact.marginals[leaf], abs=1e-14)


def test_a_batch_is_its_questions_one_by_one() -> None:
    """200 questions, more than go through together, beside a finding that all share."""
    rng = np.random.default_rng(3)
    many = rng.uniform(0.01, 1.0, (200, 3))
    shared = np.array([[0.3, 0.9]])
    batch = SMALL.elimination.ask({"leak": many, "low": shared}, ["pump", "check:soap"], 200)
    assert batch.evidence.shape == (200,)
    for q in range(200):
        one = SMALL.elimination.ask({"leak": many[[q]], "low": shared}, ["pump", "check:soap"])
        assert batch.evidence[q] == pytest.approx(one.evidence[0], rel=1e-14)
        for name in ("pump", "check:soap"):
            assert batch.marginal(name)[q] == pytest.approx(one.marginal(name)[0], abs=1e-14)


def test_nothing_asked_is_certain() -> None:
    assert SMALL.elimination.ask({}, []).evidence == pytest.approx([1.0])


def test_bayes_by_hand() -> None:
    """0.01 x 0.90 / (0.01 x 0.90 + 0.99 x 0.05) = 2/13, as in the engine's test."""
    check = look("soap", "yes no", ({"leak": "present"}, "0.9 0.1"), ({}, "0.05 0.95"))
    one = Elimination(Renewal(system_of([fault("leak", {"present": 0.01})], [check])))
    batch = one.ask({"check:soap": np.array([[1.0, 0.0]])}, ["leak"])
    assert batch.evidence == pytest.approx([0.0585], abs=1e-16)
    assert batch.marginal("leak")[0, 1] == pytest.approx(2 / 13, abs=1e-15)


def test_a_contradiction_has_no_probability() -> None:
    """The check shows bubbles only with a leak, and there is none."""
    check = look("soap", "yes no", ({"leak": "present"}, "0.9 0.1"), ({}, "0 1"))
    one = Elimination(Renewal(system_of([fault("leak", {"present": 0.01})], [check])))
    given_ = {"check:soap": np.array([[1.0, 0.0]]), "leak": np.array([[1.0, 0.0]])}
    batch = one.ask(given_, ["leak"])
    assert batch.evidence == pytest.approx([0.0], abs=0.0)
    assert batch.joint["leak"] == pytest.approx(np.zeros((1, 2)), abs=0.0)


def test_plans_that_were_let_go_are_made_again() -> None:
    """A program that runs for weeks meets ever new sets of findings; it keeps the newest plans."""
    check = look("soap", "yes no", ({"leak": "present"}, "0.9 0.1"), ({}, "0.05 0.95"))
    checks = [replace(check, id=f"soap{n}") for n in range(7)]
    one = Elimination(Renewal(system_of([fault("leak", {"present": 0.01})], checks)))
    questions = [
        {f"check:soap{n}": np.array([[1.0, 0.0]]) for n in range(7) if mask >> n & 1}
        for mask in range(2**7)
    ]
    first = [one.ask(found, ["leak"]).evidence[0] for found in questions]
    assert len(one._plans) == 60
    assert [one.ask(found, ["leak"]).evidence[0] for found in questions] == first
    # By hand: n times "yes" is 0.01 x 0.9^n + 0.99 x 0.05^n.
    hits = [mask.bit_count() for mask in range(2**7)]
    assert first == pytest.approx([0.01 * 0.9**n + 0.99 * 0.05**n for n in hits], rel=1e-12)
