"""The table of units and kinds of quantities, and the way between SI and what people read."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Context, Decimal
from difflib import get_close_matches
from functools import cache
from types import MappingProxyType
from typing import TYPE_CHECKING

from sagtrace.errors import DomainError, UnitError, UnknownIdError

if TYPE_CHECKING:
    import pint

__all__ = [
    "CHAINS", "convert", "format_quantity", "from_si", "IMPERIAL", "KINDS", "line_of", "MODE",
    "QuantityKind", "Scale", "scale_of", "spellings_of", "symbol_of", "TABLE", "to_si", "unit_of",
    "units_of",
]  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class QuantityKind:
    """One kind of quantity: its units, its plausible range, and the slips people make."""

    name: str
    dimension: str  # group in the unit table; two kinds may share one
    si_unit: str
    shown_unit: str
    low: float  # [si_unit] chosen: wide sanity limit, not a specification
    high: float  # [si_unit] chosen, likewise
    expected: str  # completes "expected ..."
    slips: tuple[tuple[str, str], ...] = ()  # (dimension typed by mistake, hint)


# Dimension -> symbol, name in the registry, other spellings. The symbols are what reports show.
# "1/minute" and not "rpm", because the registry takes a revolution as 2 pi radians.
# fmt: off
TABLE: Mapping[str, tuple[tuple[str, str, str], ...]] = {
    "length": (
        ("mm", "millimeter", "millimeter|millimeters|millimetre|millimetres"),
        ("cm", "centimeter", "centimeter|centimeters|centimetre|centimetres"),
        ("m", "meter", "meter|meters|metre|metres"), ("km", "kilometer", "kilometers|kilometres"),
        ("in", "inch", "inch|inches|\"|''|″"), ("ft", "foot", "foot|feet|'|′|’")),
    "pressure": (
        ("bar", "bar", "bars"), ("kPa", "kilopascal", ""),
        ("psi", "pound_force_per_square_inch", "lbf/in2|lbf/in²|lbf/in^2"),
        ("mbar", "millibar", ""), ("hPa", "hectopascal", ""), ("Pa", "pascal", "pascal|pascals"),
        ("MPa", "megapascal", ""), ("atm", "standard_atmosphere", ""),
        ("mmHg", "mmHg", ""), ("inHg", "inHg", "")),
    "voltage": (("V", "volt", "volt|volts"), ("mV", "millivolt", "millivolt|millivolts"),
                ("kV", "kilovolt", "")),
    "current": (("A", "ampere", "amp|amps|ampere|amperes"),
                ("mA", "milliampere", "milliamp|milliamps"), ("µA", "microampere", "uA")),
    "resistance": (
        ("Ω", "ohm", "ohm|ohms"), ("mΩ", "milliohm", "mohm|milliohm|milliohms"),
        ("kΩ", "kiloohm", "kohm|kiloohms"), ("MΩ", "megaohm", "Mohm|megohm|megaohms")),
    "temperature": (
        ("°C", "degree_Celsius", "degC|deg C|C|celsius"),
        ("°F", "degree_Fahrenheit", "degF|deg F|F|fahrenheit"), ("K", "kelvin", "kelvin|kelvins")),
    "temperature difference": (
        ("K", "kelvin", "kelvin|kelvins"),
        ("Δ°C", "delta_degree_Celsius", "°C|degC|deg C|C|celsius"),
        ("Δ°F", "delta_degree_Fahrenheit", "°F|degF|deg F|F|fahrenheit")),
    "time": (
        ("s", "second", "sec|secs|second|seconds"), ("min", "minute", "mins|minute|minutes"),
        ("h", "hour", "hr|hrs|hour|hours"), ("d", "day", "day|days"), ("ms", "millisecond", "")),
    "volume": (
        ("L", "liter", "litre|litres|liter|liters"), ("mL", "milliliter", "cc|cm3|cm³|cm^3|ccm"),
        ("m³", "meter**3", "m3|m^3"), ("in³", "inch**3", "in3|in^3|cu in"),
        ("ft³", "foot**3", "ft3|ft^3|cu ft")),
    "volume flow": (
        ("mL/min", "milliliter/minute", "cc/min|ccm/min|cm3/min|cm³/min|cm^3/min"),
        ("L/min", "liter/minute", "lpm"), ("L/h", "liter/hour", ""),
        ("m³/s", "meter**3/second", "m3/s|m^3/s"), ("m³/h", "meter**3/hour", "m3/h|m^3/h"),
        ("in³/min", "inch**3/minute", "in3/min|in^3/min|cu in/min"),
        ("ft³/min", "foot**3/minute", "cfm|ft3/min|ft^3/min|cu ft/min")),
    "power": (("W", "watt", "watt|watts"), ("kW", "kilowatt", "kilowatt|kilowatts"),
              ("hp", "horsepower", "horsepower")),
    "mass": (
        ("kg", "kilogram", "kilo|kilos|kilogram|kilograms"), ("g", "gram", "gram|grams"),
        ("t", "metric_ton", "tonne|tonnes"), ("lb", "pound", "lbs|pound|pounds"),
        ("oz", "ounce", "ounce|ounces")),
    "area": (
        ("cm²", "centimeter**2", "cm2|cm^2|sq cm"), ("mm²", "millimeter**2", "mm2|mm^2|sq mm"),
        ("m²", "meter**2", "m2|m^2|sq m"), ("in²", "inch**2", "in2|in^2|sq in")),
    "frequency": (("Hz", "hertz", "hertz|1/s|/s"), ("kHz", "kilohertz", "kilohertz"),
                  ("1/min", "1/minute", "rpm|r/min|/min")),
    "ratio": (("%", "percent", "percent|per cent|pct"), ("", "dimensionless", "")),
    "speed": (
        ("mm/s", "millimeter/second", ""), ("m/s", "meter/second", ""),
        ("mm/min", "millimeter/minute", ""), ("mm/h", "millimeter/hour", ""),
        ("in/s", "inch/second", ""), ("in/min", "inch/minute", ""), ("in/h", "inch/hour", ""),
        ("km/h", "kilometer/hour", "kph|kmh"), ("mph", "mile/hour", "mi/h")),
    "angle": (("°", "degree", "deg|degree|degrees"), ("rad", "radian", "radian|radians")),
    "count": (("", "dimensionless", "x|×|times|pcs"),),
}
# Units that may follow each other in one reading, and how many of the smallest each one is.
# All exact: ISO 80000-3 for time, the 1959 yard and pound agreement for the others.
CHAINS: Mapping[str, tuple[tuple[str, int], ...]] = {
    "time": (("d", 86400), ("h", 3600), ("min", 60), ("s", 1)),
    "length": (("ft", 12), ("in", 1)),
    "mass": (("lb", 16), ("oz", 1)),
}
_HEIGHT = ("length", "A height? Enter it as a height.")
_PRESSURE = ("pressure", "A pressure? Enter it as a pressure.")
_YEAR = 366.0 * 86400.0  # [s] the longest that a vehicle is left standing between two readings
# Name, dimension, SI unit, shown unit, low, high (chosen: wide sanity limits), expected, slips.
_KIND_ROWS: tuple[
    tuple[str, str, str, str, float, float, str, tuple[tuple[str, str], ...]], ...
] = (
    ("length", "length", "m", "mm", -0.5, 5.0,
     "a length, for example 412 mm or 14 3/8 in", (_PRESSURE,)),
    ("altitude", "length", "m", "m", -500.0, 9000.0,
     "an altitude, for example 520 m or 1700 ft",
     (("pressure", "A barometer reading? Enter it as an absolute pressure."),)),
    ("pressure_absolute", "pressure", "Pa", "bar", 0.0, 4.2e6,
     "an absolute pressure, for example 8.8 bar abs or 128 psia", (_HEIGHT,)),
    ("pressure_gauge", "pressure", "Pa", "bar", -1.1e5, 4.0e6,
     "a gauge pressure, for example 7.8 bar or 113 psi", (_HEIGHT,)),
    ("voltage", "voltage", "V", "V", -100.0, 100.0,
     "a voltage, for example 12.4 V or 350 mV",
     (("current", "Check which jack the meter lead was in."),
      ("resistance", "A meter set to ohms does not show a voltage."), _PRESSURE)),
    ("current", "current", "A", "A", -2000.0, 2000.0,
     "a current, for example 18.5 A or 30 mA",
     (("voltage", "A clamp that gives mV: convert with the clamp's own factor."),)),
    ("resistance", "resistance", "Ω", "Ω", 0.0, 1e9,
     "a resistance, for example 0.25 Ω or 250 mohm",
     (("voltage", "A drop under load? Enter it as a voltage, with its current."),)),
    ("temperature", "temperature", "K", "°C", 183.15, 673.15,
     "a temperature, for example -5 °C or 41 °F", ()),
    ("temperature_difference", "temperature difference", "K", "K", -400.0, 400.0,
     "a temperature difference, for example 8 K or 15 °F", ()),
    ("time", "time", "s", "h", 0.0, _YEAR,
     "a time, for example 11 h 30 min, 90 min or 07:30",
     (("length", "Minutes are written min; m is a metre."),)),
    ("volume", "volume", "m^3", "L", 0.0, 1.0,
     "a volume, for example 4.5 L or 270 in³",
     (("volume flow", "That is a flow; a volume has no time in it."),)),
    ("volume_flow", "volume flow", "m^3/s", "mL/min", -0.02, 0.02,
     "a volume flow, for example 35 mL/min or 2 L/min",
     (("volume", "A flow needs its time, for example per min."),)),
    ("power", "power", "W", "W", 0.0, 1e5, "a power, for example 180 W or 0.25 hp", ()),
    ("mass", "mass", "kg", "kg", 0.0, 6e4, "a mass, for example 80 kg or 180 lb", ()),
    ("area", "area", "m^2", "cm²", 0.0, 1.0, "an area, for example 95 cm² or 14.7 in²",
     (("length", "A diameter? An area has a square unit, for example cm²."),)),
    ("frequency", "frequency", "Hz", "Hz", 0.0, 1e8,
     "a frequency, for example 125 Hz or 800 rpm", ()),
    ("ratio", "ratio", "", "%", -1.5, 1.5, "a ratio, for example 35 % or 0.35", ()),
    ("speed", "speed", "m/s", "mm/s", -100.0, 100.0,
     "a speed, for example 4.5 mm/s or 30 km/h",
     (("length", "A speed needs its time, for example mm/s."),)),
    ("angle", "angle", "rad", "°", -2.0 * math.pi, 2.0 * math.pi,
     "an angle, for example 12.5°", ()),
    ("count", "count", "", "", 0.0, 1e7, "a whole number, for example 3", ()),
)
# fmt: on
KINDS: Mapping[str, QuantityKind] = MappingProxyType(
    {
        name: QuantityKind(
            name=name,
            dimension=dimension,
            si_unit=si_unit,
            shown_unit=shown,
            low=low,
            high=high,
            expected=expected,
            slips=slips,
        )
        for name, dimension, si_unit, shown, low, high, expected, slips in _KIND_ROWS
    }
)
_SI: Mapping[str, str] = {kind.dimension: kind.si_unit for kind in KINDS.values()}
# What is kept in a unit -> what people read who think in inches; other units are the same for them.
IMPERIAL: Mapping[str, str] = MappingProxyType(
    {
        "mm": "in", "cm": "in", "m": "ft", "bar": "psi", "kPa": "psi", "mbar": "psi", "hPa": "psi",
        "L": "in³", "mL": "in³", "mL/min": "in³/min", "L/min": "in³/min", "L/h": "in³/min",
        "°C": "°F", "K": "Δ°F", "Δ°C": "Δ°F", "kg": "lb", "cm²": "in²", "mm/s": "in/s",
        "mm/min": "in/min", "mm/h": "in/h", "m/s": "in/s", "km/h": "mph",
    }
)  # fmt: skip


def units_of(kind: str) -> tuple[str, ...]:
    """Return the symbols of every unit that a kind of quantity is shown in, the usual one first.

    Raises UnknownIdError if there is no such kind.
    """
    if kind not in KINDS:
        raise UnknownIdError("quantity kind", kind, KINDS)
    symbols = [symbol for symbol, _, _ in TABLE[KINDS[kind].dimension]]
    return tuple(dict.fromkeys([KINDS[kind].shown_unit, *symbols]))


MODE = re.compile(r"(.*?) ?(\((?:gauge|absolute|abs|g|a)\)|gauge|absolute|abs|g|a)", re.I)


@cache
def _registry() -> pint.UnitRegistry[float]:
    import pint  # because importing it takes longer than most commands do

    return pint.UnitRegistry()


@cache
def line_of(dimension: str, symbol: str) -> tuple[float, float]:
    """Return scale and offset of one unit: SI value = scale * number + offset."""
    name = next(row[1] for row in TABLE[dimension] if row[0] == symbol)
    quantity, si_unit = _registry().Quantity, _SI[dimension]
    offset = float(quantity(0.0, name).to(si_unit).magnitude)
    # The scale comes straight from one conversion, because a difference would cost digits.
    step = "delta_" + name if offset else name
    return float(quantity(1.0, step).to(si_unit).magnitude), offset


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """The straight line from numbers in a unit to SI: SI value = scale * number + offset."""

    scale: float
    offset: float


def scale_of(unit: str, kind: str) -> Scale | None:
    """Return how numbers in a unit, as a person wrote it in a header, become SI of a kind.

    None if it is no unit of the kind: a pressure that says it is absolute does not become a gauge
    pressure here, because the barometer is not known.

    Raises
    ------
    UnknownIdError
        There is no such kind.

    Examples
    --------
    >>> scale_of("mm", "length")
    Scale(scale=0.001, offset=0.0)

    """
    if kind not in KINDS:
        raise UnknownIdError("quantity kind", kind, KINDS)
    found = unit_of(KINDS[kind].dimension, unit)
    if found is None or found[1] not in ("", kind.removeprefix("pressure_")):
        return None
    scale, offset = line_of(KINDS[kind].dimension, found[0])
    return Scale(scale=scale, offset=offset)


@cache
def spellings_of(dimension: str) -> Mapping[str, str]:
    """Return every spelling of a dimension's units with the symbol that it means."""
    pairs: dict[str, str] = {}
    for symbol, _, others in TABLE[dimension]:
        pairs[symbol] = symbol
        pairs |= dict.fromkeys(filter(None, others.split("|")), symbol)
    return MappingProxyType({key.replace("µ", "μ"): symbol for key, symbol in pairs.items()})


def symbol_of(dimension: str, text: str) -> str | None:
    """Return the symbol that a spelling means; capitals are forgiven where only one unit fits."""
    table = spellings_of(dimension)
    tidy = " ".join(text.split()).replace("µ", "μ")
    for form in (tidy, tidy.replace(" ", "")):
        if form in table:
            return table[form]
    found = {symbol for key, symbol in table.items() if key.casefold() == tidy.casefold()}
    return found.pop() if len(found) == 1 else None


def unit_of(dimension: str, text: str) -> tuple[str, str] | None:
    """Return symbol and "gauge", "absolute" or "" of a unit text, or None if it is no such unit."""
    if (symbol := symbol_of(dimension, text)) is not None:
        return symbol, ""
    if dimension == "pressure" and (match := MODE.fullmatch(text.strip())):
        symbol = symbol_of(dimension, match[1])
        if symbol is not None:
            return symbol, "gauge" if match[2].strip("(").lower()[0] == "g" else "absolute"
    return None


def _shown_dimension(unit: str) -> str:
    for dimension, rows in TABLE.items():
        if any(row[0] == unit for row in rows):
            return dimension
    known = sorted({row[0] for rows in TABLE.values() for row in rows if row[0]})
    near = get_close_matches(unit, known, n=1, cutoff=0.3)
    hint = f"The nearest is {near[0]!r}." if near else ""
    raise UnitError("unit", unit, "the symbol of a unit known here", hint)


def _finite(name: str, value: float, unit: str) -> float:
    if not math.isfinite(value):
        raise DomainError(name, value, unit, "a finite number", "Leave the reading out instead.")
    return value


def to_si(value: float, unit: str) -> float:
    """Return `value`, given in `unit` (a shown symbol), in SI.

    A pressure stays gauge or absolute as it was. "°C" is a temperature; "Δ°C" a difference.

    Raises
    ------
    UnitError
        The symbol is not one of those known here.
    DomainError
        The value is not finite.

    Examples
    --------
    >>> to_si(1.0, "in")
    0.0254

    """
    scale, offset = line_of(_shown_dimension(unit), unit)
    return scale * _finite("value", value, unit) + offset


def from_si(value: float, unit: str) -> float:
    """Return an SI `value` in `unit` (a shown symbol); the inverse of `to_si`.

    Raises
    ------
    UnitError
        The symbol is not one of those known here.
    DomainError
        The value is not finite.

    Examples
    --------
    >>> from_si(0.0254, "in")
    1.0

    """
    scale, offset = line_of(_shown_dimension(unit), unit)
    return (_finite("value", value, "(SI)") - offset) / scale


def convert(value: float, from_unit: str, to_unit: str) -> float:
    """Return `value`, given in `from_unit`, in `to_unit`; both are shown symbols.

    Raises
    ------
    UnitError
        A symbol is not known, or the two measure different things.
    DomainError
        The value is not finite.

    Examples
    --------
    >>> print(f"{convert(2.0, 'ft', 'in'):.6f}")
    24.000000

    """
    _shown_dimension(from_unit), _shown_dimension(to_unit)
    for dimension, rows in TABLE.items():
        if {from_unit, to_unit} <= {row[0] for row in rows}:
            scale_from, offset_from = line_of(dimension, from_unit)
            scale_to, offset_to = line_of(dimension, to_unit)
            _finite("value", value, from_unit)
            return (scale_from * value + (offset_from - offset_to)) / scale_to
    what = _shown_dimension(from_unit)
    hint = f"{to_unit!r} is a unit of {_shown_dimension(to_unit)}."
    raise UnitError("unit", to_unit, f"a unit of {what}, like {from_unit!r}", hint)


def format_quantity(value_si: float, std_si: float, unit: str) -> str:
    """Return value and one standard deviation in `unit`, rounded to the spread's two digits.

    Two digits of the spread: JCGM 100:2008, 7.2.6. The value is rounded to the same place.

    Parameters
    ----------
    value_si, std_si : float
        Value and its standard deviation, above zero [SI unit]
    unit : str
        Shown symbol, for example "mm"

    Raises
    ------
    UnitError
        The symbol is not one of those known here.
    DomainError
        A number is not finite, or the spread is not above zero.

    Examples
    --------
    >>> format_quantity(0.412, 0.0012, "mm")
    '412.0 ± 1.2 mm'

    """
    scale, _ = line_of(_shown_dimension(unit), unit)
    if not std_si > 0.0:
        raise DomainError("std", std_si, "(SI)", "above zero", "No instrument is exact.")
    value = Decimal(_finite("value", from_si(value_si, unit), unit))
    std = Decimal(f"{_finite('std', std_si / scale, unit):.1e}")
    place = Decimal(1).scaleb(std.adjusted() - 1)
    digits = max(1, value.adjusted() - place.adjusted() + 2)
    rounded = value.quantize(place, ROUND_HALF_EVEN, Context(prec=digits))
    shown = f"{abs(rounded):f}" if rounded.is_zero() else f"{rounded:f}"
    text = f"{shown.replace('-', '−')} ± {std:f}"
    return text + unit if unit == "°" else f"{text} {unit}".rstrip()
