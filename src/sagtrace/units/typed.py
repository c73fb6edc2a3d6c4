"""What a person types: one quantity with its unit, read into SI with its spread."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from difflib import get_close_matches
from fractions import Fraction

from sagtrace.errors import DomainError, UnitError, UnknownIdError
from sagtrace.units.table import (
    CHAINS,
    KINDS,
    TABLE,
    QuantityKind,
    line_of,
    spellings_of,
    symbol_of,
    unit_of,
)

__all__ = ["parse_quantity", "Quantity"]

MAX_TEXT = 80  # [characters] chosen: the longest honest reading typed is about half of this
BAROMETER_LOW, BAROMETER_HIGH = 4.0e4, 1.15e5  # [Pa] chosen: above any road, beyond any weather
STD_OF_UNIFORM = math.sqrt(3.0)  # [-] exact: half-width over std, JCGM 100:2008, 4.3.7
STD_OF_DIGIT = math.sqrt(12.0)  # [-] exact: full width over std, the same clause


@dataclass(frozen=True, slots=True, kw_only=True)
class Quantity:
    """One typed number in SI, with the spread that its last digit or its ± implies."""

    value: float  # [SI unit of the kind]
    std: float  # [SI unit of the kind] one standard deviation, above zero
    kind: str
    text: str  # as typed
    resolution: float  # [SI unit of the kind]


# Digits in groups of three, or plain; a decimal comma or point; a fraction, alone or after a whole.
_NUMBER = (
    r"(?:(?:[0-9]{1,6}[ -])?[0-9]{1,3}/[0-9]{1,3}(?![0-9/])"
    r"|[0-9]{1,3}(?:[ '’][0-9]{3})+(?![0-9])(?:[.,][0-9]+)?"
    r"|[0-9]+(?:[.,][0-9]+)*|[.,][0-9]+)"
)
_HEAD = re.compile(rf"([+-]?) ?({_NUMBER})(?:[eE]([+-]?[0-9]{{1,2}})(?![0-9]))?")
_LINK = re.compile(rf"({_NUMBER}) ?([^0-9.,+/ -]*) ?")
_CLOCK = re.compile(r"([0-9]{1,4}):([0-5][0-9])(?::([0-5][0-9]))?(?: ?([A-Za-z]+))?")
_BOUND = re.compile(r"±|\+/-|\+-")
_NOT_FINITE = re.compile(r"[+-]?(?:nan|inf|infinity)(?![a-z])", re.I)
_GROUPED = re.compile(r"[0-9]{1,3}(?:(?:,[0-9]{3})+\.[0-9]+|(?:\.[0-9]{3})+,[0-9]+)")
_THOUSANDS = re.compile(r"[0-9]{1,3}(?:(?:,[0-9]{3}){2,}|(?:\.[0-9]{3}){2,})")
_EITHER = re.compile(r"[1-9][0-9]{0,2},[0-9]{3}")
_DECIMAL = re.compile(r"[0-9]*[.,]?[0-9]+")
_SAME = str.maketrans(
    {"\t": " ", "\xa0": " ", "\u2007": " ", "\u2009": " ", "\u202f": " "}
    | {"−": "-", "–": "-", "‒": "-", "\u2010": "-", "\u2011": "-", "\u2126": "Ω", "”": '"'}
    | {"½": " 1/2", "¼": " 1/4", "¾": " 3/4", "⅛": " 1/8", "⅜": " 3/8", "⅝": " 5/8", "⅞": " 7/8"}
)  # characters that mean the same to whoever types them


@dataclass(frozen=True, slots=True)
class _Ask:
    """What was asked and typed, so that every refusal can say it."""

    name: str
    text: str
    kind: QuantityKind

    def refuse(self, hint: str) -> UnitError:
        shown = self.text if len(self.text) <= MAX_TEXT else self.text[: MAX_TEXT // 2] + "…"
        return UnitError(self.name, shown, self.kind.expected, hint)

    def refuse_unit(self, unit: str) -> UnitError:
        own = spellings_of(self.kind.dimension)
        for dimension in TABLE:
            if unit_of(dimension, unit):
                slip = dict(self.kind.slips).get(dimension, "")
                return self.refuse(f"{unit!r} is a unit of {dimension}. {slip}".rstrip())
        if re.search(r"(?<![A-Za-z^])[0-9]", unit):
            return self.refuse("One reading has one number; this has more.")
        same = sorted(key for key in own if key.casefold() == unit.casefold())
        if same:
            return self.refuse(f"Capitals matter here: {' or '.join(map(repr, same))}?")
        every = [key for dimension in TABLE for key in spellings_of(dimension)]
        near = get_close_matches(unit, own, n=1) or get_close_matches(unit, every, n=1)
        known = ", ".join(row[0] for row in TABLE[self.kind.dimension] if row[0])
        way_out = f"The nearest is {near[0]!r}." if near else f"Known: {known}." if known else ""
        return self.refuse(f"{unit!r} is no unit known here. {way_out}".rstrip())


@dataclass(frozen=True, slots=True)
class _Side:
    """A number as typed, the worth of its last digit, and its unit if it has one."""

    number: Fraction
    step: Fraction
    symbol: str | None = None
    mode: str = ""


def _digits(ask: _Ask, typed: str) -> tuple[Fraction, Fraction]:
    """Return an unsigned number and the worth of its last digit."""
    if "/" in typed:
        whole, _, part = typed.replace("-", " ").rpartition(" ")
        top, bottom = (int(half) for half in part.split("/"))
        if bottom == 0 or (whole and top >= bottom):
            raise ask.refuse(f"{part} is no fraction of one.")
        return int(whole or 0) + Fraction(top, bottom), Fraction(1, bottom)
    plain = re.sub(r"[ '’]", "", typed)
    if plain == typed and _EITHER.fullmatch(plain):
        readings = f"{plain.replace(',', '.')} or {plain.replace(',', '')}"
        raise ask.refuse(f"{plain} can mean {readings}: type one of those.")
    if _THOUSANDS.fullmatch(plain):
        plain = re.sub(r"[.,]", "", plain)
    elif _GROUPED.fullmatch(plain):
        plain = plain.replace("," if plain.rindex(".") > plain.rindex(",") else ".", "")
    elif not _DECIMAL.fullmatch(plain):
        raise ask.refuse(f"The dots and commas in {typed} do not make a number.")
    plain = plain.replace(",", ".")
    return Fraction(plain), Fraction(1, 10 ** len(plain.partition(".")[2]))


def _clock(ask: _Ask, body: str) -> _Side | None:
    """Return h:mm, h:mm:ss or, where the unit says min, m:ss; None if it is none of these."""
    match = _CLOCK.fullmatch(body) if ask.kind.dimension == "time" else None
    if match is None:
        return None
    first, second, third = int(match[1]), int(match[2]), match[3]
    unit = symbol_of("time", match[4]) if match[4] else "h"
    if unit == "h" and third is None:
        return _Side(Fraction(60 * first + second), Fraction(1), "min")
    if unit == "h":
        return _Side(Fraction(3600 * first + 60 * second + int(third)), Fraction(1), "s")
    if unit == "min" and third is None:
        return _Side(Fraction(60 * first + second), Fraction(1), "s")
    raise ask.refuse("A colon divides hours and minutes, or with 'min' minutes and seconds.")


def _chain(ask: _Ask, body: str) -> _Side | None:
    """Return a reading such as 11 h 30 min or 5 ft 3 in, in its last unit; None if it is none."""
    counts = dict(CHAINS.get(ask.kind.dimension, ()))
    links = list(_LINK.finditer(body))
    ends = [0, *(link.end() for link in links)]
    if len(links) < 2 or ends != [*(link.start() for link in links), len(body)]:
        return None
    total, step, bigger, last = Fraction(0), Fraction(1), 0, ""
    for typed, unit in (link.groups() for link in links):
        # 11h30 is how many people write 11 h 30 min.
        symbol = symbol_of(ask.kind.dimension, unit) if unit else "min" if last == "h" else None
        size = counts.get(symbol or "", 0)
        if size == 0 or (bigger and (size >= bigger or step != 1)):
            return None
        number, step = _digits(ask, typed)
        if bigger and number * size >= bigger:
            raise ask.refuse(f"{typed} {symbol} is as much as one {last} or more.")
        total, bigger, last = total + number * size, size, symbol or ""
    return _Side(total / bigger, step, last)


def _side(ask: _Ask, body: str) -> _Side:
    """Return what one side of the ± says."""
    if clock := _clock(ask, body):
        return clock
    head = _HEAD.match(body)
    if head is None:
        rule = "Leave the reading out instead." if _NOT_FINITE.match(body) else "No number found."
        raise ask.refuse(rule)
    sign = -1 if head[1] == "-" else 1
    unit = body[head.end() :].strip()
    found = unit_of(ask.kind.dimension, unit) if unit else None
    if unit and found is None:
        if chain := _chain(ask, body[head.start(2) :]):
            return _Side(sign * chain.number, chain.step, chain.symbol)
        raise ask.refuse_unit(unit)
    number, step = _digits(ask, head[2])
    power = Fraction(10) ** int(head[3] or 0)
    return _Side(sign * number * power, step * power, *(found or ()))


def _clean(ask: _Ask) -> tuple[str, str | None]:
    """Return the text before and after a ±, in plain characters."""
    if len(ask.text) > MAX_TEXT:
        raise ask.refuse(f"It has {len(ask.text)} characters; a reading has {MAX_TEXT} at most.")
    body = " ".join(part for part in ask.text.translate(_SAME).strip().split(" ") if part)
    if not body:
        raise ask.refuse("Nothing was typed.")
    if not body.isprintable():
        raise ask.refuse("It holds a character that cannot be printed.")
    sides = [side.strip() for side in _BOUND.split(body)]
    if len(sides) > 2 or not all(sides):
        raise ask.refuse("A ± stands between the reading and its bound, once.")
    return sides[0], sides[1] if len(sides) == 2 else None


def _bound_side(ask: _Ask, body: str) -> _Side:
    if ask.kind.dimension != "ratio" and body.endswith("%"):
        raise ask.refuse("A percentage of what? Give the bound in the unit of the reading.")
    bound = _side(ask, body)
    if bound.number <= 0:
        raise ask.refuse("The bound after ± must be above zero.")
    return bound


def _choose_unit(
    ask: _Ask, reading: _Side, bound: _Side | None, default_unit: str | None
) -> tuple[str, str]:
    """Return symbol and pressure mode: the reading's own, its bound's, or the default."""
    for side in (reading, bound):
        if side is not None and side.symbol is not None:
            return side.symbol, reading.mode or side.mode
    if default_unit is not None:
        if found := unit_of(ask.kind.dimension, default_unit):
            return found
        raise UnitError("default_unit", default_unit, f"a unit of {ask.kind.dimension}")
    if any(row[0] == "" for row in TABLE[ask.kind.dimension]):
        return "", ""
    raise ask.refuse("Add the unit.")


def _shift(ask: _Ask, mode: str, barometer: float | None) -> float:
    """Return what to add [Pa] to get from the pressure typed to the kind asked for."""
    if barometer is not None and not BAROMETER_LOW <= barometer <= BAROMETER_HIGH:
        rule = f"between {BAROMETER_LOW:g} and {BAROMETER_HIGH:g} Pa"
        raise DomainError("barometer", barometer, "Pa", rule, "In hPa? Multiply by 100.")
    wanted = ask.kind.name.removeprefix("pressure_")
    if ask.kind.dimension != "pressure" or mode in ("", wanted):
        return 0.0
    if barometer is None:
        raise ask.refuse(f"This is {mode}; with the barometer too it can be made {wanted}.")
    return barometer if wanted == "absolute" else -barometer


def _check_range(ask: _Ask, value: float, symbol: str) -> None:
    """Refuse a value [SI] outside its kind's range, in the unit that was typed."""
    kind = ask.kind
    scale, offset = line_of(kind.dimension, symbol)
    typed = (value - offset) / scale
    if kind.name == "pressure_absolute" and value <= 0.0:
        hint = "A gauge reading? Say 'gauge'."
        raise DomainError(ask.name, typed, symbol, "above zero", hint)
    if kind.name == "count" and value != math.floor(value):
        raise DomainError(ask.name, typed, symbol, "a whole number")
    if kind.low <= value <= kind.high:
        return
    hint = "Check the number and its unit."
    for other, _, _ in TABLE[kind.dimension]:
        other_scale, other_offset = line_of(kind.dimension, other)
        if kind.low <= other_scale * typed + other_offset <= kind.high:
            hint = f"Did you mean {typed:g} {other}?".replace(" ?", "?")
            break
    low, high = ((limit - offset) / scale for limit in (kind.low, kind.high))
    rule = f"between {low:g} and {high:g} {symbol}".rstrip()
    raise DomainError(ask.name, typed, symbol, rule, hint)


def parse_quantity(
    text: str,
    kind: str | QuantityKind,
    *,
    name: str,
    resolution: float | None = None,
    default_unit: str | None = None,
    barometer: float | None = None,
) -> Quantity:
    """Return what a person typed, in SI and with its spread.

    Parameters
    ----------
    text : str
        One quantity, for example "7.8 bar", "14 3/8 in", "0,35 V", "412 ± 2 mm" [-]
    kind : str or QuantityKind
        What it must be; a name from `KINDS` [-]
    name : str
        What the reading is called in an error [-]
    resolution : float, optional
        Smallest step of the instrument, above zero; taken from the last digit typed if not
        given [SI unit of the kind]
    default_unit : str, optional
        Unit of a bare number, for example "mm" or "bar gauge" [-]
    barometer : float, optional
        Absolute pressure of the air outside, to go between gauge and absolute; its own spread is
        the caller's to add [Pa]

    Returns
    -------
    quantity : Quantity
        Value, std and resolution [SI unit of the kind]

    Raises
    ------
    UnitError
        The text is no quantity of this kind, or has two readings.
    DomainError
        The number is outside the range where it means something.
    UnknownIdError
        There is no such kind.

    Notes
    -----
    A pressure that says neither gauge nor absolute is taken as the kind asked for. A whole number
    of times counts as read to one, like any other reading (chosen: never a spread of zero).

    Sources
    -------
    JCGM 100:2008, 4.3.7 (rectangular distribution of a bounded reading).

    Examples
    --------
    >>> parse_quantity("14 3/8 in", "length", name="ride height").value
    0.365125

    """
    if isinstance(kind, str):
        if kind not in KINDS:
            raise UnknownIdError("quantity kind", kind, KINDS)
        kind = KINDS[kind]
    if resolution is not None and not 0.0 < resolution < math.inf:
        raise DomainError("resolution", resolution, kind.si_unit, "above zero")
    ask = _Ask(name, text, kind)
    body, bound_body = _clean(ask)
    reading = _side(ask, body)
    bound = None if bound_body is None else _bound_side(ask, bound_body)
    symbol, mode = _choose_unit(ask, reading, bound, default_unit)
    # The shortest decimal of each factor, because 412 mm then is 0.412 m to the last bit.
    scale, offset = (Fraction(repr(term)) for term in line_of(kind.dimension, symbol))
    value = float(scale * reading.number + offset) + _shift(ask, mode, barometer)
    _check_range(ask, value, symbol)
    step = float(scale * reading.step) if resolution is None else resolution
    std = step / STD_OF_DIGIT
    if bound is not None:
        half_width, _ = line_of(kind.dimension, symbol if bound.symbol is None else bound.symbol)
        std = half_width * float(bound.number) / STD_OF_UNIFORM
    return Quantity(value=value, std=std, kind=kind.name, text=text, resolution=step)
