"""Every layout: what it is left with, that its corners are alike, and that its faults are found."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass, replace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from sagtrace.diagnosis.outlook import look_ahead
from sagtrace.diagnosis.story import tell_story
from sagtrace.diagnosis.verdict import Reasoner, Verdict
from sagtrace.evidence.facts import Facts, read_facts
from sagtrace.evidence.findings import Finding, combined, find
from sagtrace.evidence.gather import complaint_finding
from sagtrace.evidence.models import MODELS
from sagtrace.physics.estimate import Estimate
from sagtrace.repair.costs import way_to_check
from sagtrace.vehicle.audit import Problem, problems
from sagtrace.vehicle.job import Entry
from sagtrace.vehicle.knowledge import Knowledge
from sagtrace.vehicle.system import System, base_id, corner_of, expand

LAYOUTS = ("rear-pair", "four-corner", "four-corner-reservoir")
FOUR = LAYOUTS[1:]
CORNERS = {
    "rear-pair": ("left", "right"),
    "four-corner": ("front-left", "front-right", "rear-left", "rear-right"),
    "four-corner-reservoir": ("front-left", "front-right", "rear-left", "rear-right"),
}
SOAP = {
    "spring.fold-leak": "soap.fold-extended",
    "spring.seal-leak": "soap.ends",
    "line.fitting-leak": "soap.fitting",
}
EVERY_CORNER = [(layout, corner) for layout in LAYOUTS for corner in CORNERS[layout]]
MILD = {"temperature-start": "12 °C", "temperature-end": "12 °C"}
NIGHT = {"height-start": "400 mm", "height-end": "340 mm", "time": "10 h", **MILD}
STILL = {**NIGHT, "height-end": "400 mm"}
NO_FALL = {"height-start": "400 mm", "height-end": "400 mm", "time": "10 h", **MILD}

Answer = tuple[str, str | Mapping[str, str]]

_compiled: dict[str, Reasoner] = {}


def reasoner_of(knowledge: Knowledge, layout: str) -> Reasoner:
    if layout not in _compiled:
        _compiled[layout] = Reasoner(expand(knowledge, layout))
    return _compiled[layout]


def facts_of(system: System) -> Facts:
    return read_facts(system.layout, {})


def findings(system: System, *answers: Answer) -> list[Finding]:
    """Return the complaint and what the answers say, each an outcome or numbers."""
    facts = facts_of(system)
    result = [complaint_finding(system, "It rides low.")]
    for i, (check, said) in enumerate(answers):
        outcome, values = (said, {}) if isinstance(said, str) else ("", dict(said))
        entry = Entry(id=f"e{i}", check=check, outcome=outcome, values=values)
        result.append(find(system, entry, facts))
    return result


def judged(reasoner: Reasoner, *answers: Answer) -> Verdict:
    return reasoner.judge(findings(reasoner.system, *answers))


def states(reasoner: Reasoner, *found: Finding) -> Mapping[str, NDArray[np.float64]]:
    """Return how probable every state of every node is; a verdict without its reasons."""
    given = {name: likelihood[None] for name, likelihood in combined(found).items()}
    batch = reasoner.elimination.ask(given, reasoner.system.nodes)
    return {node: batch.marginal(node)[0] for node in reasoner.system.nodes}


def beliefs(reasoner: Reasoner, *answers: Answer) -> Mapping[str, float]:
    """Return how probable every fault is."""
    after = states(reasoner, *findings(reasoner.system, *answers))
    return {fault: float(1.0 - after[fault][0]) for fault in reasoner.system.faults}


def foremost(chances: Mapping[str, float]) -> str:
    """Return the most probable fault."""
    return max(chances, key=lambda fault: chances[fault])


def held(layout: str, corner: str) -> list[Answer]:
    """Return a night in which this corner sinks and every other one holds."""
    return [(f"hold.overnight@{c}", NIGHT if c == corner else STILL) for c in CORNERS[layout]]


def soaped(fault: str, corner: str) -> list[Answer]:
    """Return the soap tests of a corner: bubbles where the fault is, none elsewhere."""
    return [(f"{c}@{corner}", "bubbles" if f == fault else "none") for f, c in SOAP.items()]


def texts(record: Any) -> Iterator[str]:
    """Yield every text at any depth of a record."""
    if isinstance(record, str):
        yield record
    elif is_dataclass(record):
        for f in fields(record):
            yield from texts(getattr(record, f.name))
    elif isinstance(record, Mapping):
        for key, value in record.items():
            yield from texts(key)
            yield from texts(value)
    elif isinstance(record, tuple):
        for item in record:
            yield from texts(item)


def records(system: System) -> Iterator[Any]:
    for kind in (system.nodes, system.checks, system.repairs, system.proofs):
        yield from kind.values()
    yield from system.access.values()


# --- what a layout is left with


def test_the_shipped_knowledge_audits_clean(knowledge: Knowledge) -> None:
    assert {layout.id for layout in knowledge.layouts} == set(LAYOUTS)
    assert list(problems(knowledge, MODELS)) == []


@pytest.mark.parametrize("layout", LAYOUTS)
def test_no_placeholder_is_left_in_any_text(knowledge: Knowledge, layout: str) -> None:
    system = expand(knowledge, layout)
    left = [text for record in records(system) for text in texts(record) if re.search("<.*>", text)]
    assert left == []


@pytest.mark.parametrize("layout", FOUR)
def test_what_is_written_for_a_front_corner_does_not_speak_of_the_rear(
    knowledge: Knowledge, layout: str
) -> None:
    system = expand(knowledge, layout)
    front = [r for r in records(system) if corner_of(r.id).startswith("front")]
    assert len(front) > 50
    assert [t for record in front for t in texts(record) if re.search(r"\brear\b", t)] == []


@pytest.mark.parametrize("layout", LAYOUTS)
def test_every_reference_leads_somewhere(knowledge: Knowledge, layout: str) -> None:
    system = expand(knowledge, layout)
    for node in system.nodes.values():
        assert {cause.parent for cause in node.causes} <= set(system.nodes)
    for check in system.checks.values():
        assert {node for row in check.rows for node in row.when} <= set(system.nodes)
        assert {*check.needs, *check.without} <= set(system.access)
        assert way_to_check(system, check, ()).minutes >= 0.0
    for state in system.access.values():
        assert set(state.after) <= set(system.access)
    for fault in system.faults:
        assert any(fault in repair.fixes for repair in system.repairs.values()), fault
        assert system.proof_for(fault) is not None, fault


@pytest.mark.parametrize(
    ("layout", "has", "lacks"),
    [
        ("rear-pair", {"sensor.worn", "valve.replace"}, {"pressure-sensor.wrong", "block.replace"}),
        (
            "four-corner",
            {"block.replace", "pressure-sensor.wrong"},
            {"sensor.worn", "reservoir.leak"},
        ),
        ("four-corner-reservoir", {"reservoir.leak", "reservoir.fill"}, {"sensor.worn"}),
    ],
)
def test_records_follow_the_features(
    knowledge: Knowledge, layout: str, has: set[str], lacks: set[str]
) -> None:
    ids = {base_id(record.id) for record in records(expand(knowledge, layout))}
    assert has <= ids
    assert not lacks & ids


def test_the_rear_pair_has_no_front(knowledge: Knowledge) -> None:
    ids = {record.id for record in records(expand(knowledge, "rear-pair"))}
    assert [id_ for id_ in ids if "front" in id_] == []


@pytest.mark.parametrize("layout", FOUR)
def test_a_front_corner_needs_the_access_of_the_front(knowledge: Knowledge, layout: str) -> None:
    system = expand(knowledge, layout)
    front, rear = (system.checks[f"soap.fold-extended@{c}-left"].needs for c in ("front", "rear"))
    assert "front-arch-liner-off" in front
    assert "arch-liner-off" not in front
    assert "arch-liner-off" in rear
    assert "front-arch-liner-off" in system.repairs["spring.replace@front-right"].needs


def test_an_axle_is_its_own_corners(knowledge: Knowledge) -> None:
    system = expand(knowledge, "four-corner")
    for axle, node in (("rear", "air.escape-axle"), ("front", "air.escape-front")):
        parents = {cause.parent for cause in system.nodes[node].causes}
        assert parents == {f"air.escape@{axle}-left", f"air.escape@{axle}-right"}
    yields = set(system.checks["hold.temperature-front"].yields_to)
    assert yields == {"hold.overnight@front-left", "hold.overnight@front-right"}
    rear_pair = expand(knowledge, "rear-pair").nodes["air.escape-axle"]
    assert {c.parent for c in rear_pair.causes} == {"air.escape@left", "air.escape@right"}


# --- the audit of what each layout is left with


def first_problem(knowledge: Knowledge) -> Problem:
    return next(problems(knowledge, MODELS))


def changed(knowledge: Knowledge, kind: str, id_: str, **changes: Any) -> Knowledge:
    kept = getattr(knowledge, kind)
    assert id_ in {record.id for record in kept}
    new = tuple(replace(r, **changes) if r.id == id_ else r for r in kept)
    wider: dict[str, Any] = {kind: new}
    return replace(knowledge, **wider)


@pytest.mark.parametrize(
    ("kind", "id_", "changes", "path", "text"),
    [
        ("faults", "reservoir.leak", {"only_with": "resevoir"}, ("only_with",), "'reservoir'"),
        ("conditions", "outlet.air", {"only_with": "resevoir"}, ("only_with",), "'reservoir'"),
        ("checks", "reservoir.decay", {"only_with": ""}, ("measure", "node"), "only with reserv"),
        ("conditions", "pump.delivery", {"axle": "front"}, ("measure", "node"), "say axle"),
        ("checks", "sensor.sweep", {"only_with": ""}, ("rows",), "nothing that it looks at"),
        ("checks", "soap.ends", {"needs": ("front-wheel-off",)}, ("needs", 0), "'rear-pair'"),
        ("checks", "soap.ends", {"without": ("front-wheel-off",)}, ("without", 0), "'rear-pair'"),
        ("repairs", "spring.replace", {"needs": ("front-wheel-off",)}, ("needs", 0), "'rear-pair'"),
        ("repairs", "block.replace", {"only_with": "reservoir"}, ("id",), "'four-corner'"),
        ("repairs", "reservoir.replace", {"only_with": ""}, ("fixes",), "none of its faults"),
        ("proofs", "proof.reservoir-holds", {"only_with": ""}, ("check",), "only with reservoir"),
        (
            "proofs",
            "proof.reservoir-holds",
            {"only_with": "", "check": "pump.fill-test"},
            ("faults",),
            "none of its faults",
        ),
        (
            "proofs",
            "proof.cold-explains",
            {"check": "hold.temperature-front"},
            ("check",),
            "say axle",
        ),
        ("proofs", "proof.vent-tight", {"check": "reservoir.soap"}, ("outcome",), "outcome"),
        ("access", "wheel-off", {"at_front": "front-weel-off"}, ("at_front",), "front-wheel-off"),
    ],
)
def test_the_audit_finds_what_a_layout_lacks(
    knowledge: Knowledge,
    kind: str,
    id_: str,
    changes: Mapping[str, Any],
    path: tuple[str | int, ...],
    text: str,
) -> None:
    problem = first_problem(changed(knowledge, kind, id_, **changes))
    assert problem.path == path
    assert text in problem.text


def test_the_audit_finds_a_misspelt_feature_of_a_cause(knowledge: Knowledge) -> None:
    (outlet,) = (c for c in knowledge.conditions if c.id == "outlet.air")
    causes = (replace(outlet.causes[0], only_with="vent-valv"), *outlet.causes[1:])
    problem = first_problem(changed(knowledge, "conditions", "outlet.air", causes=causes))
    assert problem.path == ("causes", 0, "only_with")
    assert "did you mean 'vent-valve'" in problem.text


def test_the_audit_finds_a_corner_that_is_there_twice(knowledge: Knowledge) -> None:
    (layout,) = (one for one in knowledge.layouts if one.id == "four-corner")
    corners = (*layout.corners, layout.corners[0])
    problem = first_problem(changed(knowledge, "layouts", "four-corner", corners=corners))
    assert problem.path == ("corners", 4, "id")


# --- inference


@pytest.mark.parametrize("layout", LAYOUTS)
def test_both_engines_agree_on_what_to_expect(knowledge: Knowledge, layout: str) -> None:
    reasoner = reasoner_of(knowledge, layout)
    other_way = reasoner.engine.posterior({}, reasoner.system.nodes).marginals
    for node, got in states(reasoner).items():
        np.testing.assert_allclose(got, other_way[node], rtol=0, atol=1e-9, err_msg=node)


def test_both_engines_agree_on_a_verdict(knowledge: Knowledge) -> None:
    reasoner = reasoner_of(knowledge, "four-corner-reservoir")
    evidence = combined(
        tuple(
            findings(
                reasoner.system,
                ("hold.overnight@front-left", NIGHT),
                ("soap.ends@front-left", "bubbles"),
                ("codes.corner@rear-right", "sensor"),
                ("reservoir.read", "low"),
            )
        )
    )
    other_way = reasoner.engine.posterior(evidence, reasoner.sizes).marginals
    given = {name: likelihood[None] for name, likelihood in evidence.items()}
    batch = reasoner.elimination.ask(given, reasoner.sizes)
    for fault in reasoner.sizes:
        got = batch.marginal(fault)[0]
        np.testing.assert_allclose(got, other_way[fault], rtol=0, atol=1e-9, err_msg=fault)


@pytest.mark.parametrize("layout", LAYOUTS)
def test_symmetric_corners_have_equal_priors(knowledge: Knowledge, layout: str) -> None:
    priors = states(reasoner_of(knowledge, layout))
    by_base: dict[str, list[Any]] = {}
    for node, prior in priors.items():
        if corner_of(node):
            by_base.setdefault(base_id(node), []).append(prior)
    assert len(by_base) > 10
    for base, alike in by_base.items():
        assert len(alike) == len(CORNERS[layout])
        for one in alike[1:]:
            np.testing.assert_allclose(one, alike[0], rtol=1e-9, atol=1e-12, err_msg=base)


@pytest.mark.parametrize("layout", LAYOUTS)
def test_every_fault_has_a_check_that_shows_it_clearly(knowledge: Knowledge, layout: str) -> None:
    reasoner = reasoner_of(knowledge, layout)
    outlook = look_ahead(reasoner, findings(reasoner.system), list(reasoner.system.checks))
    clearest = np.max([outlook.shows(check) for check in outlook.chance], axis=0)
    unseen = [f for f, shown in zip(outlook.faults, clearest, strict=True) if shown < 0.5]
    assert unseen == []


@pytest.mark.common_practice("bubbles at a place of the one corner that sinks show where it leaks")
@pytest.mark.parametrize("fault", SOAP)
@pytest.mark.parametrize(("layout", "corner"), EVERY_CORNER)
def test_a_leak_is_found_at_its_corner(
    knowledge: Knowledge, layout: str, corner: str, fault: str
) -> None:
    reasoner = reasoner_of(knowledge, layout)
    chances = beliefs(reasoner, *held(layout, corner), *soaped(fault, corner))
    assert chances[f"{fault}@{corner}"] > 0.8
    assert foremost(chances) == f"{fault}@{corner}"
    elsewhere = (c for c in CORNERS[layout] if c != corner)
    assert all(chances[f"{fault}@{c}"] < 0.1 for c in elsewhere)


@pytest.mark.parametrize("fault", SOAP)
@pytest.mark.parametrize("layout", LAYOUTS)
def test_the_verdict_leads_with_the_leak_alone(
    knowledge: Knowledge, layout: str, fault: str
) -> None:
    reasoner, corner = reasoner_of(knowledge, layout), CORNERS[layout][0]
    hold: Answer = (f"hold.overnight@{corner}", NIGHT)
    verdict = judged(reasoner, hold, *soaped(fault, corner))
    assert verdict.leading.faults == (f"{fault}@{corner}",)


@pytest.mark.parametrize("layout", LAYOUTS)
def test_the_same_evidence_says_the_same_at_every_corner(knowledge: Knowledge, layout: str) -> None:
    reasoner = reasoner_of(knowledge, layout)
    said = [
        beliefs(
            reasoner,
            (f"hold.overnight@{corner}", NIGHT),
            (f"soap.ends@{corner}", "bubbles"),
            (f"height.running@{corner}", "low"),
        )
        for corner in CORNERS[layout]
    ]
    for fault in ("spring.seal-leak", "spring.fold-leak", "valve.leak-by", "line.blocked"):
        here = [chances[f"{fault}@{c}"] for chances, c in zip(said, CORNERS[layout], strict=True)]
        assert here == pytest.approx([here[0]] * len(here), rel=1e-9)


def test_a_leak_of_the_rear_axle_says_nothing_against_the_front(knowledge: Knowledge) -> None:
    reasoner = reasoner_of(knowledge, "four-corner")
    heavy = Finding(
        id="r1.leak",
        source="r1",
        name="fall of the axle at rest",
        text="heavy",
        target="air.escape-axle",
        likelihood=(0.0, 0.0, 0.0, 1.0),
    )
    assert reasoner.system.nodes[heavy.target].state_ids[-1] == "heavy"
    before, after = states(reasoner), states(reasoner, heavy)

    def rise(corner: str) -> float:
        node = f"air.escape@{corner}"
        return float(before[node][0] - after[node][0])

    assert rise("rear-left") > 0.4  # one of two
    assert rise("rear-left") == pytest.approx(rise("rear-right"), rel=1e-9)
    # Not none: what overworks the pump wets the air, and wet air spoils every valve.
    assert 0.0 < rise("front-left") < 0.05 * rise("rear-left")


@pytest.mark.parametrize("layout", LAYOUTS)
def test_a_leak_that_wore_the_pump_is_told_as_a_chain(knowledge: Knowledge, layout: str) -> None:
    reasoner = reasoner_of(knowledge, layout)
    corner = CORNERS[layout][0]
    fall = {"height-start": "400 mm", "height-end": "355 mm", "time": "2 min", **MILD}
    fill = {
        "pressure-start": "0 bar",
        "pressure-end": "5 bar",
        "time": "60 s",
        "volume": "2 L",
        "supply": "12.3 V",
    }
    verdict = judged(
        reasoner,
        (f"hold.short@{corner}", fall),
        *soaped("spring.fold-leak", corner),
        ("pump.fill-test", fill),
        ("pump.bare-fill", "weak"),
    )
    leak = f"spring.fold-leak@{corner}"
    assert verdict.belief(leak).probability > 0.8
    assert verdict.belief("pump.worn").probability > 0.8
    links = tell_story(reasoner, verdict, facts_of(reasoner.system).values)
    (link,) = (link for link in links if link.cause == leak and link.effect == "pump.worn")
    assert link.via == "overrun"
    assert link.counts


# --- block, pressure sensor and corner sensors


@pytest.mark.parametrize("layout", FOUR)
@pytest.mark.parametrize(
    ("fault", "answers"),
    [
        (
            "pressure-sensor.wrong",
            [("pressure-sensor.gauge", "differs"), ("pressure-sensor.zero", "shifted")],
        ),
        (
            "block.cross-leak@front-right",
            [
                *held("four-corner", "front-right"),
                *soaped("none", "front-right"),
                ("height.arrival@front-right", "low"),
                ("story.when-low@front-right", "overnight"),
                ("valve.port-film@front-right", "flat"),
                ("block.cross-feed@front-right", "crosses"),
            ],
        ),
        (
            "valve.coil-open@rear-left",
            [("codes.corner@rear-left", "valve"), ("valve.coil-ohms@rear-left", "open")],
        ),
        (
            "valve.leak-by@front-left",
            [
                *held("four-corner", "front-left"),
                *soaped("none", "front-left"),
                ("height.arrival@front-left", "low"),
                ("story.when-low@front-left", "overnight"),
                ("valve.port-film@front-left", "bubbles"),
            ],
        ),
        (
            "corner-sensor.link-broken@front-left",
            [
                (
                    "corner-sensor.tape@front-left",
                    {
                        "signal-low": "380 mm",
                        "tape-low": "345 mm",
                        "signal-high": "400 mm",
                        "tape-high": "366 mm",
                    },
                ),
                ("corner-sensor.look@front-left", "damaged"),
            ],
        ),
        (
            "corner-sensor.worn@rear-right",
            [
                ("corner-sensor.sweep@rear-right", "jumps"),
                ("codes.corner@rear-right", "sensor"),
                ("corner-sensor.supply@rear-right", "good"),
            ],
        ),
        (
            "corner-sensor.wiring@rear-right",
            [
                ("codes.corner@rear-right", "sensor"),
                ("corner-sensor.supply@rear-right", "bad-supply"),
            ],
        ),
    ],
)
def test_a_fault_of_block_or_sensor_is_found(
    knowledge: Knowledge, layout: str, fault: str, answers: list[Answer]
) -> None:
    chances = beliefs(reasoner_of(knowledge, layout), *answers)
    assert foremost(chances) == fault
    assert chances[fault] > 0.8


# --- reservoir

HOLD = {"pressure-start": "11 bar", "volume": "5 L", **MILD}


@pytest.mark.parametrize(
    ("fault", "answers"),
    [
        (
            "reservoir.leak",
            [
                ("reservoir.read", "low"),
                ("reservoir.overnight", {**HOLD, "pressure-end": "9.5 bar", "time": "10 h"}),
                ("reservoir.soap", "bubbles"),
            ],
        ),
        (
            "reservoir.leak",
            [
                ("reservoir.decay", {**HOLD, "pressure-end": "8 bar", "time": "60 min"}),
                ("reservoir.soap", "bubbles"),
            ],
        ),
        (
            "reservoir-valve.stuck-closed",
            [
                ("reservoir.read", "empty"),
                ("reservoir-valve.flow", "no-flow"),
                ("reservoir-valve.click", "faint"),
            ],
        ),
        (
            "reservoir-valve.coil-open",
            [("reservoir-valve.click", "silent"), ("reservoir-valve.coil-ohms", "open")],
        ),
        (
            "reservoir-valve.leak-by",
            [("block.rest-pressure", "above-spring"), ("reservoir-valve.film", "bubbles")],
        ),
    ],
)
def test_a_fault_of_the_reservoir_is_found_by_its_checks(
    knowledge: Knowledge, fault: str, answers: list[Answer]
) -> None:
    chances = beliefs(reasoner_of(knowledge, "four-corner-reservoir"), *answers)
    assert foremost(chances) == fault
    assert chances[fault] > 0.8


def test_a_tight_reservoir_and_a_weak_fill_blame_the_pump(knowledge: Knowledge) -> None:
    fill = {
        "pressure-start": "2 bar",
        "pressure-end": "4.5 bar",
        "time": "90 s",
        "volume": "5 L",
        "supply": "12.3 V",
    }
    chances = beliefs(
        reasoner_of(knowledge, "four-corner-reservoir"),
        ("reservoir.overnight", {**HOLD, "pressure-end": "11 bar", "time": "10 h"}),
        ("reservoir.fill", fill),
        ("pump.bare-fill", "weak"),
    )
    assert chances["pump.worn"] > 0.8
    assert chances["reservoir.leak"] < 0.02


@pytest.mark.arithmetic("5 L × 0.2432 bar / (1.01325 bar × 600 min), free air at 20 °C and 1 atm")
def test_the_limit_of_the_reservoir_is_a_quarter_of_a_bar_a_night(knowledge: Knowledge) -> None:
    system = expand(knowledge, "four-corner-reservoir")
    at_20 = {"temperature-start": "20 °C", "temperature-end": "20 °C"}
    values = {"pressure-start": "10.0000 bar", "pressure-end": "9.7568 bar", "time": "10 h"}
    answer: Answer = ("reservoir.overnight", {**HOLD, **values, **at_20})
    estimate = findings(system, answer)[1].estimate
    assert isinstance(estimate, Estimate)
    assert estimate.unit == "mL/min"
    assert estimate.value == pytest.approx(2.0, abs=0.005)
    proof = system.proof_for("reservoir.leak")
    assert proof is not None
    assert proof.at_most == 2.0
    assert estimate.std < proof.at_most / 2.0  # the gauge can tell the limit from nothing
