"""The style sheets: what is shared stands once, and paper is always ink on white."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser

import sagtrace.web
from workbench import Bench

STATIC = Path(sagtrace.web.__file__).parent / "static"
SHARED = ("tokens.css", "look.css")
OWN = sorted(p.name for p in STATIC.glob("*.css") if p.name not in SHARED)


def plain(text: str) -> Iterator[str]:
    """Yield the selectors outside of media rules, each part of a list by itself."""
    text = re.sub(r"/\*.*?\*/", "", text, flags=re.DOTALL)
    text = re.sub(r"@[a-z]+[^{]*\{(?:[^{}]*\{[^{}]*\})*[^{}]*\}", "", text)
    for selectors in re.findall(r"([^{}]+)\{", text):
        yield from (part.strip() for part in re.split(r",(?![^(]*\))", selectors))


@pytest.mark.parametrize("name", OWN)
def test_a_page_does_not_say_again_what_is_shared(name: str) -> None:
    shared = set(plain((STATIC / "look.css").read_text()))
    own = set(plain((STATIC / name).read_text()))
    assert own & shared == set()


def test_selectors_are_found() -> None:
    sheet = (
        "/* a */ .a, :is(.b, i) > c { x: y } @media print { .d { x: y } .e { x: y } } .f { x: y }"
    )
    assert list(plain(sheet)) == [".a", ":is(.b, i) > c", ".f"]


@pytest.mark.parametrize("theme", ["dark", ""])
def test_paper_is_ink_on_white(browser: Browser, bench: Bench, theme: str) -> None:
    context = browser.new_context(base_url=bench.url, color_scheme="dark")
    context.add_cookies([{"name": "theme", "value": theme, "url": bench.url}])
    page = context.new_page()
    page.goto("/jobs/demo/papers/customer")
    looks = "getComputedStyle(document.querySelector('main h1')).color"
    on_screen = sum(map(int, re.findall(r"\d+", page.evaluate(looks))))
    assert on_screen > 3 * 200  # light ink on a dark screen
    page.emulate_media(media="print", color_scheme="dark")
    on_paper = sum(map(int, re.findall(r"\d+", page.evaluate(looks))))
    assert on_paper < 3 * 60
    context.close()
