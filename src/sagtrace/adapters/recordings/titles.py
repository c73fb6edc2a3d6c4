"""Titles of columns: name and unit of a header cell, rows of units, names that stand once.

Assumes a unit in brackets, behind a slash, a comma or the word in, or in a row of its own.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence

from sagtrace.signals.naming import Words
from sagtrace.units import scale_of

__all__ = ["bare", "is_unit", "is_unit_row", "split_title", "unique_names"]

MOSTLY = 0.6  # [-] chosen: cells of a row that must look like units
LONGEST = 200  # [characters] chosen: of a title; the rest is cut off
LOOKED_AT = 60  # [cells] chosen: of a row; more say no more

BRACKET = re.compile(r"^(.*?)\s*(?:\[([^\[\]]*)\]?|\(([^()]*)\)?|\{([^{}]*)\}?|<([^<>]*)>?)\s*$")
SLASH = re.compile(r"^(.*\S)\s*(?:\s/\s*|,\s+|\sin\s)(\S{1,6})$")
_KINDS = (
    "length", "voltage", "current", "temperature", "pressure_gauge", "speed", "frequency", "time",
    "ratio", "angle", "power", "mass", "resistance", "volume", "volume_flow",
)  # fmt: skip


def split_title(cell: str, words: Words) -> tuple[str, str]:
    """Return name and unit of a header cell.

    A bracket that holds no unit, as in "Height (left)", belongs to the name.
    """
    cell = cell[:LONGEST]
    match = BRACKET.match(cell.strip())
    if match is not None:
        inside = next(part for part in match.groups()[1:] if part is not None).strip()
        square = match[2] is not None
        if match[1] and (square or words.measures_nothing(inside) or is_unit(inside, words)):
            return match[1].strip(), inside
    slash = SLASH.match(cell.strip())
    if slash is not None and is_unit(slash[2], words):
        return slash[1].strip(), slash[2]
    return cell.strip(), ""


def bare(cell: str) -> str:
    """Return a cell of a unit row without its brackets."""
    return cell.strip().strip("[](){}<>").strip()


def is_unit(text: str, words: Words) -> bool:
    """Say whether a text is a unit of anything."""
    unit = words.unit(text)
    if not unit or len(unit) > 20:
        return False
    return unit in words.units.values() or any(scale_of(unit, k) is not None for k in _KINDS)


def is_unit_row(row: Sequence[str], words: Words) -> bool:
    """Say whether the cells of a row are units."""
    cells = [bare(cell) for cell in row if bare(cell)][:LOOKED_AT]
    good = sum(is_unit(cell, words) or words.measures_nothing(cell) for cell in cells)
    return bool(cells) and good >= MOSTLY * len(cells)


def unique_names(names: Sequence[str]) -> list[str]:
    """Return names that each stand once; a repeated one gets a number, an empty one its place."""
    seen: Counter[str] = Counter()
    taken = set(names)
    result = []
    for i, name in enumerate(names):
        name = name or f"column {i + 1}"
        seen[name] += 1
        unique = name
        while seen[name] > 1 and (unique := f"{name} ({seen[name]})") in taken:
            seen[name] += 1
        taken.add(unique)
        result.append(unique)
    return result
