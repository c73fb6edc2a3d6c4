"""The whole job through the pages, from the complaint to the proved paper: by hand and by keys.

It is the invented demonstration: what it comes to must be what its job file comes to, which the
commands read without any page.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from urllib.request import Request, urlopen

import pytest
from playwright.sync_api import Browser, Locator, Page, expect

from sagtrace.bootstrap import demo_folder
from sagtrace.report.words import percent
from sagtrace.vehicle.job import Entry, Job
from workbench import Bench, Clock, Watch, fresh_desk, running

# What is done by hand: a few answers of each kind. The same forms take the others.
BY_HAND = ("story.where-low@left", "story.pump-noise", "hold.short@left", "sensor.tape",
           "feed.loss", "soap.fold-normal@left")  # fmt: skip
LEAK, PUMP = "spring.fold-leak@left", "pump.worn"
HOLD, FILL = "hold.overnight@left", "pump.fill-test"
BEGUN = {"height-start": "404", "temperature-start": "9"}
READ = {"height-end": "403", "time": "11 h", "temperature-end": "7"}
FILLED = {"pressure-start": "0", "pressure-end": "8", "time": "95", "volume": "5", "supply": "13"}


@pytest.fixture(scope="module")
def clock() -> Clock:
    return Clock(at="2026-11-24T08:05:00+00:00")


@pytest.fixture(scope="module")
def garage(clock: Clock) -> Iterator[Bench]:
    with running(fresh_desk(), now=clock) as found:
        yield found


@pytest.fixture(scope="module")
def demo(garage: Bench) -> Job:
    return garage.desk.open("demo").job


class Touch:
    """Somebody with a phone: everything is tapped."""

    def __init__(self, page: Page) -> None:
        self.page = page

    def press(self, what: Locator) -> None:
        what.tap()

    def type(self, what: Locator, text: str) -> None:
        what.tap()
        what.fill(text)

    def press_box(self, what: Locator) -> None:
        what.tap()

    def choose_file(self, what: Locator, path: str) -> None:
        with self.page.expect_file_chooser() as chooser:
            what.tap()
        chooser.value.set_files(path)


# Where the focus is: whether on what is wanted, and what of it cannot be seen, if anything.
FOCUS = """wanted => {
  const e = document.activeElement;
  if (e === document.body) return [false, ""];
  const marked = [e, e.closest("label") ?? e].map((each) => getComputedStyle(each));
  const ring = marked.some((s) => s.outlineStyle !== "none" && parseFloat(s.outlineWidth) >= 2);
  const {top, bottom, left, right} = e.getBoundingClientRect();
  const inside = bottom > 0 && top < innerHeight && right > 0 && left < innerWidth;
  const seen = ring && inside && right > left && bottom > top;
  return [e === wanted, seen ? "" : e.outerHTML.slice(0, 300)];
}"""


class Keys:
    """Somebody with a keyboard and nothing else, who goes by what has the focus."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.stops = 0

    def reach(self, what: Locator, stops: int = 90) -> None:
        """Go on with Tab until it has the focus, which is seen at every stop on the way."""
        wanted = what.element_handle()
        here, _ = self.page.evaluate(FOCUS, wanted)
        for _ in range(stops):
            if here:
                return
            self.page.keyboard.press("Tab")
            self.stops += 1
            here, unseen = self.page.evaluate(FOCUS, wanted)
            assert unseen == ""
        pytest.fail(f"{what} is not within {stops} stops")

    def press(self, what: Locator) -> None:
        self.reach(what)
        self.page.keyboard.press("Enter")

    def type(self, what: Locator, text: str) -> None:
        self.reach(what)
        self.page.keyboard.press("Control+A")
        self.page.keyboard.type(text)

    def press_box(self, what: Locator) -> None:
        if what.get_attribute("type") == "radio":
            self.press_radio(what)
        else:
            self.reach(what)
            self.page.keyboard.press("Space")

    def press_radio(self, what: Locator) -> None:
        """Arrows go from one to the next of a group, which Tab stops at once."""
        self.reach(self.page.locator(f"input[name='{what.get_attribute('name')}']").first)
        self.page.keyboard.press("Space")
        for _ in range(10):
            if not what.is_checked():
                self.page.keyboard.press("ArrowDown")

    def choose_file(self, what: Locator, path: str) -> None:
        self.reach(what)
        with self.page.expect_file_chooser() as chooser:
            self.page.keyboard.press("Enter")
        chooser.value.set_files(path)


Hands = Touch | Keys


@dataclass(kw_only=True)
class Work:
    """One job and whoever does it."""

    page: Page
    hands: Hands
    bench: Bench
    clock: Clock
    id: str = ""  # of the job, once it is started

    @property
    def job(self) -> Job:
        return self.bench.desk.open(self.id).job

    def button(self, name: str) -> Locator:
        return self.page.get_by_role("button", name=name, exact=True)

    def place(self, name: str) -> None:
        """Go to one of the places of the job."""
        nav = self.page.get_by_role("navigation", name="This job")
        self.hands.press(nav.get_by_role("link", name=name, exact=True))
        expect(nav.get_by_role("link", name=name, exact=True)).to_have_attribute(
            "aria-current", "page"
        )

    def unfold(self, name: str) -> None:
        summary = self.page.locator("summary", has_text=name).first
        if not summary.evaluate("e => e.parentElement.open"):
            self.hands.press(summary)
        expect(summary.locator("xpath=..")).to_have_attribute("open", "")

    def tick(self, box: Locator) -> None:
        if not box.is_checked():
            self.hands.press_box(box)
        expect(box).to_be_checked()

    def fill(self, form: Locator, values: Mapping[str, str]) -> None:
        for name, text in values.items():
            self.hands.type(form.locator(f'input[name="values.{name}"]'), text)


@pytest.fixture(params=["touch", "keys"])
def work(
    request: pytest.FixtureRequest, browser: Browser, garage: Bench, clock: Clock
) -> Iterator[Work]:
    touch = request.param == "touch"
    size = (390, 844) if touch else (1024, 768)
    context = browser.new_context(
        base_url=garage.url, viewport={"width": size[0], "height": size[1]},
        has_touch=touch, is_mobile=touch,
    )  # fmt: skip
    watch = Watch(own=garage.url)
    page = watch.over(context.new_page())
    # From the start, because a listener that comes late may miss the window that it asks for.
    page.on("filechooser", lambda _: None)
    hands: Hands = Touch(page) if touch else Keys(page)
    clock.at = "2026-11-24T08:05:00+00:00"
    yield Work(page=page, hands=hands, bench=garage, clock=clock)
    watch.check()
    context.close()


def test_from_the_complaint_to_the_proved_paper(work: Work, demo: Job) -> None:
    start(work, demo)
    answer_all(work, demo)
    stand(work, demo)
    attach(work)
    same_verdict(work)
    sell(work)
    repair(work)
    prove_the_spring(work)
    prove_the_pump(work)
    take_the_papers(work)


def start(work: Work, demo: Job) -> None:
    page, hands = work.page, work.hands
    page.goto("/")
    hands.press(page.get_by_role("link", name="New job"))
    expect(page.locator("#complaint")).to_be_focused()
    hands.type(page.locator("#complaint"), demo.complaint)
    work.tick(page.get_by_role("radio", name="rear pair"))
    work.unfold("Values from the workshop manual")
    for name, text in demo.vehicle.items():
        hands.type(page.locator(f'input[name="vehicle.{name}"]'), text)
    hands.press(work.button("Start the job"))
    page.wait_for_url("**/jobs/*")
    work.id = page.url.rpartition("/")[2]
    expect(page.get_by_text("What do you find?")).to_be_visible()
    assert (work.job.complaint, dict(work.job.vehicle)) == (demo.complaint, dict(demo.vehicle))


def answer_all(work: Work, demo: Job) -> None:
    for entry in demo.entries:
        work.clock.at = entry.at
        if entry.check in BY_HAND:
            answer(work, entry)
        else:
            send(work, entry)
    assert [e.check for e in work.job.entries] == [e.check for e in demo.entries]


def answer(work: Work, entry: Entry) -> None:
    """Find the check by its words, as somebody does who was told to make it, and answer it."""
    page, hands = work.page, work.hands
    system = work.bench.desk.workshop.system("rear-pair")
    check = system.check(entry.check)
    search = page.get_by_role("search")
    hands.type(search.get_by_role("searchbox"), check.name)
    hands.press(search.get_by_role("button"))
    page.wait_for_url("**/checks?text=*")
    hands.press(page.locator(f'a.row[href$="/checks/{entry.check}"]'))
    expect(page.get_by_role("heading", level=1)).to_have_text(check.name, ignore_case=True)
    form = page.locator(f"form[id='answer-{entry.check}']")
    if form.is_hidden():  # a hold that may be begun now and read later, but was done already
        work.unfold("It was done already")
    if entry.outcome:
        hands.press(form.locator(f'button[value="{entry.outcome}"]'))
    else:
        work.fill(form, entry.values)
        hands.press(form.locator("summary"))
        hands.type(form.get_by_label("Instrument"), entry.instrument)
        hands.press(form.get_by_role("button", name="Enter", exact=True))
    expect(page.locator(".moved")).to_be_focused()
    assert page.url.endswith(f"/jobs/{work.id}")
    kept = work.job.entries[-1]
    assert (kept.check, kept.outcome, kept.instrument) == (
        entry.check, entry.outcome, entry.instrument,
    )  # fmt: skip
    assert dict(kept.values) == dict(entry.values)


def send(work: Work, entry: Entry) -> None:
    body: dict[str, object] = {"check": entry.check, "instrument": entry.instrument}
    if entry.outcome:
        body["outcome"] = entry.outcome
    else:
        body["values"] = dict(entry.values)
    headers = {"Content-Type": "application/json"}
    address = f"{work.bench.url}/api/v1/jobs/{work.id}/entries"
    with urlopen(Request(address, json.dumps(body).encode(), headers), timeout=60) as answer:
        assert answer.status == 201


def stand(work: Work, demo: Job) -> None:
    """Say how the vehicle stands now."""
    work.page.reload()  # because a page takes up to three seconds to see what others entered
    work.unfold("Change this")
    # An answer says what it took to give it, so some of it is known already.
    for box in work.page.locator("#access input[type=checkbox]").all():
        if box.is_checked() != (box.get_attribute("value") in demo.access):
            work.hands.press_box(box)
    main = work.page.locator("main")
    old = str(main.get_attribute("data-revision"))
    work.hands.press(work.page.locator("#access").get_by_role("button", name="Enter"))
    expect(main).not_to_have_attribute("data-revision", old)
    assert set(work.job.access) == set(demo.access)


def attach(work: Work) -> None:
    page, hands = work.page, work.hands
    work.clock.at = "2026-11-24T10:05:00+00:00"
    work.place("Recordings")
    target = page.locator("#recording") if isinstance(hands, Keys) else page.locator(".drop")
    hands.choose_file(target, str(demo_folder() / "recording.csv"))
    expect(page.get_by_text("Every column that is used is clear")).to_be_visible()
    expect(page.locator("[data-focus]")).to_be_focused()
    hands.press(work.button("Attach it to the job"))
    page.wait_for_url("**/recordings/r1")
    expect(page.locator("main")).to_be_focused()
    expect(page.locator("#plots[data-drawn]")).to_be_visible()


def same_verdict(work: Work) -> None:
    """The verdict is the demonstration's, to the last digit, and the page names both faults."""
    work.place("Verdict")
    desk = work.bench.desk
    mine, other = (desk.assessed(desk.open(id_)) for id_ in (work.id, "demo"))
    for belief in other.verdict.beliefs:
        assert mine.verdict.belief(belief.fault).probability == pytest.approx(
            belief.probability, rel=1e-9
        )
    assert {b.fault for b in other.verdict.beliefs[:2]} == {LEAK, PUMP}
    main = work.page.locator("main")
    for fault in (LEAK, PUMP):
        row = main.locator(f"[id='fault-{fault}'] > summary")
        expect(row).to_contain_text(mine.system.faults[fault].name, ignore_case=True)
        expect(row).to_contain_text(percent(mine.verdict.belief(fault).probability))
    (link,) = mine.story
    assert (link.cause, link.effect) == (LEAK, PUMP)
    story = main.locator("figure svg.story:visible")
    expect(story).to_have_count(1)  # once the style has come, which shows the one that fits
    expect(story).to_contain_text("led")


def sell(work: Work) -> None:
    page, hands = work.page, work.hands
    work.clock.at = "2026-11-24T10:30:00+00:00"
    hands.press(page.locator("main a.button", has_text="Next:"))
    page.wait_for_url("**/repair")
    hands.press(work.button("Offer choice 1 to the customer"))
    expect(page.get_by_role("heading", name="The customer's answer")).to_be_focused()
    work.tick(page.get_by_role("radio", name="By telephone"))
    hands.type(page.get_by_label("Who said it"), "the owner")
    hands.press(work.button("Approved"))
    expect(page.get_by_text("Approved, by telephone, said by the owner.")).to_be_visible()
    expect(page.get_by_role("heading", name="The work")).to_be_focused()


def repair(work: Work) -> None:
    page, hands = work.page, work.hands
    work.clock.at = "2026-11-24T16:00:00+00:00"
    wanted = work.job.approvals[-1].repairs
    assert len(wanted) == 2
    for name in wanted:
        work.tick(page.locator(f"#repaired input[value='{name}']"))
    hands.press(work.button("Mark as repaired"))
    expect(page.get_by_role("heading", name="Proof", exact=True)).to_be_focused()
    assert set(work.job.repaired) == set(wanted)


def prove_the_spring(work: Work) -> None:
    """Begin the hold in the evening, and read it in the morning from a page opened anew."""
    page, hands = work.page, work.hands
    work.clock.at = "2026-11-24T19:00:00+00:00"
    form = page.locator(f"form[id='begin-{HOLD}']")
    work.fill(form, BEGUN)
    hands.press(form.get_by_role("button"))
    expect(page.get_by_text("Read it not before")).to_be_visible()
    work.clock.at = "2026-11-25T06:00:00+00:00"
    page.goto("/")
    hands.press(page.locator(f'a[href="/jobs/{work.id}"]'))
    work.place("Repair")
    expect(page.get_by_text("It can be read now.")).to_be_visible()
    form = page.locator(f"form[id='prove-{HOLD}']")
    work.fill(form, READ)
    hands.press(form.get_by_role("button", name="Judge the result"))
    expect(page.locator(".result.passed")).to_have_count(1)
    expect(page.get_by_role("heading", name="Proof", exact=True)).to_be_focused()


def prove_the_pump(work: Work) -> None:
    """Go to it from the next step, as somebody does who was told what is still to be proved."""
    page, hands = work.page, work.hands
    work.place("Next step")
    hands.press(page.locator(f'a[href*="/checks/{FILL}?proof=1"]'))
    form = page.locator(f"form[id='prove-{FILL}']")
    work.fill(form, FILLED)
    hands.press(form.get_by_role("button", name="Enter", exact=True))
    page.wait_for_url(f"**/jobs/{work.id}")
    hands.press(page.get_by_role("link", name="Do this proof"))
    form = page.locator("form[id='prove-try.lift']")
    hands.press(form.locator('button[value="normal"]'))
    page.wait_for_url(f"**/jobs/{work.id}")
    expect(page.get_by_role("link", name="Print the papers")).to_be_visible()
    desk = work.bench.desk
    assert desk.assessed(desk.open(work.id)).stage == "proved"


def take_the_papers(work: Work) -> None:
    page, hands = work.page, work.hands
    hands.press(page.get_by_role("link", name="Print the papers"))
    page.wait_for_url("**/papers")
    expect(page.get_by_text("not proved yet")).to_have_count(0)
    for kind, says in (("customer", "The repair is proved"), ("technical", "Measurements")):
        card = page.locator(f'section[aria-labelledby="{kind}"]')
        address = card.get_by_role("link", name="Open the PDF").get_attribute("href")
        assert address is not None
        pdf = page.request.get(address)
        assert pdf.ok
        assert pdf.body().startswith(b"%PDF-")
        hands.press(card.get_by_role("link", name="Read on this page"))
        expect(page.locator(".paper")).to_contain_text(says)
        hands.press(page.get_by_role("link", name="All papers"))
        page.wait_for_url("**/papers")


def test_the_values_that_are_assumed_can_be_typed_from_the_verdict(page: Page) -> None:
    page.goto("/jobs/demo/verdict")
    page.get_by_role("link", name="Type them").click()
    expect(page.locator("#vehicle input[name='vehicle.spring-area']")).to_be_visible()
