"""What is believed after a repair, against every joint state, a second engine and by hand."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
import pytest

from sagtrace.diagnosis.outlook import look_ahead
from sagtrace.diagnosis.verdict import Reasoner
from sagtrace.evidence.findings import Finding, combined
from sagtrace.evidence.gather import dated
from sagtrace.vehicle.repairs import Repair
from sagtrace.vehicle.system import System
from small_system import cause, condition, fault, found, look, small_system, system_of

SURE = {"present": {"high": 1.0}}


def repair(id_: str, fixes: str, holds: float) -> Repair:
    return Repair(
        id=id_, name=id_, fixes=tuple(fixes.split()), minutes=10, holds=holds, plain=id_, done=id_,
        basis="invented",
    )  # fmt: skip


def two_leaks() -> System:
    """Either of two faults, or both, makes it low; soap shows the one, a lamp the other."""
    nodes = [
        fault("a", {"present": 0.2}),
        fault("b", {"present": 0.1}),
        condition("low", "no high", {}, cause("a", SURE), cause("b", SURE)),
    ]
    checks = [
        look("tape", "yes no", ({"low": "high"}, "0.95 0.05"), ({}, "0.02 0.98")),
        look("soap", "yes no", ({"a": "present"}, "0.9 0.1"), ({}, "0.1 0.9")),
        look("lamp", "yes no", ({"b": "present"}, "0.8 0.2"), ({}, "0.2 0.8")),
    ]
    return system_of(nodes, checks, [repair("mend-a", "a", 0.96)])


SYSTEM = two_leaks()
MENDED = Reasoner(SYSTEM, [["mend-a"]])


def seen(check: str, outcome: str, after: int) -> Finding:
    one = found(SYSTEM, check, outcome, id_=f"{check}-{after}")
    return dated(MENDED.renewal, one, after)


def believed(*findings: Finding) -> tuple[float, float]:
    verdict = MENDED.judge(findings)
    return verdict.belief("a").probability, verdict.belief("b").probability


def listed(*said: tuple[str, str, int]) -> tuple[float, float]:
    """Return the same by adding up every state of a before, a now and b."""
    p = {"a": 0.2, "b": 0.1, "now": 0.04}
    shows = {"tape": (0.95, 0.02), "soap": (0.9, 0.1), "lamp": (0.8, 0.2)}
    weight = np.zeros((2, 2, 2))
    for a, now, b in product((0, 1), repeat=3):
        w = np.prod([p[n] if x else 1 - p[n] for n, x in (("a", a), ("now", now), ("b", b))])
        for check, outcome, after in said:
            part = now if after else a
            bad = {"tape": part or b, "soap": part, "lamp": b}[check]
            yes = shows[check][0 if bad else 1]
            w *= yes if outcome == "yes" else 1 - yes
        weight[a, now, b] = w
    weight /= weight.sum()
    return float(weight[:, 1, :].sum()), float(weight[:, :, 1].sum())


CASES = (
    (("tape", "yes", 0), ("soap", "yes", 0)),
    (("tape", "yes", 0), ("tape", "yes", 1)),
    (("tape", "yes", 0), ("soap", "yes", 0), ("tape", "yes", 1)),
    (("tape", "yes", 0), ("soap", "yes", 0), ("lamp", "no", 0), ("tape", "yes", 1)),
    (("tape", "yes", 0), ("soap", "yes", 0), ("tape", "yes", 1), ("lamp", "no", 1)),
    (("tape", "yes", 0), ("tape", "no", 1), ("soap", "no", 1)),
)


@pytest.mark.arithmetic("every state of both faults, before and now, added up")
@pytest.mark.parametrize("said", CASES)
def test_against_every_joint_state(said: tuple[tuple[str, str, int], ...]) -> None:
    assert believed(*(seen(*one) for one in said)) == pytest.approx(listed(*said), abs=1e-12)


@pytest.mark.arithmetic("a renewed part has its own chance, 1 - holds, whatever the old one showed")
def test_what_was_seen_of_the_old_part_says_nothing_of_the_new_one() -> None:
    a, b = believed(seen("soap", "yes", 0))
    assert a == pytest.approx(0.04)
    assert b == pytest.approx(0.1)
    assert MENDED.judge([seen("soap", "yes", 0)]).why("a") == ()
    assert believed(seen("soap", "yes", 1))[0] == pytest.approx(0.036 / (0.036 + 0.096))


def test_what_the_repaired_fault_explained_is_no_evidence_against_the_rest() -> None:
    """Low before, and soap showed a: that b was not needed for it stays so after the repair."""
    before = Reasoner(SYSTEM).judge([found(SYSTEM, "tape", "yes"), found(SYSTEM, "soap", "yes")])
    _, b = believed(seen("tape", "yes", 0), seen("soap", "yes", 0))
    assert b == pytest.approx(before.belief("b").probability)
    # Low again: now somebody else must have done it, or the repair was done badly.
    _, still = believed(seen("tape", "yes", 0), seen("soap", "yes", 0), seen("tape", "yes", 1))
    assert still > 3 * b


def test_what_was_seen_of_an_untouched_part_still_counts() -> None:
    low_again = (seen("tape", "yes", 0), seen("tape", "yes", 1))
    _, b = believed(*low_again)
    _, sound = believed(*low_again, seen("lamp", "no", 0))
    assert sound < b
    assert sound == pytest.approx(believed(*low_again, seen("lamp", "no", 1))[1])


@pytest.mark.arithmetic("pyAgrum on the same network")
@pytest.mark.parametrize(
    "works", [[["mend-leak"]], [["mend-leak"], ["mend-pump"]], [["mend-pump"], ["mend-pump"]]]
)
def test_two_engines_agree_on_every_version(works: list[list[str]]) -> None:
    small = small_system()
    mends = {f"mend-{f}": repair(f"mend-{f}", f, 0.9) for f in ("leak", "pump")}
    mended = Reasoner(replace(small, repairs={**small.repairs, **mends}), works)
    rng = np.random.default_rng(7)
    for _ in range(12):
        findings = []
        for check in rng.choice(list(small.checks), 4, replace=False):
            outcomes = [o.id for o in small.checks[check].outcomes]
            if outcomes:
                time = int(rng.integers(0, len(works) + 1))
                one = found(small, check, outcomes[rng.integers(0, len(outcomes))])
                findings.append(dated(mended.renewal, one, time))
        given = combined(tuple(findings))
        exact = mended.engine.posterior(given, mended.renewal.nodes)
        batch = mended.elimination.ask({n: v[None] for n, v in given.items()}, mended.renewal.nodes)
        for name in mended.renewal.nodes:
            assert batch.marginal(name)[0] == pytest.approx(exact.marginals[name], abs=1e-12)


def test_a_prediction_of_a_check_is_of_the_vehicle_as_it_is() -> None:
    findings = (seen("tape", "yes", 0), seen("soap", "yes", 0))
    outlook = look_ahead(MENDED, findings, ["soap", "tape"])
    assert outlook.chance["soap"][0] == pytest.approx(0.04 * 0.9 + 0.96 * 0.1)
    first = outlook.faults.index("b")
    again = believed(*findings, seen("tape", "yes", 1))[1]
    assert outlook.after["tape"][0, first] == pytest.approx(again)
