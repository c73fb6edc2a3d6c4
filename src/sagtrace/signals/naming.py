"""What the name of a column says: which quantity, of which thing, at which place.

Assumes words as people of a few languages use them; the words are data (`Words`), the grammar is
here. Limits: word order is not read; a name that means something else in another language than
those of the data is not understood.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

__all__ = ["Named", "plain_text", "Words"]

WITHIN = 5  # [letters] chosen: so long a word counts inside a compound
AT_THE_EDGE = 4  # [letters] chosen: so long a word counts at the start or end of a compound


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """Words by which columns are named, and texts that stand in cells."""

    basis: str  # the kind of source they rest on
    quantities: Mapping[str, tuple[str, ...]]
    things: Mapping[str, tuple[str, ...]]
    places: Mapping[str, tuple[str, ...]]
    others: tuple[str, ...]  # things of other systems
    time: tuple[str, ...]
    date: tuple[str, ...]
    beside_time: tuple[str, ...]
    units: Mapping[str, str]  # a spelling in a header -> the unit it means
    no_units: tuple[str, ...]
    on: tuple[str, ...]
    off: tuple[str, ...]
    missing: tuple[str, ...]

    def named(self, name: str) -> Named:
        """Return what a column's name says."""
        text = plain_text(name)
        tokens = tuple(text.split())
        return Named(
            tokens=tokens,
            quantities=_found(self.quantities, text, tokens),
            things=_found(self.things, text, tokens),
            place=_place(_found(self.places, text, tokens)),
            other=next((w for w in self.others if w in text and _counts(w, text, tokens)), ""),
        )

    def unit(self, text: str) -> str:
        """Return the unit that a spelling in a header means; itself if it is none of these."""
        tidy = " ".join(text.split())
        return self.units.get(tidy.casefold(), tidy)

    def measures_nothing(self, unit: str) -> bool:
        """Say whether a unit cell only says that there is no unit."""
        return " ".join(unit.split()).casefold() in self.no_units

    def is_time(self, named: Named) -> bool:
        """Say whether a name is that of a time, and of nothing else's."""
        return self.speaks_of_time(named) and not self.beside_time_words(named)

    def speaks_of_time(self, named: Named) -> bool:
        """Say whether a word for time stands in a name."""
        return any(_counts(w, " ".join(named.tokens), named.tokens) for w in self.time)

    def beside_time_words(self, named: Named) -> frozenset[str]:
        """Return what else a name says than that it is a time."""
        text = " ".join(named.tokens)
        phrases = [w for w in (*self.time, *self.date) if " " in w and w in text]
        known = {*self.time, *self.date, *self.beside_time, *" ".join(phrases).split()}
        left = (t for t in named.tokens if t not in known and not t.isdigit())
        return frozenset(t for t in left if not any(w in t for w in self.time if len(w) >= WITHIN))

    def is_date(self, named: Named) -> bool:
        """Say whether a word for date stands in a name."""
        return any(token in self.date for token in named.tokens)


@dataclass(frozen=True, slots=True, kw_only=True)
class Named:
    """What a column's name says."""

    tokens: tuple[str, ...]
    quantities: frozenset[str]
    things: frozenset[str]
    place: str  # "" if none is named
    other: str  # the word for a thing of another system


def plain_text(text: str) -> str:
    """Return a name as small words without accents, split where a reader would.

    >>> plain_text("KompressorStrom_HL (roh)")
    'kompressor strom hl roh'
    """
    split = re.sub(r"(?<=[a-zà-ÿ])(?=[A-ZÀ-Þ])", " ", text)
    folded = unicodedata.normalize("NFKD", split.casefold())
    bare = "".join(c for c in folded if not unicodedata.combining(c)).replace("ß", "ss")
    return " ".join(re.sub(r"[^\w/°]+|_+", " ", bare).split())


def _found(
    table: Mapping[str, tuple[str, ...]], text: str, tokens: tuple[str, ...]
) -> frozenset[str]:
    return frozenset(
        meaning
        for meaning, words in table.items()
        # The quick question first, because most words stand in no name.
        if any(_counts(w, text, tokens) for w in words if w in text)
    )


def _counts(word: str, text: str, tokens: Iterable[str]) -> bool:
    if " " in word:
        return f" {word} " in f" {text} "
    if len(word) < AT_THE_EDGE:
        return word in tokens
    if len(word) < WITHIN:
        return any(token.startswith(word) or token.endswith(word) for token in tokens)
    return any(word in token for token in tokens)


def _place(found: frozenset[str]) -> str:
    """Return the one place that the words name together; "" for none or for a contradiction."""
    axles = {p for p in found if p in ("front", "middle", "rear")}
    sides = {p for p in found if p in ("left", "right")}
    corners = found - axles - sides
    if corners:
        # A corner's short name may stand beside its axle or side, if they agree.
        fits = [c for c in corners if (axles | sides) <= set(c.split("-"))]
        return fits[0] if len(fits) == 1 and len(corners) == 1 else ""
    if len(axles) > 1 or len(sides) > 1:
        return ""
    return "-".join([*axles, *sides])
