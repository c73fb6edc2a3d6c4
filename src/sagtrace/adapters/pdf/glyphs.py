"""What the shipped font can print, and how wide it prints it.

Reads the two tables of the font file that say so (`cmap`, `hmtx`; OpenType specification,
version 1.9), because a character without a glyph would fall out of the paper unnoticed and a
label whose width is unknown cannot be placed. Widths are advances without kerning.
"""

from __future__ import annotations

import struct
import unicodedata
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files
from importlib.resources.abc import Traversable

__all__ = ["Cleaner", "Face", "FAMILY", "font_folder", "read_face", "REPLACEMENT"]

FAMILY = "Source Sans Pro"
FONT_PACKAGE = "font_source_sans_pro"
REGULAR = "SourceSansPro-Regular.ttf"
REPLACEMENT = "□"
BOLD_EXTRA = 1.06  # [-] chosen: letters and digits of the Semibold are at most this much wider
UNKNOWN_EM = 1.0  # [em] chosen: at least what the fallback faces need for a symbol

# Signs that the font lacks and that the faces built into the PDF maker have (a test prints them).
FALLBACK = frozenset(
    [
        chr(c)
        for block in ((0x5D0, 0x5EB), (0x2190, 0x2200), (0x2500, 0x2600))
        for c in range(*block)
    ]
    + list("⁻∀∂∃∅∈∏∑∗∝∞∟∠∧∨∩∪∫∴∼≅≈≠≡≤≥⊂⊃⊕⊗⊥⋅⌀☀☁☂☃☎☑☒☠☹☺☻♀♂♠♣♥♦♪♫♭♮♯⚠⚡✓✔✕✖✗✘")
)
# Soft hyphen, byte order mark, and the selectors that only choose a variant of a sign.
INVISIBLE = frozenset(["\xad", "\ufeff", *(chr(c) for c in range(0xFE00, 0xFE10))])
SPACES = {"\u2006": "\u202f", "\u2009": "\u202f", "\u200a": "\u202f"}
HYPHENS = {"\u2010": "-", "\u2011": "-"}
LINE_ENDS = {"\r\n": "\n", "\r": "\n", "\u2028": "\n", "\u2029": "\n", "\x0b": "\n", "\x0c": "\n"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Face:
    """The advance of every character that a font has [em]."""

    advances: dict[int, float]

    def width(self, text: str, size: float, *, bold: bool = False) -> float:
        """Return how wide the text is, in the unit of `size`."""
        em = sum(self.advances.get(ord(char), UNKNOWN_EM) for char in text)
        return em * size * (BOLD_EXTRA if bold else 1.0)


def font_folder() -> Traversable:
    """Return the folder of the font. Raises ModuleNotFoundError without the font's package."""
    return files(FONT_PACKAGE) / "files"


@cache
def read_face() -> Face:
    """Return the face of the regular weight; the others have the same characters."""
    data = (font_folder() / REGULAR).read_bytes()
    (count,) = struct.unpack_from(">H", data, 4)
    tables = {}
    for i in range(count):
        tag, _sum, offset, _length = struct.unpack_from(">4sIII", data, 12 + 16 * i)
        tables[tag] = offset
    (per_em,) = struct.unpack_from(">H", data, tables[b"head"] + 18)
    (metrics,) = struct.unpack_from(">H", data, tables[b"hhea"] + 34)
    wide = struct.unpack_from(">" + "Hh" * metrics, data, tables[b"hmtx"])[::2]
    glyphs = _characters(data, tables[b"cmap"])
    # Because glyphs beyond the last metric repeat it.
    return Face(advances={c: wide[min(g, metrics - 1)] / per_em for c, g in glyphs.items()})


def _characters(data: bytes, cmap: int) -> dict[int, int]:
    """Return the glyph of each character from the full Unicode subtable (format 12)."""
    (count,) = struct.unpack_from(">H", data, cmap + 2)
    for i in range(count):
        (offset,) = struct.unpack_from(">I", data, cmap + 4 + 8 * i + 4)
        start = cmap + offset
        (form,) = struct.unpack_from(">H", data, start)
        if form == 12:
            (groups,) = struct.unpack_from(">I", data, start + 12)
            runs = (struct.unpack_from(">III", data, start + 16 + 12 * k) for k in range(groups))
            return {c: g + c - first for first, last, g in runs for c in range(first, last + 1)}
    return {}


@dataclass(slots=True, kw_only=True)
class Cleaner:
    """Makes texts printable and remembers which characters it had to replace."""

    face: Face
    missing: set[str] = field(default_factory=set)

    def clean(self, text: str, room: float, size: float, *, bold: bool = False) -> str:
        """Return the text with printable characters only and no word wider than `room`.

        Composed (NFC); invisible controls go, anything else without a glyph becomes a square. A
        word that is too wide goes on in the next line, without a hyphen that nobody typed.
        """
        for old, new in LINE_ENDS.items():
            text = text.replace(old, new)
        text = "".join(self._printable(char) for char in unicodedata.normalize("NFC", text))
        if self.face.width(text, size, bold=bold) <= room:
            return text
        lines = text.split("\n")
        return "\n".join(
            " ".join(self._breakable(word, room, size, bold) for word in line.split(" "))
            for line in lines
        )

    def _printable(self, char: str) -> str:
        if char in INVISIBLE:
            return ""
        if ord(char) in self.face.advances or char == "\n":
            return char
        if (known := SPACES.get(char) or HYPHENS.get(char)) is not None:
            return known
        if char == "\t" or unicodedata.category(char) == "Zs":
            return " "
        # Because a direction override could make a text read as another one.
        if unicodedata.category(char) == "Cf":
            return ""
        if char in FALLBACK:
            return char
        self.missing.add(char)
        return REPLACEMENT

    def _breakable(self, word: str, room: float, size: float, bold: bool) -> str:
        if self.face.width(word, size, bold=bold) <= room:
            return word
        pieces, left = [""], room
        for char in word:
            width = self.face.width(char, size, bold=bold)
            if width > left and pieces[-1]:
                pieces.append("")
                left = room
            pieces[-1] += char
            left -= width
        return "\n".join(pieces)
