"""On paper: dark ink on white, however the screen is set, and nothing that is only for hands."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page

from workbench import Bench, fresh_desk, running

# Contrast after the Web Content Accessibility Guidelines 2.2, 1.4.3: of every text on white,
# because a browser prints no backgrounds unless it is told to.
FAINT = """() => {
  const light = (rgb) => {
    const [r, g, b] = rgb.match(/[\\d.]+/g).map((n) => n / 255)
      .map((c) => (c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4));
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const found = [];
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) {
    const text = walk.currentNode.textContent.trim();
    const e = walk.currentNode.parentElement;
    if (!text || !e.checkVisibility({ checkVisibilityCSS: true })) continue;
    const style = getComputedStyle(e);
    const ink = e.ownerSVGElement ? style.fill : style.color;
    if (1.05 / (light(ink) + 0.05) < 4.5) found.push([ink, text.slice(0, 60)]);
  }
  return found;
}"""
ONLY_FOR_HANDS = "nav, form, button, .skip, .line, .refused, .button"


@pytest.fixture(scope="module")
def desk() -> Iterator[Bench]:
    with running(fresh_desk()) as found:
        yield found


@pytest.fixture(params=["light", "dark", "dark by choice"])
def printed(request: pytest.FixtureRequest, browser: Browser, desk: Bench) -> Iterator[Page]:
    context = browser.new_context(base_url=desk.url, viewport={"width": 794, "height": 1123})
    if request.param == "dark by choice":
        context.add_cookies([{"name": "theme", "value": "dark", "url": desk.url}])
    page = context.new_page()
    page.emulate_media(media="print", color_scheme="light" if request.param == "light" else "dark")
    yield page
    context.close()


@pytest.mark.parametrize(
    "path", ["verdict", "repair", "papers", "papers/customer", "papers/technical"]
)
def test_dark_ink_on_white_and_no_navigation(printed: Page, path: str) -> None:
    printed.goto(f"/jobs/demo/{path}")
    assert printed.locator("main").inner_text().strip()
    assert printed.evaluate(FAINT) == []
    background = printed.evaluate("getComputedStyle(document.body).backgroundColor")
    assert background in ("rgba(0, 0, 0, 0)", "rgb(255, 255, 255)")
    left = [e for e in printed.locator(ONLY_FOR_HANDS).all() if e.is_visible()]
    assert [e.evaluate("e => e.outerHTML.slice(0, 120)") for e in left] == []


def test_the_measure_of_faint_ink_works(printed: Page) -> None:
    printed.goto("/jobs/demo/verdict")
    printed.locator("h1").evaluate("e => { e.style.color = '#999'; }")
    assert ["rgb(153, 153, 153)", "Verdict"] in printed.evaluate(FAINT)
