"""What names a vehicle and its visit: registration, odometer, the customer's reference.

Kept as typed. An odometer says its unit, because nobody can tell km from miles afterwards.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping

from sagtrace.errors import InputError, UnitError

__all__ = ["check_identity", "check_line", "IDENTITY", "LONGEST"]

IDENTITY: Mapping[str, str] = {
    "registration": "registration",
    "odometer": "odometer at intake",
    "odometer-out": "odometer at hand-over",
    "reference": "customer's reference",
}

LONGEST = 80  # [characters] chosen: what a paper has room for in two lines
_KM = {"km": 1.0, "mi": 1.609344}  # the international mile, exact
_READING = re.compile(
    r"(?P<whole>\d{1,3}(?:[ \u00a0\u202f.,'’]\d{3}){1,2}|\d{1,7})(?:[.,]\d)?\s*(?P<unit>km|mi)"
)
_ROUNDED = 2.0  # [km] two readings to whole miles


def check_line(name: str, text: str, most: int = LONGEST) -> None:
    """Raise InputError for a text that is no single line of at most so many characters."""
    for place, letter in enumerate(text, start=1):
        if unicodedata.category(letter) in ("Cc", "Cs", "Zl", "Zp"):
            raise InputError(
                f"{name}: character {place} ({ord(letter):#06x}) is a line end, a control "
                "character or half a character; take it out."
            )
    if len(text) > most:
        raise InputError(f"{name}: {len(text)} characters; at most {most} are kept. Shorten it.")


def check_identity(told: Mapping[str, str]) -> None:
    """Raise InputError for a text that cannot be what its name says."""
    for name, text in told.items():
        check_line(IDENTITY[name], text)
    taken = {n: _distance(n, told[n]) for n in ("odometer", "odometer-out") if told.get(n)}
    if len(taken) == 2 and taken["odometer-out"] < taken["odometer"] - _ROUNDED:
        raise InputError(
            f"{IDENTITY['odometer-out']} = {told['odometer-out']}: less than at intake "
            f"({told['odometer']}). Correct the one that was misread."
        )


def _distance(name: str, text: str) -> float:
    """Return an odometer's reading [km]."""
    found = _READING.fullmatch(text.strip())
    if found is None:
        expected = "a reading of up to 7 digits with its unit, km or mi, such as 84 210 km"
        raise UnitError(IDENTITY[name], text, expected)
    return float(re.sub(r"\D", "", found["whole"])) * _KM[found["unit"]]
