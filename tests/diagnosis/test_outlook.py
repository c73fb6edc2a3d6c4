"""What open checks would show, against the law of total probability and against the engine."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from reference import Worlds, one_hot
from sagtrace.diagnosis.outlook import Outlook, look_ahead
from sagtrace.diagnosis.verdict import Reasoner
from sagtrace.evidence.findings import Finding, check_leaf, combined
from sagtrace.evidence.gather import complaint_finding
from sagtrace.vehicle.system import System
from small_system import fault, found, look, small_reasoner, system_of

Array = NDArray[np.float64]

SMALL = small_reasoner()
WORLDS = Worlds(SMALL.system)


@pytest.fixture(scope="module")
def findings(system: System) -> tuple[Finding, ...]:
    return (
        complaint_finding(system, "low"),
        found(system, "soap.fold-normal@left", "none"),
        found(system, "story.pump-noise", "often"),
    )


@pytest.fixture(scope="module")
def outlook(reasoner: Reasoner, findings: tuple[Finding, ...]) -> Outlook:
    done = {f.source for f in findings}
    return look_ahead(reasoner, findings, [c for c in reasoner.system.checks if c not in done])


def test_something_is_shown(outlook: Outlook) -> None:
    for p in outlook.chance.values():
        assert p.sum() == pytest.approx(1.0, abs=1e-12)
        assert np.all(p > 0.0)


def test_total_probability(outlook: Outlook) -> None:
    """No check moves any fault on average."""
    for check, p in outlook.chance.items():
        np.testing.assert_allclose(p @ outlook.after[check], outlook.now, rtol=0, atol=1e-9)


def test_now_is_the_verdict(
    reasoner: Reasoner, findings: tuple[Finding, ...], outlook: Outlook
) -> None:
    verdict = reasoner.judge(findings)
    for fault_id, p in zip(outlook.faults, outlook.now, strict=True):
        assert p == pytest.approx(verdict.belief(fault_id).probability, abs=1e-12)


def test_after_is_the_engines_posterior(
    reasoner: Reasoner, findings: tuple[Finding, ...], outlook: Outlook
) -> None:
    """15 random outcomes of random checks, each given to the engine as evidence."""
    rng = np.random.default_rng(5)
    evidence = combined(findings)
    before = reasoner.engine.posterior(evidence, []).log_evidence
    for check in rng.choice(list(outlook.chance), 15, replace=False):
        size = len(outlook.chance[check])
        outcome = int(rng.integers(size))
        seen = {**evidence, check_leaf(check): one_hot(size, outcome)}
        exact = reasoner.engine.posterior(seen, outlook.faults)
        chance = np.exp(exact.log_evidence - before)
        assert outlook.chance[check][outcome] == pytest.approx(chance, abs=1e-9)
        present = [1.0 - exact.marginals[f][0] for f in outlook.faults]
        np.testing.assert_allclose(outlook.after[check][outcome], present, rtol=0, atol=1e-9)


def test_how_clearly_a_check_shows_a_fault_by_hand() -> None:
    """Soap: bubbles in 0.9 with the leak, in 0.1 without: it shows in 0.9 - 0.1 = 0.8."""
    nodes = [fault("leak", {"present": 0.2}), fault("worn", {"present": 0.3})]
    soap = look("soap", "bubbles none", ({"leak": "present"}, "0.9 0.1"), ({}, "0.1 0.9"))
    coin = look("coin", "heads tails", ({}, "0.5 0.5"))
    outlook = look_ahead(Reasoner(system_of([*nodes], [soap, coin])), (), ["soap", "coin"])
    assert outlook.faults == ("leak", "worn")
    assert outlook.now == pytest.approx([0.2, 0.3], abs=1e-15)
    assert outlook.shows("soap") == pytest.approx([0.8, 0.0], abs=1e-14)
    assert outlook.shows("coin") == pytest.approx([0.0, 0.0], abs=1e-14)
    # Bubbles: 0.2 x 0.9 + 0.8 x 0.1 = 0.26, and then the leak has 0.18 / 0.26.
    assert outlook.chance["soap"] == pytest.approx([0.26, 0.74], abs=1e-15)
    assert outlook.after["soap"][:, 0] == pytest.approx([0.18 / 0.26, 0.02 / 0.74], abs=1e-14)


def test_clearness_against_every_joint_state() -> None:
    """Half the summed differences of what is shown with and without the fault."""
    seen = [found(SMALL.system, "ask", "low")]
    checks = ["soap", "listen", "fuse.look", "meter", "coin"]
    outlook = look_ahead(SMALL, seen, checks)
    weight = WORLDS.weights(combined(tuple(seen)))
    for i, fault_id in enumerate(outlook.faults):
        here = WORLDS.present(fault_id)
        for check in checks:
            shows = WORLDS.shows[check_leaf(check)]
            with_it = weight[here] @ shows[here] / weight[here].sum()
            without = weight[~here] @ shows[~here] / weight[~here].sum()
            expected = 0.5 * np.abs(with_it - without).sum()
            assert outlook.shows(check)[i] == pytest.approx(expected, abs=1e-9)


def test_a_fault_that_is_ruled_out_or_certain() -> None:
    """Nothing can move it, and nothing divides by zero."""
    sure = Finding(id="s", source="s", name="", text="", target="relay", likelihood=(0.0, 1.0))
    gone = Finding(id="g", source="g", name="", text="", target="leak", likelihood=(1.0, 0.0, 0.0))
    outlook = look_ahead(SMALL, (sure, gone), ["soap", "relay.swap"])
    relay, leak = outlook.faults.index("relay"), outlook.faults.index("leak")
    assert outlook.now[[relay, leak]] == pytest.approx([1.0, 0.0], abs=1e-14)
    for check in ("soap", "relay.swap"):
        assert outlook.after[check][:, relay] == pytest.approx(1.0, abs=1e-14)
        assert outlook.after[check][:, leak] == pytest.approx(0.0, abs=1e-14)
        assert np.all(np.isfinite(outlook.shows(check)))


def test_an_outcome_that_cannot_be_makes_no_fault_probable() -> None:
    """A check whose second answer nothing shows: chance 0, and no division by it."""
    never = look("never", "yes no", ({}, "1 0"))
    outlook = look_ahead(
        Reasoner(system_of([fault("leak", {"present": 0.2})], [never])), (), ["never"]
    )
    assert outlook.chance["never"].tolist() == [1.0, 0.0]
    assert outlook.after["never"][:, 0] == pytest.approx([0.2, 0.0], abs=1e-15)


def test_a_fault_that_was_looked_at_itself() -> None:
    """What was found of the fault's own states counts beside the question about it."""
    seen = Finding(id="x", source="x", name="", text="", target="leak", likelihood=(0.2, 1.0, 0.5))
    outlook = look_ahead(SMALL, (seen,), ["soap"])
    weight = WORLDS.weights(combined((seen,)))
    here = WORLDS.present("leak")
    expected = weight[here].sum() / weight.sum()
    assert outlook.now[outlook.faults.index("leak")] == pytest.approx(expected, abs=1e-13)
