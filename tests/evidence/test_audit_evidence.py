"""One finding for a channel, whatever its tests say; rates as they were measured."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from sagtrace.evidence.audit import (
    RATES,
    STATES,
    audit_findings,
    audited_results,
    body_moved,
    outcome_of,
    read_episodes,
    rise_per_kelvin,
    signal_node,
)
from sagtrace.evidence.facts import Facts, read_facts
from sagtrace.evidence.findings import Finding, combined
from sagtrace.signals.audit import Audit, AuditResult, audit_heights, height_roles
from sagtrace.signals.calibration import Tape
from sagtrace.signals.episodes import find_episodes
from sagtrace.signals.trace import Trace
from sagtrace.vehicle.knowledge import Knowledge
from sagtrace.vehicle.system import System, expand
from virtual_recordings import defect, height_of, layout_of, sampled, sweep

Array = NDArray[np.float64]
AXLE = "height.rear"


@pytest.fixture(scope="module")
def facts(system: System) -> Facts:
    return read_facts(system.layout, {})


@pytest.fixture(scope="module")
def trace() -> Trace:
    seed = next(seed for seed in range(900, 903) if layout_of(seed) == "rear-pair")
    return sampled(sweep(seed), 10, None, np.random.default_rng(1))


def likely(system: System, finding: Finding) -> dict[str, float]:
    return dict(zip(system.node(finding.target).state_ids, finding.likelihood, strict=True))


def only(found: tuple[Finding, ...]) -> Finding:
    (finding,) = found
    return finding


def with_height(trace: Trace, values: Array) -> Trace:
    return Trace(time=trace.time, channels={**trace.channels, AXLE: values})


def test_rates_are_probabilities_of_the_four_outcomes() -> None:
    for table in RATES.values():
        assert set(table) == {"sound", "jumps", "wrong", "gone"}
        assert np.sum(list(table.values()), axis=0) == pytest.approx(np.ones(len(STATES)), abs=2e-3)


def test_the_states_are_those_of_the_knowledge(system: System) -> None:
    assert system.node("height.signal").state_ids == STATES


@pytest.mark.parametrize(
    ("state", "best"),
    [("noisy", "noisy"), ("invalid", "invalid")],
)
def test_a_bad_signal_reads_like_its_state(
    system: System, facts: Facts, trace: Trace, state: str, best: str
) -> None:
    right = 0
    for seed in range(20):
        bad = defect(trace, AXLE, state, 10.0, np.random.default_rng(seed))
        values = likely(system, only(audit_findings(system, bad, facts, (), "r")))
        right += max(values, key=lambda s: values[s]) == best
    assert right >= 14


def test_a_sound_signal_speaks_for_itself_but_not_against_an_offset_alone(
    system: System, facts: Facts, trace: Trace
) -> None:
    finding = only(audit_findings(system, trace, facts, (), "rec-1"))
    assert finding.target == "height.signal"
    assert finding.id == "rec-1.audit.height.rear"
    assert finding.source == "rec-1"
    values = likely(system, finding)
    assert values["agrees"] == 1.0
    assert values["offset"] > 0.3
    assert {c.code for c in finding.caveats} == {"no-tape"}


def test_every_test_of_a_channel_is_one_piece_of_evidence(
    system: System, facts: Facts, trace: Trace
) -> None:
    """More of the same defect does not make the finding surer."""
    rng = np.random.default_rng(3)
    spiky = trace.channels[AXLE].copy()
    spiky[1000] += 0.01
    noisy = spiky + rng.normal(0.0, 3e-3, spiky.size)
    noisy[[500, 1500]] = np.nan
    one = audit_findings(system, with_height(trace, spiky), facts, (), "r")
    many = audit_findings(system, with_height(trace, noisy), facts, (), "r")
    assert only(one).likelihood == only(many).likelihood
    assert len(combined(many)) == 1
    results = audited_results(system, audit_heights(with_height(trace, noisy)))
    assert len({r.likelihood for r in results}) == 1


@pytest.mark.parametrize(("shift", "best"), [(0.0, "agrees"), (0.035, "offset"), (-0.05, "offset")])
def test_tapes_at_two_heights_tell_a_steady_wrong_signal(
    system: System, facts: Facts, trace: Trace, shift: float, best: str
) -> None:
    def level(at: int) -> float:
        return float(np.median(trace.channels[AXLE][at : at + 40]))

    tapes = [
        Tape(channel=AXLE, time=t, height=level(i), std=2e-3)
        for t, i in ((142.0, 1400), (282.0, 2800))
    ]
    off = with_height(trace, trace.channels[AXLE] + shift)
    finding = only(audit_findings(system, off, facts, tapes, "r"))
    values = likely(system, finding)
    assert max(values, key=lambda s: values[s]) == best
    assert finding.estimate is not None
    assert finding.estimate.value == pytest.approx(1e3 * abs(shift), abs=1.0)
    assert finding.estimate.unit == "mm"


def test_a_parked_vehicle_says_less_and_says_so(system: System, facts: Facts) -> None:
    rng = np.random.default_rng(1)
    x = np.rint((0.4 + rng.normal(0.0, 3e-4, 3000)) / 5e-4) * 5e-4
    still = Trace(time=np.arange(3000.0) / 10.0, channels={AXLE: x})
    assert not body_moved(audit_heights(still))
    finding = only(audit_findings(system, still, facts, (), "r"))
    assert {c.code for c in finding.caveats} == {"no-sweep", "no-tape"}
    assert likely(system, finding)["offset"] > 0.8


def test_corners_have_a_finding_each(knowledge: Knowledge) -> None:
    four = expand(knowledge, "four-corner")
    made = sweep(901)
    trace = sampled(made, 10, None, np.random.default_rng(2))
    facts = read_facts(four.layout, {})
    found = audit_findings(four, trace, facts, (), "r")
    assert {f.target for f in found} == {f"corner-signal@{c}" for c in made.vehicle.corners}
    bad = defect(trace, height_of(made), "noisy", 10.0, np.random.default_rng(5))
    spoiled = {f.target: f for f in audit_findings(four, bad, facts, (), "r")}
    assert likely(four, spoiled["corner-signal@front-left"])["noisy"] == 1.0
    assert likely(four, spoiled["corner-signal@front-right"])["agrees"] == 1.0


def test_a_layout_without_the_sensor_has_no_finding(knowledge: Knowledge, trace: Trace) -> None:
    four = expand(knowledge, "four-corner")
    assert signal_node(four, AXLE) is None
    assert audit_findings(four, trace, read_facts(four.layout, {}), (), "r") == ()
    told = audited_results(four, audit_heights(trace))
    assert all(result.likelihood == () for result in told)


def result(kind: str, value: float) -> AuditResult:
    return AuditResult(
        kind=kind,  # type: ignore[arg-type]
        channel=AXLE,
        value=value,
        std=0.0,
        unit="",
        threshold=1.0,
        when=(),
        text="",
    )


def test_what_is_gone_cannot_jump_and_what_jumps_is_not_only_wrong() -> None:
    gone, jumps, wrong = result("range", 2.0), result("spikes", 2.0), result("sides", 2.0)
    assert outcome_of([wrong, jumps, gone]) == "gone"
    assert outcome_of([wrong, jumps]) == "jumps"
    assert outcome_of([wrong, result("spikes", 0.5)]) == "wrong"
    assert outcome_of([result("drift", 9.0)]) == "sound"  # a leak does the same
    assert not body_moved(Audit(results=(), swept=0.0, asked=0.0))


@pytest.mark.common_practice("a healthy closed spring moves about half a millimetre for a kelvin")
def test_a_kelvin_moves_the_body_by_half_a_millimetre(facts: Facts) -> None:
    rise = rise_per_kelvin(facts)
    assert 0.3e-3 < rise.value < 0.9e-3
    assert rise.std > 0.1 * rise.value


@pytest.mark.arithmetic("V / (A lever T) of the facts without spread: volume grows as temperature")
def test_the_rise_of_a_kelvin_by_hand(facts: Facts) -> None:
    given = {name: fact.value for name, fact in facts.values.items()}
    by_hand = given["spring-volume"] / (given["spring-area"] * given["lever-ratio"] * 293.15)
    assert rise_per_kelvin(facts).value == pytest.approx(by_hand, rel=0.01)


def test_the_table_takes_the_vehicles_springs(facts: Facts, trace: Trace) -> None:
    table = read_episodes(trace, find_episodes(trace), facts)
    assert {row.channel for row in table.holds} == set(height_roles(trace))
    assert table.fills
