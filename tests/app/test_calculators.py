"""Calculators: published values through their front door, and what may be typed into them."""

from __future__ import annotations

from collections.abc import Mapping

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from printed import printed
from sagtrace.app.calculators.records import Answer, Calculator, ask
from sagtrace.app.calculators.shelf import all_calculators
from sagtrace.physics.constants import R_GAS
from sagtrace.vehicle.layouts import Layout

SAMPLES: Mapping[str, Mapping[str, str]] = {
    "leak-from-drop": {"height-start": "412 mm", "height-end": "398 mm", "time": "20 min"},
    "leak-from-pressure": {
        "pressure-start": "9 bar", "pressure-end": "8.7 bar", "time": "20 min", "volume": "4.5 L",
    },
    "hold-time": {},
    "cooling": {"temperature-start": "18 °C", "temperature-end": "-2 °C"},
    "pump-from-rise": {"height-start": "380 mm", "height-end": "400 mm", "time": "12 s"},
    "pump-from-filling": {
        "pressure-start": "0 bar", "pressure-end": "8 bar", "time": "90 s", "volume": "4 L",
    },
    "duty": {"leak": "500 mL/min"},
    "joint": {"drop": "0.5 V", "current": "20 A"},
    "wire": {"length": "4 m", "current": "20 A"},
    "fuse": {"rating": "40 A", "current": "80 A"},
    "reference-conditions": {"flow": "26 L/min"},
}  # fmt: skip


@pytest.fixture(scope="module")
def shelf(rear_pair: Layout) -> Mapping[str, Calculator]:
    return all_calculators(rear_pair, "0.7 mL/min")


def answers(shelf: Mapping[str, Calculator], name: str, **typed: str) -> tuple[Answer, ...]:
    done = ask(shelf[name], {key.replace("_", "-"): text for key, text in typed.items()})
    assert done.problems == {}
    return done.answers


def sample(calculator: Calculator) -> Mapping[str, str]:
    if calculator.id.startswith("units-"):
        return {"value": "3"}
    return SAMPLES[calculator.id]


# --- published values


@pytest.mark.published("40 CFR 1065.644, vacuum-decay leak rate, as amended 79 FR 23795, 2014")
def test_a_leak_from_pressure(shelf: Mapping[str, Calculator]) -> None:
    """V = 2 L, 25.3 to 50.6 kPa in 70 s at 293.15 K: 2.9657047e-4 mol/s; here it runs outward."""
    (leak,) = answers(
        shelf, "leak-from-pressure", pressure_start="50.6 kPa abs", pressure_end="25.3 kPa abs",
        time="70 s", volume="2 L", temperature_start="20 °C", temperature_end="20 °C",
    )  # fmt: skip
    assert leak.value is not None
    litre_at_20 = R_GAS * 293.15 / 101_325.0
    assert leak.value / 6e7 / litre_at_20 == pytest.approx(2.9657047e-4, rel=2e-6)


@pytest.mark.published("IEC 60228, as repeated by a cable maker: copper 17.241 ohm mm^2/km at 20 C")
def test_a_wire(shelf: Mapping[str, Calculator]) -> None:
    typed = {"area": "1 mm²", "length": "1 m", "temperature": "20 °C"}
    resistance, drop = answers(shelf, "wire", current="1 A", **typed)
    assert resistance.value == printed("17.241")
    assert drop.value is not None
    assert 1e3 * drop.value == printed("17.241")


@pytest.mark.from_memory("DIN 1343: 0 °C, 101.325 kPa; ISO 8778:2003: 20 °C, 100 kPa")
def test_normal_litres_are_colder_than_anr_litres(shelf: Mapping[str, Calculator]) -> None:
    typed = {"flow": "1 L/min", "from": "normal", "to": "anr"}
    flow, _ = answers(shelf, "reference-conditions", **typed)
    assert flow.value == pytest.approx(101.325 / 273.15 * 293.15 / 100.0, rel=1e-9)


@pytest.mark.published("NIST SP 811 (2008), Appendix B.8: 1 psi = 6.894757 kPa, 1 in = 25.4 mm")
def test_units(shelf: Mapping[str, Calculator]) -> None:
    by_unit = {a.unit: a.value for a in answers(shelf, "units-pressure-gauge", value="1 psi")}
    assert by_unit["kPa"] == printed("6.894757")
    by_unit = {a.unit: a.value for a in answers(shelf, "units-length", value="1 in")}
    assert by_unit["mm"] == pytest.approx(25.4, rel=1e-12)


@pytest.mark.arithmetic("Ohm's law: 0.5 V at 20 A")
def test_a_joint(shelf: Mapping[str, Calculator]) -> None:
    ohms, watts = answers(shelf, "joint", drop="0.5 V", current="20 A")
    assert ohms.value == pytest.approx(25.0)
    assert watts.value == pytest.approx(10.0)


@pytest.mark.from_memory("ISO 8820-3, type C at twice the rated current: 0.15 s to 5 s")
def test_a_fuse(shelf: Mapping[str, Calculator]) -> None:
    _, time = answers(shelf, "fuse", rating="40.000 A", current="80.000 ± 0.001 A")
    assert time.low is not None
    assert time.high is not None
    # The clamp's own spread makes the band a little wider, never narrower.
    assert 0.13 < time.low <= 0.15
    assert 5.0 <= time.high < 6.5


# --- what a person may do with them


def test_none_is_left_out(shelf: Mapping[str, Calculator]) -> None:
    assert set(SAMPLES) | {c for c in shelf if c.startswith("units-")} == set(shelf)


def test_every_answer_has_unit_interval_and_source(shelf: Mapping[str, Calculator]) -> None:
    for calculator in shelf.values():
        done = ask(calculator, sample(calculator))
        assert (calculator.id, done.problems) == (calculator.id, {})
        assert all((calculator.formula, calculator.source, calculator.assumes, calculator.about))
        for answer in done.answers:
            assert answer.low is not None or answer.high is not None
            if answer.value is not None and answer.low is not None and answer.high is not None:
                assert answer.low < answer.value < answer.high
                assert "95 %" in answer.text
            assert answer.unit in answer.text


def test_what_is_typed_of_the_vehicle_narrows_the_answer(shelf: Mapping[str, Calculator]) -> None:
    def width(**typed: str) -> float:
        heights = {"height_start": "412 mm", "height_end": "398 mm", "time": "8 h"}
        (leak,) = answers(shelf, "leak-from-drop", **heights, **typed)
        assert leak.high is not None
        assert leak.low is not None
        return leak.high - leak.low

    temperatures = {"temperature_start": "15 °C", "temperature_end": "15 °C"}
    known = {"spring_area": "110 ± 2 cm²", "spring_pressure": "5.0 ± 0.1 bar"}
    assert width() > width(**temperatures) > width(**temperatures, **known)


@pytest.mark.parametrize(
    ("name", "typed", "field", "fragment"),
    [
        ("joint", {"drop": "half a volt", "current": "20 A"}, "drop", "expected a voltage"),
        ("joint", {"drop": "0.5 V"}, "current", "needed, in A"),
        ("joint", {"drop": "0.5 V", "current": "0 A"}, "current", "above zero"),
        ("joint", {"drop": "0.5 bar", "current": "3 A"}, "drop", "pressure"),
        ("joint", {"drop": "1 V", "current": "3 A", "colour": "red"}, "", "no field"),
        ("fuse", {"rating": "40 A", "current": "80 A", "type": "Z"}, "type", "'Z'"),
        ("leak-from-drop", {**SAMPLES["leak-from-drop"], "time": "0 s"}, "", "above zero"),
    ],
)
def test_a_slip_is_said_where_it_is(
    shelf: Mapping[str, Calculator], name: str, typed: Mapping[str, str], field: str, fragment: str
) -> None:
    done = ask(shelf[name], typed)
    assert done.answers == ()
    assert fragment in done.problems[field]
    assert done.typed == typed


@settings(max_examples=200, deadline=None)
@given(data=st.data())
def test_anything_may_be_typed(data: st.DataObject, shelf: Mapping[str, Calculator]) -> None:
    calculator = data.draw(st.sampled_from(sorted(shelf.values(), key=lambda c: c.id)))
    texts = st.one_of(
        st.text(max_size=12), st.from_regex(r"-?[0-9]{1,4}[.,]?[0-9]{0,3}( mm| bar|)")
    )
    typed = {f.id: data.draw(texts) for f in calculator.fields}
    done = ask(calculator, typed)
    assert bool(done.answers) != bool(done.problems)
