"""How a person wants to read and type: who it is, light or dark, units, decimal sign."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal
from urllib.parse import quote, unquote

from sagtrace.errors import SagtraceError
from sagtrace.units import IMPERIAL, convert

__all__ = ["Person", "with_unit"]

_BARE = re.compile(r"[\s\d.,+\-−±/·'’]*\d[\s\d.,+\-−±/·]*")  # a number that names no unit


@dataclass(frozen=True, slots=True, kw_only=True)
class Person:
    """What the settings of this device say."""

    by: str = ""
    theme: Literal["", "light", "dark"] = ""  # empty: as the device is set
    imperial: bool = False
    comma: bool = False  # decimal comma
    language: str = ""  # of the pages; empty: as the browser asks

    @classmethod
    def of(cls, cookies: Mapping[str, str]) -> Person:
        """Return the person that the cookies of a request describe."""
        theme = cookies.get("theme", "")
        return cls(
            by=_writable(unquote(cookies.get("by", "")))[:80].strip(),
            theme="light" if theme == "light" else "dark" if theme == "dark" else "",
            imperial=cookies.get("units") == "imperial",
            comma=cookies.get("numbers") == "comma",
            language=cookies.get("language", ""),
        )

    def cookies(self) -> Mapping[str, str]:
        """Return the cookies that keep it."""
        return {
            "by": quote(self.by),
            "theme": self.theme,
            "units": "imperial" if self.imperial else "metric",
            "numbers": "comma" if self.comma else "point",
            "language": self.language,
        }

    def unit(self, kind: str, unit: str) -> str:
        """Return the unit that this person reads for a kind of quantity that is kept in `unit`."""
        wanted = IMPERIAL.get(kind, unit) if self.imperial else unit
        try:
            convert(1.0, unit, wanted)
        except SagtraceError:
            return unit
        return wanted

    def spread(self, value: float, std: float, kind: str, unit: str) -> str:
        """Return an assumed value and its standard deviation as this person reads it."""
        shown = self.unit(kind, unit)
        number = convert(value, unit, shown)
        std = convert(value + std, unit, shown) - number
        text = f"{number:.4g} ± {std:.2g}" if std > 0.0 else f"{number:.4g}"
        return self.number(f"{text} {shown}".strip())

    def number(self, text: str) -> str:
        """Return a text with this person's decimal sign."""
        return re.sub(r"(?<=\d)\.(?=\d)", ",", text) if self.comma else text


def _writable(name: str) -> str:
    """Return a name without what no form may send, so that a bad cookie blocks none."""
    return "".join(c for c in name if unicodedata.category(c) not in ("Cc", "Cs"))


def with_unit(typed: str, unit: str) -> str:
    """Return what was typed, with the unit that stood beside the field if it names none.

    >>> with_unit("15.5", "in"), with_unit("403 mm", "in")
    ('15.5 in', '403 mm')
    """
    return f"{typed.strip()} {unit}" if unit and _BARE.fullmatch(typed) else typed
