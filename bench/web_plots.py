"""Speed of the plots of a recording in a browser: `python -m bench.web_plots`.

A recording of 200 000 rows and twelve channels (invented) is attached, then its page is opened in
Chromium on this machine with an empty cache, and zoomed by dragging with the mouse. The recording
is at hand in the program, as after attaching it; what the first look after a start costs is told
beside it. Times are taken in the page: drawn means that the last panel is there, refined that the
panels on the screen are; those above and below it follow, a frame each.
"""

from __future__ import annotations

import random
import shutil
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import uvicorn
from playwright.sync_api import Browser, Page, sync_playwright

from bench.recordings import ROWS, write
from bench.told import Figure, load, tell
from sagtrace.adapters.store.memory import MemoryStore
from sagtrace.app.desk import Desk
from sagtrace.app.kept import Mark
from sagtrace.bootstrap import open_workshop
from sagtrace.vehicle.job import Job
from sagtrace.web.app import build_app

DRAWN, ZOOMED, SENT = 1.0, 150.0, 400.0  # [s], [ms], [kB] the bars
OPENED, ZOOMS = 7, 60  # times
SIZE = {"width": 1024, "height": 768}
ARGS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--no-first-run"]
JOB = "bench"
WATCH = """
addEventListener("plots:whole", () => requestAnimationFrame(() => {
  document.documentElement.dataset.drawn ??= performance.now();
}));
window.zooms = [];
addEventListener("mouseup", (event) => {
  if (event.target.closest?.(".panel")) window.up = performance.now();
}, true);
addEventListener("plots:settled", () => {
  if (window.up) window.zooms.push(performance.now() - window.up);
  window.up = 0;
  document.documentElement.dataset.zooms = window.zooms.length;
});
"""


def figures() -> Iterator[Figure]:
    """Yield the figures, each with its bar."""
    desk = Desk(workshop=open_workshop(), store=MemoryStore())
    desk.start(Job(id=JOB, title="Bench", layout="rear-pair", invented=True), _mark("start"))
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "drive.csv"
        write(path, ROWS)
        start = time.perf_counter()
        desk.attach(JOB, path.read_bytes(), path.name, _mark("attach"))
        taken = time.perf_counter() - start
    what = f"{ROWS} x 12, loopback, Chromium {SIZE['width']} px; {load()}"
    yield "attach a recording", taken, "s", None, f"{ROWS} x 12; read and fitted"
    url, server = _serve(desk)
    with sync_playwright() as playwright:
        found = next(p for n in ("chromium", "chromium-browser") if (p := shutil.which(n)))
        browser = playwright.chromium.launch(executable_path=found, args=ARGS)
        start = time.perf_counter()
        _open(browser, url)
        first = time.perf_counter() - start
        yield "recording's plots, first look after a start", first, "s", None, what
        looks = [_open(browser, url) for _ in range(OPENED)]
        drawn = float(np.median([taken for taken, _ in looks]))
        yield "recording's plots drawn", drawn, "s", DRAWN, f"{what}; median of {OPENED}"
        sent = max(size for _, size in looks) / 1e3
        yield "sent before the first plot", sent, "kB", SENT, "everything that the page loads"
        times = _zoom(browser, url)
        text = f"{what}; {len(times)} zooms, median {np.median(times):.0f} ms, refined and drawn"
        yield "zoom refined, 95th percentile", float(np.percentile(times, 95)), "ms", ZOOMED, text
        browser.close()
    server.should_exit = True


def _mark(what: str) -> Mark:
    return Mark(what=what, at="2026-11-24T08:05:00+00:00")


def _serve(desk: Desk) -> tuple[str, uvicorn.Server]:
    config = uvicorn.Config(build_app(desk), host="127.0.0.1", port=0, log_level="error")
    server = uvicorn.Server(config)
    threading.Thread(target=server.run, daemon=True).start()
    while not server.started:
        time.sleep(0.01)
    return f"http://127.0.0.1:{server.servers[0].sockets[0].getsockname()[1]}", server


def _page(browser: Browser, url: str) -> Page:
    page = browser.new_context(viewport=SIZE, base_url=url).new_page()  # type: ignore[arg-type]
    page.add_init_script(WATCH)
    return page


def _open(browser: Browser, url: str) -> tuple[float, float]:
    """Return the time from asking for the page until it is drawn [s], and what was sent."""
    page = _page(browser, url)
    session = page.context.new_cdp_session(page)
    session.send("Network.enable")
    sent: list[float] = []
    session.on("Network.loadingFinished", lambda e: sent.append(e["encodedDataLength"]))
    page.goto(f"/jobs/{JOB}/recordings/r1")
    page.wait_for_selector("html[data-drawn]", timeout=60_000)
    taken = float(page.locator("html").get_attribute("data-drawn") or "nan") / 1e3
    page.context.close()
    return taken, sum(sent)


def _zoom(browser: Browser, url: str) -> list[float]:
    """Return how long each zoom took until the finer samples were drawn [ms]."""
    page, rng = _page(browser, url), random.Random(1)
    page.goto(f"/jobs/{JOB}/recordings/r1")
    page.wait_for_selector("#plots[data-drawn]")
    over = page.locator(".panel .u-over").first
    over.scroll_into_view_if_needed()
    for i in range(ZOOMS):
        if i % 3 == 0:
            page.get_by_role("button", name="Whole").click()
            page.wait_for_timeout(100)
            page.evaluate("window.up = 0")
        box = over.bounding_box()
        assert box is not None
        before = page.evaluate("window.zooms.length")
        left = box["x"] + rng.uniform(0.05, 0.6) * box["width"]
        page.mouse.move(left, box["y"] + 40)
        page.mouse.down()
        page.mouse.move(left + rng.uniform(0.05, 0.3) * box["width"], box["y"] + 60, steps=3)
        page.mouse.up()
        page.wait_for_selector(f'html[data-zooms="{before + 1}"]')
    times = [float(t) for t in page.evaluate("window.zooms")]
    page.context.close()
    return times


if __name__ == "__main__":
    sys.exit(tell(figures()))
