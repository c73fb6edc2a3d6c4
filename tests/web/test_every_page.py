"""Every page in every state: nothing from elsewhere, no complaint, nobody is shut out.

What keeps people out is judged by axe-core, after the Web Content Accessibility Guidelines 2.2.
"""

from __future__ import annotations

import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from fastapi.routing import APIRoute
from PIL import Image
from playwright.sync_api import Browser, Page, ViewportSize

from every_page import LOOKS, Look, desk_of_everything, go, send_recording
from sagtrace.web.pages.routes import routers
from workbench import Bench, Watch, running

ROOT = Path(__file__).parents[2]
NO_PAGE = {
    "/jobs/{job}/line": "a part of the list of jobs, which is walked",
    "/jobs/{job}/papers/{file}.pdf": "a file for the browser's own viewer",
}
PHONE: ViewportSize = {"width": 390, "height": 844}
TABLET: ViewportSize = {"width": 1024, "height": 768}
REFUSED = "Failed to load resource: the server responded with a status of 4"


@pytest.fixture(scope="module")
def everything() -> Iterator[Bench]:
    with running(desk_of_everything()) as found:
        yield found


@pytest.fixture(scope="module")
def sent(everything: Bench) -> str:
    return send_recording(everything)


@pytest.fixture(scope="module")
def watch(everything: Bench) -> Watch:
    return Watch(own=everything.url)


@pytest.fixture(scope="module")
def walker(browser: Browser, everything: Bench, watch: Watch) -> Iterator[Page]:
    """One page for the whole walk, as a person has."""
    context = browser.new_context(base_url=everything.url, has_touch=True)
    yield watch.over(context.new_page())
    context.close()


def grave(page: Page) -> list[tuple[str, list[str]]]:
    return [
        (v["id"], [node["html"][:200] for node in v["nodes"]])
        for v in Axe().run(page).response["violations"]
        if v["impact"] in ("serious", "critical")
    ]


def too_wide(page: Page) -> int:
    return int(page.evaluate("document.documentElement.scrollWidth - innerWidth"))


@pytest.mark.parametrize("look", LOOKS, ids=lambda look: look.name)
def test_nobody_is_shut_out_and_nothing_comes_from_elsewhere(
    walker: Page, watch: Watch, sent: str, look: Look
) -> None:
    walker.set_viewport_size(PHONE)
    walker.emulate_media(color_scheme="light")
    go(walker, look, sent)
    assert too_wide(walker) <= 0
    assert grave(walker) == []
    walker.set_viewport_size(TABLET)
    walker.emulate_media(color_scheme="dark")
    assert too_wide(walker) <= 0
    assert grave(walker) == []
    watch.check([REFUSED] if look.status >= 400 else [])


def test_the_walk_would_notice(walker: Page, watch: Watch) -> None:
    walker.emulate_media(color_scheme="light")
    walker.goto("/settings")
    walker.evaluate(
        """() => {
          console.error("a complaint");
          document.querySelector("label[for=by]").remove();
          document.querySelector("h1").style.color = "#ccc";
        }"""
    )
    assert [name for name, _ in grave(walker)] == ["color-contrast", "label-title-only", "label"]
    with pytest.raises(AssertionError, match="a complaint"):
        watch.check()
    walker.evaluate("fetch('http://127.0.0.1:9/').catch(() => {})")
    with pytest.raises(AssertionError, match=re.escape("http://127.0.0.1:9/")):
        watch.check()
    watch.said.clear()


def test_the_walk_leaves_no_page_out() -> None:
    """A page that is added must be walked, and be among the screenshots, which go the same way."""
    routes = [r for router in routers() for r in router.routes if isinstance(r, APIRoute)]
    pages = [r for r in routes if "GET" in (r.methods or ()) and r.path not in NO_PAGE]
    walked = [look.path.partition("?")[0] for look in LOOKS if look.status == 200]
    missed = [r.path for r in pages if not any(r.path_regex.match(path) for path in walked)]
    assert len(pages) > 15
    assert missed == []


def test_screenshots_are_written_at_every_width(tmp_path: Path) -> None:
    """A process of its own, because a browser is busy in this one. It takes the pages walked."""
    command = [
        sys.executable,
        str(ROOT / "tools" / "screenshots.py"),
        str(tmp_path),
        "settings-kept",
    ]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    wide = {}
    for path in tmp_path.glob("*.png"):
        with Image.open(path) as picture:
            wide[path.name] = picture.width
    assert wide == {
        "settings-kept-390-light.png": 390,
        "settings-kept-1024-light.png": 1024,
        "settings-kept-1024-dark.png": 1024,
        "settings-kept-1440-light.png": 1440,
    }
