"""Repair options against every joint state, and what a half repair says."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from numpy.typing import NDArray

from reference import Worlds
from sagtrace.diagnosis.story import tell_story
from sagtrace.diagnosis.verdict import Reasoner
from sagtrace.evidence.findings import Finding, combined
from sagtrace.repair.costs import price_of, repair_cost
from sagtrace.repair.options import Option, repair_options, repairs_for
from sagtrace.vehicle.nodes import Node
from small_system import found, small_reasoner

Array = NDArray[np.float64]

SMALL = small_reasoner()
WORLDS = Worlds(SMALL.system)


def certain(target: str, *likelihood: float) -> Finding:
    return Finding(
        id=target, source=target, name=target, text="", target=target, likelihood=likelihood
    )


LEAK_AND_PUMP = (
    found(SMALL.system, "ask", "low"),
    found(SMALL.system, "listen", "laboured"),
    certain("leak", 0.02, 0.3, 1.0),
    certain("pump", 0.05, 1.0),
)
CASES = {
    "the complaint only": (found(SMALL.system, "ask", "low"),),
    "leak and pump": LEAK_AND_PUMP,
    "silent": (found(SMALL.system, "ask", "low"), found(SMALL.system, "listen", "silent")),
    "nothing found": (),
}


def options_for(
    findings: Sequence[Finding], reasoner: Reasoner = SMALL, held: Sequence[str] = ()
) -> dict[tuple[str, ...], Option]:
    verdict = reasoner.judge(findings)
    story = tell_story(reasoner, verdict, {})
    return {option.repairs: option for option in repair_options(reasoner, verdict, story, held)}


def holding(group: Sequence[str], fault_id: str) -> float | None:
    """Return how surely the best of the repairs of this fault lasts, None if none is done."""
    holds = [
        SMALL.system.repairs[r].holds for r in group if fault_id in SMALL.system.repairs[r].fixes
    ]
    return max(holds, default=None)


@pytest.mark.parametrize("case", CASES)
def test_cure_and_come_back_against_every_joint_state(case: str) -> None:
    """Cured: no fault left unrepaired. No come-back: every fault that is there keeps quiet.

    One that was repaired keeps quiet if the repair holds, one that was not with 1 - returns.
    """
    weight = WORLDS.weights(combined(tuple(CASES[case])))
    weight = weight / weight.sum()
    options = options_for(CASES[case])
    assert () in options
    assert len(options) >= 2
    for group, option in options.items():
        cured, quiet = np.ones(len(weight)), np.ones(len(weight))
        for fault_id, fault in SMALL.system.faults.items():
            here, holds = WORLDS.present(fault_id), holding(group, fault_id)
            if holds is None:
                cured *= ~here
            quiet *= np.where(here, 1.0 - fault.returns if holds is None else holds, 1.0)
        assert option.cure == pytest.approx(float(weight @ cured), abs=1e-12)
        assert option.come_back == pytest.approx(1.0 - float(weight @ quiet), abs=1e-12)


def test_what_needs_no_part_does_not_stand_in_the_way_of_a_cure() -> None:
    """An explanation that was not given is no part at fault; it may still bring them back."""
    faults: dict[str, Node] = {
        id_: replace(f, kind="no-part") if id_ == "valve" else f
        for id_, f in SMALL.system.faults.items()
    }
    lenient = Reasoner(replace(SMALL.system, nodes={**SMALL.system.nodes, **faults}))
    weight = WORLDS.weights(combined(LEAK_AND_PUMP))
    left = [WORLDS.present(f) for f in ("leak", "relay", "other", "pump", "fuse")]
    cured = weight[~np.any(left, axis=0)].sum() / weight.sum()
    options = options_for(LEAK_AND_PUMP, lenient)
    assert options[()].cure == pytest.approx(cured, abs=1e-12)
    assert options[()].come_back == pytest.approx(options_for(LEAK_AND_PUMP)[()].come_back)


def test_everything_in_the_leading_set_cures_more_than_half() -> None:
    verdict = SMALL.judge(LEAK_AND_PUMP)
    assert verdict.leading.faults == ("leak", "pump")
    assert verdict.leading.probability > 0.5
    for option in options_for(LEAK_AND_PUMP).values():
        if set(verdict.leading.faults) <= set(option.fixes):
            assert option.cure >= verdict.leading.probability - 1e-12
            assert option.cure > 0.5


def test_repairing_only_the_consequence_says_that_it_comes_back_and_why() -> None:
    options = options_for(LEAK_AND_PUMP)
    half = options["pump.kit",]
    assert half.cure < 0.1
    assert half.come_back > 0.8
    reason = half.reasons[0]
    assert reason.fault == "leak"
    assert reason.chance > 0.8
    assert reason.text == "leak would remain, and would bring about pump again"
    cause = options["leak.mend",]
    assert cause.reasons[0].text == "pump would remain"


def test_a_cause_that_does_not_carry_is_not_said_to_come_back() -> None:
    """The leak is slow, so it did not wear the pump and will not wear the next."""
    slow = (*LEAK_AND_PUMP[:2], certain("leak", 0.0, 1.0, 0.0), certain("pump", 0.05, 1.0))
    reason = options_for(slow)["pump.kit",].reasons[0]
    assert (reason.fault, reason.text) == ("leak", "leak would remain")


def test_reasons_come_most_likely_first_and_none_too_rare() -> None:
    for option in options_for(LEAK_AND_PUMP).values():
        chances = [reason.chance for reason in option.reasons]
        assert chances == sorted(chances, reverse=True)
        assert all(chance >= 0.02 for chance in chances)
        assert not {reason.fault for reason in option.reasons} & set(option.fixes)


def test_doing_nothing() -> None:
    option = options_for(LEAK_AND_PUMP)[()]
    assert option.fixes == ()
    assert option.price.total == 0.0
    assert option.cure < 0.01


def test_the_price_is_that_of_the_repairs_together() -> None:
    """Leak 30 and kit 80 min, raised 14, cover 9: 133; seal 20 and two rings at 25: 70."""
    options = options_for(LEAK_AND_PUMP)
    assert options["leak.mend", "pump.kit"].price.total == pytest.approx(203.0)
    raised = options_for(LEAK_AND_PUMP, held=("up",))
    assert raised["leak.mend", "pump.kit"].price.total == pytest.approx(189.0)


def test_the_cheapest_total_is_recommended() -> None:
    verdict = SMALL.judge(LEAK_AND_PUMP)
    options = repair_options(SMALL, verdict, (), ())
    totals = [option.expected_total for option in options if option.repairs]
    assert totals == sorted(totals)
    assert options[-1].repairs == ()  # no answer while a part is probably at fault
    assert [option.recommended for option in options] == [True] + [False] * (len(options) - 1)


def test_the_expected_total_by_hand() -> None:
    """Price, a come-back at 300 with its chance, the repairs that a come-back then needs.

    Those are the cheapest repair of each fault that was missed, with the chance that it is
    there and returns, and every repair that was done, with the chance that it does not hold.
    """
    option = options_for(LEAK_AND_PUMP)["leak.mend", "pump.kit"]
    verdict = SMALL.judge(LEAK_AND_PUMP)
    cheapest = {"relay": 34.0, "other": 120.0, "fuse": 8.0 + 23.0 + 2.0, "valve": 25.0 + 23.0}
    later = 0.1 * 64.0 + 0.3 * 153.0
    for fault_id, cost in cheapest.items():
        returns = SMALL.system.faults[fault_id].returns
        later += verdict.belief(fault_id).probability * returns * cost
    expected = 203.0 + 300.0 * option.come_back + later
    assert option.expected_total == pytest.approx(expected, abs=1e-9)


# --- Which repairs


@pytest.mark.parametrize("held", [(), ("up",), ("up", "cover")])
def test_the_cheapest_cover_of_any_set_of_faults(held: tuple[str, ...]) -> None:
    """Against every set of repairs there is."""
    repairs = list(SMALL.system.repairs.values())
    groups = [g for n in range(len(repairs) + 1) for g in combinations(repairs, n)]
    priced = [
        ({f for r in group for f in r.fixes}, price_of(SMALL.system, group, held).total)
        for group in groups
    ]
    names = list(SMALL.system.faults)
    for n in range(4):
        for faults in combinations(names, n):
            best = min(cost for fixed, cost in priced if fixed.issuperset(faults))
            chosen = repairs_for(SMALL.system, faults, held)
            assert chosen is not None
            group = [SMALL.system.repairs[r] for r in chosen]
            assert {f for r in group for f in r.fixes}.issuperset(faults)
            assert price_of(SMALL.system, group, held).total == pytest.approx(best)


def test_one_part_may_mend_several_faults() -> None:
    """Pump, fuse and valve: kit, fuse and valve (130 + 10 + 25 + 23 = 188) or the unit (283)."""
    assert repairs_for(SMALL.system, ("pump", "fuse", "valve"), ()) == (
        "pump.kit",
        "fuse.renew",
        "valve.renew",
    )
    dear = replace(SMALL.system.repairs["pump.kit"], minutes=180.0)
    system = replace(SMALL.system, repairs={**SMALL.system.repairs, "pump.kit": dear})
    assert repairs_for(system, ("pump", "fuse", "valve"), ()) == ("pump.unit",)


def test_nothing_to_repair_and_nothing_that_repairs() -> None:
    assert repairs_for(SMALL.system, (), ()) == ()
    without = {k: r for k, r in SMALL.system.repairs.items() if "leak" not in r.fixes}
    assert repairs_for(replace(SMALL.system, repairs=without), ("leak",), ()) is None


def test_an_option_that_lasts_is_among_them() -> None:
    """The kit holds in 0.70, the unit in 0.96; the dearer one is offered beside it."""
    options = options_for(LEAK_AND_PUMP)
    assert ("leak.mend", "pump.kit") in options
    assert ("leak.mend", "pump.unit") in options
    kit, unit = options["leak.mend", "pump.kit"], options["leak.mend", "pump.unit"]
    assert unit.price.total > kit.price.total
    assert unit.come_back < kit.come_back
    assert unit.price.total == pytest.approx(
        price_of(
            SMALL.system, [SMALL.system.repairs["leak.mend"], SMALL.system.repairs["pump.unit"]], ()
        ).total
    )
    assert repair_cost(SMALL.system, SMALL.system.repairs["pump.unit"], ()) == pytest.approx(283.0)
