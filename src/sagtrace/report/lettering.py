"""How wide a text will be, and where to break it, before anything is drawn.

The widths are those of the common sans serif with the metrics of Helvetica, remembered by class of
character, plus a twentieth. They only keep texts apart; nothing is measured from them.
"""

from __future__ import annotations

__all__ = ["text_width", "wrap"]

_SPARE = 1.05  # chosen: other sans serifs are a little wider
_BOLD = 1.08  # from memory: letters of the bold face; its figures are no wider
_NARROW = dict.fromkeys("ijl'|", 0.222) | dict.fromkeys(" .,:;/tfI!()[]\u202f\u00a0", 0.278)
_WIDE = dict.fromkeys("mM", 0.833) | dict.fromkeys("wOQGCDHNRU&", 0.74) | {"W": 0.944, "%": 0.889}
_EM = _NARROW | _WIDE | dict.fromkeys("ABEKPSVXYTZFL", 0.667) | {"r": 0.333, "−": 0.584, "Ω": 0.75}
_OTHER = 0.556  # digits and most small letters


def text_width(text: str, size: float, bold: bool = False) -> float:
    """Return about how wide a text is, in the unit of the size.

    >>> round(text_width("96 %", 14, bold=True))
    34
    """
    em = sum(_EM.get(c, _OTHER) * (_BOLD if bold and c.isalpha() else 1.0) for c in text)
    return em * size * _SPARE


def wrap(text: str, size: float, room: float, bold: bool = False) -> tuple[str, ...]:
    """Return the text in lines that fit the room; a word is never broken.

    >>> wrap("leak 740 to 950 mL/min", 13, 80)
    ('leak 740 to', '950 mL/min')
    """
    lines: list[str] = []
    for word in text.split(" "):
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width(longer, size, bold) <= room:
            lines[-1] = longer
        elif word:
            lines.append(word)
    return tuple(lines)
