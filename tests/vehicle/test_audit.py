"""What is wrong in the knowledge is found without reading a file, all of it and in its place."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import pytest

from sagtrace.evidence.models import MODELS
from sagtrace.vehicle.audit import ALWAYS_NEEDED, Problem, Takes, problems
from sagtrace.vehicle.knowledge import Knowledge
from sagtrace.vehicle.layouts import Layout


def changed(knowledge: Knowledge, kind: str, id_: str, **changes: Any) -> Knowledge:
    """The same knowledge with some fields of one record changed."""
    records: Sequence[Any] = getattr(knowledge, kind)
    assert any(record.id == id_ for record in records)
    new = tuple(replace(r, **changes) if r.id == id_ else r for r in records)
    of_kind: dict[str, Any] = {kind: new}
    return replace(knowledge, **of_kind)


def found(knowledge: Knowledge) -> list[Problem]:
    return list(problems(knowledge, MODELS))


@dataclass(frozen=True)
class Invented:
    """A model that exists for these tests only."""

    required: tuple[str, ...] = ()
    optional: tuple[str, ...] = ()
    facts: tuple[str, ...] = ()
    gives: str = ""


def test_the_shipped_knowledge_is_sound(knowledge: Knowledge) -> None:
    assert found(knowledge) == []


def test_all_problems_are_found_not_only_the_first(knowledge: Knowledge) -> None:
    broken = changed(knowledge, "faults", "pump.worn", component="pmp", returns=2.0)
    broken = changed(broken, "repairs", "battery.replace", fixes=("battery.wek", "battery.weak"))
    assert [(p.kind, p.id, p.path) for p in found(broken)] == [
        ("faults", "pump.worn", ("component",)),
        ("faults", "pump.worn", ("returns",)),
        ("repairs", "battery.replace", ("fixes", 0)),
    ]


def test_what_follows_an_unknown_id_is_still_looked_at(knowledge: Knowledge) -> None:
    (worn,) = (fault for fault in knowledge.faults if fault.id == "pump.worn")
    (load,) = (check for check in knowledge.checks if check.id == "story.load")
    cause, row = worn.causes[0], load.rows[0]
    causes = (replace(cause, parent="overrum"), replace(cause, gives={"excessive": {"worm": 0.1}}))
    rows = (replace(row, when={"use.overladen": "present"}), replace(row, when={"load": "ower"}))
    broken = changed(knowledge, "faults", "pump.worn", causes=causes)
    broken = changed(broken, "checks", "story.load", rows=(*rows, *load.rows[1:]))
    broken = changed(broken, "proofs", "proof.supply", check="supply.runing")
    assert [(p.path, p.text) for p in found(broken)] == [
        (
            ("causes", 0, "parent"),
            "there is no fault or condition 'overrum'; did you mean 'overrun'?",
        ),
        (
            ("causes", 1, "gives", "excessive", "worm"),
            "there is no unhealthy state 'worm'; did you mean 'worn'?",
        ),
        (
            ("rows", 0, "when", "use.overladen"),
            "there is no fault or condition 'use.overladen'; did you mean 'use.overloaded'?",
        ),
        (
            ("rows", 1, "when", "load"),
            "there is no state of load, 'ower'; did you mean 'over'?",
        ),
        (("check",), "there is no check 'supply.runing'; did you mean 'supply.running'?"),
    ]


def test_another_outcome_that_passes_must_be_one_of_the_check(knowledge: Knowledge) -> None:
    broken = changed(knowledge, "proofs", "proof.cold-explains", also=("no-fal",))
    (problem,) = found(broken)
    assert problem.path == ("also",)
    assert "did you mean 'no-fall'?" in problem.text


def test_a_proof_by_an_unknown_check_says_no_more(knowledge: Knowledge) -> None:
    broken = changed(knowledge, "proofs", "proof.supply", check="supply.runing", at_least=None)
    assert [problem.path for problem in found(broken)] == [("check",)]


def test_what_is_wrong_in_every_layout_is_told_once(knowledge: Knowledge) -> None:
    broken = changed(knowledge, "repairs", "battery.replace", fixes=("battery.week",))
    assert [(p.kind, p.text) for p in found(broken)] == [
        ("repairs", "there is no fault 'battery.week'; did you mean 'battery.weak'?"),
        ("faults", "no repair names battery.weak"),
    ]
    (load,) = (check for check in knowledge.checks if check.id == "story.load")
    rows = (replace(load.rows[0], when={"use.overladen": "present"}), load.rows[-1])
    broken = changed(knowledge, "checks", "story.load", rows=rows, needs=("wheels-off",))
    assert [problem.path for problem in found(broken)] == [
        ("needs", 0),
        ("rows", 0, "when", "use.overladen"),
    ]


def test_a_layout_without_corners_is_refused(knowledge: Knowledge, rear_pair: Layout) -> None:
    broken = changed(knowledge, "layouts", rear_pair.id, corners=())
    first = found(broken)[0]
    assert (first.kind, first.id, first.path) == ("layouts", rear_pair.id, ("corners",))
    assert first.text == "a layout needs at least one corner"


def test_a_measure_by_an_unknown_model_says_no_more(knowledge: Knowledge) -> None:
    (clamp,) = (check for check in knowledge.checks if check.id == "pump.current-clamp")
    assert clamp.measure is not None
    wrong = replace(clamp.measure, model="dirct", node="supply")
    broken = changed(knowledge, "checks", clamp.id, measure=wrong)
    assert [problem.path for problem in found(broken)] == [("measure", "model")]


def test_an_id_that_resembles_nothing_gets_no_guess(knowledge: Knowledge) -> None:
    (problem,) = found(changed(knowledge, "faults", "pump.worn", component="zzzz"))
    assert problem.text == "there is no component 'zzzz'"


@pytest.mark.parametrize("fact", ALWAYS_NEEDED)
def test_a_layout_needs_the_facts_that_are_always_used(
    knowledge: Knowledge, rear_pair: Layout, fact: str
) -> None:
    without = tuple(f for f in rear_pair.facts if f.id != fact)
    (problem,) = found(changed(knowledge, "layouts", rear_pair.id, facts=without))
    assert (problem.kind, problem.id, problem.path) == ("layouts", rear_pair.id, ("facts",))
    assert fact in problem.text


def test_a_layout_needs_the_facts_of_the_models_that_checks_use(knowledge: Knowledge) -> None:
    hungry: dict[str, Takes] = {
        **MODELS,
        "duty": Invented(("running", "watched"), (), ("hub-height",), "ratio"),
    }
    assert [(problem.id, problem.text) for problem in problems(knowledge, hungry)] == [
        (layout.id, "these facts are missing: hub-height") for layout in knowledge.layouts
    ]


def test_a_model_that_no_check_uses_asks_for_nothing(knowledge: Knowledge) -> None:
    spare: dict[str, Takes] = {**MODELS, "spare": Invented((), (), ("hub-height",), "ratio")}
    assert list(problems(knowledge, spare)) == []


def test_a_model_without_a_kind_gives_that_of_its_input(knowledge: Knowledge) -> None:
    """`direct` passes a current on, so it cannot show a voltage."""
    (clamp,) = (check for check in knowledge.checks if check.id == "pump.current-clamp")
    assert clamp.measure is not None
    wrong = replace(clamp.measure, node="supply")
    (problem,) = found(changed(knowledge, "checks", clamp.id, measure=wrong))
    assert problem.path == ("measure", "node")
    assert problem.text.startswith("supply does not fit what direct gives: 'V' is no unit of a")


def test_a_measure_without_inputs_says_so_once(knowledge: Knowledge) -> None:
    (clamp,) = (check for check in knowledge.checks if check.id == "pump.current-clamp")
    assert clamp.measure is not None
    empty = replace(clamp.measure, inputs=())
    (problem,) = found(changed(knowledge, "checks", clamp.id, measure=empty))
    assert problem.path == ("measure", "inputs")


def test_a_check_with_both_rows_and_a_measure_is_refused(knowledge: Knowledge) -> None:
    (listen,) = (check for check in knowledge.checks if check.id == "pump.listen")
    (clamp,) = (check for check in knowledge.checks if check.id == "pump.current-clamp")
    (problem,) = found(changed(knowledge, "checks", "pump.listen", measure=clamp.measure))
    assert problem.text == "a check has either rows with outcomes or a measure"
    assert listen.rows


def test_a_measure_of_what_some_layouts_lack_needs_the_same_feature(knowledge: Knowledge) -> None:
    broken = changed(knowledge, "conditions", "supply", only_with="vent-valve")
    texts = [problem.text for problem in found(broken)]
    assert texts == ["supply exists only with vent-valve, so the check needs that too"]
    mended = changed(broken, "checks", "supply.running", only_with="vent-valve")
    assert [problem.text for problem in found(mended)] == [
        "supply.running exists only with vent-valve, so the proof needs that too"
    ]


def test_only_a_corner_has_a_neighbour(knowledge: Knowledge) -> None:
    (lift,) = (node for node in knowledge.conditions if node.id == "lift")
    first, *rest = lift.causes
    beside = (replace(first, beside="axle"), *rest)
    (problem,) = found(changed(knowledge, "conditions", "lift", causes=beside))
    assert problem.path == ("causes", 0, "beside")
    assert problem.text.startswith("only a corner has a neighbour")


def test_access_states_in_a_circle_are_found_and_not_followed_for_ever(
    knowledge: Knowledge,
) -> None:
    broken = changed(knowledge, "access", "wheel-off", after=("arch-liner-off",))
    (problem,) = found(broken)
    assert (problem.kind, problem.path) == ("access", ("after",))
    assert problem.text.startswith("access states wait for each other: ")
    assert "wheel-off" in problem.text


def test_a_circle_of_conditions_is_put_down_to_a_condition(knowledge: Knowledge) -> None:
    (lift,) = (node for node in knowledge.conditions if node.id == "lift")
    (load,) = (node for node in knowledge.conditions if node.id == "load")
    back = replace(load.causes[0], parent="lift", gives={"slow": {"over": 0.1}})
    (problem,) = found(changed(knowledge, "conditions", "load", causes=(*load.causes, back)))
    assert problem.kind == "conditions"
    assert problem.path == ("causes",)
    assert {lift.id, load.id} <= set(problem.text.removesuffix(".").split())


def test_a_unit_is_right_even_if_one_of_it_is_unlikely(knowledge: Knowledge) -> None:
    """1 K is no temperature of a garage, but kelvin is its unit."""
    (hold,) = (check for check in knowledge.checks if check.id == "hold.overnight")
    assert hold.measure is not None
    inputs = tuple(
        replace(slot, unit="K") if slot.kind == "temperature" else slot
        for slot in hold.measure.inputs
    )
    measure = replace(hold.measure, inputs=inputs)
    assert found(changed(knowledge, "checks", hold.id, measure=measure)) == []
