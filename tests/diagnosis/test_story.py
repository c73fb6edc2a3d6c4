"""Which fault brought about which, and whether the measured leak carries the story."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from itertools import chain, combinations

import numpy as np
import pytest
from numpy.typing import NDArray

from reference import Worlds, direct_table
from sagtrace.diagnosis.story import Link, tell_story
from sagtrace.diagnosis.verdict import Reasoner
from sagtrace.evidence.facts import read_facts
from sagtrace.evidence.findings import Finding, combined, quantity_finding
from sagtrace.evidence.gather import complaint_finding
from sagtrace.evidence.models import Measured
from sagtrace.physics.estimate import Estimate
from sagtrace.units import to_si
from sagtrace.vehicle.knowledge import Knowledge
from sagtrace.vehicle.nodes import Node
from sagtrace.vehicle.system import System, expand
from small_system import cause, condition, fault, found, small_reasoner, system_of

Array = NDArray[np.float64]

SMALL = small_reasoner()
WORLDS = Worlds(SMALL.system)
LEAK = "spring.fold-leak@left"


def certain(target: str, *likelihood: float) -> Finding:
    return Finding(
        id=target, source=target, name=target, text="", target=target, likelihood=likelihood
    )


def leak_of(system: System, ml_per_min: float, std: float, target: str) -> Finding:
    """Return a measurement of a leak."""
    estimate = Estimate(value=to_si(ml_per_min, "mL/min"), std=to_si(std, "mL/min"), unit="m³/s")
    return quantity_finding(
        id=f"{target} {std}",
        source="hold.overnight",
        name="hold",
        node=system.nodes[target],
        measured=Measured(estimate=estimate),
        gross_error=0.02,
    )


@pytest.fixture(scope="module")
def facts(system: System) -> Mapping[str, Estimate]:
    return read_facts(system.layout, {}).values


def links(
    reasoner: Reasoner, facts: Mapping[str, Estimate], *findings: Finding
) -> dict[tuple[str, str, str], Link]:
    story = tell_story(reasoner, reasoner.judge(findings), facts)
    return {(link.cause, link.via, link.effect): link for link in story}


# --- On paper


def test_share_by_hand() -> None:
    """A worn pump blows the fuse in 0.2; it blows by itself in 0.02, and with a bad relay in 0.1.

    With pump and fuse present and the relay sound, the pump was at work in
    0.2 / (1 - 0.8 x 0.98) = 0.2 / 0.216 = 0.926; with a bad relay, in
    0.2 / (1 - 0.8 x 0.98 x 0.9) = 0.2 / 0.2944 = 0.679.
    """
    seen = [certain("pump", 0.0, 1.0), certain("fuse", 0.0, 1.0)]
    bad = links(SMALL, {}, *seen, certain("relay", 0.0, 1.0))["pump", "", "fuse"]
    assert bad.share == pytest.approx(0.2 / 0.2944, abs=1e-12)
    link = links(SMALL, {}, *seen, certain("relay", 1.0, 0.0))["pump", "", "fuse"]
    assert link.share == pytest.approx(0.2 / 0.216, abs=1e-12)
    assert link.together == pytest.approx(1.0, abs=1e-12)
    assert link.text == "a worn pump draws too much"
    assert link.support is None
    assert link.counts


def test_share_by_way_of_a_condition_by_hand() -> None:
    """A fast leak, a worn pump, and nothing else known.

    Overrun: by the leak 0.6, by itself 0.02. Pump: by overrun 0.5, by itself 0.06.
    P(pump) = 0.608 x 0.53 + 0.392 x 0.06 = 0.34576, with P(overrun) = 1 - 0.4 x 0.98 = 0.608.
    Both steps at work: 0.6 x 0.5 = 0.3, whatever else was; share 0.3 / 0.34576 = 0.868.
    """
    seen = [certain("leak", 0.0, 0.0, 1.0), certain("pump", 0.0, 1.0)]
    link = links(SMALL, {}, *seen)["leak", "overrun", "pump"]
    assert link.together == pytest.approx(1.0, abs=1e-12)
    assert link.share == pytest.approx(0.3 / 0.34576, abs=1e-12)
    assert link.text == "the leak keeps the pump running; running on wears the pump"
    assert link.counts


def test_a_leak_that_cannot_do_it_has_an_alibi() -> None:
    """A slow leak never makes this pump run on, so it has no part in the wear."""
    seen = [certain("leak", 0.0, 1.0, 0.0), certain("pump", 0.0, 1.0), certain("overrun", 0.0, 1.0)]
    link = links(SMALL, {}, *seen)["leak", "overrun", "pump"]
    assert link.share == pytest.approx(0.0, abs=1e-12)
    assert not link.counts


def in_every_world(node: Node) -> Array:
    """Return P(the node's state | its causes' states) in every joint state."""
    index = [WORLDS.of(cause.parent) for cause in node.causes]
    return np.asarray(direct_table(node, SMALL.system.nodes)[(*index, WORLDS.of(node.id))])


def share_by_worlds(seen: list[Finding], steps: list[tuple[str, str]]) -> float:
    """Return P(every step at work | its ends present, evidence) from every joint state.

    A step that was not at work leaves its effect to the other causes.
    """
    weight = WORLDS.weights(combined(tuple(seen)))
    weight = weight * WORLDS.present(steps[0][0]) * WORLDS.present(steps[-1][1])
    at_work = 0.0
    for silent in chain.from_iterable(combinations(steps, n) for n in range(len(steps) + 1)):
        quiet = weight.copy()
        for parent, child in silent:
            node = SMALL.system.nodes[child]
            arc = next(c for c in node.causes if c.parent == parent)
            others = replace(node, causes=tuple(c for c in node.causes if c is not arc))
            states = SMALL.system.nodes[parent].state_ids
            nothing = np.array([1.0 - sum(arc.gives.get(s, {}).values()) for s in states])
            quiet *= nothing[WORLDS.of(parent)] * in_every_world(others) / in_every_world(node)
        at_work += (-1) ** len(silent) * quiet.sum() / weight.sum()
    return at_work


def test_shares_against_every_joint_state() -> None:
    """With soft evidence on everything around the two stories."""
    seen = [
        certain("leak", 0.1, 0.8, 1.0),
        certain("pump", 0.05, 1.0),
        certain("fuse", 0.05, 1.0),
        certain("relay", 1.0, 0.6),
        certain("overrun", 0.7, 1.0),
        found(SMALL.system, "listen", "silent"),
    ]
    told = links(SMALL, {}, *seen)
    assert told["pump", "", "fuse"].share == pytest.approx(
        share_by_worlds(seen, [("pump", "fuse")]), abs=1e-12
    )
    assert told["leak", "overrun", "pump"].share == pytest.approx(
        share_by_worlds(seen, [("leak", "overrun"), ("overrun", "pump")]), abs=1e-12
    )
    weight = WORLDS.weights(combined(tuple(seen)))
    both = WORLDS.present("leak") & WORLDS.present("pump")
    assert told["leak", "overrun", "pump"].together == pytest.approx(
        weight[both].sum() / weight.sum(), abs=1e-12
    )


def test_an_arc_without_a_story_is_not_told() -> None:
    """The relay may blow the fuse, but nobody wrote down how."""
    told = links(SMALL, {}, certain("relay", 0.0, 1.0), certain("fuse", 0.0, 1.0))
    assert ("relay", "", "fuse") not in told


def test_a_link_is_told_only_if_both_are_probable_together() -> None:
    """The low ride is explained by either, rarely by both."""
    verdict = SMALL.judge([found(SMALL.system, "ask", "low")])
    assert tell_story(SMALL, verdict, {}) == ()
    either = [
        fault("a", {"present": 0.3}),
        fault("b", {"present": 0.3}, cause("a", {"present": {"present": 0.01}}, "a spoils b")),
        condition(
            "low",
            "level low",
            {},
            cause("a", {"present": {"low": 1.0}}),
            cause("b", {"present": {"low": 1.0}}),
        ),
    ]
    one = Reasoner(system_of([*either], []))
    told = one.judge([certain("low", 0.0, 1.0)])
    assert min(b.probability for b in told.beliefs) > 0.2
    # Both: 0.3 x 0.307 = 0.092, of 1 - 0.7 x 0.7 = 0.51: 0.18, below one in five.
    assert tell_story(one, told, {}) == ()


def test_the_strongest_link_comes_first() -> None:
    seen = [
        certain("leak", 0.0, 0.0, 1.0),
        certain("pump", 0.0, 1.0),
        certain("fuse", 0.4, 1.0),
    ]
    story = tell_story(SMALL, SMALL.judge(seen), {})
    weights = [link.together * link.share for link in story]
    assert len(story) == 2
    assert weights == sorted(weights, reverse=True)


# --- On the shipped knowledge


@pytest.fixture(scope="module")
def worn(system: System) -> tuple[Finding, ...]:
    """Return findings that make a leak at the left spring and a worn pump probable."""
    soap = certain("check:soap.fold-normal@left", 1.0, 0.0)
    return (complaint_finding(system, "low"), soap, certain("pump.worn", 0.01, 1.0, 1.0))


def test_a_heavy_leak_carries_the_story(
    reasoner: Reasoner, facts: Mapping[str, Estimate], worn: tuple[Finding, ...]
) -> None:
    heavy = leak_of(reasoner.system, 2000.0, 300.0, "air.escape@left")
    link = links(reasoner, facts, *worn, heavy)[LEAK, "overrun", "pump.worn"]
    assert link.counts
    assert link.support is not None
    assert link.support.chance > 0.9
    assert link.together > 0.2
    assert link.share > 0.5
    assert "% of a healthy pump's time" in link.support.text


def test_a_slow_leak_does_not(
    reasoner: Reasoner, facts: Mapping[str, Estimate], worn: tuple[Finding, ...]
) -> None:
    """3 mL/min is made up for in no time."""
    slow = leak_of(reasoner.system, 3.0, 0.5, "air.escape@left")
    link = links(reasoner, facts, *worn, slow)[LEAK, "overrun", "pump.worn"]
    assert not link.counts
    assert link.support is not None
    assert link.support.chance < 0.01


def test_what_was_measured_outweighs_what_is_likely(
    reasoner: Reasoner, facts: Mapping[str, Estimate], worn: tuple[Finding, ...]
) -> None:
    """A leak taken for heavy would have done it, but measured it is too small."""
    heavy = certain(LEAK, 0.0, 0.0, 0.0, 1.0)
    slow = leak_of(reasoner.system, 3.0, 0.5, "air.escape@left")
    link = links(reasoner, facts, *worn, heavy, slow)[LEAK, "overrun", "pump.worn"]
    assert link.share > 0.5
    assert not link.counts


@pytest.mark.arithmetic("duty = leak / (free delivery x (1 + c - c P^(1/n)))")
def test_duty_by_hand(
    reasoner: Reasoner, facts: Mapping[str, Estimate], worn: tuple[Finding, ...]
) -> None:
    """26 L/min against 5 bar over 100 kPa, clearance 5 %, n 1.3, and a leak of 300 mL/min.

    P = 6, 6^(1/1.3) = 3.968, efficiency 1.05 - 0.05 x 3.968 = 0.8516: 22.14 L/min arrive, and
    300 mL/min take 1.355 % of the time.
    """
    known = dict(facts)
    for name, value in {
        "pump-delivery": to_si(26.0, "L/min"),
        "pump-clearance": 0.05,
        "spring-pressure": 5e5,
        "barometer": 1e5,
        "allowed-duty": 0.04,
    }.items():
        known[name] = replace(known[name], value=value)
    seen = leak_of(reasoner.system, 300.0, 10.0, "air.escape@left")
    support = links(reasoner, known, *worn, seen)[LEAK, "overrun", "pump.worn"].support
    assert support is not None
    assert support.estimate.value == pytest.approx(1.355, abs=5e-4)
    assert support.estimate.unit == "%"
    assert support.limit == pytest.approx(4.0)
    assert support.estimate.std > 1.355 * 10.0 / 300.0


def test_the_tightest_measurement_of_the_corner_counts(
    reasoner: Reasoner, facts: Mapping[str, Estimate], worn: tuple[Finding, ...]
) -> None:
    system = reasoner.system
    rough = leak_of(system, 900.0, 400.0, "air.escape@left")
    fine = leak_of(system, 400.0, 20.0, "air.escape@left")
    axle = leak_of(system, 500.0, 1.0, "air.escape-axle")
    told = links(reasoner, facts, *worn, rough, fine, axle)
    only = links(reasoner, facts, *worn, fine)
    support, alone = told[LEAK, "overrun", "pump.worn"].support, only[LEAK, "overrun", "pump.worn"]
    assert support is not None
    assert support == alone.support


def test_the_axle_stands_in_for_a_corner_that_was_not_measured(
    reasoner: Reasoner, facts: Mapping[str, Estimate], worn: tuple[Finding, ...]
) -> None:
    axle = leak_of(reasoner.system, 3.0, 0.5, "air.escape-axle")
    assert not links(reasoner, facts, *worn, axle)[LEAK, "overrun", "pump.worn"].counts


@pytest.fixture(scope="module")
def four(knowledge: Knowledge) -> Reasoner:
    return Reasoner(expand(knowledge, "four-corner"))


@pytest.mark.parametrize("corner", ["front-left", "rear-right"])
@pytest.mark.parametrize(
    ("target", "axle"), [("air.escape-axle", "rear"), ("air.escape-front", "front")]
)
def test_the_leak_of_an_axle_speaks_of_its_own_corners_alone(
    four: Reasoner, target: str, axle: str, corner: str
) -> None:
    """A rear axle that holds its air is no alibi for a leak at the front."""
    leak = f"spring.fold-leak@{corner}"
    slow = replace(leak_of(four.system, 3.0, 0.5, "air.escape-axle"), target=target)
    seen = [certain(leak, 0.0, 0.0, 0.0, 1.0), certain("pump.worn", 0.01, 1.0, 1.0), slow]
    known = read_facts(four.system.layout, {}).values
    link = links(four, known, *seen)[leak, "overrun", "pump.worn"]
    assert (link.support is not None) == corner.startswith(axle)
    assert link.counts != corner.startswith(axle)


def test_without_a_measured_leak_the_story_stands_unsupported(
    reasoner: Reasoner, facts: Mapping[str, Estimate], worn: tuple[Finding, ...]
) -> None:
    link = links(reasoner, facts, *worn)[LEAK, "overrun", "pump.worn"]
    assert link.support is None
    assert link.counts


def test_a_slow_leak_says_nothing_of_a_welded_relay(
    reasoner: Reasoner, facts: Mapping[str, Estimate], system: System
) -> None:
    """The relay keeps the pump running whether the springs leak or not."""
    seen = [
        complaint_finding(system, "low"),
        certain("relay.stuck-on", 0.0, 1.0),
        certain("pump.worn", 0.0, 1.0, 1.0),
        leak_of(system, 3.0, 0.5, "air.escape-axle"),
    ]
    link = links(reasoner, facts, *seen)["relay.stuck-on", "overrun", "pump.worn"]
    assert link.support is None
    assert link.counts
