"""Two devices at one job in the same second, and a line that really breaks."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect

from cut_line import line_to
from sagtrace.app.kept import Mark
from sagtrace.vehicle.job import Entry, Job
from workbench import Bench, Watch

MARK = Mark(what="start", at="2026-11-25T07:00:00+00:00")
SOAP, RELAY, NUMBERS = "soap.fold-normal@left", "relay.click", "feed.loss"
POST = re.compile(rb"POST /api/v1/jobs/j1/entries .*\r\n\r\n\{.*\}$", re.DOTALL)


@pytest.fixture(autouse=True)
def job(bench: Bench) -> None:
    bench.desk.start(Job(id="j1", title="Order 7", layout="rear-pair", complaint="low"), MARK)


def entries(bench: Bench) -> list[Entry]:
    return list(bench.desk.open("j1").job.entries)


@contextmanager
def devices(browser: Browser, bench: Bench, count: int = 2) -> Iterator[list[Page]]:
    """Devices of their own: each has its own storage and its own connections."""
    watch = Watch(own=bench.url)
    with ExitStack() as stack:
        pages = []
        for width in (1024, 390)[:count]:
            context = browser.new_context(
                base_url=bench.url, viewport={"width": width, "height": 800}
            )
            stack.callback(context.close)
            pages.append(watch.over(context.new_page()))
        yield pages
        watch.check()


def shows(page: Page) -> list[tuple[str, str]]:
    """Return the entries that a page of evidence shows: their numbers and what was typed."""
    return [
        (str(row.get_attribute("id")), row.locator(".typed").inner_text())
        for row in page.locator("article.entry:not(.note)").all()
    ]


# --- two devices


def test_both_answer_in_the_same_second_and_both_see_both(browser: Browser, bench: Bench) -> None:
    with devices(browser, bench) as (tablet, phone):
        tablet.goto(f"/jobs/j1/checks/{SOAP}")
        phone.goto(f"/jobs/j1/checks/{RELAY}")
        # Neither waits for the other: both are sent before either page is asked again.
        for page, outcome in ((tablet, "bubbles"), (phone, "click")):
            page.locator(f"button[value={outcome}]").evaluate("b => { b.click(); }")
        for page in (tablet, phone):
            expect(page.locator(".moved")).to_be_visible()
        assert sorted(e.check for e in entries(bench)) == sorted([SOAP, RELAY])
        for page in (tablet, phone):
            page.goto("/jobs/j1/evidence")
        assert shows(tablet) == shows(phone)
        assert [row for row, _ in shows(tablet)] == ["e2", "e1"]


def test_a_correction_on_one_shows_on_the_other(browser: Browser, bench: Bench) -> None:
    bench.desk.answer("j1", Entry(id="", check=SOAP, outcome="bubbles"), MARK)
    with devices(browser, bench) as (tablet, phone):
        phone.goto("/jobs/j1/evidence")
        expect(phone.locator("#e1")).not_to_have_class(re.compile(r"\bout\b"))
        tablet.goto("/jobs/j1/evidence")
        tablet.get_by_role("link", name="Correct e1").click()
        tablet.locator("button[value=none]").click()
        expect(tablet.locator(".moved")).to_be_visible()
        expect(phone.locator("#e2")).to_be_visible()  # by itself
        expect(phone.locator("#e1")).to_have_class(re.compile(r"\bout\b"))
        tablet.goto("/jobs/j1/evidence")
        assert shows(tablet) == shows(phone)


def test_both_correct_the_same_entry_from_an_old_page(browser: Browser, bench: Bench) -> None:
    """Whoever comes second is told, or both stand in the record; neither is lost in silence."""
    bench.desk.answer("j1", Entry(id="", check=SOAP, outcome="bubbles"), MARK)
    with devices(browser, bench) as (tablet, phone):
        for page in (tablet, phone):
            page.goto(f"/jobs/j1/checks/{SOAP}?corrects=e1")
        for page in (tablet, phone):
            page.locator("button[value=none]").evaluate("b => { b.click(); }")
        for page in (tablet, phone):
            expect(page.locator(".moved")).to_be_visible()
        assert [e.supersedes for e in entries(bench)] == ["", "e1", "e1"]
        assert len(bench.desk.open("j1").job.current()) == 1


def test_what_was_typed_on_an_old_page_adds_and_takes_nothing_away(
    browser: Browser, bench: Bench
) -> None:
    """The same check, from two pages that both show it unanswered: both stay, the last counts."""
    with devices(browser, bench) as (tablet, phone):
        for page in (tablet, phone):
            page.goto(f"/jobs/j1/checks/{NUMBERS}")
        for page, volts in ((tablet, "12.4"), (phone, "12.6")):
            page.locator('input[name="values.battery"]').fill(volts)
            page.locator('input[name="values.pump"]').fill("11.9")
        for page in (tablet, phone):
            page.get_by_role("button", name="Enter", exact=True).click()
            expect(page.locator(".moved")).to_be_visible()
        assert [e.values["battery"] for e in entries(bench)] == ["12.4 V", "12.6 V"]
        for page in (tablet, phone):
            page.goto("/jobs/j1/evidence")
        assert shows(tablet) == shows(phone)
        expect(tablet.locator("#e1")).to_have_class(re.compile(r"\bout\b"))


def test_twenty_entries_from_two_devices_at_once(browser: Browser, bench: Bench) -> None:
    """Ten notes from each, sent as the page's own script sends them, without a pause."""
    send = """who => Promise.all([...Array(10).keys()].map((n) => fetch("/api/v1/jobs/j1/notes", {
      method: "POST",
      headers: {"Content-Type": "application/json", "Idempotency-Key": `${who}-${n}`},
      body: JSON.stringify({text: `${who} ${n}`, by: who}),
    }).then((answer) => answer.status)))"""
    with devices(browser, bench) as (tablet, phone):
        for page, who in ((tablet, "tablet"), (phone, "phone")):
            page.goto("/jobs/j1/evidence")
            page.evaluate(f"who => {{ window.told = ({send})(who); }}", who)
        told = [page.evaluate("window.told") for page in (tablet, phone)]
        assert told == [[201] * 10, [201] * 10]
        notes = bench.desk.open("j1").job.notes
        assert len({n.id for n in notes}) == len({n.text for n in notes}) == 20
        phone.reload()
        expect(phone.locator("article.note")).to_have_count(20)


@pytest.mark.parametrize("place", ["", "/evidence", "/verdict", "/vehicle", "/repair", "/papers"])
def test_a_reload_and_a_second_device_show_the_same(
    browser: Browser, bench: Bench, place: str
) -> None:
    with devices(browser, bench) as (one, other):
        other.set_viewport_size({"width": 1024, "height": 800})  # what is shown follows the width
        for page in (one, other):
            page.goto(f"/jobs/demo{place}")
        first = one.locator("main").inner_text()
        assert len(first) > 200
        assert other.locator("main").inner_text() == first
        one.reload()
        assert one.locator("main").inner_text() == first


# --- a line that breaks


@pytest.mark.parametrize("when", ["up", "down"])
def test_a_line_that_breaks_makes_one_entry(browser: Browser, bench: Bench, when: str) -> None:
    """In the middle of the entry on its way up, and after it was kept, before anybody is told."""
    host = bench.url.removeprefix("http://").split(":")
    with line_to((host[0], int(host[1]))) as line:
        left = [2]  # the line breaks twice, because a second try may meet what the first did

        def cut(asked: bytes) -> bool:
            if left[0] and POST.match(asked):
                left[0] -= 1
                return True
            return False

        setattr(line, when, cut)
        context = browser.new_context(base_url=f"http://127.0.0.1:{line.port}")
        page = context.new_page()
        page.goto(f"/jobs/j1/checks/{SOAP}")
        page.locator("button[value=bubbles]").click()
        expect(page.locator(".moved")).to_be_visible()
        context.close()
    assert line.cuts == [when] * 2
    if when == "down":
        assert all(answer.startswith(b"HTTP/1.1 201") for answer in line.answers)
    assert [(e.id, e.outcome) for e in entries(bench)] == [("e1", "bubbles")]
    kept = [c for c in bench.desk.changes("j1") if c.mark.what.startswith("answer")]
    assert len(kept) == 1


def test_a_line_that_breaks_under_a_recording_keeps_nothing_and_says_so(
    browser: Browser, bench: Bench
) -> None:
    host = bench.url.removeprefix("http://").split(":")
    table = b"Time [s],Sensor 7 [mm],Relay 3\n" + b"1,400.0,0\n" * 20_000
    with line_to((host[0], int(host[1]))) as line:
        line.up = lambda asked: asked.startswith(b"POST ") and len(asked) > 100_000
        context: BrowserContext = browser.new_context(base_url=f"http://127.0.0.1:{line.port}")
        page = context.new_page()
        page.goto("/jobs/j1/recordings")
        page.set_input_files(
            "#recording", {"name": "drive.csv", "mimeType": "text/csv", "buffer": table}
        )
        expect(page.locator("#send .problem")).to_contain_text("No line to the program")
        expect(page.locator(".way")).to_be_hidden()
        assert line.cuts
        context.close()
    assert bench.desk.open("j1").job.recordings == ()
