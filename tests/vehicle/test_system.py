"""Every corner is written out, references follow, and a new layout needs no code."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import pytest

from sagtrace.diagnosis.verdict import Reasoner, Verdict
from sagtrace.errors import UnknownIdError
from sagtrace.evidence.facts import read_facts
from sagtrace.evidence.findings import find
from sagtrace.evidence.models import MODELS
from sagtrace.vehicle.audit import problems
from sagtrace.vehicle.job import Entry
from sagtrace.vehicle.knowledge import Knowledge
from sagtrace.vehicle.layouts import Corner
from sagtrace.vehicle.nodes import Beside
from sagtrace.vehicle.system import PLACEHOLDER, System, applies, base_id, corner_of, expand
from walking import texts

CORNERS = ("front-left", "front-right", "rear-left", "rear-right")
NIGHT = {"time": "12 h", "temperature-start": "15 °C", "temperature-end": "15 °C"}


def with_four_corners(
    knowledge: Knowledge, corners: tuple[str, ...] = CORNERS, features: tuple[str, ...] = ()
) -> Knowledge:
    """The same knowledge with one more layout: a change of data and nothing else."""
    rear = next(layout for layout in knowledge.layouts if layout.id == "rear-pair")
    four = replace(
        rear,
        id="four-alike",
        name="four corners alike",
        corners=tuple(Corner(id=id_, name=id_.replace("-", " ")) for id_ in corners),
        features=features or rear.features,
    )
    return replace(knowledge, layouts=(*knowledge.layouts, four))


@pytest.fixture(scope="module")
def four(knowledge: Knowledge) -> System:
    return expand(with_four_corners(knowledge), "four-alike")


@pytest.fixture(scope="module")
def four_reasoner(four: System) -> Reasoner:
    return Reasoner(four)


def leak_at(system: System, corner: str) -> tuple[Entry, ...]:
    """Entries of a job whose spring leaks at this corner; another corner holds."""
    other = next(c.id for c in system.layout.corners if c.id != corner)
    return (
        Entry(
            id="e1",
            check=f"hold.overnight@{corner}",
            values={"height-start": "402", "height-end": "362", **NIGHT},
        ),
        Entry(
            id="e2",
            check=f"hold.overnight@{other}",
            values={"height-start": "404", "height-end": "403", **NIGHT},
        ),
        Entry(id="e3", check=f"soap.fold-normal@{corner}", outcome="bubbles"),
    )


def verdict(reasoner: Reasoner, entries: tuple[Entry, ...]) -> Verdict:
    facts = read_facts(reasoner.system.layout, {})
    return reasoner.judge([find(reasoner.system, entry, facts) for entry in entries])


class TestIds:
    def test_the_corner_stands_behind_the_id(self) -> None:
        assert base_id("hold.short@left") == "hold.short"
        assert corner_of("hold.short@left") == "left"

    def test_an_id_of_the_vehicle_has_none(self) -> None:
        assert base_id("pump.worn") == "pump.worn"
        assert corner_of("pump.worn") == ""


class TestExpansion:
    def test_each_corner_gets_its_copy(self, knowledge: Knowledge, system: System) -> None:
        here = [node for node in knowledge.nodes() if applies(node, system.layout)]
        corner_nodes = [node for node in here if node.per == "corner"]
        vehicle_nodes = [node for node in here if node.per == "vehicle"]
        assert len(corner_nodes) > 5
        assert len(system.nodes) == 2 * len(corner_nodes) + len(vehicle_nodes)
        assert {"air.escape@left", "air.escape@right", "air.escape-axle"} <= set(system.nodes)
        assert "air.escape" not in system.nodes

    @pytest.mark.parametrize("which", ["system", "four"])
    def test_no_placeholder_is_left_anywhere(
        self, which: str, request: pytest.FixtureRequest
    ) -> None:
        expanded: System = request.getfixturevalue(which)
        everything = [
            getattr(expanded, name)
            for name in ("nodes", "checks", "repairs", "proofs", "access", "cautions", "components")
        ]
        walked = list(texts(everything))
        assert len(walked) > 3000
        assert [path for path, text in walked if PLACEHOLDER in text] == []

    def test_the_texts_name_the_corner(self, system: System) -> None:
        assert system.checks["hold.short@left"].name == "short hold of the left rear"
        measure = system.checks["hold.short@left"].measure
        assert measure is not None
        assert measure.inputs[0].ask == "height of the left rear at the start"
        assert system.repairs["spring.replace@right"].name == "replace the right rear air spring"
        assert "right rear" in system.proofs["proof.corner-holds@right"].text
        assert "left" not in " ".join(text for _, text in texts(system.nodes["stand@right"]))

    def test_a_corner_refers_to_its_own(self, system: System) -> None:
        parents = {cause.parent for cause in system.nodes["stand@left"].causes}
        assert parents == {"sag@left", "use.cold-night"}
        measure = system.checks["hold.overnight@right"].measure
        assert measure is not None
        assert measure.node == "sag@right"
        for row in system.checks["soap.ends@left"].rows:
            assert set(row.when) <= {"spring.seal-leak@left"}
        assert system.repairs["spring.replace@left"].fixes == (
            "spring.fold-leak@left",
            "spring.seal-leak@left",
        )
        proof = system.proofs["proof.corner-holds@left"]
        assert proof.check == "hold.overnight@left"
        assert all(corner_of(fault) == "left" for fault in proof.faults)

    def test_a_corner_refers_to_its_neighbour(self, system: System) -> None:
        causes = [(cause.parent, cause.beside) for cause in system.nodes["sag@left"].causes]
        assert causes == [("air.escape@left", ""), ("air.escape@right", "axle")]

    @pytest.mark.parametrize(
        ("beside", "layout", "corner", "neighbour"),
        [
            ("axle", "four-corner", "front-left", ["front-right"]),
            ("axle", "four-corner", "rear-right", ["rear-left"]),
            ("side", "four-corner", "front-left", ["rear-left"]),
            ("side", "four-corner", "rear-right", ["front-right"]),
            ("side", "rear-pair", "left", []),
        ],
    )
    def test_a_neighbour_is_of_the_axle_or_the_side(
        self, knowledge: Knowledge, beside: Beside, layout: str, corner: str, neighbour: list[str]
    ) -> None:
        (sag,) = (node for node in knowledge.conditions if node.id == "sag")
        own, mate = sag.causes
        moved = replace(sag, causes=(own, replace(mate, beside=beside)))
        others = tuple(node for node in knowledge.conditions if node.id != "sag")
        system = expand(replace(knowledge, conditions=(*others, moved)), layout)
        parents = [c.parent for c in system.nodes[f"sag@{corner}"].causes if c.beside]
        assert parents == [f"air.escape@{c}" for c in neighbour]

    def test_the_vehicle_refers_to_every_corner(self, system: System) -> None:
        parents = [cause.parent for cause in system.nodes["air.escape-axle"].causes]
        assert parents == ["air.escape@left", "air.escape@right"]
        assert system.checks["hold.temperature"].yields_to == (
            "hold.overnight@left",
            "hold.overnight@right",
        )

    def test_parents_come_before_children(self, system: System, four: System) -> None:
        for expanded in (system, four):
            seen: set[str] = set()
            for node in expanded.nodes.values():
                assert {cause.parent for cause in node.causes} <= seen, node.id
                seen.add(node.id)

    def test_every_reference_is_to_something(self, system: System, four: System) -> None:
        for expanded in (system, four):
            for check in expanded.checks.values():
                assert set(check.yields_to) <= set(expanded.checks)
                assert {node for row in check.rows for node in row.when} <= set(expanded.nodes)
                assert check.measure is None or check.measure.node in expanded.nodes
            for proof in expanded.proofs.values():
                assert proof.check in expanded.checks
                assert set(proof.faults) <= set(expanded.faults)
            for repair in expanded.repairs.values():
                assert set(repair.fixes) <= set(expanded.faults)

    def test_the_ids_inside_are_the_keys(self, system: System) -> None:
        mappings: tuple[Mapping[str, object], ...] = (
            system.nodes,
            system.checks,
            system.repairs,
            system.proofs,
            system.access,
            system.cautions,
            system.components,
            system.sources,
        )
        for mapping in mappings:
            assert [getattr(record, "id", "") for record in mapping.values()] == list(mapping)

    def test_faults_are_the_nodes_that_can_be_repaired(self, system: System) -> None:
        assert "pump.worn" in system.faults
        assert "overrun" not in system.faults
        fixed = {fault for repair in system.repairs.values() for fault in repair.fixes}
        assert fixed == set(system.faults)

    def test_stories_are_the_arcs_with_words(self, system: System) -> None:
        assert system.stories["overrun", "pump.worn"].story
        assert ("pump.worn", "pump.delivery") not in system.stories
        assert all(cause.story for cause in system.stories.values())
        assert all(cause.parent == parent for (parent, _), cause in system.stories.items())

    def test_edition_and_digest_are_kept(self, knowledge: Knowledge, system: System) -> None:
        assert (system.edition, system.digest) == (knowledge.edition, knowledge.digest)


class TestAnotherLayout:
    def test_it_passes_the_audit(self, knowledge: Knowledge) -> None:
        assert list(problems(with_four_corners(knowledge), MODELS)) == []

    def test_a_leak_is_found_at_its_corner(self, four: System, four_reasoner: Reasoner) -> None:
        found = verdict(four_reasoner, leak_at(four, "rear-left"))
        assert found.beliefs[0].fault == "spring.fold-leak@rear-left"
        assert found.belief("spring.fold-leak@rear-left").probability > 0.7
        for corner in ("front-left", "front-right", "rear-right"):
            assert found.belief(f"spring.fold-leak@{corner}").probability < 0.1

    @pytest.mark.arithmetic("renaming corners permutes the probabilities and changes none")
    def test_corners_are_alike(self, four: System, four_reasoner: Reasoner) -> None:
        here = verdict(four_reasoner, leak_at(four, "rear-left"))
        # The reference corner that holds differs, so it is swapped along.
        there = verdict(four_reasoner, leak_at(four, "front-left"))
        swap = {
            "rear-left": "front-left",
            "front-left": "front-right",
            "front-right": "rear-left",
            "rear-right": "rear-right",
        }
        assert len(here.beliefs) == len(there.beliefs)
        for belief in here.beliefs:
            base, corner = base_id(belief.fault), corner_of(belief.fault)
            image = f"{base}@{swap[corner]}" if corner else base
            assert there.belief(image).probability == pytest.approx(belief.probability, rel=1e-9)
            assert list(there.belief(image).states.values()) == pytest.approx(
                list(belief.states.values()), rel=1e-9, abs=1e-15
            )
        assert there.log_evidence == pytest.approx(here.log_evidence, rel=1e-12)

    def test_corners_in_another_order_give_the_same(
        self, knowledge: Knowledge, four: System, four_reasoner: Reasoner
    ) -> None:
        turned = expand(with_four_corners(knowledge, CORNERS[::-1]), "four-alike")
        entries = leak_at(four, "rear-left")
        here, there = verdict(four_reasoner, entries), verdict(Reasoner(turned), entries)
        for belief in here.beliefs:
            same = there.belief(belief.fault)
            assert same.probability == pytest.approx(belief.probability, rel=1e-9)

    def test_what_the_layout_lacks_is_left_out(self, knowledge: Knowledge) -> None:
        expanded = expand(with_four_corners(knowledge, features=("axle-sensor",)), "four-alike")
        gone = {"vent.leak-by", "vent.stuck-closed"}
        assert not gone & set(expanded.nodes)
        assert not {"outlet.running", "vent.release"} & set(expanded.checks)
        assert "vent.replace" not in expanded.repairs
        assert not {"proof.vent-tight", "proof.vent-opens"} & set(expanded.proofs)
        for node in expanded.nodes.values():
            assert not gone & {cause.parent for cause in node.causes}
        for check in expanded.checks.values():
            assert not gone & {node for row in check.rows for node in row.when}
        assert not gone & set(expanded.repairs["pump.unit-replace"].fixes)
        assert Reasoner(expanded).judge([]).beliefs

    def test_an_unknown_layout_is_refused(self, knowledge: Knowledge) -> None:
        with pytest.raises(UnknownIdError, match=r"no layout 'rear-par'.*'rear-pair'"):
            expand(knowledge, "rear-par")


class TestLookUp:
    def test_what_exists_is_returned(self, system: System) -> None:
        assert system.check("pump.listen").id == "pump.listen"
        assert system.node("pump.worn").id == "pump.worn"
        assert system.repair("relay.replace").id == "relay.replace"

    @pytest.mark.parametrize(
        ("look_up", "given", "says"),
        [
            ("check", "pump.lisen", "There is no check 'pump.lisen'. Did you mean 'pump.listen'"),
            ("node", "pump.wron", "There is no fault or condition 'pump.wron'. Did you mean"),
            ("repair", "relay.replce", "There is no repair 'relay.replce'. Did you mean"),
        ],
    )
    def test_the_nearest_is_named(
        self, system: System, look_up: str, given: str, says: str
    ) -> None:
        with pytest.raises(UnknownIdError) as caught:
            getattr(system, look_up)(given)
        assert str(caught.value).startswith(says)
        assert "Say which corner" not in str(caught.value)

    def test_a_missing_corner_is_asked_for(self, system: System) -> None:
        with pytest.raises(UnknownIdError) as caught:
            system.check("hold.short")
        assert str(caught.value).endswith("Say which corner: hold.short@left, hold.short@right.")

    def test_a_wrong_corner_gets_the_right_ones(self, system: System) -> None:
        with pytest.raises(UnknownIdError) as caught:
            system.check("hold.short@rear")
        assert "hold.short@right" in caught.value.nearest


class TestProofFor:
    def test_every_fault_has_one_that_names_it(self, system: System) -> None:
        for fault in system.faults:
            proof = system.proof_for(fault)
            assert proof is not None, fault
            assert fault in proof.faults

    def test_it_is_of_the_same_corner(self, system: System) -> None:
        proof = system.proof_for("spring.seal-leak@right")
        assert proof is not None
        assert proof.check == "hold.overnight@right"

    def test_a_condition_has_none(self, system: System) -> None:
        assert system.proof_for("overrun") is None
