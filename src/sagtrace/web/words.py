"""The language of the request at hand, and texts in it.

A text is written in English where it is used, as a whole sentence with named places for what is put
in (`%(name)s`; a per cent sign is written `%%`), and looked up when it is shown.
"""

from __future__ import annotations

import gettext
from contextvars import ContextVar
from dataclasses import dataclass, field
from datetime import datetime

__all__ = [
    "_",
    "day_text",
    "ENGLISH",
    "later",
    "lookup",
    "lookup_many",
    "ngettext",
    "speak",
    "spoken",
    "Words",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """A language that the pages speak."""

    language: str  # as its folder is named, such as `de` or `pt_BR`
    name: str  # in itself
    rtl: bool = False  # written from right to left
    texts: gettext.NullTranslations = field(default_factory=gettext.NullTranslations)
    script: str = ""  # JSON of what the scripts say; empty: as it is written in them

    @property
    def tag(self) -> str:
        """The language as HTML names it (RFC 5646)."""
        return self.language.replace("_", "-")


ENGLISH = Words(language="en", name="English")
_now: ContextVar[Words] = ContextVar("words", default=ENGLISH)


def speak(words: Words) -> None:
    """Let this request be answered in a language."""
    _now.set(words)


def spoken() -> Words:
    """Return the language of the request at hand; English where there is none."""
    return _now.get()


def lookup(text: str) -> str:
    """Return a text in the language of the request, its places as they are."""
    return spoken().texts.gettext(text)


def lookup_many(one: str, many: str, n: int) -> str:
    """Return the form of a text that fits a number, its places as they are."""
    return spoken().texts.ngettext(one, many, n)


def _(text: str, /, **values: object) -> str:
    """Return a text in the language of the request, with the values put in.

    >>> _("Begun %(when)s", when="8:05")
    'Begun 8:05'
    """
    return lookup(text) % values


def ngettext(one: str, many: str, n: int, /, **values: object) -> str:
    """Return the form of a text that fits a number, which is put in as `num`.

    >>> ngettext("%(num)s test", "%(num)s tests", 1), ngettext("%(num)s test", "%(num)s tests", 2)
    ('1 test', '2 tests')
    """
    return lookup_many(one, many, n) % {"num": n, **values}


def later(text: str, /) -> str:
    """Return a text as it is: it is in the catalogue, and `_` looks it up when it is shown."""
    return text


def day_text(moment: datetime, *, year: bool) -> str:
    """Return the day of a moment as the language of the request writes it.

    >>> day_text(datetime(2026, 11, 24), year=True)
    'Tue 24 Nov 2026'
    """
    words = spoken()
    if words.language != ENGLISH.language:
        from babel import Locale, UnknownLocaleError  # because English needs none of it
        from babel.dates import format_skeleton

        try:
            locale = Locale.parse(words.language)
        except (UnknownLocaleError, ValueError):  # a language that babel has no dates of
            locale = Locale("en")
        return format_skeleton("yMMMEd" if year else "MMMEd", moment, locale=locale)
    return (
        f"{moment:%a} {moment.day} {moment:%b %Y}"
        if year
        else f"{moment:%a} {moment.day} {moment:%b}"
    )
