"""Proofs: the limit in words, the shortest hold, and passed, undecided or failed."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sagtrace.bootstrap import open_workshop
from sagtrace.evidence.facts import Facts, read_facts, spread_to_si
from sagtrace.evidence.findings import Finding, quantity_finding
from sagtrace.evidence.models import Measured
from sagtrace.physics.estimate import Caveat, Estimate
from sagtrace.repair.proofs import DueProof, judge, proofs_due, shortest_hold
from sagtrace.units import to_si
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


def noting(finding: Finding, *codes: str, **changes: object) -> Finding:
    caveats = tuple(Caveat(code=code, text=code) for code in codes)
    return replace(finding, caveats=caveats, **changes)  # type: ignore[arg-type]


def entry_of(check: str, **values: str) -> Entry:
    return Entry(id="p1", check=check, values={k.replace("_", "-"): v for k, v in values.items()})


def due_of(system: System, fault: str, entry: Entry, **typed: str) -> DueProof:
    facts = read_facts(system.layout, {k.replace("_", "-"): v for k, v in typed.items()})
    job = Job(id="j", title="t", layout="rear-pair", proofs=(entry,))
    due, *_ = proofs_due(system, (fault,), facts, job)
    return due


HOLD = {"height_start": "400 mm", "height_end": "396 mm", "time": "14 h"}
BOTH = {"temperature_start": "9.0 °C", "temperature_end": "9.0 °C"}
FILL = {"pressure_start": "0.00 bar", "pressure_end": "7.00 bar", "volume": "2.00 L"}


@pytest.mark.parametrize(
    ("fault", "entry", "typed", "advice"),
    [
        (
            "spring.fold-leak@left",
            entry_of("hold.overnight@left", **HOLD),
            {},
            "note both temperatures",
        ),
        (
            "spring.fold-leak@left",
            entry_of("hold.overnight@left", **{**HOLD, "time": "5 h"}, **BOTH),
            {},
            "repeat it longer or with a finer instrument",
        ),
        (
            "pump.worn",
            entry_of("pump.fill-test", **{**FILL, "volume": "2 L"}, time="40.0 s", supply="12.5 V"),
            {"pump_delivery": "26.0 L/min"},
            "read more finely: volume of the",
        ),
        (
            "pump.worn",
            entry_of("pump.fill-test", **FILL, time="44.0 s"),
            {"pump_delivery": "26.0 L/min"},
            "measure the voltage at the pump",
        ),
        (
            "pump.worn",
            entry_of("pump.fill-test", **FILL, time="40.0 s", supply="12.50 V"),
            {},
            "type in the vehicle's own value: free air of a healthy pump",
        ),
    ],
)
def test_an_undecided_test_names_what_hides_the_answer(
    system: System, fault: str, entry: Entry, typed: dict[str, str], advice: str
) -> None:
    judged = due_of(system, fault, entry, **typed).judged
    assert judged is not None
    assert judged.result == "undecided", judged.text
    assert judged.advice.lower().startswith(f"the reading cannot tell: {advice}"), judged.advice


def test_what_is_missing_does_not_stop_a_test_that_decides() -> None:
    assert judge(TIGHT, noting(measured(0.1, 0.1), "no-temperature")).result == "passed"
    assert judge(TIGHT, noting(measured(3.0, 0.1), "no-temperature")).advice == ""


def test_a_leak_below_zero_proves_nothing() -> None:
    """No leak and no resistance is below zero; two standard deviations below, something is off."""
    assert judge(TIGHT, measured(-0.19, 0.1)).result == "passed"
    judged = judge(TIGHT, measured(-0.21, 0.1))
    assert judged.result == "undecided"
    assert judged.advice.startswith("Look again: less than nothing cannot be")


def test_heights_too_close_together_prove_nothing() -> None:
    judged = judge(TIGHT, noting(measured(0.1, 0.1), "short-sweep"))
    assert judged.result == "undecided"
    assert "two heights at least 20 mm apart" in judged.text


def test_a_number_on_the_good_side_that_reads_like_a_fault_proves_nothing() -> None:
    """A pump that draws nothing also draws less than the limit."""
    judged = judge(TIGHT, replace(measured(0.1, 0.1), likelihood=(0.01, 1.0)))
    assert judged.result == "undecided"
    assert "it reads like: tight" in judged.text


@pytest.mark.parametrize(
    ("seconds", "result"), [("36.0 s", "passed"), ("18.0 s", "undecided"), ("12.0 s", "undecided")]
)
def test_more_than_a_healthy_pump_gives_is_looked_at_again(
    system: System, seconds: str, result: str
) -> None:
    """Twice and three times what a sound pump gives is no proof of a good pump."""
    entry = entry_of("pump.fill-test", **FILL, supply="12.5 V", time=seconds)
    judged = due_of(system, "pump.worn", entry, pump_delivery="26.0 L/min").judged
    assert judged is not None
    assert judged.result == result, judged.text
    if result == "undecided":
        assert "Look again: this is more than a healthy one gives" in judged.text


def test_a_pump_that_draws_nothing_does_not_prove_its_fuse(system: System, facts: Facts) -> None:
    job = Job(
        id="j", title="t", layout="rear-pair",
        proofs=(entry_of("pump.current-clamp", value="0.1 A"),),
    )  # fmt: skip
    due, *_ = proofs_due(system, ("fuse.blown",), facts, job)
    assert due.judged is not None
    assert due.judged.result == "undecided"
    normal = replace(job, proofs=(entry_of("pump.current-clamp", value="18 A"),))
    due, *_ = proofs_due(system, ("fuse.blown",), facts, normal)
    assert due.judged is not None
    assert due.judged.result == "passed"


def test_every_proof_can_be_passed_in_the_middle_of_what_is_sound(
    system: System, facts: Facts
) -> None:
    """The doubt about odd numbers never stops a usual one."""
    for proof in system.proofs.values():
        measure = system.checks[proof.check].measure
        if measure is None:
            continue
        node = system.nodes[measure.node]
        assert node.quantity is not None
        value = node.quantity.states[node.state_ids[0]].centre
        usual = quantity_finding(
            id="p", source=proof.check, name="", node=node, gross_error=measure.gross_error,
            measured=Measured(
                estimate=Estimate(
                    value=to_si(value, node.quantity.unit),
                    std=spread_to_si(0.01 * value, node.quantity.unit), unit="",
                )
            ),
        )  # fmt: skip
        assert judge(proof, usual).result == "passed", proof.id


def test_an_outcome_passes_only_if_it_is_the_wanted_one() -> None:
    proof = replace(TIGHT, at_most=None, outcome="rises")
    seen = replace(measured(1.0, 1.0), estimate=None, text="the corner rises")
    assert judge(proof, seen, "rises").result == "passed"
    assert judge(proof, seen, "stays").result == "failed"
    both = replace(proof, also=("level",))
    assert judge(both, seen, "level").result == "passed"
    assert judge(both, seen, "stays").result == "failed"


@pytest.mark.common_practice("a mild night in which nothing falls is no leak either")
def test_a_night_without_a_fall_proves_that_there_is_no_leak() -> None:
    system = open_workshop().system("rear-pair")
    (proof,) = (p for p in system.proofs.values() if "use.cold-night" in p.faults)
    seen = replace(measured(1.0, 1.0), estimate=None, text="it fell by less than 5 mm")
    results = {o.id: judge(proof, seen, o.id).result for o in system.checks[proof.check].outcomes}
    assert results == {"no-fall": "passed", "explained": "passed", "unexplained": "failed"}


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
        due, *_ = proofs_due(system, (fault,), facts)
        assert due.faults == (fault,)
        assert due.limit
        assert due.judged is None


def test_a_leak_is_proved_by_a_hold_with_a_time(system: System, facts: Facts) -> None:
    due, *_ = proofs_due(system, ("spring.fold-leak@left",), facts)
    assert due.hold is not None
    assert 3600 < due.hold < 24 * 3600


def test_one_proof_serves_faults_that_share_it(system: System, facts: Facts) -> None:
    faults = ("spring.fold-leak@left", "line.fitting-leak@left", "spring.fold-leak@right")
    due = proofs_due(system, faults, facts)
    assert [len(d.faults) for d in due] == [2, 1, 0]
    assert due[-1].proof.whole


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
    due, *_ = proofs_due(system, ("spring.fold-leak@left",), facts, job)
    assert due.judged is not None
    assert due.judged.result in ("passed", "undecided")
    leaking = replace(entry, values={**values, "height-end": "340 mm"})
    due, *_ = proofs_due(system, ("spring.fold-leak@left",), facts, replace(job, proofs=(leaking,)))
    assert due.judged is not None
    assert due.judged.result == "failed"
