"""The data of the virtual vehicles holds together; a mistake in it is named with its line."""

from __future__ import annotations

from collections import Counter
from dataclasses import asdict, is_dataclass
from pathlib import Path
from typing import Any

import pytest

from sagtrace.adapters.virtual import SHIPPED, load_virtual
from sagtrace.bootstrap import virtual
from sagtrace.errors import DocumentError, InputError, UnitError
from sagtrace.twin.effects import expressible
from sagtrace.twin.layouts import FROM_FACTS, parameters_from_facts
from sagtrace.twin.measures import COMPOUND, in_si
from sagtrace.twin.parameters import GROUPS, units_of
from sagtrace.units import to_si
from sagtrace.vehicle.knowledge import Knowledge

VEHICLES = (SHIPPED / "vehicles.yaml").read_text()
EFFECTS = (SHIPPED / "effects.yaml").read_text()


def load(folder: Path, knowledge: Knowledge, file: str = "", old: str = "", new: str = "") -> None:
    """Load the shipped files from a folder of their own, with one text replaced at its first."""
    for name, text in (("vehicles.yaml", VEHICLES), ("effects.yaml", EFFECTS)):
        if name == file:
            assert old in text
            text = text.replace(old, new, 1)
        (folder / name).write_text(text)
    load_virtual(folder, knowledge)


def line_of(text: str, part: str) -> int:
    return text[: text.index(part)].count("\n") + 1


# --- the shipped files


def test_every_layout_has_its_vehicle_with_its_own_facts(knowledge: Knowledge) -> None:
    assert set(virtual().vehicles) == {layout.id for layout in knowledge.layouts}
    for layout in knowledge.layouts:
        vehicle = virtual().vehicles[layout.id]
        facts = {fact.id: to_si(fact.value, fact.unit) for fact in layout.facts}
        assert vehicle.layout == layout.id
        assert vehicle.corners == tuple(corner.id for corner in layout.corners)
        assert (vehicle.reservoir is not None) == ("reservoir" in layout.features)
        for spring in vehicle.springs:
            assert spring.area == pytest.approx(facts["spring-area"])
            assert spring.load == pytest.approx(facts["spring-pressure"] * facts["spring-area"])
            assert spring.volume == pytest.approx(facts["spring-volume"])
        read = {corner for sensor in vehicle.sensors for corner in sensor.corners}
        assert read == set(vehicle.corners)


def test_every_number_is_one_that_can_be_read() -> None:
    """A number left at zero by a slip in the loader would be a vehicle without that part."""

    def numbers(value: Any) -> list[float]:
        if isinstance(value, dict):
            return [n for inner in value.values() for n in numbers(inner)]
        if isinstance(value, tuple | list):
            return [n for inner in value for n in numbers(inner)]
        return [value] if isinstance(value, float) else []

    for vehicle in virtual().vehicles.values():
        assert is_dataclass(vehicle)
        found = numbers(asdict(vehicle))
        assert len(found) > 80
        assert 0.0 not in found


def test_sources_are_all_kinds_of_honest(knowledge: Knowledge) -> None:
    kinds = {source.id: source.kind for source in knowledge.sources}
    rests_on = Counter(kinds[basis] for basis in virtual().bases)
    assert sum(rests_on.values()) > 80
    assert {"chosen", "common_practice", "from_memory", "published"} <= set(rests_on)


def test_every_fault_but_the_open_one_can_be_put_in(knowledge: Knowledge) -> None:
    states = [(f.id, state) for f in knowledge.faults for state in f.state_ids[1:]]
    left_out = {f for f, state in states if expressible(virtual().effects, f, state)}
    assert left_out == {"other"}


def test_the_main_knowledge_does_not_read_the_folder(knowledge: Knowledge) -> None:
    assert virtual().digest != knowledge.digest
    assert len(virtual().digest) == len(knowledge.digest)


# --- units


def test_every_number_has_a_unit_that_can_be_written() -> None:
    for group in GROUPS:
        units = units_of(group)
        assert units
        for name, si in units.items():
            assert in_si(1.0, next(iter(COMPOUND[si])) if si in COMPOUND else si, si), name
    for group, name in FROM_FACTS:
        assert name in units_of(group)


@pytest.mark.arithmetic("1 dm3/(s bar) = 1e-3/1e5 m3/(s Pa); 1 A h = 3600 A s; 1 N/mm2 = 1e6 N/m2")
@pytest.mark.parametrize(
    ("unit", "si", "one"),
    [
        ("dm³/(s·bar)", "m³/(s·Pa)", 1e-3 / 1e5),
        ("A·h", "A·s", 3600.0),
        ("N/mm²", "N/m²", 1e6),
        ("N/mm", "N/m", 1e3),
        ("kN", "N", 1e3),
        ("cm²", "m²", 1e-4),
        ("%", "", 1e-2),
    ],
)
def test_units_of_the_data(unit: str, si: str, one: float) -> None:
    assert in_si(1.0, unit, si) == pytest.approx(one, rel=1e-12)


def test_a_unit_that_measures_something_else_is_refused() -> None:
    for unit, si in (("mm", "m²"), ("N/mm", "N"), ("furlong", "m"), ("K/W", "W/K")):
        with pytest.raises(UnitError):
            in_si(1.0, unit, si)


# --- mistakes


BAD_VEHICLES = [
    ("    armature: {fact: armature}\n", "", "pump", "of pump: armature"),
    ("sleep_current:", "sleep_curent:", "sleep_curent", "Did you mean 'sleep_current'"),
    ("  block:\n", "  blok:\n", "blok", "Did you mean 'block'"),
    ("unit: W/K, basis: virtual-air}", "unit: K/W, basis: virtual-air}", "unit", "expected W/K"),
    ("value: 40, unit: mL,", "value: 40, unit: mm,", "unit", "a unit of length, like 'mm'"),
    ("basis: virtual-body}", "basis: virtual-bodi}", "basis", "Did you mean 'virtual-body'"),
    ("{fact: spring-area}", "{fact: spring-volume}", "area", "write only fact: spring-area"),
    (
        "{fact: spring-area}", "{value: 110, unit: cm², basis: virtual-body}", "area",
        "write only fact: spring-area",
    ),
    ("value: 3, unit: mΩ", "fact: armature", "connector", "write value, unit and basis"),
    ("  four-corner: &block", "  four-korner: &block", "four-korner", "Did you mean"),
    ("value: 40, unit: mL", "value: forty, unit: mL", "value", "expected a number"),
    ("value: 40, unit: mL", "vlaue: 40, unit: mL", "vlaue", "Did you mean 'value'?"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "field", "text"), BAD_VEHICLES)
def test_a_mistake_in_the_numbers_is_named(
    old: str, new: str, field: str, text: str, tmp_path: Path, knowledge: Knowledge
) -> None:
    with pytest.raises(DocumentError) as caught:
        load(tmp_path, knowledge, "vehicles.yaml", old, new)
    assert caught.value.file == "vehicles.yaml"
    assert text in caught.value.problem
    assert caught.value.field.rpartition(".")[2] == field
    if new:
        assert caught.value.line == line_of(VEHICLES, old)


BAD_EFFECTS = [
    ("fault: spring.fold-leak", "fault: spring.fold-leek", "Did you mean 'spring.fold-leak'"),
    ("only_with: separate-valves", "only_with: separate-valfs", "Did you mean 'separate-valves'"),
    ("      spent: {sets", "      spend: {sets", "Did you mean 'spent'?"),
    ("{ring_leak:", "{ring_leek:", "Did you mean 'ring_leak'"),
    ("[seized]", "[siezed]", "Did you mean 'seized'"),
    ("like: pump.delivery", "like: pump.delivry", "Did you mean 'pump.delivery'"),
    ("like: pump.delivery, state: weak", "like: pump.delivery, state: full", "unhealthy state of"),
    ("{like: supply, state: low}", "{like: moisture, state: wet}", "moisture has no quantity"),
    ("{like: supply, state: low}", "{like: air.escape, state: slow}", "unit of volume flow"),
    ("unit: bar, shape", "unit: V, shape", "unit of voltage"),
    ("value: 1.5, unit: bar, shape: lognormal", "value: -1.5, unit: bar, shape: lognormal",
     "a value above zero"),
    ("width: 1.8", "width: 0.8", "a width above 1"),
    ("shape: normal, width: 0.3, ", "", "none of its sizes has a spread"),
    ("{switches: [seized]}", "{}", "it changes nothing"),
    ("not_expressible: >-\n", "switches: [seized]\n        not_expressible: >-\n",
     "there is no reason why it is not"),
    ("not_expressible: >-\n          It stands for whatever the list does not hold, so there is no "
     "one change that is it.", "not_expressible: no", "must be a sentence"),
    ("code: level not reached in time", "code: level not reached", "class of codes"),
    ("basis: virtual-fault-size", "basis: virtual-fault-sise", "Did you mean 'virtual-fault-size'"),
    ("{value: 60, unit: \"%\", basis: virtual-fault-size}", "{unit: \"%\", basis: joint-spread}",
     "either like a quantity"),
    ("{like: supply, state: low}", "{like: supply, state: low, value: 1}",
     "either like a quantity of"),
    ("{sets: {vent_leak:", "{sets: {corner.leak:", "is not per corner"),
    ("          script.fall_time: {value: 8, unit: h, basis: virtual-fault-size}\n", "",
     "a fall takes a time"),
    ("  - fault: fuse.blown\n    states:\n      present: {switches: [fuse_blown]}\n", "",
     "nothing says what the state 'present' of fuse.blown"),
    ("fault: fuse.blown", "fault: pump.seized", "a second record for"),
    ("  - fault: valve.leak-by\n    only_with: valve-block", "  - fault: valve.leak-by",
     "a second record for the state 'slow' of valve.leak-by in the layout 'rear-pair'"),
    ("sets: {relay:", "set: {relay:", "Did you mean 'sets'?"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "text"), BAD_EFFECTS, ids=[row[2] for row in BAD_EFFECTS])
def test_a_mistake_in_the_effects_is_named(
    old: str, new: str, text: str, tmp_path: Path, knowledge: Knowledge
) -> None:
    with pytest.raises(DocumentError) as caught:
        load(tmp_path, knowledge, "effects.yaml", old, new)
    assert caught.value.file == "effects.yaml"
    assert caught.value.line is not None
    assert text in caught.value.problem
    whole = text.startswith(("a second", "none of", "nothing says"))  # not of one line
    if "\n" not in old + new and not whole:
        assert caught.value.line == line_of(EFFECTS, old)


def test_a_missing_file_is_named(tmp_path: Path, knowledge: Knowledge) -> None:
    (tmp_path / "vehicles.yaml").write_text(VEHICLES)
    with pytest.raises(DocumentError, match=r"effects\.yaml: this file is missing"):
        load_virtual(tmp_path, knowledge)


def test_numbers_that_make_no_vehicle_are_refused(tmp_path: Path, knowledge: Knowledge) -> None:
    old = "heat_conductance: {value: 0.5, unit: W/K"
    with pytest.raises(DocumentError, match="heat_conductance"):
        load(tmp_path, knowledge, "vehicles.yaml", old, old.replace("0.5", "-0.5"))


# --- facts in place of the vehicle's own


def test_one_typed_fact_changes_only_what_it_says() -> None:
    base = virtual().vehicles["rear-pair"]
    wide = parameters_from_facts(base, {"spring-area": 2.0 * base.springs[0].area})
    assert wide.springs[0].area == 2.0 * base.springs[0].area
    assert wide.springs[0].load == pytest.approx(2.0 * base.springs[0].load)
    assert wide.springs[0].area_slope == pytest.approx(2.0 * base.springs[0].area_slope)
    assert wide.pump.swept_volume == base.pump.swept_volume
    assert parameters_from_facts(base, {}) == base
    longer = parameters_from_facts(base, {"lever-ratio": 1.0, "feed-length": 5.0})
    assert longer.springs[0].bump_at == pytest.approx(base.springs[0].bump_at / base.lever)
    assert longer.electrics.feed == pytest.approx(1.7241e-8 * 5.0 / 4e-6)


def test_a_vehicle_that_is_no_vehicle_is_an_input_error() -> None:
    base = virtual().vehicles["rear-pair"]
    with pytest.raises(InputError, match="area"):
        parameters_from_facts(base, {"spring-area": -1.0})
