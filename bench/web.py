"""Speed of the workbench as a technician meets it: `python -m bench.web`.

The real server as a process of its own, jobs in an SQLite file, Chromium on the same machine. Times
are taken in the page: from the click's own time stamp (or the start of the navigation) until the
frame that shows what is waited for was painted. Answers are the ones that the page proposes, tapped
one after the other on new jobs of every layout and on the demonstration with its recording.
"""

from __future__ import annotations

import json
import random
import shutil
import subprocess
import sys
import tempfile
import time
import urllib.request
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

from bench.told import Figure, load, tell
from bench.web_plots import ARGS, SIZE
from sagtrace.bootstrap import demo_folder

REACTION, VERDICT, COLD, SENT, SECOND = 100.0, 500.0, 1.0, 400.0, 5.0  # the bars
LAYOUTS = ("rear-pair", "four-corner", "four-corner-reservoir")
ANSWERS, LONGEST = 14, 7  # answers a layout; after so many on one job a new job is begun
STARTS, COLD_LOOKS, SECONDS, FITS = 3, 10, 5, 3  # times
PAGES = (
    "/", "/new", "/settings", "/calculators", "/jobs/demo", "/jobs/demo/verdict",
    "/jobs/demo/evidence", "/jobs/demo/checks", "/jobs/demo/vehicle", "/jobs/demo/recordings",
    "/jobs/demo/recordings/r1", "/jobs/demo/repair", "/jobs/demo/papers",
)  # fmt: skip

# Kept in the window's storage, because an answer may lead to another page.
WATCH = """
(() => {
  const painted = (then) => requestAnimationFrame(() => {
    const channel = new MessageChannel();
    channel.port1.onmessage = () => then(performance.timeOrigin + performance.now());
    channel.port2.postMessage(0);
  });
  const note = (name, value) => sessionStorage.setItem(name, String(value));
  const since = (name) => Number(sessionStorage.getItem(name));
  addEventListener("click", (event) => {
    if (!event.target.closest?.("button.choice")) return;
    note("bench.tap", performance.timeOrigin + event.timeStamp);
    note("bench.busy", 0);
    note("bench.shown", 0);
    delete document.documentElement.dataset.shown;
  }, true);
  const result = () => {
    if (!since("bench.tap") || since("bench.shown")) return;
    if (!document.querySelector("main .moved")) return;
    painted((at) => {
      note("bench.shown", at - since("bench.tap"));
      document.documentElement.dataset.shown = "yes";
    });
  };
  document.addEventListener("sagtrace:shown", result);
  document.addEventListener("DOMContentLoaded", () => {
    painted((at) => { document.documentElement.dataset.ready = at - performance.timeOrigin; });
    if (since("bench.tap")) result();
    new MutationObserver((changes) => {
      const held = changes.some((c) => c.target.getAttribute("aria-busy") === "true");
      if (since("bench.busy") || !held) return;
      painted((at) => since("bench.busy") || note("bench.busy", at - since("bench.tap")));
    }).observe(document.body, { attributes: true, subtree: true, attributeFilter: ["aria-busy"] });
  });
})();
"""


def figures() -> Iterator[Figure]:
    """Yield the figures, each with its bar."""
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        store = Path(folder) / "jobs.db"
        found = next(p for n in ("chromium", "chromium-browser") if (p := shutil.which(n)))
        browser = playwright.chromium.launch(executable_path=found, args=ARGS)
        yield from _starts(browser, store)
        with serving(store) as (url, _):
            yield from _cold(browser, url)
            yield from _sent(browser, url)
            yield from _answers(browser, url)
            yield from _second_device(browser, url)
            yield from _beside_a_fit(url)
        browser.close()


@contextmanager
def serving(store: Path) -> Iterator[tuple[str, float]]:
    """Run the command; give its address and how long it took until it answered [s]."""
    start = time.perf_counter()
    command = "from sagtrace.cli.main import main; main()"
    server = subprocess.Popen(
        [sys.executable, "-c", command, "serve", "--store", str(store), "--port", "0"],
        stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
    )  # fmt: skip
    try:
        assert server.stdout is not None
        said = next(line for line in server.stdout if "http://" in line)
        url = next(word for word in said.split() if word.startswith("http://")).rstrip("/")
        _get(f"{url}/api/v1/alive")
        yield url, time.perf_counter() - start
    finally:
        server.terminate()
        server.wait(timeout=30)


def _get(url: str) -> bytes:
    with urllib.request.urlopen(url, timeout=60) as answer:
        return bytes(answer.read())


def _post(url: str, body: object) -> Any:
    data = body if isinstance(body, bytes) else json.dumps(body).encode()
    media = "application/octet-stream" if isinstance(body, bytes) else "application/json"
    headers = {"Content-Type": media, "Idempotency-Key": uuid.uuid4().hex}
    with urllib.request.urlopen(urllib.request.Request(url, data, headers), timeout=60) as answer:
        return json.load(answer)


def _context(browser: Browser, url: str) -> BrowserContext:
    context = browser.new_context(viewport=SIZE, base_url=url)  # type: ignore[arg-type]
    context.add_init_script(WATCH)
    return context


def _open(page: Page, path: str) -> float:
    """Return the time from asking for a page until it can be used [s]."""
    page.goto(path)
    page.wait_for_selector("html[data-ready]", state="attached", timeout=60_000)
    button = page.locator("main button, main a").first
    assert button.is_enabled()
    return float(page.locator("html").get_attribute("data-ready") or "nan") / 1e3


def _starts(browser: Browser, store: Path) -> Iterator[Figure]:
    answered, looked = [], []
    for _ in range(STARTS):
        with serving(store) as (url, taken):
            answered.append(taken)
            context = _context(browser, url)
            looked.append(_open(context.new_page(), "/jobs/demo"))
            context.close()
    text = f"`sagtrace serve` until it answers; median of {STARTS}, {load()}"
    yield "server start to its first answer", float(np.median(answered)), "s", None, text
    text = f"asked for at once, with its recording; the longest of {STARTS}, {load()}"
    yield "first job page of a new server", max(looked), "s", COLD, text


def _cold(browser: Browser, url: str) -> Iterator[Figure]:
    times = []
    for _ in range(1 + COLD_LOOKS):  # the first is the new server's, which has its own figure
        context = _context(browser, url)
        times.append(_open(context.new_page(), "/jobs/demo"))
        context.close()
    text = (
        f"new browser each time, {COLD_LOOKS} times, median {np.median(times[1:]):.2f} s; {load()}"
    )
    yield "job page usable, 95th percentile", float(np.percentile(times[1:], 95)), "s", COLD, text


def _sent(browser: Browser, url: str) -> Iterator[Figure]:
    for path in PAGES:
        context = _context(browser, url)
        page = context.new_page()
        session = context.new_cdp_session(page)
        session.send("Network.enable")
        sent: list[float] = []
        session.on("Network.loadingFinished", lambda e, s=sent: s.append(e["encodedDataLength"]))
        page.goto(path, wait_until="networkidle")
        text = f"empty cache, {len(sent)} requests, with the plots' samples"
        yield f"sent for {path}", sum(sent) / 1e3, "kB", SENT, text
        context.close()


def _answers(browser: Browser, url: str) -> Iterator[Figure]:
    busy: list[float] = []
    shown: dict[str, list[float]] = {}
    rng = random.Random(1)
    for layout in (*LAYOUTS, "demo"):
        context = _context(browser, url)
        page, job = context.new_page(), ""
        times = shown.setdefault(layout, [])
        while len(times) < ANSWERS:
            if not job or (len(times) % LONGEST == 0 and layout != "demo"):
                job = "demo" if layout == "demo" else _new_job(url, layout)
            _to_a_choice(page, url, job, rng)
            reaction, verdict = _tap(page, rng)
            busy.append(reaction)
            times.append(verdict)
        context.close()
    text = f"{len(busy)} answers, median {np.median(busy):.0f} ms; {load()}"
    yield "tap to a visible reaction, 95th percentile", _p95(busy), "ms", REACTION, text
    every = [t for times in shown.values() for t in times]
    medians = ", ".join(f"{name} {np.median(times):.0f}" for name, times in shown.items())
    text = f"{len(every)} answers, longest {max(every):.0f} ms; medians {medians} ms; {load()}"
    yield "tap to the new verdict, 95th percentile", _p95(every), "ms", VERDICT, text


def _p95(times: list[float]) -> float:
    return float(np.percentile(times, 95))


def _new_job(url: str, layout: str) -> str:
    body = {"layout": layout, "title": "Bench", "complaint": "It rides low."}
    return str(_post(f"{url}/api/v1/jobs", body)["job"])


def _to_a_choice(page: Page, url: str, job: str, rng: random.Random) -> None:
    """Open the next step if its check is answered by a tap, else another check that is."""
    _open(page, f"/jobs/{job}")
    if page.locator("article.card button.choice").count():
        return
    asked = json.loads(_get(f"{url}/api/v1/jobs/{job}/checks?open=true&limit=200"))["checks"]
    taps = [check["id"] for check in asked if not check["inputs"]]
    _open(page, f"/jobs/{job}/checks/{rng.choice(taps)}")


def _tap(page: Page, rng: random.Random) -> tuple[float, float]:
    """Return how long after a tap the page reacted, and showed the new verdict [ms]."""
    page.evaluate("sessionStorage.removeItem('bench.tap')")
    page.evaluate("document.querySelectorAll('details').forEach((each) => { each.open = true; })")
    form = page.locator("main form.answer:has(button.choice)").first
    expected = form.locator("button.choice:has(.small)")
    buttons = expected if expected.count() else form.locator("button.choice")
    buttons.nth(rng.randrange(buttons.count())).click()
    page.wait_for_selector("html[data-shown]", state="attached", timeout=30_000)
    times = page.evaluate("['busy', 'shown'].map((n) => Number(sessionStorage['bench.' + n]))")
    assert 0.0 < times[0] < times[1], times
    return times[0], times[1]


def _second_device(browser: Browser, url: str) -> Iterator[Figure]:
    job = _new_job(url, LAYOUTS[0])
    context, times = _context(browser, url), []
    page = context.new_page()
    _open(page, f"/jobs/{job}")
    for _ in range(SECONDS):
        start = time.perf_counter()
        done = _post(f"{url}/api/v1/jobs/{job}/notes", {"text": "seen", "by": "other"})
        page.wait_for_selector(f"main[data-revision='{done['revision']}']", state="attached")
        times.append(time.perf_counter() - start)
    context.close()
    text = f"the longest of {SECONDS}; the page looks every 3 s; {load()}"
    yield "an entry is seen on a second device", max(times), "s", SECOND, text


def _beside_a_fit(url: str) -> Iterator[Figure]:
    """Answer one job while a recording of another is read and fitted."""
    fitted, other = _new_job(url, LAYOUTS[0]), _new_job(url, LAYOUTS[0])
    data, times = (demo_folder() / "recording.csv").read_text(), []
    for n in range(FITS):
        # Another height in the first row: another recording, whose fit is not known yet.
        varied = data.replace("0.0,404.0", f"0.0,404.{random.randrange(1, 10**6)}", 1)
        task = _attach(url, fitted, varied.encode(), f"drive{n}.csv")
        while json.loads(_get(task))["state"] in ("waiting", "working"):
            step = json.loads(_get(f"{url}/api/v1/jobs/{other}/next"))
            if all(offer["inputs"] for offer in step["offers"]):  # every question is answered
                other = _new_job(url, LAYOUTS[0])
                continue
            times.append(_answer_by_program(url, other, step))
    text = (
        f"over HTTP, entry and page; {len(times)} answers, {FITS} fits of another job's recording"
    )
    text = f"{text}; longest {max(times):.0f} ms; {load()}"
    yield "an answer while a fit runs, 95th percentile", _p95(times), "ms", VERDICT, text


def _attach(url: str, job: str, data: bytes, name: str) -> str:
    at = f"{url}/api/v1/jobs/{job}/recordings"
    digest = _post(f"{at}/inspect?file={name}", data)["sha256"]
    return f"{at}/tasks/{_post(at, {'sha256': digest})['task']}"


def _answer_by_program(url: str, job: str, step: Any) -> float:
    offer = next(o for o in step["offers"] if not o["inputs"])
    likely = max(offer["chances"], key=lambda chance: chance["chance"])["outcome"]
    start = time.perf_counter()
    _post(f"{url}/api/v1/jobs/{job}/entries", {"check": offer["id"], "outcome": likely})
    _get(f"{url}/jobs/{job}")
    return 1e3 * (time.perf_counter() - start)


if __name__ == "__main__":
    sys.exit(tell(figures()))
