"""A text is rewritten for its reader: units by published factors, digits by the spread's."""

from __future__ import annotations

import re
from dataclasses import dataclass

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sagtrace.units import METRIC, Own, Reader, as_read, convert, format_quantity, from_si, to_si
from sagtrace.units.table import IMPERIAL, TABLE

INCHES = Reader(imperial=True)
COMMAS = Reader(comma=True)
SP811 = "NIST Special Publication 811, 2008 edition, Appendix B.8 and B.9"
CELSIUS = "NIST Special Publication 811, 2008 edition, B.1.2: t/°F = 1.8 t/°C + 32"
NO_DEADLINE = settings(deadline=None)  # because the first reading builds the unit registry


# Products of the printed factors: 1 in = 25.4 mm, 1 psi = 6.894757 kPa, 1 in³ = 16.38706 mL,
# 1 lb = 0.4535924 kg, 1 ft = 0.3048 m, 1 mile = 1.609344 km.
@pytest.mark.from_memory(SP811)
@pytest.mark.parametrize(
    ("text", "read"),
    [
        ("254.0 mm", "10.000 in"),
        ("412 mm", "16.22 in"),
        ("6.9 bar", "100 psi"),
        ("0.05 bar", "0.73 psi"),
        ("101.325 kPa", "14.6959 psi"),
        ("1013 hPa", "14.69 psi"),
        ("164 mL/min", "10.01 in³/min"),
        ("80 kg", "176 lb"),
        ("4 m of wire", "13 ft of wire"),
        ("30 km/h", "18.6 mph"),
        ("0.5 mm/h", "0.020 in/h"),
    ],
)
def test_printed_factors(text: str, read: str) -> None:
    assert INCHES.text(text) == read


@pytest.mark.from_memory(CELSIUS)
def test_a_temperature_moves_its_zero_and_a_difference_does_not() -> None:
    assert INCHES.text("at 20 °C") == "at 68 °F"
    assert INCHES.text("20.0 ± 0.5 °C") == "68.00 ± 0.90 °F"
    assert INCHES.text("3 K warmer, −40 °C") == "5.4 °F warmer, −40 °F"


@NO_DEADLINE
@given(st.floats(-5.0, 5.0), st.floats(1e-4, 0.1))
def test_a_value_with_its_spread_reads_as_if_it_was_written_in_inches(
    value: float, std: float
) -> None:
    """Two digits of the spread are kept, and the value to the same place."""
    read = INCHES.text(format_quantity(value, std, "mm"))
    found = re.fullmatch(r"(−?[\d.]+) ± ([\d.]+) in", read)
    assert found is not None
    shown = float(found[1].replace("−", "-"))
    # What was written had half a last digit of slack already, in either number.
    slack = 0.1 * std / 0.0254
    assert abs(shown - from_si(value, "in")) <= slack
    assert float(found[2]) == pytest.approx(from_si(std, "in"), rel=0.1)
    assert len(found[2].replace(".", "").lstrip("0")) == 2
    assert len(found[1].partition(".")[2]) == len(found[2].partition(".")[2])


@NO_DEADLINE
@given(st.integers(-9999, 9999), st.integers(0, 3), st.sampled_from(sorted(IMPERIAL)))
def test_a_number_stays_within_what_its_last_digit_was_worth(
    digits: int, places: int, unit: str
) -> None:
    text = f"{digits / 10**places:.{places}f}".replace("-", "−")
    read = INCHES.text(f"it is {text} {unit}.")
    found = re.fullmatch(r"it is (−?[\d.]+) ([^ ]+)\.", read)
    assert found is not None
    back = convert(float(found[1].replace("−", "-")), IMPERIAL[unit], unit)
    assert abs(back - digits / 10**places) <= max(10.0**-places, 0.05 * abs(digits) / 10**places)


def test_both_ends_of_an_interval_are_read() -> None:
    assert INCHES.text("530 to 1380 mL/min") == "32.3 to 84.2 in³/min"
    assert INCHES.text("between 250 and 700 mm") == "between 9.84 and 27.56 in"
    assert INCHES.text("0 to 12 mm") == "0.00 to 0.47 in"
    assert INCHES.text("a fall of 0 mm") == "a fall of 0 in"
    assert INCHES.text("from 400 mm to 412 mm") == "from 15.75 in to 16.22 in"


@pytest.mark.parametrize(
    "text",
    [
        "0.3 V at 20 A, 15 milliohms, 2.5 mm² wire",
        "a 6 mm line",
        "20 mK/W and 5 m³",
        "RFC 9110, 13.1.1; e14; 2026-11-27T16:08:00+00:00",
        "5 min, 12 h, 95 %",
        "typed as '5 bar', “at 5 bar”, \"5 bar\"",
        "10 000 mL",
        "16.2 in",
    ],
)
def test_what_is_no_metric_quantity_stays(text: str) -> None:
    assert INCHES.text(text) == text


@pytest.mark.parametrize(
    ("text", "read"),
    [
        ("0.2 to 0.5 bar", "0,2 to 0,5 bar"),
        ("odds × 1.4, 12.5 %, 3.2 A", "odds × 1,4, 12,5 %, 3,2 A"),
        ("1\u202f234.5 mL", "1\u202f234,5 mL"),
        ("typed as '0.35'", "typed as '0.35'"),
        ("version 0.1.0, RFC 9110, 13.1.1", "version 0.1.0, RFC 9110, 13.1.1"),
        ("r1.csv at 2026-11-27", "r1.csv at 2026-11-27"),
    ],
)
def test_a_decimal_point_becomes_a_comma(text: str, read: str) -> None:
    assert COMMAS.text(text) == read


@dataclass(frozen=True, kw_only=True)
class Leaf:
    text: str
    at: float = 1.0


@dataclass(frozen=True, kw_only=True)
class Tree:
    leaves: tuple[Leaf, ...]
    own: str


def test_a_record_is_read_through_and_own_words_stay() -> None:
    tree = Tree(leaves=(Leaf(text="5.5 bar"),), own=Own("5.5 bar"))
    assert as_read(tree, METRIC) is tree
    assert as_read(tree, Reader(imperial=True, comma=True)) == Tree(
        leaves=(Leaf(text="80 psi"),), own="5.5 bar"
    )
    assert isinstance(as_read(tree, INCHES).own, Own)
    assert as_read(tree, COMMAS).leaves[0].text == "5,5 bar"


@pytest.mark.parametrize("unit", sorted(IMPERIAL))
def test_every_unit_that_is_read_measures_the_same(unit: str) -> None:
    dimensions = {d for d, rows in TABLE.items() if unit in {row[0] for row in rows}}
    read = {d for d, rows in TABLE.items() if IMPERIAL[unit] in {row[0] for row in rows}}
    assert dimensions & read
    assert convert(1.0, unit, IMPERIAL[unit]) == pytest.approx(
        from_si(to_si(1.0, unit), IMPERIAL[unit])
    )
