"""The numbers in a finished text, rewritten in the units and with the decimal sign of a reader.

The core writes every quantity in one way: a decimal point, a space, the symbol of a metric unit
(`412.0 ± 1.2 mm`, `0.2 to 0.5 bar`, `at least 5 L`). That is a notation, and here it is read back.
What a person wrote stands as written: whole texts are marked as `Own`, parts of a text are quoted.
Digits: a result keeps the place that the last digit of the number was worth, but two significant
digits at least; a value with a spread keeps two digits of the spread (JCGM 100:2008, 7.2.6).
Limits: a number in words ("ten millimetres") stays; cross-sections of wires stay in mm².
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, fields, is_dataclass, replace
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Any, TypeVar

from sagtrace.units.table import IMPERIAL, convert

__all__ = ["as_read", "METRIC", "Own", "Reader"]

T = TypeVar("T")

_WRITTEN = {"Δ°F": "°F"}  # in a text the words tell that it is a difference

_NUMBER = r"(?:\d{1,3}(?:\u202f\d{3})+|\d+)(?:\.\d+)?"
_UNIT = "|".join(sorted(map(re.escape, IMPERIAL), key=len, reverse=True))
_QUOTED = r"(?<!\w)'[^'\n]*'(?!\w)|\"[^\"\n]*\"|“[^”]*”"
# A size that names a thing, such as a fitting, is its name and not a measurement.
_NAMES = r"(?! (?:line|hose|tube|spanner|socket|drill|bolt|fitting)\b)"
_QUANTITY = re.compile(
    rf"(?P<own>{_QUOTED})|(?<![\w.,:/])(?<!\d )(?P<a>[−+-]?{_NUMBER})"
    rf"(?:(?P<link> ± | to | and | or )(?P<b>[−+-]?{_NUMBER}))?"
    rf"(?P<space>[ \u00a0\u202f]?)(?P<unit>{_UNIT})(?![\w/·²³^%]){_NAMES}"
)
_POINT = re.compile(rf"(?P<own>{_QUOTED})|(?<![\w.])(\d[\d\u202f]*)\.(\d+)(?![\w]|\.\d)")


class Own(str):
    """A text that a person wrote: it is shown as it was written, whatever is read."""

    __slots__ = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Reader:
    """In which units somebody reads, and with which decimal sign."""

    imperial: bool = False
    comma: bool = False

    def unit(self, unit: str) -> str:
        """Return the unit that is read for one that the core writes.

        >>> Reader(imperial=True).unit("bar"), Reader().unit("bar")
        ('psi', 'bar')
        """
        return IMPERIAL.get(unit, unit) if self.imperial else unit

    def text(self, text: str) -> str:
        """Return a text with its numbers as they are read.

        >>> Reader(imperial=True).text("fell by 412.0 ± 1.2 mm, at 5 bar and 20 °C")
        'fell by 16.220 ± 0.047 in, at 73 psi and 68 °F'
        >>> Reader(comma=True).text("0.2 to 0.5 bar, typed as '0.35'")
        "0,2 to 0,5 bar, typed as '0.35'"
        """
        if isinstance(text, Own) or not (self.imperial or self.comma):
            return text
        if self.imperial:
            text = _QUANTITY.sub(_converted, text)
        return self.number(text)

    def number(self, text: str) -> str:
        """Return a text with the decimal sign that is read."""
        return _POINT.sub(_with_comma, text) if self.comma else text


METRIC = Reader()


def as_read(value: T, reader: Reader) -> T:
    """Return a record with all its texts as they are read; one that draws numbers, drawn so.

    A record with a method `as_read(reader)` says itself what becomes of its numbers first. Texts
    marked as `Own` stay. What is neither a record, a tuple nor a text stays as it is.
    """
    return value if reader == METRIC else _read(value, reader)


def _read(value: Any, reader: Reader) -> Any:
    if isinstance(value, str):
        return reader.text(value)
    if isinstance(value, tuple):
        return tuple(_read(item, reader) for item in value)
    if not is_dataclass(value) or isinstance(value, type):
        return value
    own: Callable[[Reader], Any] | None = getattr(value, "as_read", None)
    if own is not None:
        value = own(reader)
    changed = {}
    for f in fields(value):
        old = getattr(value, f.name)
        new = _read(old, reader)
        if new is not old and new != old:
            changed[f.name] = new
    return replace(value, **changed) if changed else value


def _with_comma(match: re.Match[str]) -> str:
    return match[0] if match["own"] else match[0].replace(".", ",")


def _converted(match: re.Match[str]) -> str:
    if match["own"]:
        return match[0]
    unit = IMPERIAL[match["unit"]]
    link = match["link"] or ""
    a, b = match["a"], match["b"]
    if b is None:
        numbers = _one(a, match["unit"], unit)
    elif link == " ± ":
        numbers = _spread(a, b, match["unit"], unit)
    else:
        numbers = _both(a, b, link, match["unit"], unit)
    return f"{numbers}{match['space']}{_WRITTEN.get(unit, unit)}"


def _decimal(text: str) -> Decimal:
    return Decimal(text.replace("−", "-").replace("\u202f", ""))


def _in(number: Decimal, old: str, new: str) -> Decimal:
    return Decimal(repr(convert(float(number), old, new)))


def _worth(old: str, new: str) -> Decimal:
    """Return how much one of the old unit is in the new one, whatever their zeros."""
    return _in(Decimal(1), old, new) - _in(Decimal(0), old, new)


def _last(number: Decimal) -> int:
    exponent = number.as_tuple().exponent
    assert isinstance(exponent, int)
    return exponent


def _place(number: Decimal, exponent: int, old: str, new: str) -> int:
    """Return the power of ten that a converted number is rounded to."""
    digit = abs(_worth(old, new)).scaleb(exponent).adjusted()
    result = _in(number, old, new)
    return min(digit, result.adjusted() - 1) if result else digit


def _rounded(number: Decimal, place: int) -> str:
    kept = number.quantize(Decimal(1).scaleb(place), ROUND_HALF_EVEN)
    text = f"{abs(kept) if kept.is_zero() else kept:f}"
    return text.replace("-", "−")


def _signed(text: str, shown: str) -> str:
    return f"+{shown}" if text.startswith("+") and not shown.startswith("−") else shown


def _one(a: str, old: str, new: str) -> str:
    number = _decimal(a)
    if not number and not _in(number, old, new):
        return a
    place = _place(number, _last(number), old, new)
    return _signed(a, _rounded(_in(number, old, new), place))


def _spread(a: str, b: str, old: str, new: str) -> str:
    number, std = _decimal(a), _decimal(b) * abs(_worth(old, new))
    place = std.adjusted() - 1 if std else _place(number, _last(number), old, new)
    return f"{_signed(a, _rounded(_in(number, old, new), place))} ± {_rounded(std, place)}"


def _both(a: str, b: str, link: str, old: str, new: str) -> str:
    ends = [_decimal(a), _decimal(b)]
    if link == " to ":  # the ends of an interval stop where its width does
        exponent = min((_last(n.normalize()) for n in ends if n), default=0)
        place = min(_place(n, exponent, old, new) for n in ends)
        places = [place, place]
    else:
        places = [_place(n, _last(n), old, new) for n in ends]
    shown = [_rounded(_in(n, old, new), p) for n, p in zip(ends, places, strict=True)]
    return link.join(_signed(t, n) for t, n in zip((a, b), shown, strict=True))
