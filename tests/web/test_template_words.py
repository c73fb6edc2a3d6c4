"""Every text of the pages goes through the catalogue, so that a translation misses none."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from pathlib import Path

import pytest

from sagtrace.web.pages.page import TEMPLATES

# What is the same in every language: names of this program and of standards, and tokens.
SAME = ("sagtrace", "SHA-256", "pump.command", "UTC", "Hz", "min", "mm", "°C")
KEPT = ("in person", "by telephone", "in writing")  # what the record keeps, in every language
SPOKEN = ("alt", "aria-label", "placeholder", "title", "data-what", "data-busy", "label")
SIGN = "\ufffc"  # stands for what is put in
EXPRESSION = re.compile(r"\{\{.*?\}\}|\{%.*?%\}|\{#.*?#\}", re.DOTALL)
TEXT = r"""("[^"]*"|'[^']*')"""
LITERAL = re.compile(rf"\b(_|ngettext)\(\s*{TEXT}(,\s*{TEXT})?")


class Bare(HTMLParser):
    """Collects the words of a template that are neither put in nor in a tag."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.found: list[tuple[int, str]] = []
        self.within: list[str] = []
        self.feed(EXPRESSION.sub(lambda m: SIGN + "\n" * m[0].count("\n"), text))
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        for name, value in attrs:
            if name in SPOKEN:
                self.take(value or "")

    def handle_data(self, data: str) -> None:
        self.take(data)

    def take(self, text: str) -> None:
        for name in (SIGN, *SAME):
            text = text.replace(name, " ")
        # A letter alone is a symbol, such as V at a meter.
        self.found += [(self.getpos()[0], w) for w in re.findall(r"[^\W\d_]{2,}", text)]


def spoken_in(expressions: str) -> list[str]:
    """Return texts with a space in expressions that stand outside of `_()`."""
    rest = LITERAL.sub("_(", expressions)
    texts = [text[1:-1] for text in re.findall(TEXT, rest)]
    # A space between words tells a text from a name.
    spoken = [t for t in texts if re.search(r"[A-Za-z]{2,} [A-Za-z]{2,}", t)]
    return [t for t in spoken if t not in KEPT]


@pytest.mark.parametrize("path", sorted(TEMPLATES.glob("*.html")), ids=lambda p: p.name)
def test_no_text_is_bare(path: Path) -> None:
    assert Bare(path.read_text()).found == []


@pytest.mark.parametrize("path", sorted(TEMPLATES.glob("*.html")), ids=lambda p: p.name)
def test_no_text_is_put_in_bare(path: Path) -> None:
    assert spoken_in(" ".join(EXPRESSION.findall(re.sub(r"\{#.*?#\}", "", path.read_text())))) == []


def test_bare_text_is_found() -> None:
    text = '<p title="An hour">Word {{ _("fine") }} 12 mm · {% if x %}<b>V</b>{% endif %} other'
    assert [word for _, word in Bare(text).found] == ["An", "hour", "Word", "other"]
    assert spoken_in(
        """{{ _("not this") if x else "but this" }} {{ f(_('nor this'), "cls") }}"""
    ) == ["but this"]
