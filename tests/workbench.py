"""A workbench on a free port and a browser that may talk to nothing else."""

from __future__ import annotations

import shutil
import threading
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime, timedelta

import pytest
import uvicorn
from playwright.sync_api import Browser, BrowserContext, Page, expect, sync_playwright

from sagtrace.app.desk import Desk
from sagtrace.bootstrap import open_desk, seed_demo
from sagtrace.web.app import build_app
from sagtrace.web.words import Words

ARGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
expect.set_options(timeout=20_000)  # how long it takes is measured in bench, not here

CHROMIUM = ("chromium", "chromium-browser", "google-chrome")


@dataclass(frozen=True, kw_only=True)
class Bench:
    """A running workbench."""

    url: str
    desk: Desk
    server: uvicorn.Server


@dataclass(kw_only=True)
class Clock:
    """The time of day of a workbench, which a test may set."""

    at: str

    def __call__(self) -> str:
        return self.at

    def later(self, **by: float) -> None:
        self.at = (datetime.fromisoformat(self.at) + timedelta(**by)).isoformat()


def fresh_desk() -> Desk:
    """Return a desk with the demonstration job in it."""
    desk = open_desk("memory")
    seed_demo(desk, "2026-11-24T08:05:00+00:00")
    return desk


def run(
    desk: Desk,
    port: int = 0,
    now: Callable[[], str] | None = None,
    languages: Mapping[str, Words] | None = None,
) -> tuple[Bench, threading.Thread]:
    """Return a workbench that answers, and its thread; `now` is the time of day there."""
    app = (
        build_app(desk, now=now, languages=languages)
        if now
        else build_app(desk, languages=languages)
    )
    config = uvicorn.Config(app, host="127.0.0.1", port=port, log_level="error", lifespan="off")
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.01)
    at = server.servers[0].sockets[0].getsockname()[1]
    return Bench(url=f"http://127.0.0.1:{at}", desk=desk, server=server), thread


def stop(bench: Bench, thread: threading.Thread) -> None:
    bench.server.should_exit = bench.server.force_exit = True
    thread.join(timeout=5)


@contextmanager
def running(
    desk: Desk,
    now: Callable[[], str] | None = None,
    languages: Mapping[str, Words] | None = None,
) -> Iterator[Bench]:
    found, thread = run(desk, now=now, languages=languages)
    try:
        yield found
    finally:
        stop(found, thread)


@contextmanager
def chromium() -> Iterator[Browser]:
    path = next((p for name in CHROMIUM if (p := shutil.which(name))), None)
    if path is None:
        raise FileNotFoundError("no Chromium on this machine; install it: apt-get install chromium")
    with sync_playwright() as playwright:
        found = playwright.chromium.launch(executable_path=path, args=ARGS)
        yield found
        found.close()


@dataclass(kw_only=True)
class Watch:
    """What a page asked of other machines, and what its console complained of."""

    own: str  # the address of the workbench
    outside: list[str] = field(default_factory=list)
    said: list[str] = field(default_factory=list)

    def over(self, page: Page) -> Page:
        own = (self.own, "data:", "blob:")
        page.on("request", lambda r: None if r.url.startswith(own) else self.outside.append(r.url))
        page.on("console", lambda m: self.said.append(m.text) if m.type == "error" else None)
        page.on("pageerror", lambda e: self.said.append(str(e)))
        return page

    def check(self, allowed: Sequence[str] = ()) -> None:
        outside, said = [*self.outside], [*self.said]
        self.outside.clear()
        self.said.clear()
        assert outside == []
        assert [text for text in said if not text.startswith(tuple(allowed))] == []


@pytest.fixture
def bench() -> Iterator[Bench]:
    with running(fresh_desk()) as found:
        yield found


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    with chromium() as found:
        yield found


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
    watch = Watch(own=bench.url)
    yield watch.over(context.new_page())
    watch.check()
