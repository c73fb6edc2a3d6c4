"""What people type becomes SI, or is refused in words that say the way out."""

from __future__ import annotations

import math
import subprocess
import sys

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from sagtrace.errors import DomainError, InputError, UnitError, UnknownIdError
from sagtrace.units import (
    IMPERIAL,
    KINDS,
    convert,
    format_quantity,
    from_si,
    parse_quantity,
    to_si,
)

SP811 = "NIST Special Publication 811, 2008 edition, Appendix B.8"
GUM = "JCGM 100:2008, 4.3.7"

NO_DEADLINE = settings(deadline=None)  # because the first reading builds the unit registry


def value(text: str, kind: str, **more: float) -> float:
    return parse_quantity(text, kind, name="x", **more).value  # type: ignore[arg-type]


def refusal(text: str, kind: str) -> str:
    with pytest.raises(InputError) as caught:
        parse_quantity(text, kind, name="x")
    return str(caught.value)


# Factors as printed: seven digits, or all of them where the factor is exact.
@pytest.mark.from_memory(SP811)
@pytest.mark.parametrize(
    ("unit", "printed", "half_last_digit"),
    [
        ("psi", 6.894757e3, 0.5e-3),
        ("atm", 1.01325e5, 1e-9),
        ("mmHg", 1.333224e2, 0.5e-4),
        ("inHg", 3.386389e3, 0.5e-3),
        ("hp", 7.456999e2, 0.5e-4),
        ("lb", 4.535924e-1, 0.5e-7),
        ("oz", 2.834952e-2, 0.5e-8),
        ("ft³/min", 4.719474e-4, 0.5e-10),
        ("in³", 1.638706e-5, 0.5e-11),
        ("in²", 6.4516e-4, 1e-18),
        ("mph", 4.4704e-1, 1e-15),
        ("ft", 3.048e-1, 1e-15),
        ("°", 1.745329e-2, 0.5e-8),
    ],
)
def test_factor_as_printed(unit: str, printed: float, half_last_digit: float) -> None:
    assert to_si(1.0, unit) == pytest.approx(printed, rel=0, abs=half_last_digit)


@pytest.mark.arithmetic("1 in = 25.4 mm, exact (yard and pound agreement of 1959)")
def test_inch_is_exact() -> None:
    assert value("1 in", "length") == 0.0254
    assert value("14 3/8 in", "length") == 0.365125
    assert convert(1.0, "in", "mm") == pytest.approx(25.4, rel=1e-15)


@pytest.mark.arithmetic("lbf/in^2 = 0.45359237 kg * 9.80665 m/s^2 / (0.0254 m)^2, all exact")
def test_psi_from_its_definition() -> None:
    by_definition = 0.45359237 * 9.80665 / 0.0254**2
    assert value("113 psi", "pressure_gauge") == pytest.approx(113 * by_definition, rel=1e-14)


@pytest.mark.arithmetic("t/°F = 9/5 t/°C + 32, T/K = t/°C + 273.15")
@pytest.mark.parametrize(
    ("fahrenheit", "kelvin"), [("32 °F", 273.15), ("212 °F", 373.15), ("-40 °F", 233.15)]
)
def test_fahrenheit(fahrenheit: str, kelvin: float) -> None:
    assert value(fahrenheit, "temperature") == pytest.approx(kelvin, abs=1e-10)


@pytest.mark.arithmetic("9 K = 16.2 °F of difference; no offset")
def test_a_temperature_difference_has_no_offset() -> None:
    assert value("16.2 °F", "temperature_difference") == pytest.approx(9.0)
    assert value("9 °C", "temperature_difference") == 9.0
    assert convert(9.0, "K", "Δ°F") == pytest.approx(16.2)
    assert convert(5.0, "°C", "°F") == pytest.approx(41.0)


@pytest.mark.arithmetic("60 turns a minute are one a second, 1 Hz; no factor of 2 pi")
def test_turns_per_minute_are_plain_hertz() -> None:
    assert value("600 rpm", "frequency") == pytest.approx(10.0, rel=1e-15)


@pytest.mark.arithmetic("stated unit ratios only")
@pytest.mark.parametrize(
    ("text", "kind", "si"),
    [
        ("7.8 bar", "pressure_gauge", 780000.0),
        ("7.8 bar gauge", "pressure_gauge", 780000.0),
        ("7.8 bar(g)", "pressure_gauge", 780000.0),
        ("7.8 bar g", "pressure_gauge", 780000.0),
        ("7.8barg", "pressure_gauge", 780000.0),
        ("780 kPa (gauge)", "pressure_gauge", 780000.0),
        ("8.8 bar abs", "pressure_absolute", 880000.0),
        ("8.8 bar absolute", "pressure_absolute", 880000.0),
        ("8.8 bar (a)", "pressure_absolute", 880000.0),
        ("8.8 bara", "pressure_absolute", 880000.0),
        ("880 KPA", "pressure_absolute", 880000.0),
        ("0,35 V", "voltage", 0.35),
        (".35 V", "voltage", 0.35),
        ("12.4V", "voltage", 12.4),
        ("15 mV", "voltage", 0.015),
        ("-0.2 volts", "voltage", -0.2),
        ("20 A", "current", 20.0),
        ("30 µA", "current", 3e-5),
        ("30 μA", "current", 3e-5),
        ("250 mΩ", "resistance", 0.25),
        ("250 mohm", "resistance", 0.25),
        ("0.25 Ohm", "resistance", 0.25),
        ("0.25 \u2126", "resistance", 0.25),
        ("1 Mohm", "resistance", 1e6),
        ("412 mm", "length", 0.412),
        ("1 234,5 mm", "length", 1.2345),
        ("1\u202f234,5 mm", "length", 1.2345),
        ("1,234.5 mm", "length", 1.2345),
        ("1.234,5 mm", "length", 1.2345),
        ("1'234.5 mm", "length", 1.2345),
        ("0,412 m", "length", 0.412),
        ("1.2e3 mm", "length", 1.2),
        ("3/8 in", "length", 0.009525),
        ("14-3/8 in", "length", 0.365125),
        ('14⅜"', "length", 0.365125),
        ("5 ft 3 in", "length", 1.6002),
        ("5' 3 1/2\"", "length", 1.6129),
        ("-5 °C", "temperature", 268.15),
        ("-5 degC", "temperature", 268.15),
        ("−5 °C", "temperature", 268.15),
        ("11.5 h", "time", 41400.0),
        ("11 h 30 min", "time", 41400.0),
        ("11h30", "time", 41400.0),
        ("90 min", "time", 5400.0),
        ("07:30", "time", 27000.0),
        ("1:30 h", "time", 5400.0),
        ("1:30 min", "time", 90.0),
        ("1:02:03", "time", 3723.0),
        ("1 d 2 h 3 min 4 s", "time", 93784.0),
        ("4.5 L", "volume", 4.5e-3),
        ("60 mL/min", "volume_flow", 1e-6),
        ("60 cc/min", "volume_flow", 1e-6),
        ("0.18 kW", "power", 180.0),
        ("180 lb", "mass", 180 * 0.45359237),
        ("95 cm²", "area", 9.5e-3),
        ("35 %", "ratio", 0.35),
        ("35%", "ratio", 0.35),
        ("0.35", "ratio", 0.35),
        ("4.5 mm/s", "speed", 4.5e-3),
        ("36 km/h", "speed", 10.0),
        ("180°", "angle", math.pi),
        ("520 m", "altitude", 520.0),
        ("1000 ft", "altitude", 304.8),
        ("3", "count", 3.0),
        ("3 x", "count", 3.0),
    ],
)
def test_typed(text: str, kind: str, si: float) -> None:
    assert value(text, kind) == pytest.approx(si, rel=1e-13)


@pytest.mark.arithmetic("absolute = gauge + barometer; 7.8 bar + 0.95 bar")
def test_gauge_and_absolute_need_the_barometer() -> None:
    assert value("7.8 bar g", "pressure_absolute", barometer=95000.0) == pytest.approx(875000.0)
    assert value("8.75 bar abs", "pressure_gauge", barometer=95000.0) == pytest.approx(780000.0)
    # A reading that already is what was asked for is left alone.
    assert value("8.75 bar abs", "pressure_absolute", barometer=95000.0) == 875000.0
    assert refusal("7.8 psig", "pressure_absolute") == (
        "x = '7.8 psig': expected an absolute pressure, for example 8.8 bar abs or 128 psia. "
        "This is gauge; with the barometer too it can be made absolute."
    )
    assert refusal("7.8 psia", "pressure_gauge").endswith(
        "This is absolute; with the barometer too it can be made gauge."
    )
    with pytest.raises(DomainError, match=r"must be between 40000 and 115000 Pa. In hPa?"):
        parse_quantity("7.8 bar g", "pressure_absolute", name="x", barometer=1013.25)
    with pytest.raises(DomainError, match=r"must be above zero. A gauge reading"):
        parse_quantity("-1 bar g", "pressure_absolute", name="x", barometer=95000.0)


@pytest.mark.arithmetic("resolution = worth of the last digit typed")
@pytest.mark.parametrize(
    ("text", "kind", "resolution"),
    [
        ("412 mm", "length", 1e-3),
        ("400 mm", "length", 1e-3),
        ("412.0 mm", "length", 1e-4),
        ("1.2e3 mm", "length", 0.1),
        ("14 3/8 in", "length", 0.0254 / 8),
        ("5 ft 3 in", "length", 0.0254),
        ("7.80 bar", "pressure_gauge", 1000.0),
        ("11.5 h", "time", 360.0),
        ("11 h 30 min", "time", 60.0),
        ("07:30", "time", 60.0),
        ("41 °F", "temperature", 5 / 9),
        ("35 %", "ratio", 0.01),
    ],
)
def test_resolution_is_the_last_digit(text: str, kind: str, resolution: float) -> None:
    got = parse_quantity(text, kind, name="x")
    assert got.resolution == pytest.approx(resolution, rel=1e-12)
    assert got.text == text
    assert got.kind == kind


@pytest.mark.from_memory(GUM)
def test_spread_of_a_rectangle() -> None:
    """u^2 = a^2/3 with half-width a, and (2a)^2/12 with full width."""
    assert parse_quantity("412 mm", "length", name="x").std ** 2 == pytest.approx(1e-6 / 12)
    for text in ("412 mm ± 2 mm", "412 ± 2 mm", "412 mm ± 2", "412 mm +/- 0.2 cm", "412±2mm"):
        got = parse_quantity(text, "length", name="x")
        assert got.value == 0.412
        assert got.std**2 == pytest.approx(4e-6 / 3)
    wide = parse_quantity("412 mm", "length", name="x", resolution=5e-3)
    assert wide.resolution == 5e-3
    assert wide.std**2 == pytest.approx(25e-6 / 12)


def test_a_bound_in_degrees_has_no_offset() -> None:
    got = parse_quantity("5 °C ± 1.8 °F", "temperature", name="x")
    assert got.value == 278.15
    assert got.std * math.sqrt(3) == pytest.approx(1.0)


def test_default_unit() -> None:
    assert parse_quantity("412", "length", name="x", default_unit="mm").value == 0.412
    assert parse_quantity("1 in", "length", name="x", default_unit="mm").value == 0.0254
    gauge = parse_quantity(
        "7.8", "pressure_absolute", name="x", default_unit="bar gauge", barometer=1e5
    )
    assert gauge.value == pytest.approx(880000.0)
    with pytest.raises(UnitError, match="default_unit = 'V': expected a unit of length"):
        parse_quantity("412", "length", name="x", default_unit="V")


VOLT = "x = {0!r}: expected a voltage, for example 12.4 V or 350 mV. {1}"
LONG = "x = {0!r}: expected a length, for example 412 mm or 14 3/8 in. {1}"
MORE = "One reading has one number; this has more."


@pytest.mark.parametrize(
    ("text", "hint"),
    [
        ("", "Nothing was typed."),
        (" \t\n", "Nothing was typed."),
        ("12.4", "Add the unit."),
        ("nan V", "Leave the reading out instead."),
        ("-inf", "Leave the reading out instead."),
        ("low", "No number found."),
        ("٣ V", "No number found."),
        ("12 bar", "'bar' is a unit of pressure. A pressure? Enter it as a pressure."),
        ("2 A", "'A' is a unit of current. Check which jack the meter lead was in."),
        ("2 kg", "'kg' is a unit of mass."),
        ("12 vlot", "'vlot' is no unit known here. The nearest is 'volt'."),
        ("12 §§§", "'§§§' is no unit known here. Known: V, mV, kV."),
        ("12 V 20 A", MORE),
        ("12 13 V", MORE),
        ("12 - 13 V", MORE),
        ("12\x00 V", "It holds a character that cannot be printed."),
        ("12\u200b V", "It holds a character that cannot be printed."),
        ("12 V ±", "A ± stands between the reading and its bound, once."),
        ("12 V ± 1 ± 1", "A ± stands between the reading and its bound, once."),
        ("12 V ± 0 V", "The bound after ± must be above zero."),
        ("12 V ± -1 V", "The bound after ± must be above zero."),
        (
            "12 V ± 2 %",
            "A percentage of what? Give the bound in the unit of the reading.",
        ),
        ("1.2.3 V", "The dots and commas in 1.2.3 do not make a number."),
        ("1,23,4 V", "The dots and commas in 1,23,4 do not make a number."),
    ],
)
def test_refused_volts(text: str, hint: str) -> None:
    assert refusal(text, "voltage") == VOLT.format(text, hint)


@pytest.mark.parametrize(
    ("text", "hint"),
    [
        ("1,234 mm", "1,234 can mean 1.234 or 1234: type one of those."),
        ("14 9/8 in", "9/8 is no fraction of one."),
        ("1/0 in", "1/0 is no fraction of one."),
        ("5 ft 14 in", "14 in is as much as one ft or more."),
        ("5 in 3 ft", MORE),
        ("5.5 ft 3 in", MORE),
        ("2**9**9**9 m", MORE),
        ("mm/(0)", "No number found."),
        ("__import__('os')", "No number found."),
        ("12 m*m", "'m*m' is no unit known here. The nearest is 'mm'."),
    ],
)
def test_refused_lengths(text: str, hint: str) -> None:
    assert refusal(text, "length") == LONG.format(text, hint)


def test_refused_elsewhere() -> None:
    assert refusal("300 m", "time").endswith(
        "'m' is a unit of length. Minutes are written min; m is a metre."
    )
    assert refusal("1:30 s", "time").endswith(
        "A colon divides hours and minutes, or with 'min' minutes and seconds."
    )
    assert refusal("250 MOHM", "resistance").endswith("Capitals matter here: 'Mohm' or 'mohm'?")
    assert refusal("1" * 81 + " V", "voltage") == VOLT.format(
        "1" * 40 + "…", "It has 83 characters; a reading has 80 at most."
    )


ZERO = "must be above zero. A gauge reading? Say 'gauge'."
FORTY = "must be between -1.1 and 40 bar"


@pytest.mark.parametrize(
    ("text", "kind", "message"),
    [
        ("1e9 mm", "length", "1e+09 mm: must be between -500 and 5000 mm. "),
        ("1e5 m", "length", "100000 m: must be between -0.5 and 5 m. "),
        ("-1 bar", "pressure_absolute", f"-1 bar: {ZERO}"),
        ("0 bar", "pressure_absolute", f"0 bar: {ZERO}"),
        ("740 bar", "pressure_gauge", f"740 bar: {FORTY}. Did you mean 740 kPa?"),
        ("12400 V", "voltage", "12400 V: must be between -100 and 100 V. Did you mean 12400 mV?"),
        ("412 m", "length", "412 m: must be between -0.5 and 5 m. Did you mean 412 mm?"),
        ("35", "ratio", "35: must be between -1.5 and 1.5. Did you mean 35 %?"),
        ("-5 K", "temperature", "-5 K: must be between 183.15 and 673.15 K. Did you mean -5 °C?"),
        ("3.5", "count", "3.5: must be a whole number."),
        ("-3", "count", "-3: must be between 0 and 1e+07. "),
    ],
)
def test_out_of_range(text: str, kind: str, message: str) -> None:
    with pytest.raises(DomainError) as caught:
        parse_quantity(text, kind, name="x")
    tail = "" if message.rstrip() == message else "Check the number and its unit."
    assert str(caught.value) == f"x = {message}{tail}"


def test_callers_mistakes_are_input_errors() -> None:
    with pytest.raises(UnknownIdError, match="Did you mean 'voltage'"):
        parse_quantity("1 V", "voltag", name="x")
    with pytest.raises(DomainError, match="resolution = 0 V: must be above zero"):
        parse_quantity("1 V", "voltage", name="x", resolution=0.0)
    with pytest.raises(DomainError, match="resolution"):
        parse_quantity("1 V", "voltage", name="x", resolution=math.nan)
    with pytest.raises(UnitError, match=r"unit = 'bat': .*nearest is 'bar'"):
        to_si(1.0, "bat")
    with pytest.raises(
        UnitError, match=r"expected a unit of pressure, like 'bar'. 'V' is a unit of"
    ):
        convert(1.0, "bar", "V")
    with pytest.raises(DomainError, match="must be a finite number"):
        to_si(math.nan, "bar")
    with pytest.raises(DomainError, match="must be a finite number"):
        from_si(math.inf, "bar")


@pytest.mark.arithmetic("value and spread rounded to the spread's two digits by hand")
@pytest.mark.parametrize(
    ("si", "std", "unit", "shown"),
    [
        (0.412, 0.0012, "mm", "412.0 ± 1.2 mm"),
        (0.412, 0.025, "mm", "412 ± 25 mm"),
        (4.1234, 0.25, "mm", "4120 ± 250 mm"),
        (0.412, 0.00000996, "mm", "412.000 ± 0.010 mm"),
        (-0.0354, 0.0011, "mm", "−35.4 ± 1.1 mm"),
        (-0.00001, 0.0011, "mm", "0.0 ± 1.1 mm"),
        (268.15, 0.6, "°C", "−5.00 ± 0.60 °C"),
        (0.353, 0.021, "%", "35.3 ± 2.1 %"),
        (0.353, 0.021, "", "0.353 ± 0.021"),
        (math.pi, math.pi / 180, "°", "180.0 ± 1.0°"),
        (0.0, 1.0, "V", "0.0 ± 1.0 V"),
    ],
)
def test_format(si: float, std: float, unit: str, shown: str) -> None:
    assert format_quantity(si, std, unit) == shown


@pytest.mark.parametrize("std", [0.0, -1.0, math.nan, math.inf])
def test_no_number_without_its_spread(std: float) -> None:
    with pytest.raises(DomainError, match="std"):
        format_quantity(1.0, std, "V")


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_every_kind_reads_its_shown_units(kind: str) -> None:
    usual = KINDS[kind].shown_unit
    for unit in {usual, IMPERIAL.get(usual, usual)}:
        got = parse_quantity(f"1 {unit}", kind, name="x")
        assert got.value == pytest.approx(to_si(1.0, unit), rel=1e-15)
        assert 0.0 < got.std < got.resolution


@NO_DEADLINE
@given(
    number=st.floats(-4.9e-1, 4.9),
    spread=st.floats(1e-6, 1e-2),
    unit=st.sampled_from(["mm", "cm", "m", "in", "ft"]),
)
def test_round_trip(number: float, spread: float, unit: str) -> None:
    shown = format_quantity(number, spread, unit)
    got = parse_quantity(shown, "length", name="x")
    # Rounded to two digits of the spread: off by half a place, at most 5 % of the spread, and the
    # spread itself by as much; read back it is a half-width.
    assert abs(got.value - number) <= 0.0501 * spread + 1e-15
    assert got.std * math.sqrt(3) == pytest.approx(spread, rel=0.0501)


@NO_DEADLINE
@given(number=st.floats(-1e6, 1e6), unit=st.sampled_from(["psi", "°F", "L/min", "lb", "°", "Δ°F"]))
def test_to_si_and_back(number: float, unit: str) -> None:
    assert from_si(to_si(number, unit), unit) == pytest.approx(number, rel=1e-12, abs=1e-9)


@NO_DEADLINE
@given(st.decimals(-99, 99, places=2))
def test_decimal_comma_equals_point(number: object) -> None:
    typed = f"{number} V"
    assert value(typed.replace(".", ","), "voltage") == value(typed, "voltage")


@NO_DEADLINE
@given(st.lists(st.decimals(-40, 200, places=1), min_size=2, max_size=2, unique=True))
def test_a_larger_number_is_a_larger_quantity(pair: list[object]) -> None:
    low, high = sorted(pair)  # type: ignore[type-var]
    for kind, unit in (("temperature", "°F"), ("pressure_gauge", "kPa"), ("voltage", "mV")):
        assert value(f"{low} {unit}", kind) < value(f"{high} {unit}", kind)


WORDS = [
    "mm",
    "in",
    "bar",
    "psi",
    "gauge",
    "h",
    "min",
    "ft",
    "V",
    "Ω",
    "½",
    "−",
    "nan",
    "inf",
    "K",
    "lb",
    "oz",
    "d",
    "g",
    "abs",
    "1/min",
    "e9",
    "\u202f",
]
PIECES = st.lists(
    st.sampled_from([*"0123456789.,/:-+ ±'\"°%()*^eE", *WORDS]),
    max_size=14,
).map("".join)


@settings(max_examples=400, deadline=None)
@given(text=st.text(max_size=200) | PIECES, kind=st.sampled_from(sorted(KINDS)))
@example(text="1e99 m", kind="length")
@example(text="9" * 78 + "e99", kind="count")
@example(text="\ud800 V", kind="voltage")
@example(text="1 ° C", kind="temperature")
def test_any_text_is_a_quantity_or_an_input_error(text: str, kind: str) -> None:
    try:
        got = parse_quantity(text, kind, name="x")
    except InputError as err:
        said = str(err)
    else:
        said = "x = "
        assert KINDS[kind].low <= got.value <= KINDS[kind].high
        assert 0.0 < got.std < math.inf
        assert 0.0 < got.resolution < math.inf
    assert said.startswith("x = ")
    assert "\n" not in said


def test_importing_does_not_load_the_registry() -> None:
    code = "import sys, sagtrace.units; sys.exit('pint' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
