"""An entry is kept once and never lost: on a bad link, with two devices, by keyboard alone."""

from __future__ import annotations

import json
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, BrowserContext, FilePayload, Page, Request, Route, expect

from sagtrace.app.kept import Mark
from sagtrace.vehicle.job import Begun, Entry, Job
from workbench import Bench, fresh_desk, run, stop

ENTRIES = "**/api/v1/jobs/*/entries"
MARK = Mark(what="start", at="2026-11-25T07:00:00+00:00")
CHECK = "/jobs/j1/checks/soap.fold-normal@left"
NUMBERS = "/jobs/j1/checks/feed.loss"
HOLD = "hold.overnight@left"
BUBBLES = "Bubbles grow at a fold"


@pytest.fixture(autouse=True)
def job(bench: Bench) -> None:
    start(bench)


@pytest.fixture
def rough(context: BrowserContext) -> Page:
    """A page whose link may break, which a browser complains about."""
    return context.new_page()


def start(bench: Bench) -> None:
    complaint = "It sinks over night."
    bench.desk.start(Job(id="j1", title="Order 7", layout="rear-pair", complaint=complaint), MARK)


def entries(bench: Bench) -> list[Entry]:
    return list(bench.desk.open("j1").job.entries)


def tap(page: Page) -> None:
    page.get_by_role("button", name=BUBBLES).click()


def fill(page: Page, battery: str = "12.4", pump: str = "11.9") -> None:
    page.locator('input[name="values.battery"]').fill(battery)
    page.locator('input[name="values.pump"]').fill(pump)


# --- the plain way


def test_an_answer_is_seen_at_once_and_leads_to_what_it_moved(page: Page, bench: Bench) -> None:
    page.goto(CHECK)
    button = page.get_by_role("button", name=BUBBLES)
    # In the same turn of the page's own clock, so before anything was sent.
    assert button.evaluate("b => { b.click(); return b.getAttribute('aria-busy'); }") == "true"
    expect(page).to_have_url(f"{bench.url}/jobs/j1")
    expect(page.locator(".moved")).to_contain_text("rose from")
    expect(page.locator(".moved")).to_be_focused()
    assert [e.outcome for e in entries(bench)] == ["bubbles"]


def test_keyboard_alone_is_enough_and_focus_goes_to_the_result(page: Page, bench: Bench) -> None:
    page.goto("/jobs/j1")
    for _ in range(40):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.name === 'outcome'"):
            break
    page.keyboard.press("Enter")
    expect(page.locator(".moved")).to_be_focused()
    assert len(entries(bench)) == 1


def test_a_double_tap_is_one_entry(page: Page, bench: Bench) -> None:
    page.goto("/jobs/j1")
    button = page.locator("button.choice").first
    button.evaluate("b => { b.click(); b.click(); }")
    expect(page.locator(".moved")).to_be_visible()
    assert len(entries(bench)) == 1


def test_a_wrong_number_is_told_at_the_form_and_stays_typed(rough: Page, bench: Bench) -> None:
    rough.goto(NUMBERS)
    fill(rough, battery="12.4 bar")
    rough.get_by_role("button", name="Enter", exact=True).click()
    problem = rough.locator("form.answer .problem")
    expect(problem).to_contain_text("expected a voltage")
    expect(problem).to_be_focused()
    expect(rough.locator('input[name="values.pump"]')).to_have_value("11.9")
    assert entries(bench) == []
    fill(rough)
    rough.get_by_role("button", name="Enter", exact=True).click()
    expect(rough.locator(".moved")).to_be_visible()
    assert [dict(e.values) for e in entries(bench)] == [{"battery": "12.4 V", "pump": "11.9 V"}]


def test_a_job_is_started_in_a_few_words(page: Page, bench: Bench) -> None:
    page.goto("/")
    page.get_by_role("link", name="New job").click()
    expect(page.locator("#complaint")).to_be_focused()
    page.keyboard.type("Down at the back every morning")
    page.get_by_role("button", name="Start the job").click()
    expect(page).to_have_url(f"{bench.url}/new")  # because nobody said which springs it has
    page.get_by_role("radio").first.check()
    page.get_by_role("button", name="Start the job").click()
    expect(page.get_by_text("What do you find?")).to_be_visible()
    page.goto("/")
    row = page.get_by_role("link", name="Down at the back every morning")
    expect(row).to_contain_text("Finding out")


# --- a bad link


def test_an_entry_waits_for_the_line(rough: Page, context: BrowserContext, bench: Bench) -> None:
    rough.goto(CHECK)
    context.set_offline(True)
    tap(rough)
    expect(rough.locator("#line")).to_contain_text("1 entry is held on this device")
    assert entries(bench) == []
    context.set_offline(False)
    expect(rough.locator(".moved")).to_be_visible()
    assert len(entries(bench)) == 1


def test_an_answer_lost_after_it_was_kept_makes_one_entry(rough: Page, bench: Bench) -> None:
    lost: list[str] = []

    def lose_the_first(route: Route) -> None:
        if lost:
            route.continue_()
            return
        lost.append(route.request.headers["idempotency-key"])
        route.fetch()
        route.abort()

    rough.route(ENTRIES, lose_the_first)
    rough.goto(CHECK)
    tap(rough)
    expect(rough.locator(".moved")).to_be_visible()
    assert len(lost) == 1
    assert len(entries(bench)) == 1


def test_a_reload_keeps_what_waits_and_sends_it_once(rough: Page, bench: Bench) -> None:
    rough.route(ENTRIES, lambda route: route.abort())
    rough.goto(CHECK)
    tap(rough)
    expect(rough.locator("#line")).to_contain_text("held on this device")
    rough.reload()
    expect(rough.locator("form.answer")).to_have_attribute("aria-busy", "true")
    rough.unroute(ENTRIES)
    expect(rough.locator(".moved")).to_be_visible()
    assert len(entries(bench)) == 1


def test_what_waits_is_sent_from_any_other_page(rough: Page, bench: Bench) -> None:
    rough.route(ENTRIES, lambda route: route.abort())
    rough.goto(CHECK)
    tap(rough)
    expect(rough.locator("#line")).to_contain_text("held on this device")
    rough.goto("/settings")
    rough.unroute(ENTRIES)
    expect(rough.locator("#line")).to_contain_text("is kept")
    assert len(entries(bench)) == 1


def test_a_refusal_is_told_on_any_other_page(rough: Page, bench: Bench) -> None:
    rough.route(ENTRIES, lambda route: route.abort())
    rough.goto(NUMBERS)
    fill(rough, battery="12.4 bar")
    rough.get_by_role("button", name="Enter", exact=True).click()
    expect(rough.locator("#line")).to_contain_text("held on this device")
    rough.goto("/jobs/demo/checks/feed.loss")  # the same form, of another job
    rough.unroute(ENTRIES)
    told = rough.locator("#refused")
    expect(told).to_contain_text("expected a voltage")
    expect(told).to_contain_text("12.4 bar")
    expect(rough.locator("form.answer .problem")).to_have_count(0)
    told.get_by_role("link", name="Open where it was typed").click()
    expect(rough.locator('input[name="values.battery"]')).to_have_value("12.4 bar")
    assert entries(bench) == []
    fill(rough)
    rough.get_by_role("button", name="Enter", exact=True).click()
    expect(rough.locator(".moved")).to_be_visible()
    expect(told).to_be_hidden()
    assert len(entries(bench)) == 1


def test_a_refused_entry_can_be_forgotten(rough: Page, bench: Bench) -> None:
    rough.route(ENTRIES, lambda route: route.abort())
    rough.goto(NUMBERS)
    fill(rough, battery="12.4 bar")
    rough.get_by_role("button", name="Enter", exact=True).click()
    expect(rough.locator("#line")).to_contain_text("held on this device")
    rough.goto("/")
    rough.unroute(ENTRIES)
    rough.get_by_role("button", name="Forget it").click()
    expect(rough.locator("#refused")).to_be_hidden()
    rough.reload()
    expect(rough.locator("#refused")).to_be_hidden()
    assert entries(bench) == []


def test_one_that_fails_does_not_hold_up_the_others(rough: Page, bench: Bench) -> None:
    def busy(route: Route) -> None:
        wrong = "feed.loss" in (route.request.post_data or "")
        route.fulfill(status=503, json={"detail": "busy"}) if wrong else route.continue_()

    rough.route(ENTRIES, busy)
    rough.goto(NUMBERS)
    fill(rough)
    rough.get_by_role("button", name="Enter", exact=True).click()
    expect(rough.locator("#line")).to_contain_text("Not kept yet: busy")
    rough.goto(CHECK)
    tap(rough)
    expect(rough.locator(".moved")).to_be_visible()
    expect(rough.locator("#line")).to_contain_text("1 entry is held")
    assert [e.check for e in entries(bench)] == ["soap.fold-normal@left"]


def test_a_defect_of_the_program_is_told_and_not_tried_for_ever(rough: Page, bench: Bench) -> None:
    tried: list[str] = []

    def fail(route: Route) -> None:
        tried.append(route.request.headers["idempotency-key"])
        route.fulfill(status=500, json={"detail": "This is a defect of the program"})

    rough.route(ENTRIES, fail)
    rough.goto(NUMBERS)
    fill(rough)
    rough.get_by_role("button", name="Enter", exact=True).click()
    expect(rough.locator("form.answer .problem")).to_contain_text("defect")
    expect(rough.locator('input[name="values.battery"]')).to_have_value("12.4")
    assert len(tried) == 3
    assert len(set(tried)) == 1


def test_a_browser_that_keeps_nothing_says_so_and_sends(rough: Page, bench: Bench) -> None:
    full = "Storage.prototype.setItem = () => { throw new DOMException('', 'QuotaExceededError'); }"
    rough.add_init_script(full)
    rough.goto(NUMBERS)
    rough.locator('input[name="values.battery"]').press_sequentially("12.4")
    expect(rough.locator("#line")).to_contain_text("storage is full or switched off")
    fill(rough)
    rough.get_by_role("button", name="Enter", exact=True).click()
    expect(rough.locator(".moved")).to_be_visible()
    assert len(entries(bench)) == 1


def test_a_browser_without_storage_works(rough: Page, bench: Bench) -> None:
    none = "Object.defineProperty(window, 'localStorage', { get() { throw new Error('none'); } })"
    rough.add_init_script(none)
    rough.goto(CHECK)
    tap(rough)
    expect(rough.locator(".moved")).to_be_visible()
    assert len(entries(bench)) == 1


def test_typing_outlives_a_restart_of_the_program(browser: Browser) -> None:
    desk = fresh_desk()
    bench, thread = run(desk)
    start(bench)
    page = browser.new_context(base_url=bench.url).new_page()
    page.goto(NUMBERS)
    fill(page)
    stop(bench, thread)
    expect(page.locator("#line")).to_contain_text("No line to the program")
    page.get_by_role("button", name="Enter", exact=True).click()
    expect(page.locator("#line")).to_contain_text("1 entry is held")
    again, thread = run(desk, int(bench.url.rpartition(":")[2]))
    try:
        expect(page.locator(".moved")).to_be_visible()
        assert len(entries(again)) == 1
    finally:
        page.context.close()
        stop(again, thread)


def test_a_draft_outlives_a_reload(page: Page) -> None:
    page.goto(NUMBERS)
    fill(page)
    page.reload()
    expect(page.locator('input[name="values.pump"]')).to_have_value("11.9")
    page.goto("/jobs/demo/checks/feed.loss")
    expect(page.locator('input[name="values.pump"]')).to_have_value("")


def test_a_draft_keeps_the_unit_that_its_numbers_were_typed_in(page: Page) -> None:
    """Else 9 °C would come back as 9 °F once the settings have changed."""
    page.goto(f"/jobs/j1/checks/{HOLD}")
    page.locator(".fold:has(> form.answer) > summary").click()
    start, end = (
        page.locator(f'.answer [name="values.temperature-{n}"]') for n in ("start", "end")
    )
    start.fill("9")
    end.fill("48 °F")
    page.context.add_cookies([{"name": "units", "value": "imperial", "url": page.url}])
    page.reload()
    expect(start).to_have_value("9 °C")
    expect(end).to_have_value("48 °F")


# --- two devices


def test_another_device_sees_an_entry_by_itself(page: Page, bench: Bench) -> None:
    page.goto("/jobs/j1/evidence")
    expect(page.get_by_text("Nothing was entered yet")).to_be_visible()
    bench.desk.answer("j1", Entry(id="", check="relay.click", outcome="click"), MARK)
    expect(page.locator("#e1")).to_be_visible()


def test_typing_outlives_an_entry_of_another_device(page: Page, bench: Bench) -> None:
    page.goto(NUMBERS)
    fill(page)
    bench.desk.answer("j1", Entry(id="", check="relay.click", outcome="click"), MARK)
    expect(page.locator("#line")).to_contain_text("changed on another device")
    expect(page.locator('input[name="values.battery"]')).to_have_value("12.4")
    page.get_by_role("button", name="Enter", exact=True).click()
    expect(page.locator(".moved")).to_be_visible()
    assert [e.check for e in entries(bench)] == ["relay.click", "feed.loss"]


# --- what waits, and pictures


def test_a_hold_is_begun_and_waits(page: Page, bench: Bench) -> None:
    page.goto("/jobs/j1/checks/hold.overnight@left")
    page.locator('#begin-hold\\.overnight\\@left input[name="values.height-start"]').fill("403")
    page.get_by_role("button", name="Begin now").click()
    expect(page.get_by_role("heading", name="Waiting: Overnight hold")).to_be_visible()
    assert [dict(b.values) for b in bench.desk.open("j1").job.waiting()] == [
        {"height-start": "403 mm"}
    ]


def test_a_wrong_beginning_is_told_at_its_field(rough: Page, bench: Bench) -> None:
    rough.goto("/jobs/j1/checks/hold.overnight@left")
    form = rough.locator("#begin-hold\\.overnight\\@left")
    field = form.locator('input[name="values.height-start"]')
    field.fill("4120")
    rough.get_by_role("button", name="Begin now").click()
    problem = form.locator(".problem")
    expect(problem).to_have_text(
        "Height of the left rear in the evening: 4120 mm must be between 150 and 1500 mm. "
        "Measured in another unit? Write the unit with the number."
    )
    expect(problem).to_be_focused()
    expect(field).to_have_attribute("aria-invalid", "true")
    expect(field).to_have_value("4120")
    above, below = problem.bounding_box(), field.bounding_box()
    assert above
    assert below
    assert 0 <= below["y"] - (above["y"] + above["height"]) < 100
    field.fill("412")
    rough.get_by_role("button", name="Begin now").click()
    expect(rough.locator(".moved")).to_contain_text("read after")
    expect(rough.locator(".moved")).to_be_focused()


def test_a_time_that_does_not_fit_the_clock_is_asked_about(page: Page, bench: Bench) -> None:
    at = datetime.now(UTC) - timedelta(minutes=3)
    values = {"height-start": "412 mm"}
    begun = Begun(id="", check="hold.overnight@left", values=values, at=at.isoformat())
    bench.desk.begin("j1", begun, MARK)
    page.goto("/jobs/j1")
    page.get_by_text("Read it and enter the rest").click()
    form = page.locator("#answer-hold\\.overnight\\@left-b1")
    form.locator('input[name="values.height-end"]').fill("400")
    form.locator('input[name="values.time"]').fill("12")
    form.get_by_role("button", name="Enter", exact=True).click()
    doubt = form.get_by_role("checkbox", name="You began 3 min ago and typed 12 h.")
    expect(doubt).to_be_focused()
    assert entries(bench) == []
    doubt.check()
    form.get_by_role("button", name="Enter", exact=True).click()
    expect(page.locator(".moved")).to_be_visible()
    assert [e.values["time"] for e in entries(bench)] == ["12 h"]


def test_a_fitting_time_is_not_asked_about(page: Page, bench: Bench) -> None:
    at = datetime.now(UTC) - timedelta(hours=10)
    values = {"height-start": "412 mm"}
    begun = Begun(id="", check="hold.overnight@left", values=values, at=at.isoformat())
    bench.desk.begin("j1", begun, MARK)
    page.goto("/jobs/j1")
    form = page.locator("#answer-hold\\.overnight\\@left-b1")
    expect(form.locator('input[name="values.time"]')).to_have_value("10")
    form.locator('input[name="values.height-end"]').fill("400")
    form.get_by_role("button", name="Enter", exact=True).click()
    expect(page.locator(".moved")).to_be_visible()
    assert [e.values["time"] for e in entries(bench)] == ["10 h"]


def test_the_next_check_is_in_sight_after_an_answer_and_it_can_be_undone(
    page: Page, bench: Bench
) -> None:
    page.goto("/jobs/j1")
    page.get_by_label("Your name or initials").fill("AK")
    page.locator("button.choice").first.click()
    expect(page.locator(".moved")).to_be_focused()
    expect(page.locator("#moved-more")).not_to_have_attribute("open", "")
    heading = page.locator(".card h1").bounding_box()
    assert heading
    assert heading["y"] < 844 / 2  # in the upper half of the phone
    expect(page.get_by_label("Your name or initials")).to_have_count(0)
    page.get_by_role("button", name="Undo").click()
    expect(page.locator(".moved")).to_contain_text("E1 was withdrawn")
    assert [(e.by, e.note) for e in entries(bench)] == [("AK", ""), ("AK", "undone at once")]


def test_a_note_leaves_one_at_its_place(page: Page, bench: Bench) -> None:
    page.goto("/jobs/demo/evidence")
    page.locator("#note-text").fill("rub mark")
    page.get_by_role("button", name="Enter the note").click()
    kept = page.locator("main .kept")
    expect(kept).to_have_text("Kept.")
    expect(kept).to_be_focused()
    expect(kept).to_be_in_viewport()
    expect(page.locator("#note-text")).to_be_in_viewport()


def test_a_picture_waits_for_the_line_and_outlives_a_reload(rough: Page) -> None:
    sent: list[Request] = []
    taken = [False]

    def take(route: Route) -> None:
        if not taken[0]:
            route.abort()
            return
        sent.append(route.request)
        route.fulfill(status=201, json={"job": "j1"})

    rough.route("**/api/v1/jobs/j1/photos", take)
    rough.goto("/jobs/j1/evidence")
    picture: FilePayload = {
        "name": "rub.png",
        "mimeType": "image/png",
        "buffer": b"\x89PNG\r\n\x1a\n0",
    }
    rough.locator("#photo-file").set_input_files([picture])
    rough.get_by_role("button", name="Add the picture").click()
    expect(rough.locator("#line")).to_contain_text("1 picture was not sent; held on this device")
    taken[0] = True
    with rough.expect_response("**/photos"):
        rough.reload()
    (request,) = sent
    assert request.headers["idempotency-key"]
    expect(rough.locator("#line")).to_be_hidden()


@pytest.mark.parametrize("status", [503, 500, 400, 403, 412])
def test_a_picture_that_is_not_refused_is_never_thrown_away(rough: Page, status: int) -> None:
    told = [status]
    detail = {"detail": "The disk is full."}
    rough.route("**/j1/photos", lambda route: route.fulfill(status=told[0], json=detail))
    rough.goto("/jobs/j1/evidence")
    picture: FilePayload = {"name": "a.png", "mimeType": "image/png", "buffer": b"\x89PNG"}
    rough.locator("#photo-file").set_input_files([picture])
    rough.get_by_role("button", name="Add the picture").click()
    line = rough.locator("#line")
    expect(line).to_contain_text("held on this device, and sent when the program answers. The disk")
    told[0] = 415
    with rough.expect_response("**/photos"):
        rough.reload()
    expect(rough.get_by_text("The disk is full.")).to_be_visible()
    expect(line).to_be_hidden()
    told[0] = 500
    rough.reload()
    expect(rough.locator("main")).to_be_visible()
    expect(rough.locator("#line")).to_be_hidden()  # because it was refused, and is gone


def test_a_picture_that_is_answered_and_not_kept_can_be_given_up(rough: Page) -> None:
    detail = {"detail": "There is no such job."}
    rough.route("**/j1/photos", lambda route: route.fulfill(status=404, json=detail))
    rough.goto("/jobs/j1/evidence")
    picture: FilePayload = {"name": "a.png", "mimeType": "image/png", "buffer": b"\x89PNG"}
    rough.locator("#photo-file").set_input_files([picture])
    rough.get_by_role("button", name="Add the picture").click()
    row = rough.locator("#refused .picture")
    expect(row).to_contain_text("a.png")
    expect(row).to_contain_text("There is no such job.")
    with rough.expect_response("**/photos"):
        row.get_by_role("button", name="Send again").click()
    expect(row).to_have_count(1)
    row.get_by_role("button", name="Forget it").click()
    expect(rough.locator("#refused")).to_be_hidden()
    expect(rough.locator("#line")).to_be_hidden()
    rough.reload()
    expect(rough.locator("main")).to_be_visible()
    expect(rough.locator("#refused")).to_be_hidden()


# --- what somebody else left in the browser's storage


def item(**of: Any) -> dict[str, Any]:
    body = {"text": "held"}
    url, page = "/api/v1/jobs/j1/notes", "/jobs/j1/evidence"
    made = {"key": "k", "url": url, "body": body, "form": "note", "page": page, "at": 1, **of}
    return {name: value for name, value in made.items() if value is not None}


JUNK: list[tuple[str, Any]] = [
    ("sagtrace.out.k", 7),
    ("sagtrace.out.k", "text"),
    ("sagtrace.out.k", [1]),
    ("sagtrace.out.k", {}),
    ("sagtrace.out.k", item(url="http://127.0.0.1:9/api/v1/jobs")),
    ("sagtrace.out.k", item(url="//127.0.0.1:9/api/v1/")),
    ("sagtrace.out.k", item(url="/settings")),
    ("sagtrace.out.k", item(key="other")),
    ("sagtrace.out.k", item(at="soon")),
    ("sagtrace.out.k", item(body=None)),
    ("sagtrace.out.k", item(patience=-1)),
    ("sagtrace.out.k", item(draft="theme")),
    ("sagtrace.refused.k", item(body=None, problem="wrong")),
    ("sagtrace.refused.k", item(page="javascript:alert(1)", problem="wrong")),
    ("sagtrace.refused.k", item(page="//127.0.0.1:9/", problem="wrong")),
    ("sagtrace.refused.k", item(page="/\\127.0.0.1:9/", problem="wrong")),
    ("sagtrace.refused.k", item(page="/\t/127.0.0.1:9/", problem="wrong")),
    (
        "sagtrace.draft./jobs/j1/evidence.note",
        {"at": 9e15, "name": "x", "typed": [["text", "", "a"]]},
    ),
    *(
        (name, {"at": 9e15, "name": name, "typed": typed})
        for name in ["sagtrace.draft./jobs/j1/evidence.note"]
        for typed in ("text", [1], [["text"]], [["text", "", {}]], {"text": "a"})
    ),
]


def test_what_is_not_ours_in_the_storage_is_dropped(page: Page, bench: Bench) -> None:
    """One at a time, and nothing of it is sent, shown or followed; the page must not complain."""
    asked: list[str] = []
    page.on("request", lambda r: asked.append(r.url) if r.method == "POST" else None)
    page.goto("/settings")
    for name, value in JUNK:
        page.evaluate("([n, v]) => localStorage.setItem(n, v)", [name, json.dumps(value)])
        page.goto("/jobs/j1/evidence")
        expect(page.locator("#refused")).to_be_hidden()
        gone = "name => localStorage.getItem(name) === null"
        assert page.evaluate(gone, name), (name, value)
    page.evaluate("localStorage.setItem('sagtrace.out.k', '{half')")
    page.evaluate("localStorage.setItem('other', '7')")
    page.reload()
    expect(page.locator("#refused")).to_be_hidden()
    assert page.evaluate("Object.entries({...localStorage})") == [["other", "7"]]
    assert asked == []
    assert bench.desk.open("j1").job.notes == ()


def test_one_that_cannot_be_sent_holds_up_no_other(rough: Page, bench: Bench) -> None:
    rough.route("**/jobs/none/notes", lambda route: route.abort())
    rough.goto("/settings")
    for held in (item(key="a", url="/api/v1/jobs/none/notes"), item(key="b", at=2)):
        name = f"sagtrace.out.{held['key']}"
        rough.evaluate("([n, v]) => localStorage.setItem(n, v)", [name, json.dumps(held)])
    with rough.expect_response("**/j1/notes"):
        rough.goto("/jobs/j1/evidence")
    expect(rough.locator("#line")).to_contain_text("1 entry is held on this device")
    assert [n.text for n in bench.desk.open("j1").job.notes] == ["held"]


def test_no_round_of_sending_follows_at_once(rough: Page) -> None:
    """Whatever the storage does: here it forgets nothing that it is told to forget."""
    rough.add_init_script("Storage.prototype.removeItem = () => {}")
    sent: list[float] = []

    def take(route: Route) -> None:
        sent.append(time.monotonic())
        route.fulfill(status=201, json={"job": "j1"})

    rough.route("**/j1/notes", take)
    rough.goto("/settings")
    held = json.dumps(item(form="", page="/"))
    rough.evaluate("v => localStorage.setItem('sagtrace.out.k', v)", held)
    rough.clock.install()
    rough.goto("/jobs/j1/evidence")
    rough.wait_for_timeout(300)
    early = len(sent)
    assert early == 1
    rough.clock.fast_forward(1500)
    rough.wait_for_timeout(300)
    assert 2 <= len(sent) <= 3


# --- everybody can use it


def waiting(bench: Bench) -> str:
    bench.desk.begin("j1", Begun(id="", check="hold.overnight@left"), MARK)
    entry = Entry(id="", check="soap.fold-normal@left", outcome="bubbles")
    bench.desk.answer("j1", entry, Mark(what="answer", at=MARK.at))
    return "/jobs/j1"


PAGES: dict[str, Callable[[Bench], str]] = {
    "list": lambda _: "/",
    "new": lambda _: "/new",
    "step": lambda _: "/jobs/j1",
    "waiting": waiting,
    "repair": lambda _: "/jobs/demo",
    "check": lambda _: NUMBERS,
    "checks": lambda _: "/jobs/j1/checks",
    "evidence": lambda _: "/jobs/demo/evidence",
    "settings": lambda _: "/settings",
}


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("name", PAGES)
def test_nobody_is_shut_out(page: Page, bench: Bench, name: str, scheme: str) -> None:
    page.emulate_media(color_scheme="dark" if scheme == "dark" else "light")
    page.goto(PAGES[name](bench))
    for fold in page.locator("details").all():
        fold.evaluate("d => { d.open = true; }")
    found = Axe().run(page).response["violations"]
    assert [v["id"] for v in found if v["impact"] in ("serious", "critical")] == []
    assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0


def test_what_is_tapped_is_large_enough(page: Page) -> None:
    """At least 44 px high (Web Content Accessibility Guidelines 2.2, 2.5.5)."""
    tapped = "button, .button, .far, .top a, summary, .pick, select, input:not([type=hidden])"
    small = """tapped => [...document.querySelectorAll(tapped)]
        .filter(e => !["radio", "checkbox"].includes(e.type))
        .filter(e => e.getClientRects().length && e.getBoundingClientRect().height < 44)
        .map(e => e.outerHTML)"""
    for path in ("/", "/new", "/jobs/j1", NUMBERS, "/jobs/demo/evidence", "/settings"):
        page.goto(path)
        assert page.evaluate(small, tapped) == [], path
