"""A workbench on a free port and a browser that may talk to nothing else."""

from __future__ import annotations

import shutil
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass

import pytest
import uvicorn
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

from sagtrace.app.desk import Desk
from sagtrace.bootstrap import open_desk, seed_demo
from sagtrace.web.app import build_app

ARGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
CHROMIUM = ("chromium", "chromium-browser", "google-chrome")


@dataclass(frozen=True, kw_only=True)
class Bench:
    """A running workbench."""

    url: str
    desk: Desk
    server: uvicorn.Server


def fresh_desk() -> Desk:
    """Return a desk with the demonstration job in it."""
    desk = open_desk("memory")
    seed_demo(desk, "2026-11-24T08:05:00+00:00")
    return desk


def run(desk: Desk, port: int = 0) -> tuple[Bench, threading.Thread]:
    """Return a workbench that answers, and its thread."""
    config = uvicorn.Config(
        build_app(desk), host="127.0.0.1", port=port, log_level="error", lifespan="off"
    )
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.01)
    at = server.servers[0].sockets[0].getsockname()[1]
    return Bench(url=f"http://127.0.0.1:{at}", desk=desk, server=server), thread


@pytest.fixture
def bench() -> Iterator[Bench]:
    found, thread = run(fresh_desk())
    yield found
    found.server.should_exit = True
    found.server.force_exit = True
    thread.join(timeout=5)


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    path = next((p for name in CHROMIUM if (p := shutil.which(name))), None)
    if path is None:
        pytest.fail("no Chromium on this machine; install it: apt-get install chromium")
    with sync_playwright() as playwright:
        found = playwright.chromium.launch(executable_path=path, args=ARGS)
        yield found
        found.close()


@pytest.fixture(params=[(390, 844)], ids=["phone"])
def context(
    request: pytest.FixtureRequest, browser: Browser, bench: Bench
) -> Iterator[BrowserContext]:
    width, height = request.param
    found = browser.new_context(
        viewport={"width": width, "height": height}, base_url=bench.url, has_touch=True
    )
    yield found
    found.close()


@pytest.fixture
def page(context: BrowserContext, bench: Bench) -> Iterator[Page]:
    """A page that must neither leave this machine nor complain."""
    found = context.new_page()
    outside: list[str] = []
    said: list[str] = []
    own = (bench.url, "data:", "blob:")
    found.on("request", lambda r: None if r.url.startswith(own) else outside.append(r.url))
    found.on("console", lambda m: said.append(m.text) if m.type == "error" else None)
    found.on("pageerror", lambda e: said.append(str(e)))
    yield found
    assert outside == []
    assert said == []
