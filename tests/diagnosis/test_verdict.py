"""The verdict: what moved what, what is not excluded, what does not fit; and calibration."""

from __future__ import annotations

from itertools import pairwise
from math import log

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from reference import Worlds, direct_outcomes, one_hot, sample_worlds
from sagtrace.diagnosis.network import outcome_ids
from sagtrace.diagnosis.verdict import Reasoner, Verdict
from sagtrace.errors import ContradictionError
from sagtrace.evidence.findings import Finding, check_leaf, combined
from sagtrace.evidence.gather import complaint_finding
from sagtrace.vehicle.system import System
from small_system import cause, condition, fault, found, look, small_reasoner, system_of

Array = NDArray[np.float64]

SMALL = small_reasoner()
WORLDS = Worlds(SMALL.system)


def small_finding(check: str, outcome: str) -> Finding:
    return found(SMALL.system, check, outcome)


def shown(system: System, check_id: str, outcome: int) -> Finding:
    """Return the finding that a check, whatever its kind, showed its outcome of this number."""
    check = system.checks[check_id]
    size = len(outcome_ids(system, check))
    return Finding(
        id=check_id,
        source=check_id,
        name=check.name,
        text="",
        target=check_leaf(check_id),
        likelihood=tuple(one_hot(size, outcome)),
    )


def log_odds(p: float) -> float:
    return log(p / (1.0 - p))


def worlds_chance(findings: list[Finding], fault_id: str) -> float:
    weight = WORLDS.weights(combined(tuple(findings)))
    return float(weight[WORLDS.present(fault_id)].sum() / weight.sum())


EVIDENCE = [
    small_finding("ask", "low"),
    small_finding("soap", "bubbles"),
    small_finding("listen", "laboured"),
]


@pytest.fixture(scope="module")
def verdict() -> Verdict:
    return SMALL.judge(EVIDENCE)


# --- Beliefs


def test_beliefs_against_every_joint_state(verdict: Verdict) -> None:
    weight = WORLDS.weights(combined(tuple(EVIDENCE)))
    assert verdict.log_evidence == pytest.approx(log(weight.sum()), abs=1e-12)
    for belief in verdict.beliefs:
        p = worlds_chance(EVIDENCE, belief.fault)
        prior = WORLDS.prior[WORLDS.present(belief.fault)].sum()
        assert belief.probability == pytest.approx(p, abs=1e-13)
        assert belief.prior == pytest.approx(prior, abs=1e-13)
        assert sum(belief.states.values()) == pytest.approx(1.0, abs=1e-12)
    chances = [b.probability for b in verdict.beliefs]
    assert chances == sorted(chances, reverse=True)


def test_conditions_against_every_joint_state(verdict: Verdict) -> None:
    weight = WORLDS.weights(combined(tuple(EVIDENCE)))
    assert set(verdict.conditions) == {"overrun", "low"}
    high = weight[WORLDS.of("overrun") == 1].sum() / weight.sum()
    assert verdict.conditions["overrun"] == pytest.approx(
        {"normal": 1.0 - high, "excessive": high}, abs=1e-13
    )


def test_the_engine_says_the_same(verdict: Verdict) -> None:
    exact = SMALL.engine.posterior(combined(tuple(EVIDENCE)), SMALL.sizes)
    assert verdict.log_evidence == pytest.approx(exact.log_evidence, abs=1e-12)
    for belief in verdict.beliefs:
        absent = exact.marginals[belief.fault][0]
        assert belief.probability == pytest.approx(1.0 - absent, abs=1e-12)


def test_the_likely_state_is_never_the_healthy_one() -> None:
    """Bubbles: fast 0.05 x 0.9 = 0.045 and slow 0.10 x 0.6 = 0.06. Nothing found: slow too."""
    leak = SMALL.judge([small_finding("soap", "bubbles")]).belief("leak")
    assert leak.likely_state == "slow"
    assert leak.states["slow"] / leak.states["fast"] == pytest.approx(0.06 / 0.045, rel=1e-12)
    assert SMALL.judge([]).belief("leak").likely_state == "slow"


def test_without_findings_the_verdict_is_the_prior() -> None:
    verdict = SMALL.judge([])
    assert verdict.log_evidence == pytest.approx(0.0, abs=1e-12)
    assert verdict.moves == ()
    assert verdict.conflicts == ()
    assert [b.probability for b in verdict.beliefs] == pytest.approx(
        [b.prior for b in verdict.beliefs], abs=1e-13
    )


def test_order_of_findings_does_not_matter(verdict: Verdict) -> None:
    other = SMALL.judge(EVIDENCE[::-1])
    for one, two in zip(verdict.beliefs, other.beliefs, strict=True):
        assert one.fault == two.fault
        assert one.probability == pytest.approx(two.probability, abs=1e-14)


def test_a_finding_that_says_nothing_changes_nothing(verdict: Verdict) -> None:
    other = SMALL.judge([*EVIDENCE, small_finding("coin", "heads")])
    assert {b.fault: b.probability for b in other.beliefs} == pytest.approx(
        {b.fault: b.probability for b in verdict.beliefs}, abs=1e-14
    )
    assert not [m for m in other.moves if m.finding == "coin"]


# --- Moves


def test_a_single_move_by_hand() -> None:
    """Alone, a finding moves the log-odds by the log of its likelihood ratio.

    Swapping the relay cures: 0.95 with the fault and 0.02 without, ln 47.5 = 3.861.
    """
    verdict = SMALL.judge([small_finding("relay.swap", "works")])
    (move,) = verdict.why("relay")
    assert move.log_odds == pytest.approx(log(0.95 / 0.02), abs=1e-9)
    assert log_odds(verdict.belief("relay").probability) == pytest.approx(
        log_odds(0.05) + log(0.95 / 0.02), abs=1e-9
    )


def test_moves_have_the_sign_of_what_the_finding_says(verdict: Verdict) -> None:
    moves = {(m.finding, m.fault): m.log_odds for m in verdict.moves}
    assert moves["soap", "leak"] > 0.0
    assert moves["listen", "pump"] > 0.0
    assert moves["listen", "relay"] < 0.0
    assert moves["listen", "fuse"] < 0.0
    dry = SMALL.judge([small_finding("ask", "low"), small_finding("soap", "none")])
    assert next(m for m in dry.why("leak") if m.finding == "soap").log_odds < 0.0


def test_a_move_is_the_mean_of_first_and_last(verdict: Verdict) -> None:
    for finding in EVIDENCE:
        rest = [f for f in EVIDENCE if f is not finding]
        first = log_odds(worlds_chance([finding], "leak")) - log_odds(worlds_chance([], "leak"))
        last = log_odds(worlds_chance(EVIDENCE, "leak")) - log_odds(worlds_chance(rest, "leak"))
        told = [m.log_odds for m in verdict.moves if (m.finding, m.fault) == (finding.id, "leak")]
        expected = (first + last) / 2.0
        assert told == pytest.approx([expected] if abs(expected) >= 0.25 else [], abs=1e-9)


def test_why_is_sorted_by_strength(verdict: Verdict) -> None:
    assert {m.fault for m in verdict.why("pump")} == {"pump"}
    for one, other in pairwise(verdict.why("pump")):
        assert abs(one.log_odds) >= abs(other.log_odds)


# --- Sets, not excluded


def test_the_leading_set_heads_the_list(verdict: Verdict) -> None:
    assert verdict.leading == verdict.sets[0]
    assert all(verdict.leading.probability >= s.probability for s in verdict.sets)
    chances = WORLDS.set_chances(combined(tuple(EVIDENCE)))
    assert verdict.leading.probability == pytest.approx(max(chances.values()), rel=1e-9)
    assert chances[frozenset(verdict.leading.faults)] == max(chances.values())


def test_not_excluded_is_all_that_is_probable_and_not_leading(verdict: Verdict) -> None:
    outside = {b.fault for b in verdict.not_excluded}
    assert outside == {
        b.fault
        for b in verdict.beliefs
        if b.fault not in verdict.leading.faults and b.probability >= 0.02
    }
    assert "other" in outside


def test_a_verdict_without_sets_leads_with_nothing() -> None:
    """So flat a belief that no set reaches the least that is listed: 12 faults at a half."""
    flat = Reasoner(system_of([fault(f"f{i}", {"present": 0.5}) for i in range(12)], []))
    verdict = flat.judge([])
    assert verdict.sets == ()
    assert verdict.leading.faults == ()
    assert verdict.leading.probability == 0.0
    assert len(verdict.not_excluded) == 12


# --- Conflicts


def test_a_finding_against_many_others_is_pointed_out() -> None:
    """Bubbles, and fell overnight; but the customer says that it stands level."""
    agree = [small_finding("soap", "bubbles"), small_finding("overnight", "fell")]
    assert SMALL.judge(agree).conflicts == ()
    blown = small_finding("fuse.look", "blown")
    runs = [small_finding("listen", "steady"), small_finding("relay.swap", "same")]
    conflict = SMALL.judge([*agree, *runs, blown]).conflicts
    assert [c.finding for c in conflict][:1] == ["fuse.look"]
    assert "look at it again" in conflict[0].text


def test_how_surprising_by_hand() -> None:
    """One fault in ten thousand, seen by one of two checks that hardly ever err (0.001).

    With only `a` known to show nothing, `b` shows something with probability close to
    0.001, and 0.001 / 0.999 beside what is expected.
    """
    rows: tuple[tuple[dict[str, str], str], ...] = (
        ({"x": "present"}, "0.999 0.001"),
        ({}, "0.001 0.999"),
    )
    one = Reasoner(
        system_of(
            [fault("x", {"present": 1e-4})],
            [look("a", "yes no", *rows), look("b", "yes no", *rows)],
        )
    )
    findings = [found(one.system, "a", "no"), found(one.system, "b", "yes")]
    conflicts = {c.finding: c for c in one.judge(findings).conflicts}
    x = 1e-4 * 0.001 / (1e-4 * 0.001 + 0.9999 * 0.999)
    yes = x * 0.999 + (1.0 - x) * 0.001
    assert conflicts["b"].expected == pytest.approx(yes / (1.0 - yes), rel=1e-9)
    # The other way round: with b positive, x has 0.0908, and `a` finds nothing in 0.91 of cases.
    assert set(conflicts) == {"b"}


def test_a_number_that_fits_no_state_is_pointed_out() -> None:
    odd = Finding(
        id="meter",
        source="meter",
        name="meter",
        text="400 %",
        target="overrun",
        likelihood=(1.0, 1.0),
        fit=1e-6,
    )
    (conflict,) = SMALL.judge([*EVIDENCE, odd]).conflicts
    assert conflict.finding == "meter"
    assert conflict.expected == pytest.approx(1e-6)
    assert conflict.text == "fits no state that is known"


def test_the_most_surprising_comes_first() -> None:
    odd = [
        Finding(
            id=f"m{fit}",
            source="meter",
            name="meter",
            text="",
            target="overrun",
            likelihood=(1.0, 1.0),
            fit=fit,
        )
        for fit in (1e-3, 1e-6)
    ]
    assert [c.finding for c in SMALL.judge(odd).conflicts] == ["m1e-06", "m0.001"]


# --- Contradictions


def test_findings_that_nothing_explains() -> None:
    """Low only with a leak, and the leak is ruled out."""
    nodes = [
        fault("leak", {"present": 0.1}),
        condition("low", "level low", {}, cause("leak", {"present": {"low": 1.0}})),
    ]
    one = Reasoner(system_of(nodes, []))

    def certain(target: str, *likelihood: float) -> Finding:
        return Finding(
            id=target, source=target, name="", text="", target=target, likelihood=likelihood
        )

    with pytest.raises(ContradictionError, match="nothing explains these findings together: low"):
        one.judge([certain("low", 0.0, 1.0), certain("leak", 1.0, 0.0)])
    with pytest.raises(ContradictionError, match="low"):
        one.judge([certain("low", 0.0, 1.0), certain("low", 1.0, 0.0)])


# --- Any job on the shipped knowledge


@pytest.fixture(scope="module")
def judged_checks(system: System) -> list[tuple[str, int]]:
    return [
        (id_, outcome)
        for id_, check in system.checks.items()
        for outcome in range(len(outcome_ids(system, check)))
    ]


@given(data=st.data())
@settings(max_examples=12, deadline=None, derandomize=True)
def test_any_outcomes_make_a_verdict(
    reasoner: Reasoner, judged_checks: list[tuple[str, int]], data: st.DataObject
) -> None:
    """However badly the outcomes fit each other: no error, nothing certain, room for other."""
    picked = data.draw(
        st.lists(st.sampled_from(judged_checks), max_size=10, unique_by=lambda pair: pair[0])
    )
    findings = [shown(reasoner.system, check, outcome) for check, outcome in picked]
    verdict = reasoner.judge([complaint_finding(reasoner.system, "low"), *findings])
    assert verdict.log_evidence < 0.0
    for belief in verdict.beliefs:
        assert 0.0 < belief.probability < 1.0
        assert all(0.0 <= p <= 1.0 for p in belief.states.values())
    assert sum(s.probability for s in verdict.sets) <= 1.0 + 1e-9
    assert verdict.belief("other").probability > 1e-6
    for states in verdict.conditions.values():
        assert sum(states.values()) == pytest.approx(1.0, abs=1e-9)
        assert min(states.values()) >= 0.0


# --- Calibration


def sampled_jobs(reasoner: Reasoner, panels: int, each: int) -> tuple[Array, Array, Array]:
    """Return, for each job and fault, P(present) after six checks and before, and the truth."""
    rng = np.random.default_rng(11)
    system = reasoner.system
    worlds = sample_worlds(system, rng, 6000)
    (low,) = np.nonzero(worlds["complaint"])
    jobs = rng.choice(low, (panels, each), replace=False)
    complaint = {"complaint": np.array([[0.0, 1.0]])}
    asked = reasoner.elimination.ask(complaint, reasoner.sizes)
    before = np.array([1.0 - asked.marginal(fault)[0, 0] for fault in reasoner.sizes])
    after, truth = [], []
    for panel in jobs:
        checks = rng.choice(list(system.checks), 6, replace=False)
        evidence = dict(complaint)
        for check in checks:
            leaf, size = check_leaf(check), direct_outcomes(system, system.checks[check])[1].shape
            evidence[leaf] = np.eye(size[-1])[worlds[leaf][panel]]
        batch = reasoner.elimination.ask(evidence, reasoner.sizes, each)
        after.append([1.0 - batch.marginal(fault)[:, 0] for fault in reasoner.sizes])
        truth.append([worlds[fault][panel] > 0 for fault in reasoner.sizes])
    shape = (len(reasoner.sizes), panels * each)
    flat = np.transpose(np.array(after), (1, 0, 2)).reshape(shape)
    present = np.transpose(np.array(truth), (1, 0, 2)).reshape(shape)
    return flat, np.repeat(before[:, None], shape[1], axis=1), present.astype(np.float64)


@pytest.fixture(scope="module")
def jobs(reasoner: Reasoner) -> tuple[Array, Array, Array]:
    return sampled_jobs(reasoner, panels=20, each=15)


def test_checks_make_the_forecast_better(jobs: tuple[Array, Array, Array]) -> None:
    """Brier score over 300 jobs and all faults, beside that of the complaint alone."""
    after, before, truth = jobs
    assert truth.shape[1] == 300
    score, plain = ((after - truth) ** 2).mean(), ((before - truth) ** 2).mean()
    assert score < plain
    # The complaint's own forecast is calibrated too: the score that it expects of itself.
    expected = (before * (1.0 - before)).mean()
    assert plain == pytest.approx(expected, rel=0.1)


def test_what_is_forecast_happens_as_often(jobs: tuple[Array, Array, Array]) -> None:
    """Five bins over all faults and jobs: observed frequency within 4 standard errors."""
    after, _, truth = jobs
    edges = [0.0, 0.01, 0.05, 0.2, 0.5, 1.0]
    for low, high in pairwise(edges):
        inside = (after > low) & (after <= high)
        p, seen = after[inside], truth[inside]
        assert inside.sum() >= 20
        error = np.sqrt((p * (1.0 - p)).sum()) / inside.sum()
        assert abs(seen.mean() - p.mean()) <= 4.0 * error
