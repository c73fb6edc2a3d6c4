"""How wide a text will be in a drawing, roughly: a page's font is not known here.

On the wide side of the usual sans-serif fonts, so that what is broken by it fits.
"""

from __future__ import annotations

__all__ = ["width", "wrap"]

_NARROW, _WIDE = frozenset("ijlIt.,;:'|!()[]f "), frozenset("mwMW@%—")
_EM = {"narrow": 0.36, "usual": 0.58, "capital": 0.74, "wide": 0.95}  # [em] chosen


def width(text: str, size: float) -> float:
    """Return about how wide a text is, in the unit of `size`."""
    return size * sum(_EM[_kind(letter)] for letter in text)


def wrap(text: str, room: float, size: float) -> tuple[str, ...]:
    """Return the text in lines no wider than the room; a longer word is broken."""
    lines: list[str] = []
    line = ""
    for word in text.split():
        for part in _parts(word, room, size):
            longer = f"{line} {part}" if line else part
            if line and width(longer, size) > room:
                lines.append(line)
                longer = part
            line = longer
    return (*lines, line) if line else tuple(lines)


def _parts(word: str, room: float, size: float) -> list[str]:
    parts = [""]
    for letter in word:
        if parts[-1] and width(parts[-1] + letter, size) > room:
            parts.append("")
        parts[-1] += letter
    return parts


def _kind(letter: str) -> str:
    if letter in _NARROW:
        return "narrow"
    if letter in _WIDE or ord(letter) > 0x2E80:  # scripts with square letters
        return "wide"
    return "capital" if letter.isupper() else "usual"
