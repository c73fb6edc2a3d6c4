"""The most probable fault sets against the list of all of them."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from reference import Worlds, one_hot
from sagtrace.diagnosis import faultsets
from sagtrace.diagnosis.elimination import Elimination
from sagtrace.diagnosis.faultsets import most_probable_sets, restrict
from sagtrace.diagnosis.verdict import Reasoner
from sagtrace.vehicle.renewal import Renewal
from sagtrace.vehicle.system import System
from small_system import cause, fault, look, small_reasoner, system_of

Array = NDArray[np.float64]

SMALL = small_reasoner()
WORLDS = Worlds(SMALL.system)


def sizes_of(system: System) -> dict[str, int]:
    return {id_: len(node.state_ids) for id_, node in system.faults.items()}


@st.composite
def outcomes(draw: st.DrawFn) -> dict[str, Array]:
    """Return answers to some of the small system's checks."""
    leaves = draw(st.lists(st.sampled_from(sorted(WORLDS.shows)), unique=True, max_size=5))
    result = {}
    for leaf in leaves:
        size = WORLDS.shows[leaf].shape[-1]
        result[leaf] = one_hot(size, draw(st.integers(0, size - 1)))
    return result


@given(found=outcomes(), count=st.sampled_from([1, 3, 8, 64]), least=st.sampled_from([1e-9, 0.02]))
@settings(max_examples=60, deadline=None)
def test_the_list_is_the_top_of_all_sets(found: dict[str, Array], count: int, least: float) -> None:
    """64 sets of 6 faults: the same probabilities, in order, and none that is better left out."""
    listed = most_probable_sets(SMALL.elimination, found, SMALL.sizes, count=count, least=least)
    chances = WORLDS.set_chances(found)
    assert len(chances) == 64
    best = sorted((p for p in chances.values() if p >= least), reverse=True)[:count]
    assert [s.probability for s in listed] == pytest.approx(best, rel=1e-9)
    for s in listed:
        assert s.probability == pytest.approx(chances[frozenset(s.faults)], rel=1e-9)
    assert len({s.faults for s in listed}) == len(listed)
    assert sum(s.probability for s in listed) <= 1.0 + 1e-12


def test_all_sets_together_are_everything() -> None:
    listed = most_probable_sets(SMALL.elimination, {}, SMALL.sizes, count=64, least=1e-9)
    assert sum(s.probability for s in listed) == pytest.approx(1.0, abs=1e-9)
    assert listed[0].faults == ()


def test_two_faults_by_hand() -> None:
    """Leak 0.2, worn 0.1: none 0.72, leak 0.18, worn 0.08, both 0.02; faults in system order."""
    system = system_of([fault("leak", {"present": 0.2}), fault("worn", {"present": 0.1})], [])
    listed = most_probable_sets(Elimination(Renewal(system)), {}, sizes_of(system), least=0.002)
    assert [s.faults for s in listed] == [(), ("leak",), ("worn",), ("leak", "worn")]
    assert [s.probability for s in listed] == pytest.approx([0.72, 0.18, 0.08, 0.02], rel=1e-12)


def test_none_below_the_least() -> None:
    system = system_of([fault("leak", {"present": 0.2}), fault("worn", {"present": 0.1})], [])
    listed = most_probable_sets(Elimination(Renewal(system)), {}, sizes_of(system), least=0.1)
    assert [s.faults for s in listed] == [(), ("leak",)]


@pytest.mark.parametrize("at_once", [1, 32])
def test_faults_that_come_only_together(monkeypatch: pytest.MonkeyPatch, at_once: int) -> None:
    """b is there if and only if a is, so {b} alone is a branch that nothing fits."""
    monkeypatch.setattr(faultsets, "_ROUND", at_once)
    nodes = [
        fault("a", {"present": 0.4}),
        fault("b", {}, cause("a", {"present": {"present": 1.0}})),
    ]
    system = system_of([*nodes], [])
    listed = most_probable_sets(Elimination(Renewal(system)), {}, sizes_of(system))
    assert {s.faults: s.probability for s in listed} == pytest.approx(
        {(): 0.6, ("a", "b"): 0.4}, rel=1e-12
    )


def test_a_flat_belief_is_given_up_in_time(monkeypatch: pytest.MonkeyPatch) -> None:
    """Ten faults at a half make 1024 equal sets; what is listed is still exact."""
    monkeypatch.setattr(faultsets, "_ROUNDS", 3)
    system = system_of([fault(f"f{i}", {"present": 0.5}) for i in range(10)], [])
    listed = most_probable_sets(Elimination(Renewal(system)), {}, sizes_of(system), least=1e-6)
    assert len(listed) == 8
    assert [s.probability for s in listed] == pytest.approx([1 / 1024] * 8, rel=1e-12)


def test_a_fault_that_was_looked_at_itself() -> None:
    """A reading on the fault's own states goes with what the search assumes of it."""
    found = {"leak": np.array([0.1, 1.0, 0.5])}
    kept = found["leak"].copy()
    listed = most_probable_sets(SMALL.elimination, found, SMALL.sizes, count=5)
    chances = WORLDS.set_chances(found)
    assert [s.probability for s in listed] == pytest.approx(
        sorted(chances.values(), reverse=True)[:5], rel=1e-9
    )
    assert np.array_equal(found["leak"], kept)


def test_shipped_sets_are_exact(reasoner: Reasoner) -> None:
    """Each listed set again, as one question to the engine: P(set and evidence)/P(evidence)."""
    found = {"complaint": np.array([0.0, 1.0]), "check:soap.fold-normal@left": np.array([1.0, 0])}
    listed = most_probable_sets(reasoner.elimination, found, reasoner.sizes, count=3)
    total = reasoner.engine.posterior(found, []).log_evidence
    for s in listed:
        held = {f: restrict(n, present=f in s.faults) for f, n in reasoner.sizes.items()}
        both = reasoner.engine.posterior(found | held, []).log_evidence
        assert s.probability == pytest.approx(np.exp(both - total), rel=1e-9)


def test_restrict() -> None:
    assert restrict(3, present=True).tolist() == [0.0, 1.0, 1.0]
    assert restrict(3, present=False).tolist() == [1.0, 0.0, 0.0]


def test_a_check_that_shows_nothing_moves_no_set() -> None:
    coin = look("coin", "heads tails", ({}, "0.5 0.5"))
    system = system_of([fault("leak", {"present": 0.2})], [coin])
    one = Elimination(Renewal(system))
    found = {"check:coin": np.array([1.0, 0.0])}
    assert most_probable_sets(one, found, {"leak": 2}) == most_probable_sets(one, {}, {"leak": 2})
