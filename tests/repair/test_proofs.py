"""Proofs: the limit in words, the shortest hold, and passed, undecided or failed."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sagtrace.evidence.facts import Facts, read_facts
from sagtrace.evidence.findings import Finding
from sagtrace.physics.estimate import Estimate
from sagtrace.repair.proofs import judge, proofs_due, shortest_hold
from sagtrace.vehicle.job import Entry, Job
from sagtrace.vehicle.repairs import Proof
from sagtrace.vehicle.system import System

TIGHT = Proof(
    id="p", faults=("f",), check="hold", at_most=0.7, text="must hold", basis="hold-limit"
)
STRONG = replace(TIGHT, at_most=None, at_least=80.0)


def measured(value: float, std: float) -> Finding:
    return Finding(
        id="e1",
        source="hold",
        name="hold",
        text=f"leak {value}; reads like: tight",
        target="x",
        likelihood=(1.0, 0.1),
        estimate=Estimate(value=value, std=std, unit="mL/min"),
    )


@pytest.fixture(scope="module")
def facts(system: System) -> Facts:
    return read_facts(system.layout, {})


@pytest.mark.arithmetic("one-sided 95 % of a normal distribution: 1.6449 standard deviations")
@pytest.mark.parametrize(
    ("value", "std", "result"),
    [
        (0.7 - 1.65 * 0.1, 0.1, "passed"),
        (0.7 - 1.64 * 0.1, 0.1, "undecided"),
        (0.7 + 1.64 * 0.1, 0.1, "undecided"),
        (0.7 + 1.65 * 0.1, 0.1, "failed"),
    ],
)
def test_a_number_passes_or_fails_only_with_confidence(
    value: float, std: float, result: str
) -> None:
    assert judge(TIGHT, measured(value, std)).result == result


def test_a_lower_limit_works_the_other_way_round() -> None:
    assert judge(STRONG, measured(95.0, 5.0)).result == "passed"
    assert judge(STRONG, measured(60.0, 5.0)).result == "failed"


def test_an_undecided_test_says_what_to_do() -> None:
    judged = judge(TIGHT, measured(0.7, 0.3))
    assert judged.text.endswith("repeat it longer or with a finer instrument")
    assert "must be at most 0.7 mL/min" in judged.text


def test_an_outcome_passes_only_if_it_is_the_wanted_one() -> None:
    proof = replace(TIGHT, at_most=None, outcome="rises")
    seen = replace(measured(1.0, 1.0), estimate=None, text="the corner rises")
    assert judge(proof, seen, "rises").result == "passed"
    assert judge(proof, seen, "stays").result == "failed"


@pytest.mark.arithmetic(
    "5 mm in 12 h is 0.3465 cm3/min at 0 degC, 1 atm and 293.15 K for 0.0100 m2, 542 624 Pa; "
    "half of 0.7 mL/min at 20 degC, 1 atm and 288.15 K is in proportion"
)
def test_the_shortest_hold_is_hours_for_a_tape(facts: Facts) -> None:
    exact = dict(facts.values)
    exact["spring-area"] = Estimate(value=0.0100, std=0.0, unit="m²")
    exact["spring-pressure"] = Estimate(value=542_624.25 - 101_325, std=0.0, unit="Pa")
    exact["barometer"] = Estimate(value=101_325, std=0.0, unit="Pa")
    exact["spring-volume"] = Estimate(value=1e-9, std=0.0, unit="m³")  # no thermal share
    exact["lever-ratio"] = Estimate(value=1.0, std=0.0, unit="")
    in_12_h = 5.0 * (0.35 / (0.3465 * 293.15 / 273.15)) * (288.15 / 293.15)  # [mm]
    unresolved = 1.6449 * 2**0.5 * 1.0  # [mm] two readings of 1 mm each, one-sided 95 %
    hours = shortest_hold(0.7e-6 / 60, exact, 1e-3) / 3600
    assert hours == pytest.approx(unresolved / in_12_h * 12.0, rel=1e-3)


@given(st.floats(0.1, 5.0), st.floats(1.1, 10.0))
def test_a_finer_tape_or_a_wider_limit_shortens_the_hold(std_mm: float, factor: float) -> None:
    values = {
        "spring-area": Estimate(value=0.011, std=0.0, unit="m²"),
        "spring-volume": Estimate(value=1.8e-3, std=0.0, unit="m³"),
        "spring-pressure": Estimate(value=5e5, std=0.0, unit="Pa"),
        "barometer": Estimate(value=1e5, std=0.0, unit="Pa"),
        "lever-ratio": Estimate(value=0.9, std=0.0, unit=""),
    }
    base = shortest_hold(1e-8, values, 1e-3 * std_mm)
    assert shortest_hold(1e-8, values, 1e-3 * std_mm * factor) > base
    assert shortest_hold(factor * 1e-8, values, 1e-3 * std_mm) == pytest.approx(base / factor)


def test_every_fault_has_a_proof_with_its_limit_in_words(system: System, facts: Facts) -> None:
    for fault in system.faults:
        (due,) = proofs_due(system, (fault,), facts)
        assert due.faults == (fault,)
        assert due.limit
        assert due.judged is None


def test_a_leak_is_proved_by_a_hold_with_a_time(system: System, facts: Facts) -> None:
    (due,) = proofs_due(system, ("spring.fold-leak@left",), facts)
    assert due.hold is not None
    assert 3600 < due.hold < 24 * 3600


def test_one_proof_serves_faults_that_share_it(system: System, facts: Facts) -> None:
    faults = ("spring.fold-leak@left", "line.fitting-leak@left", "spring.fold-leak@right")
    due = proofs_due(system, faults, facts)
    assert [len(d.faults) for d in due] == [2, 1]


def test_the_job_s_answers_are_judged(system: System, facts: Facts) -> None:
    proof = system.proof_for("spring.fold-leak@left")
    assert proof is not None
    values = {
        "height-start": "400 mm",
        "height-end": "399.5 mm",
        "time": "14 h",
        "temperature-start": "9 °C",
        "temperature-end": "9 °C",
    }
    entry = Entry(id="p1", check=proof.check, values=values)
    job = Job(id="j", title="t", layout="rear-pair", proofs=(entry,))
    (due,) = proofs_due(system, ("spring.fold-leak@left",), facts, job)
    assert due.judged is not None
    assert due.judged.result in ("passed", "undecided")
    leaking = replace(entry, values={**values, "height-end": "340 mm"})
    (due,) = proofs_due(system, ("spring.fold-leak@left",), facts, replace(job, proofs=(leaking,)))
    assert due.judged is not None
    assert due.judged.result == "failed"
