"""What is true of a virtual vehicle, and the knowledge beside it."""

from __future__ import annotations

import numpy as np
import pytest
from bay_faults import PARAMETERS, SYSTEMS, vehicle_of

from sagtrace.bootstrap import virtual
from sagtrace.diagnosis.network import background, contribution, worst_of
from sagtrace.errors import InputError
from sagtrace.twin.bay.compare import compare_condition, compare_with_knowledge
from sagtrace.twin.bay.hidden import chances, draw_hidden, draw_node, likely_state
from sagtrace.twin.bay.known import from_effects
from sagtrace.twin.bay.readings import READINGS
from sagtrace.twin.bay.seen import SEEN
from sagtrace.twin.bay.telling import FOLLOWS, NOT_TOLD, TOLD
from sagtrace.twin.bay.vehicle import bay_vehicle
from sagtrace.vehicle.system import base_id
from virtual_vehicles import LAYOUTS

PAIR = SYSTEMS["rear-pair"]


def conditions(layout: str) -> list[str]:
    system = SYSTEMS[layout]
    return [id_ for id_ in system.nodes if id_ not in system.faults]


def test_every_condition_and_check_has_its_way() -> None:
    known = {base_id(id_) for layout in LAYOUTS for id_ in conditions(layout)}
    assert known == {*TOLD, *NOT_TOLD, *FOLLOWS}
    assert len(known) == len(TOLD) + len(NOT_TOLD) + len(FOLLOWS)
    checks = {base_id(c.id): c for layout in LAYOUTS for c in SYSTEMS[layout].checks.values()}
    assert {id_ for id_, c in checks.items() if c.measure} == set(READINGS)
    assert set(SEEN) <= {id_ for id_, c in checks.items() if c.rows}


@pytest.mark.parametrize("layout", LAYOUTS)
def test_a_sound_vehicle_is_sound_all_through(layout: str) -> None:
    sound = vehicle_of(layout, {}, seed=1)
    told = [id_ for id_ in conditions(layout) if base_id(id_) in TOLD]
    wrong = [id_ for id_ in told if sound.true(id_) != SYSTEMS[layout].nodes[id_].state_ids[0]]
    assert wrong == []


@pytest.mark.parametrize(
    ("fault", "state", "expected"),
    [
        ("spring.fold-leak@left", "slow", {"air.escape@left": "slow", "stand@left": "sinks"}),
        ("line.fitting-leak@left", "fast", {"air.escape@left": "fast", "stand@left": "drops"}),
        (
            "spring.seal-leak@left",
            "heavy",
            {"air.escape-axle": "heavy", "air.escape@right": "tight"},
        ),
        ("valve.stuck-closed@left", "present", {"path@left": "closed", "path@right": "open"}),
        ("vent.leak-by", "present", {"air.supply-line": "leaking"}),
        ("pump.worn", "worn", {"pump.delivery": "weak", "pump.motor": "turns", "lift": "slow"}),
        ("pump.worn", "spent", {"pump.delivery": "none", "lift": "none", "ride@left": "low"}),
        ("pump.seized", "present", {"pump.motor": "stalls", "pump.current": "high"}),
        ("pump.motor-open", "present", {"pump.motor": "dead", "pump.current": "none"}),
        ("relay.coil-open", "present", {"feed.path": "open", "code.circuit": "failing"}),
        ("connector.heat-damaged", "resistive", {"feed.path": "resistive", "pump.motor": "turns"}),
        ("relay.stuck-on", "present", {"overrun": "excessive", "pump.heat": "hot"}),
        ("battery.weak", "present", {"supply": "low", "feed.path": "sound"}),
        ("sensor.wiring", "present", {"height.signal": "invalid", "code.height": "failing"}),
        ("sensor.worn", "present", {"height.signal": "noisy"}),
        ("sensor.link-broken", "present", {"height.signal": "offset", "aim": "low"}),
        ("controller.target-wrong", "present", {"aim": "low", "ride@left": "low"}),
        ("controller.no-command", "present", {"command": "withheld", "lift": "none"}),
        ("use.inhibited", "present", {"command": "withheld", "feed.path": "sound"}),
        ("use.pump-pausing", "present", {"command": "withheld"}),
        ("use.overloaded", "present", {"load": "over", "height.signal": "agrees"}),
        ("use.cold-night", "present", {"air.escape@left": "tight"}),
    ],
)
def test_the_plant_tells_what_a_fault_brings_about(
    fault: str, state: str, expected: dict[str, str]
) -> None:
    patient = vehicle_of("rear-pair", {fault: state})
    assert {id_: patient.true(id_) for id_ in expected} == expected


OPEN = ("relay.contacts", "connector.heat-damaged", "feed-wire.corroded", "ground.corroded")


@pytest.mark.common_practice("behind an open joint a sound motor draws nothing and stays dead")
@pytest.mark.parametrize("layout", LAYOUTS)
@pytest.mark.parametrize("fault", OPEN)
def test_an_open_joint_opens_the_feed(layout: str, fault: str) -> None:
    patient = vehicle_of(layout, {fault: "open"})
    told = {id_: patient.true(id_) for id_ in ("feed.path", "pump.current", "pump.motor", "lift")}
    assert told == {
        "feed.path": "open", "pump.current": "none", "pump.motor": "turns", "lift": "none",
    }  # fmt: skip
    assert not patient.runs.bench.fed


@pytest.mark.common_practice(
    "a lamp at the vehicle's side of a plug is dark if the way to it is open"
)
@pytest.mark.parametrize("fault", OPEN)
def test_a_lamp_at_the_plug_tells_on_which_side_a_joint_is_open(fault: str) -> None:
    runs = vehicle_of("rear-pair", {fault: "open"}).runs
    before = fault != "connector.heat-damaged"
    assert SEEN["pump.plug-lamp"](runs, "") == ("dark" if before else "bright")
    works = "works-now" if fault == "relay.contacts" else "no-change"
    assert SEEN["relay.swap"](runs, "") == works


def test_another_relay_cures_no_second_open_joint() -> None:
    both = {"relay.contacts": "open", "ground.corroded": "open"}
    assert SEEN["relay.swap"](vehicle_of("rear-pair", both).runs, "") == "no-change"


@pytest.mark.common_practice("an open coil sets a code of its circuit that fails now")
def test_an_open_coil_of_the_reservoir_valve_has_its_code() -> None:
    patient = vehicle_of("four-corner-reservoir", {"reservoir-valve.coil-open": "present"})
    assert patient.true("code.circuit") == "failing"


def test_a_worn_track_is_seen_by_its_jumps_as_often_as_the_knowledge_says() -> None:
    """Jumps of 7 mm within a factor of 2 at one place in twelve: a curve shows the largest ones."""
    put, n = from_effects(virtual().effects), 40
    worn = [
        bay_vehicle(
            PAIR, PARAMETERS["rear-pair"], {"sensor.worn": "present"}, put_in=put,
            rng=np.random.default_rng(i),
        )
        for i in range(n)
    ]  # fmt: skip
    share = np.mean([v.true("height.signal") == "noisy" for v in worn])
    assert share == pytest.approx(0.85, abs=3.0 * np.sqrt(0.85 * 0.15 / n))


@pytest.mark.common_practice(
    "a spring that no air reaches comes to stand low, and stays so at work"
)
@pytest.mark.parametrize(
    ("layout", "corner"),
    [("rear-pair", "left"), ("four-corner", "front-left"), ("four-corner-reservoir", "rear-left")],
)
@pytest.mark.parametrize("fault", ["valve.stuck-closed", "valve.coil-open"])
def test_a_spring_that_nothing_fills_stands_low(layout: str, corner: str, fault: str) -> None:
    patient = vehicle_of(layout, {f"{fault}@{corner}": "present"})
    assert patient.true(f"ride@{corner}") == "low"
    assert SEEN["height.arrival"](patient.runs, corner) == "low"
    assert patient.true(f"air.escape@{corner}") == "tight"


@pytest.mark.common_practice("a stabiliser bar pulls the sound side of an axle down with the other")
@pytest.mark.parametrize(
    ("layout", "leaking", "mate", "across"),
    [("rear-pair", "right", "left", ""), ("four-corner", "rear-right", "rear-left", "front-left")],
)
def test_a_leak_pulls_the_other_side_down(
    layout: str, leaking: str, mate: str, across: str
) -> None:
    """The body is stiff: what is diagonally across does not fall, and the mate falls less."""
    patient = vehicle_of(layout, {f"spring.fold-leak@{leaking}": "heavy"})
    order = SYSTEMS[layout].nodes[f"sag@{mate}"].state_ids.index
    here, there = (patient.true(f"sag@{corner}") for corner in (leaking, mate))
    assert order("tight") < order(there) < order(here)
    assert patient.true(f"air.escape@{mate}") == "tight"
    if across:
        assert patient.true(f"sag@{across}") == "tight"


def test_the_knowledge_lets_a_mate_fall_as_often_as_the_plant() -> None:
    """Leaks of drawn sizes on both kinds of axle; what the mate does beside what is said of it."""
    put, n = from_effects(virtual().effects), 20
    for state in ("fast", "heavy"):
        came, says = [], []
        for layout, corner, mate in (
            ("rear-pair", "right", "left"), ("four-corner", "rear-right", "rear-left"),
        ):  # fmt: skip
            for i in range(n):
                patient = bay_vehicle(
                    SYSTEMS[layout], PARAMETERS[layout], {f"spring.seal-leak@{corner}": state},
                    put_in=put, rng=np.random.default_rng([i, n]),
                )  # fmt: skip
                node = patient.system.nodes[f"sag@{mate}"]
                true = {c.parent: patient.true(c.parent) for c in node.causes}
                came.append(patient.true(node.id) != "tight")
                says.append(1.0 - chances(node, true)["tight"])
        said = float(np.mean(says))
        assert np.mean(came) == pytest.approx(said, abs=3.0 * np.sqrt(0.25 / (2 * n)))
        assert said > 0.9


def test_a_reservoir_is_told_too() -> None:
    leaky = vehicle_of("four-corner-reservoir", {"reservoir.leak": "fast"})
    assert leaky.true("reservoir.loss") == "fast"
    spent = vehicle_of("four-corner-reservoir", {"pump.worn": "spent"})
    assert spent.true("reservoir.charge") == "empty"
    assert vehicle_of("four-corner-reservoir", {}).true("reservoir.charge") == "full"


def test_what_the_plant_lacks_stands_in_or_is_drawn() -> None:
    """A cause outside the list shows in the numbers, as often as the knowledge says."""
    patients = [vehicle_of("rear-pair", {"other": "present"}, seed=i) for i in range(120)]
    tight = [p.physics("air.escape@left") == "tight" for p in patients]
    says = chances(PAIR.nodes["air.escape@left"], dict.fromkeys(PAIR.faults, "absent") | {
        "other": "present"})["tight"]  # fmt: skip
    # A leak that is drawn small may lie among the tight ones, so only the upper side is sharp.
    assert np.mean(tight) == pytest.approx(says, abs=3.0 * np.sqrt(says * (1 - says) / 120))


def test_a_code_of_the_past_is_stored() -> None:
    assert vehicle_of("rear-pair", {"use.stored-code": "present"}).true("code.lifting") == "stored"


def test_cold_nights_lower_a_tight_vehicle_as_often_as_the_knowledge_says() -> None:
    """Physics against the knowledge's own 60 %; its falls of temperature are drawn."""
    put, n = from_effects(virtual().effects), 60
    nights = [
        bay_vehicle(
            SYSTEMS["rear-pair"], PARAMETERS["rear-pair"], {"use.cold-night": "present"},
            put_in=put, rng=np.random.default_rng(i),
        )
        for i in range(n)
    ]  # fmt: skip
    share = np.mean([night.true("stand@left") == "sinks" for night in nights])
    assert share == pytest.approx(0.6, abs=3.0 * np.sqrt(0.6 * 0.4 / n))


def test_chances_are_those_of_the_network() -> None:
    node = PAIR.nodes["pump.delivery"]
    states = dict.fromkeys(PAIR.faults, "absent") | {"pump.worn": "worn", "vent.leak-by": "present"}
    p = background(node)
    for cause in node.causes:
        parent = PAIR.nodes[cause.parent]
        table = contribution(cause, parent, node)
        p = worst_of(p, table[parent.state_ids.index(states[cause.parent])])
    assert list(chances(node, states).values()) == pytest.approx(p.tolist(), abs=1e-12)
    rng = np.random.default_rng(0)
    drawn = [draw_node(node, states, rng) for _ in range(2000)]
    for state, share in zip(node.state_ids, p, strict=True):
        error = 3.0 * np.sqrt(share * (1.0 - share) / 2000)
        assert abs(drawn.count(state) / 2000 - share) <= error


def test_a_hidden_draw_keeps_what_is_given() -> None:
    states = draw_hidden(PAIR, np.random.default_rng(1), given={"pump.worn": "spent"})
    assert states["pump.worn"] == "spent"
    assert set(states) == set(PAIR.nodes)


@pytest.mark.parametrize(
    ("node", "value", "state"),
    [
        ("air.escape@left", 0.0, "tight"),
        ("air.escape@left", 60.0, "fast"),
        ("air.escape@left", 1e5, "heavy"),
        ("supply", 12.3, "good"),
        ("pump.current", 0.0, "none"),
        ("pump.current", 18.0, "normal"),
        ("feed.path", 12.4, "open"),
    ],
)
def test_a_number_belongs_to_the_state_that_fits_it(node: str, value: float, state: str) -> None:
    quantity = PAIR.nodes[node].quantity
    assert quantity is not None
    assert likely_state(quantity, value) == state


def test_a_check_comes_out_as_its_row_says() -> None:
    patients = [vehicle_of("rear-pair", {"spring.fold-leak@left": "fast"})] * 2000
    (told,) = compare_with_knowledge(patients, "soap.fold-normal@left", np.random.default_rng(3))
    assert told.when == (("spring.fold-leak@left", "fast"),)
    assert told.came["bubbles"] == pytest.approx(0.76, abs=3.0 * np.sqrt(0.76 * 0.24 / 2000))
    assert told.apart < 0.03


def test_a_disagreement_between_plant_and_row_shows() -> None:
    """The tool's command lifts a vehicle that a mode holds off, and the row does not know it."""
    held = [vehicle_of("rear-pair", {"use.inhibited": "present"})] * 200
    (told,) = compare_with_knowledge(held, "try.rise@left", np.random.default_rng(4))
    assert told.says["stays"] > 0.9
    assert told.shown == {"rises": 1.0}
    assert told.apart > 0.8
    (agreed,) = compare_with_knowledge(held, "live.command", np.random.default_rng(4))
    assert agreed.shown == {"not-commanded": 1.0}
    assert agreed.apart < 0.1


def test_a_condition_is_compared_with_its_causes() -> None:
    blocked = [vehicle_of("rear-pair", {"line.blocked@left": "present"}) for _ in range(3)]
    (told,) = compare_condition(blocked, "path@left")
    assert told.came == {"closed": 1.0}
    assert told.says["closed"] == pytest.approx(0.9, abs=0.01)


def test_a_check_of_numbers_has_no_rows() -> None:
    with pytest.raises(InputError, match="asks for numbers"):
        compare_with_knowledge([vehicle_of("rear-pair", {})], "supply.running",
                               np.random.default_rng(0))  # fmt: skip
