"""How a person wants to read and type: who it is, light or dark, units, decimal sign."""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal
from urllib.parse import quote, unquote

from babel import Locale
from babel.core import UnknownLocaleError
from starlette.requests import Request

from sagtrace.units import Reader, convert

__all__ = ["BARE", "Person", "usual_sign", "with_unit"]

_LONGEST = 200  # chosen: characters of a header that are looked at
_LONGEST_NUMBER = 80  # characters; a longer one is refused where it is read
# A number that names no unit, in all the ways in which one may be typed; forms.js has the same.
BARE = re.compile(
    r"(?:[\s\d.,+\-−–‒‐‑±/·'’½¼¾⅛⅜⅝⅞]|\d[eE][+\-]?(?=\d))*"
    r"[\d½¼¾⅛⅜⅝⅞][\s\d.,+\-−–‒‐‑±/·½¼¾⅛⅜⅝⅞]*"
)


Decimal = Literal["", "point", "comma"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Person:
    """What the settings of this device say."""

    by: str = ""
    theme: Literal["", "light", "dark"] = ""  # empty: as the device is set
    imperial: bool = False
    numbers: Decimal = ""  # the decimal sign; empty: as the device's language has it
    usual: Literal["point", "comma"] = "point"  # what the language has
    language: str = ""  # of the pages; empty: as the browser asks

    @classmethod
    def of(cls, request: Request) -> Person:
        """Return the person that the cookies and the language of a request describe."""
        cookies = request.cookies
        theme, numbers = cookies.get("theme", ""), cookies.get("numbers", "")
        language = cookies.get("language", "")
        return cls(
            by=_writable(unquote(cookies.get("by", "")))[:80].strip(),
            theme="light" if theme == "light" else "dark" if theme == "dark" else "",
            imperial=cookies.get("units") == "imperial",
            numbers="point" if numbers == "point" else "comma" if numbers == "comma" else "",
            usual=usual_sign((language or request.headers.get("accept-language", ""))[:_LONGEST]),
            language=language,
        )

    def cookies(self) -> Mapping[str, str]:
        """Return the cookies that keep it."""
        return {
            "by": quote(self.by),
            "theme": self.theme,
            "units": "imperial" if self.imperial else "metric",
            "numbers": self.numbers,
            "language": self.language,
        }

    @property
    def reader(self) -> Reader:
        """How this person reads numbers."""
        return Reader(imperial=self.imperial, comma=(self.numbers or self.usual) == "comma")

    def spread(self, value: float, std: float, unit: str) -> str:
        """Return an assumed value and its standard deviation as this person reads it."""
        shown = self.reader.unit(unit)
        number = convert(value, unit, shown)
        std = convert(value + std, unit, shown) - number
        text = f"{_plain(number, 4)} ± {_plain(std, 2)}" if std > 0.0 else _plain(number, 4)
        if std > 0.0 and shown != unit:  # the place of the spread's second digit, for both
            place = math.floor(math.log10(std)) - 1
            text = f"{_at(number, place)} ± {_at(std, place)}"
        return self.number(f"{text} {shown}".strip())

    def number(self, text: str) -> str:
        """Return a text with this person's decimal sign."""
        return self.reader.number(text)


def _plain(number: float, digits: int) -> str:
    """Return a number with so many digits that count, never as a power of ten."""
    return f"{number:.{digits}g}" if abs(number) < 10.0**digits else f"{number:.0f}"


def _at(number: float, place: int) -> str:
    """Return a number rounded at a power of ten."""
    return f"{round(number, -place):.{max(-place, 0)}f}"


@lru_cache(maxsize=256)
def usual_sign(languages: str) -> Literal["point", "comma"]:
    """Return the decimal sign of the first known language of an Accept-Language header (CLDR).

    >>> usual_sign("de-AT,en;q=0.8"), usual_sign("en-GB"), usual_sign("")
    ('comma', 'point', 'point')
    """
    for part in languages.split(","):
        tag = part.partition(";")[0].strip()
        if not tag.replace("-", "").isalnum():
            continue
        try:
            decimal = Locale.parse(tag, sep="-").number_symbols["latn"]["decimal"]
        except (UnknownLocaleError, ValueError, KeyError):
            continue
        return "comma" if decimal == "," else "point"
    return "point"


def _writable(name: str) -> str:
    """Return a name without what no form may send, so that a bad cookie blocks none."""
    return "".join(c for c in name if unicodedata.category(c) not in ("Cc", "Cs"))


def with_unit(typed: str, unit: str) -> str:
    """Return what was typed, with the unit that stood beside the field if it names none.

    >>> with_unit("15.5", "in"), with_unit("15½", "in"), with_unit("403 mm", "in")
    ('15.5 in', '15½ in', '403 mm')
    """
    bare = unit and len(typed) <= _LONGEST_NUMBER and BARE.fullmatch(typed)
    return f"{typed.strip()} {unit}" if bare else typed
