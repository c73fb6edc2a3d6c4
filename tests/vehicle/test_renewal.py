"""Which version of a fault, a condition or a check a moment of the job speaks of."""

from __future__ import annotations

from dataclasses import replace

import pytest

from sagtrace.vehicle.nodes import Condition, Node
from sagtrace.vehicle.renewal import Renewal, looks_at
from sagtrace.vehicle.repairs import Repair
from sagtrace.vehicle.system import System
from small_system import cause, condition, fault, look, system_of

SURE = {"present": {"high": 1.0}}


def repair(id_: str, fixes: str, holds: float = 0.96, **more: object) -> Repair:
    return Repair(
        id=id_, name=id_, fixes=tuple(fixes.split()), minutes=10, holds=holds, plain=id_, done=id_,
        basis="invented", **more,  # type: ignore[arg-type]
    )  # fmt: skip


def system() -> System:
    """leak -> hours (lasting) -> pump -> weak; leak -> low; leak, pump -> slow; pump -> fuse."""
    hours = condition("hours", "few high", {}, cause("leak", SURE))
    nodes: list[Node] = [
        fault("leak", {"present": 0.2}),
        replace(hours, lasting=True),
        fault("pump", {"worn": 0.1, "spent": 0.1}, cause("hours", {"high": {"worn": 0.5}}),
              states="absent worn spent"),
        fault("fuse", {"present": 0.01},
              replace(cause("pump", {"spent": {"present": 0.7}}), at_once=True)),
        condition("low", "no high", {}, cause("leak", SURE)),
        condition("weak", "no high", {}, cause("pump", {"worn": {"high": 1.0}})),
        condition("slow", "no high", {}, cause("leak", SURE),
                  cause("weak", {"high": {"high": 1.0}})),
    ]  # fmt: skip
    checks = [
        look("tape", "yes no", ({"low": "high"}, "0.9 0.1"), ({}, "0.1 0.9")),
        look("lift", "yes no", ({"slow": "high"}, "0.9 0.1"), ({}, "0.1 0.9")),
        look("ear", "yes no", ({"hours": "high"}, "0.9 0.1"), ({}, "0.1 0.9")),
        look("soap", "yes no", ({"leak": "present"}, "0.9 0.1"), ({}, "0.1 0.9")),
    ]
    repairs = [
        repair("new-spring", "leak"),
        repair("new-pump", "pump"),
        repair("new-fuse", "fuse", 0.9, cures=0.95),
        repair("fitting", "leak", 0.9, spoils=("fuse",)),
    ]
    return system_of(nodes, checks, repairs)


SYSTEM = system()


def test_without_a_work_there_is_only_now() -> None:
    plain = Renewal(SYSTEM)
    assert plain.nodes is SYSTEM.nodes
    assert plain.at("leak", 0) == "leak"
    assert plain.of_check("soap", 0) == "soap"
    assert list(plain.past_checks()) == []


def test_a_work_changes_what_it_fixes_and_what_follows() -> None:
    spring = Renewal(SYSTEM, [["new-spring"]])
    assert [set(c) for c in spring.changed] == [
        {"leak", "low", "slow"}
    ]  # not the hours, nor the pump they wore
    assert spring.at("leak", 0) == "before work 1: leak"
    assert spring.at("leak", 1) == "leak"
    assert {spring.at(n, 0) for n in ("hours", "pump", "weak", "fuse")} == {
        "hours", "pump", "weak", "fuse",
    }  # fmt: skip


def test_damage_that_was_done_stays_the_old_part_s() -> None:
    nodes = Renewal(SYSTEM, [["new-spring"]]).nodes
    assert [c.parent for c in nodes["hours"].causes] == ["before work 1: leak"]
    assert [c.parent for c in nodes["pump"].causes] == ["hours"]
    assert [c.parent for c in nodes["slow"].causes] == ["leak", "weak"]
    assert [c.parent for c in nodes["before work 1: slow"].causes] == [
        "before work 1: leak", "weak",
    ]  # fmt: skip


def test_a_renewed_part_suffers_only_what_works_at_once() -> None:
    nodes = Renewal(SYSTEM, [["new-pump", "new-fuse"]]).nodes
    assert nodes["pump"].causes == ()  # the hours wore the old one
    now, then = nodes["fuse"], nodes["before work 1: fuse"]
    assert [c.parent for c in then.causes] == ["before work 1: pump"]
    assert [c.parent for c in now.causes] == ["before work 1: fuse", "pump"]
    assert now.causes[0].gives == {"present": {"present": pytest.approx(0.05)}}  # cures 0.95


@pytest.mark.arithmetic("bad work is what does not hold, 5 % at most, in the usual shape of states")
def test_a_renewed_part_may_have_been_fitted_badly() -> None:
    nodes = Renewal(SYSTEM, [["new-pump", "fitting"]]).nodes
    assert nodes["pump"].background == pytest.approx({"worn": 0.02, "spent": 0.02})
    # Of 5 % (it holds 0.9) a fifth is a faulty new part, the rest what bad work leaves.
    assert nodes["leak"].background == pytest.approx({"present": 0.01})
    assert nodes["fuse"].background == pytest.approx({"present": 0.04})
    # What may be spoilt and was not fixed is still as it was, too.
    assert nodes["fuse"].causes[0].gives == {"present": {"present": 1.0}}


def test_a_check_that_looks_at_what_was_not_touched_is_the_same_check() -> None:
    spring = Renewal(SYSTEM, [["new-spring"], ["new-pump"]])
    assert [spring.of_check("ear", time) for time in (0, 1, 2)] == ["ear", "ear", "ear"]
    assert [spring.of_check("soap", time) for time in (0, 1, 2)] == [
        "before work 1: soap", "soap", "soap",
    ]  # fmt: skip
    assert [spring.of_check("lift", time) for time in (0, 1, 2)] == [
        "before work 1: lift", "before work 2: lift", "lift",
    ]  # fmt: skip
    assert {name for name, _, _ in spring.past_checks()} == {
        "before work 1: soap", "before work 1: tape", "before work 1: lift",
        "before work 2: lift",
    }  # fmt: skip


def test_every_version_comes_after_its_causes(system: System) -> None:
    works = [["pump.unit-replace", "spring.replace@left"], ["spring.replace@left"], ["fuse.renew"]]
    nodes = Renewal(system, works).nodes
    seen: set[str] = set()
    for name, node in nodes.items():
        assert node.id == name
        assert {c.parent for c in node.causes} <= seen
        seen.add(name)
    assert set(system.nodes) < seen


@pytest.mark.common_practice("an opened fitting or a plug put back is what a repair leaves behind")
def test_what_bad_work_leaves_is_looked_for(system: System) -> None:
    changed = Renewal(system, [["spring.replace@left"]]).changed[0]
    assert {"spring.fold-leak@left", "spring.seal-leak@left", "line.fitting-leak@left"} <= changed
    assert not {"spring.fold-leak@right", "valve.leak-by@left", "pump.worn"} & changed
    pump = Renewal(system, [["pump.unit-replace"]]).changed[0]
    assert {"connector.heat-damaged", "line.feed-leak"} <= pump
    lasting = {n.id for n in system.nodes.values() if isinstance(n, Condition) and n.lasting}
    assert lasting == {"overrun", "moisture"}
    assert not lasting & (changed | pump)


def test_what_a_check_looks_at(system: System) -> None:
    assert looks_at(system.checks["soap.fitting@left"]) == ("line.fitting-leak@left",)
    assert looks_at(system.checks["hold.overnight@left"]) == ("sag@left",)
