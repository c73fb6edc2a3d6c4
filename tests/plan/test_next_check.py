"""Which check next, and when to stop: prices by hand and savings by a slow account."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Literal

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import stats

from reference import Worlds, one_hot
from sagtrace.diagnosis.outlook import look_ahead
from sagtrace.diagnosis.verdict import Reasoner
from sagtrace.evidence.findings import Finding, check_leaf, combined
from sagtrace.evidence.gather import complaint_finding
from sagtrace.plan.losses import Losses, losses_of
from sagtrace.plan.next_check import Offer, Plan, choose
from sagtrace.vehicle.checks import Access, Check
from sagtrace.vehicle.nodes import Fault, Node
from sagtrace.vehicle.repairs import Repair
from sagtrace.vehicle.system import System
from small_system import fault, found, look, small_reasoner, system_of

Array = NDArray[np.float64]

SMALL = small_reasoner()
LOW = found(SMALL.system, "ask", "low")


def certain(target: str, *likelihood: float) -> Finding:
    return Finding(
        id=target, source=target, name=target, text="", target=target, likelihood=likelihood
    )


def plan_for(
    reasoner: Reasoner, findings: Sequence[Finding], held: Sequence[str] = ()
) -> tuple[Plan, dict[str, Offer]]:
    done = {finding.source for finding in findings}
    checks = [check for check in reasoner.system.checks if check not in done]
    plan = choose(reasoner.system, look_ahead(reasoner, findings, checks), held)
    return plan, {offer.check: offer for offer in plan.offers}


# --- What a check costs


def test_a_check_without_information_saves_minus_its_cost() -> None:
    _, offers = plan_for(SMALL, [LOW])
    coin = offers["coin"]
    assert coin.cost == pytest.approx(2.0)
    assert coin.saving == pytest.approx(-2.0, abs=1e-9)
    for answer in coin.answers:
        assert answer.probability == pytest.approx(0.5)
        assert answer.after == pytest.approx(answer.before, abs=1e-12)


def test_waiting_costs_the_waiting_rate() -> None:
    """6 min of work at 1 and 600 min of waiting at 0.1."""
    _, offers = plan_for(SMALL, [LOW])
    assert offers["overnight"].cost == pytest.approx(6.0 + 60.0)
    assert offers["overnight"].minutes == pytest.approx(6.0)
    assert offers["overnight"].wait_minutes == pytest.approx(600.0)


@pytest.mark.parametrize(
    ("held", "undo", "reach", "minutes"),
    [
        ((), (), ("up", "cover"), 5.0 + (8.0 + 6.0) + (4.0 + 5.0)),
        (("up",), (), ("cover",), 5.0 + (4.0 + 5.0)),
        (("up", "cover"), (), (), 5.0),
        (("plugged",), ("plugged",), ("up", "cover"), 5.0 + 2.0 + 14.0 + 9.0),
        (("plugged", "charger"), ("charger", "plugged"), ("up", "cover"), 5.0 + 3.0 + 14.0 + 9.0),
    ],
)
def test_access(
    held: tuple[str, ...], undo: tuple[str, ...], reach: tuple[str, ...], minutes: float
) -> None:
    """5 min; up takes 8 and 6 back, the cover 4 and 5 back; plugged 2 to undo, its charger 1."""
    offer = plan_for(SMALL, [LOW], held)[1]["fuse.look"]
    assert offer.undo == undo
    assert offer.reach == reach
    assert offer.minutes == pytest.approx(minutes)
    assert offer.cost == pytest.approx(minutes)


def test_access_that_is_reached_moves_a_check_up() -> None:
    """Raised already, the soap costs 5 in place of 19 and saves more by at least the difference.

    At least, because the repair of a leak found becomes cheaper as well, but that on both sides.
    """
    (_, down), (_, raised) = plan_for(SMALL, [LOW]), plan_for(SMALL, [LOW], ["up"])
    assert raised["soap"].saving > down["soap"].saving
    assert raised["soap"].cost == down["soap"].cost - 14.0


# --- What it would tell


def slow_cost(losses: Losses, present: Sequence[float]) -> float:
    """Return the expected cost of the plain way of working, one suspect at a time."""
    price = [min(a, b) for a, b in zip(losses.look, losses.outright, strict=True)]
    order = sorted(range(len(present)), key=lambda i: -present[i] / price[i])
    best = sum(p * m for p, m in zip(present, losses.missed, strict=True))
    spent = 0.0
    for n, i in enumerate(order):
        left = min(1.0, sum(present[j] for j in order[n:]))
        by_look = left * losses.look[i] + present[i] * losses.repair[i]
        spent += min(by_look, left * losses.outright[i])
        best = min(best, spent + sum(present[j] * losses.missed[j] for j in order[n + 1 :]))
    return float(best)


def test_savings_from_every_joint_state() -> None:
    """Expected cost now, less the check, less the expected cost after each answer."""
    worlds = Worlds(SMALL.system)
    findings = [LOW, found(SMALL.system, "relay.swap", "same")]
    evidence = combined(tuple(findings))

    def present(more: dict[str, Array]) -> tuple[float, list[float]]:
        weight = worlds.weights({**evidence, **more})
        total = float(weight.sum())
        return total, [float(weight[worlds.present(f)].sum()) / total for f in SMALL.sizes]

    plan, offers = plan_for(SMALL, findings)
    outlook = look_ahead(SMALL, findings, list(offers))
    losses = losses_of(SMALL.system, outlook, ())
    before, now = present({})
    assert plan.expected_cost == pytest.approx(slow_cost(losses, now), rel=1e-9)
    for check, offer in offers.items():
        after = 0.0
        for o, answer in enumerate(offer.answers):
            leaf = check_leaf(check)
            total, then = present({leaf: one_hot(len(offer.answers), o)})
            assert answer.probability == pytest.approx(total / before, abs=1e-12)
            after += total / before * slow_cost(losses, then)
            moved = max(range(len(now)), key=lambda i: abs(then[i] - now[i]))
            assert abs(answer.after - answer.before) == pytest.approx(
                abs(then[moved] - now[moved]), abs=1e-12
            )
        saving = plan.expected_cost - offer.cost - after
        assert offer.saving == pytest.approx(saving, abs=1e-8)


def test_savings_on_the_shipped_knowledge(reasoner: Reasoner) -> None:
    """Six random checks: every answer as evidence of its own, in place of one sweep."""
    system = reasoner.system
    findings = [complaint_finding(system, "low"), found(system, "try.lift", "slow")]
    plan, offers = plan_for(reasoner, findings)
    losses = losses_of(system, look_ahead(reasoner, findings, list(offers)), ())
    evidence = {name: v[None] for name, v in combined(tuple(findings)).items()}
    before = reasoner.elimination.ask(evidence, []).evidence[0]
    rng = np.random.default_rng(6)
    for check in rng.choice(list(offers), 6, replace=False):
        offer = offers[check]
        n = len(offer.answers)
        batch = reasoner.elimination.ask(
            {**evidence, check_leaf(check): np.eye(n)}, reasoner.sizes, n
        )
        after = 0.0
        for o in range(n):
            then = [1.0 - float(batch.marginal(f)[o, 0]) for f in reasoner.sizes]
            after += float(batch.evidence[o] / before) * slow_cost(losses, then)
        assert offer.saving == pytest.approx(plan.expected_cost - offer.cost - after, abs=1e-6)


def test_offers_come_best_first() -> None:
    plan, _ = plan_for(SMALL, [LOW])
    assert plan.action == "check"
    assert plan.offers[0].saving > 1.0
    savings = [offer.saving for offer in plan.offers]
    assert savings == sorted(savings, reverse=True)
    assert plan.currency == "EUR"


# --- When to stop


def test_one_certain_fault_is_repaired(reasoner: Reasoner) -> None:
    """Everything else is ruled out, so no look saves anything."""
    rest = [certain(f, *one_hot(n, 0)) for f, n in SMALL.sizes.items() if f != "relay"]
    plan, _ = plan_for(SMALL, [certain("relay", 0.0, 1.0), *rest])
    assert plan.action == "repair"
    assert plan.faults == ("relay",)
    assert plan.expected_cost == pytest.approx(34.0)
    assert all(offer.saving == pytest.approx(-offer.cost, abs=1e-9) for offer in plan.offers)


def test_where_no_check_tells_anything_it_ends_undecided() -> None:
    """Every fault is ruled out or all that is left is a coin: looking on would never end."""
    gone = [certain(f, *one_hot(n, 0)) for f, n in SMALL.sizes.items()]
    plan, _ = plan_for(SMALL, [*gone, LOW])
    assert (plan.action, plan.faults, plan.undecided) == ("repair", (), True)
    assert plan.expected_cost == pytest.approx(0.0, abs=1e-9)
    open_, offers = plan_for(SMALL, [LOW])
    assert "coin" in offers
    assert not open_.undecided


@pytest.mark.parametrize(("clear", "action"), [(0.9, "check"), (0.51, "repair")])
def test_two_suspects_are_told_apart_as_long_as_a_check_can(clear: float, action: str) -> None:
    """Each is there with 45 %; a look at 400 pays never. At .51 it tells 2 x 0.0003 bit."""
    system = system_of(
        nodes=[fault(name, {"present": 0.45}, returns=0.01) for name in "ab"],
        checks=[
            look("see", "a b", ({"a": "present"}, f"{clear} {1 - clear}"), ({}, "0.5 0.5"),
                 minutes=400.0),
        ],
        repairs=[mend("a", 900.0), mend("b", 900.0)],
    )  # fmt: skip
    plan, _ = plan_for(Reasoner(system), [])
    assert plan.faults == ()
    assert plan.action == action
    assert plan.undecided == (action == "repair")


def reasons(p: float) -> Reasoner:
    """Return a reason that needs no part, present with p, and four parts; nothing tells of them."""
    nodes: list[Node] = [
        replace(fault("reason", {"present": p}, returns=0.3), kind="no-part"),
        *(fault(part, {"present": (1.0 - p) / 4}, returns=1.0) for part in "abcd"),
    ]
    ask = look("coin", "yes no", ({}, "0.5 0.5"))
    return Reasoner(
        system_of(nodes, [ask], [mend("reason", 10.0), *(mend(part, 900.0) for part in "abcd")])
    )


@pytest.mark.parametrize(("p", "faults"), [(0.6, ()), (0.97, ("reason",))])
def test_nothing_to_repair_needs_more_certainty(p: float, faults: tuple[str, ...]) -> None:
    """A come-back is 300: explained at .6, .4 x 300 more; left, .6 x .3 x 310."""
    plan, _ = plan_for(reasons(p), [])
    assert plan.faults == faults


def test_what_a_check_tells_is_its_mutual_information() -> None:
    """H(X) + H(Y) - H(X, Y) of every fault and the check, from their joint distribution."""
    outlook = look_ahead(SMALL, [LOW], [c for c in SMALL.system.checks if c != "ask"])
    for check, chance in outlook.chance.items():
        expected = 0.0
        for f, now in enumerate(outlook.now):
            yes = chance * outlook.after[check][:, f]
            joint = np.concatenate([yes, chance - yes])
            expected += stats.entropy([now, 1.0 - now], base=2) + stats.entropy(chance, base=2)
            expected -= stats.entropy(np.maximum(joint, 0.0), base=2)
        assert outlook.told(check) == pytest.approx(expected, abs=1e-9)
    assert outlook.told("coin") == pytest.approx(0.0, abs=1e-9)


def test_an_unexplained_complaint_is_pursued_with_what_tells_most() -> None:
    """Two faults at ten per cent, looks dearer than any come-back, and a coin that is cheap."""
    system = system_of(
        nodes=[
            fault("a", {"present": 0.1}, returns=0.01), fault("b", {"present": 0.1}, returns=0.01),
        ],
        checks=[
            sure_look("see.a", "a", 90.0), sure_look("see.b", "b", 80.0),
            look("coin", "yes no", ({}, "0.5 0.5"), minutes=1.0),
        ],
        repairs=[mend("a", 30.0), mend("b", 30.0)],
    )  # fmt: skip
    plan, offers = plan_for(Reasoner(system), [])
    assert plan.faults == ()
    assert plan.action == "check"
    assert offers["coin"].saving > max(offers["see.a"].saving, offers["see.b"].saving)
    assert [offer.check for offer in plan.offers] == ["see.b", "see.a", "coin"]


def test_without_an_open_check_what_is_known_is_repaired() -> None:
    plan = choose(SMALL.system, look_ahead(SMALL, [certain("relay", 0.0, 1.0)], []), ())
    assert plan.action == "repair"
    assert plan.offers == ()
    assert "relay" in plan.faults


def mend(fault_id: str, minutes: float) -> Repair:
    return Repair(
        id=f"mend.{fault_id}",
        name="",
        fixes=(fault_id,),
        minutes=minutes,
        holds=1.0,
        plain="",
        done="",
        basis="invented",
    )


def sure_look(id_: str, fault_id: str, minutes: float, *needs: str) -> Check:
    rows: tuple[tuple[dict[str, str], str], ...] = (
        ({fault_id: "present"}, "0.9999 0.0001"),
        ({}, "0.0001 0.9999"),
    )
    return look(id_, "yes no", *rows, minutes=minutes, needs=needs)


def three_faults(chance: float, kind: Literal["part", "no-part"]) -> System:
    """Return one fault that is all but certain, one that a look at 5 would show, and a third.

    The third is the last of the course. Who is suspected last is repaired without a look, so
    without it the second would be.
    """
    second: Fault = replace(fault("b", {"present": chance}, returns=0.9), kind=kind)
    return system_of(
        [
            fault("a", {"present": 0.9999}, returns=0.9),
            second,
            fault("c", {"present": 0.005}, returns=0.9),
        ],
        [sure_look("look.a", "a", 5.0), sure_look("look.b", "b", 5.0)],
        [mend("a", 34.0), mend("b", 1000.0), mend("c", 50.0)],
    )


@pytest.mark.parametrize(
    ("chance", "kind", "action"),
    [
        (0.3, "part", "check"),
        (0.01, "part", "repair"),
        (0.3, "no-part", "repair"),
    ],
)
def test_a_look_before_the_sure_repair_only_if_finding_it_late_is_dearer(
    chance: float, kind: Literal["part", "no-part"], action: str
) -> None:
    """Late: a quarter of a come-back, 75. At 0.3: 22.5 against 0.7 x 5 in vain; at 0.01, 0.75.

    What needs no part is seen in the proof of the repair anyway.
    """
    plan, _ = plan_for(Reasoner(three_faults(chance, kind)), [])
    assert plan.action == action
    assert "a" in plan.faults
    assert "b" not in plan.faults
    if action == "check":
        assert plan.offers[0].check == "look.b"


def exclusive(shared: float) -> System:
    """Return four rare faults, one of which must be there, two of them behind one cover."""
    nodes = [
        fault(name, {"present": p}, returns=1.0)
        for name, p in (("x", 0.30e-4), ("y", 0.33e-4), ("z", 0.33e-4), ("w", 0.04e-4))
    ]
    ask = look(
        "ask",
        "low level",
        ({"x": "present"}, "1 0"),
        ({"y": "present"}, "1 0"),
        ({"z": "present"}, "1 0"),
        ({"w": "present"}, "1 0"),
        ({}, "0 1"),
    )
    cover = Access(
        id="cover", name="", back="", minutes_on=shared, minutes_off=0.0, basis="invented"
    )
    checks = [
        ask,
        sure_look("look.x", "x", 14.0),
        sure_look("look.y", "y", 10.0, "cover"),
        sure_look("look.z", "z", 10.0, "cover"),
    ]
    return system_of([*nodes], checks, [mend(name, 1000.0) for name in "xyzw"], [cover])


def test_shared_access_decides_who_comes_first() -> None:
    """x costs 14, y and z 10 each behind a cover that costs 8; w cannot be looked at.

    By p / look x comes first (.30/14 = .0214, .33/18 = .0183): .96 x 14 + .66 x 18 + .33 x 10
    = 28.62. Under the cover both go: .96 x 18 + .63 x 10 + .30 x 14 = 27.78. With a dear cover
    x comes first.
    """
    plan, offers = plan_for(one := Reasoner(exclusive(8.0)), [found(exclusive(8.0), "ask", "low")])
    assert max(offer.saving for offer in offers.values()) < 1.0
    assert plan.action == "check"
    assert plan.offers[0].check in {"look.y", "look.z"}
    outlook = look_ahead(one, [found(one.system, "ask", "low")], ["look.x", "look.y", "look.z"])
    assert outlook.now == pytest.approx([0.30, 0.33, 0.33, 0.04], abs=1e-4)
    dear, _ = plan_for(Reasoner(exclusive(30.0)), [found(exclusive(30.0), "ask", "low")])
    assert dear.offers[0].check == "look.x"


def test_one_look_may_stand_for_two_suspects() -> None:
    """A look at 18 shows y and z alike, one at 14 shows x: 18 + .3 x 14 beats 14 + .7 x 18.

    Counted once for each suspect, the shared look would lose: 18 + .65 x 18 + .3 x 14.
    """
    system = exclusive(0.0)
    both = look(
        "look.yz",
        "y z none",
        ({"y": "present"}, "0.9998 0.0001 0.0001"),
        ({"z": "present"}, "0.0001 0.9998 0.0001"),
        ({}, "0.0001 0.0001 0.9998"),
        minutes=18.0,
    )
    kept = {id_: system.checks[id_] for id_ in ("ask", "look.x")}
    one = Reasoner(replace(system, checks={**kept, "look.yz": both}))
    plan, offers = plan_for(one, [found(system, "ask", "low")])
    assert plan.offers[0].check == "look.yz"
    assert offers["look.yz"].cost == pytest.approx(18.0)
