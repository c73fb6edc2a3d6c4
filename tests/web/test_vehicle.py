"""The drawing in a browser: a tap on a part shows its checks, with and without script."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
from axe_playwright_python.sync_playwright import Axe
from fastapi.testclient import TestClient
from playwright.sync_api import Browser, Page, expect

from sagtrace.app.desk import Desk
from sagtrace.app.kept import Mark
from sagtrace.bootstrap import drawing, pictures
from sagtrace.report.schematic_parts import part_ids, parts_of
from sagtrace.report.words import percent
from sagtrace.vehicle.job import Job
from sagtrace.web.app import build_app
from sagtrace.web.pages import page as pages
from workbench import Bench, fresh_desk

LAYOUTS = ("rear-pair", "four-corner", "four-corner-reservoir")


@pytest.fixture(scope="module")
def desk() -> Desk:
    found = fresh_desk()
    start(found)
    return found


def start(desk: Desk) -> None:
    """Start a job of every layout in which nothing is known but that it rides low."""
    for layout in LAYOUTS:
        job = Job(id=layout, title=layout, layout=layout, complaint="It is low.", invented=True)
        desk.start(job, Mark(what="start", at="2026-11-24T08:05:00+00:00"))


@pytest.fixture(scope="module")
def client(desk: Desk) -> Iterator[TestClient]:
    with TestClient(
        build_app(desk), base_url="http://127.0.0.1", client=("127.0.0.1", 5000)
    ) as found:
        yield found


def linked(text: str, of: str) -> list[str]:
    return re.findall(rf'<a class="{of}[^"]*" data-part="([^"]+)" href="[^"]*part=', text)


@pytest.mark.parametrize("layout", LAYOUTS)
def test_every_part_has_a_link_on_both_sheets(client: TestClient, desk: Desk, layout: str) -> None:
    text = client.get(f"/jobs/{layout}/vehicle").text
    ids = part_ids(desk.workshop.system(layout), drawing())
    drawn = [id_ for id_ in ids if id_.partition("@")[0] in drawing().by_component]
    assert linked(text, "part") == drawn * 2
    assert set(linked(text, "aside")) == set(ids) - set(drawn)


@pytest.mark.parametrize("layout", LAYOUTS)
def test_every_part_shows_its_panel(client: TestClient, desk: Desk, layout: str) -> None:
    parts = parts_of(desk.judged(desk.open(layout)), drawing())
    for id_, part in parts.items():
        answer = client.get(f"/jobs/{layout}/vehicle", params={"part": id_})
        assert answer.status_code == 200
        for check in part.checks:
            assert f'href="/jobs/{layout}/checks/{check.replace("@", "%40")}"' in answer.text
        assert ("?component=" in answer.text) == (id_ != "vehicle")


def test_the_name_that_is_heard_has_the_worst_fault_and_the_verdict_s_number(
    client: TestClient, desk: Desk
) -> None:
    verdict = desk.judged(desk.open("demo")).verdict
    text = client.get("/jobs/demo/vehicle").text
    worn = percent(verdict.belief("pump.worn").probability)
    assert text.count(f'aria-label="Pump: worn air pump, {worn}; delivers') == 2


def test_every_symbol_of_the_data_is_drawn(client: TestClient) -> None:
    text = client.get("/jobs/demo/vehicle").text
    boxes = dict(re.findall(r'<symbol id="sy-([a-z-]+)" viewBox="0 0 (\d+ \d+)"', text))
    assert boxes == {s.id: f"{s.width:.0f} {s.height:.0f}" for s in drawing().symbols}


def test_an_unknown_part_is_refused_with_the_nearest(client: TestClient) -> None:
    answer = client.get("/jobs/demo/vehicle", params={"part": "pumpp"})
    assert answer.status_code == 422
    assert "pump" in answer.text
    assert client.get("/jobs/nobody/vehicle").status_code == 404


def test_every_picture_is_drawn() -> None:
    template = pages._env.from_string('{% from "pictures.html" import picture %}{{ picture(p) }}')
    drawn = {p.id: template.render(p=p) for p in pictures().pictures}
    assert all(len(re.findall(r"<(path|circle|rect|text)", text)) > 8 for text in drawn.values())
    assert len(set(drawn.values())) == len(drawn)
    assert all('role="img" aria-label=' in text for text in drawn.values())


# --- in a browser


def tap(page: Page, part: str) -> None:
    page.locator(f'svg.drawing:visible [data-part="{part}"]').first.tap()


def test_a_tap_shows_the_panel_without_loading_the_page(page: Page) -> None:
    page.goto("/jobs/demo/vehicle")
    page.evaluate("window.stayed = true")
    tap(page, "spring@left")
    panel = page.locator("#panel")
    expect(panel.get_by_role("heading", name="Spring, left rear")).to_be_visible()
    expect(panel.get_by_role("link", name=re.compile("listen for air", re.I))).to_be_visible()
    expect(page).to_have_url(re.compile(r"part=spring%40left$"))
    tapped = page.locator('svg.drawing:visible [data-part="spring@left"]')
    expect(tapped).to_have_attribute("aria-current", "true")
    box, top = tapped.bounding_box(), panel.bounding_box()
    assert box is not None
    assert top is not None
    assert box["y"] + box["height"] <= top["y"]  # the panel does not hide what was tapped
    tap(page, "battery")
    expect(panel.get_by_role("heading", name="Battery")).to_be_visible()
    page.keyboard.press("Escape")
    expect(panel).to_be_hidden()
    assert page.evaluate("window.stayed")


def test_without_a_line_the_drawing_stays_and_says_so(browser: Browser, bench: Bench) -> None:
    context = browser.new_context(
        viewport={"width": 390, "height": 844}, base_url=bench.url, has_touch=True
    )
    page = context.new_page()
    page.goto("/jobs/demo/vehicle")
    context.set_offline(True)
    tap(page, "pump")
    expect(page.locator("#panel")).to_contain_text("No line to the program")
    expect(page.locator("svg.drawing:visible")).to_be_visible()
    context.set_offline(False)
    tap(page, "pump")
    expect(page.locator("#panel").get_by_role("heading", name="Pump")).to_be_visible()
    context.close()


def test_the_keyboard_reaches_every_part(page: Page) -> None:
    page.goto("/jobs/demo/vehicle")
    parts = page.locator("svg.drawing:visible a.part")
    names = [parts.nth(i).get_attribute("data-part") for i in range(parts.count())]
    parts.first.focus()
    reached = []
    for _ in names:
        reached.append(page.evaluate("document.activeElement.dataset.part"))
        page.keyboard.press("Tab")
    assert reached == names
    page.locator('svg.drawing:visible [data-part="pump"]').focus()
    page.keyboard.press("Enter")
    expect(page.locator("#panel").get_by_role("heading", name="Pump")).to_be_visible()


def test_it_works_without_a_script(browser: Browser, bench: Bench) -> None:
    context = browser.new_context(
        viewport={"width": 390, "height": 844}, base_url=bench.url, java_script_enabled=False
    )
    page = context.new_page()
    page.goto("/jobs/demo/vehicle")
    page.locator('svg.drawing:visible [data-part="pump"]').click()
    expect(page.locator("#panel").get_by_role("heading", name="Pump")).to_be_visible()
    context.close()


@pytest.mark.parametrize("layout", LAYOUTS)
def test_on_a_phone_every_part_is_a_target_and_every_word_readable(
    page: Page, bench: Bench, layout: str
) -> None:
    start(bench.desk)
    page.goto(f"/jobs/{layout}/vehicle")
    sizes = page.eval_on_selector_all(
        "svg.drawing.phone .target",
        "all => all.map(e => e.getBoundingClientRect()).map(r => Math.min(r.width, r.height))",
    )
    assert min(sizes) >= 44 - 1e-4  # the browser reckons in single precision
    scale = page.evaluate(
        "(() => { const s = document.querySelector('svg.drawing.phone');"
        " return s.getBoundingClientRect().width / s.viewBox.baseVal.width; })()"
    )
    fonts = page.eval_on_selector_all(
        "svg.drawing.phone > a > text, svg.drawing.phone > g text",
        "all => all.map(e => parseFloat(getComputedStyle(e).fontSize))",
    )
    assert min(fonts) * scale >= 12.99
    assert page.evaluate("document.documentElement.scrollWidth") <= 390


@pytest.mark.parametrize("width", [390, 1024])
@pytest.mark.parametrize("layout", ["demo", "four-corner-reservoir"])
def test_no_word_covers_another_as_the_browser_sets_it(
    browser: Browser, bench: Bench, layout: str, width: int
) -> None:
    start(bench.desk)
    page = browser.new_page(viewport={"width": width, "height": 800}, base_url=bench.url)
    page.goto(f"/jobs/{layout}/vehicle")
    covered = page.evaluate(
        """() => {
          const all = [...document.querySelectorAll('svg.drawing text')]
            .map(e => [e.textContent, e.getBBox()]).filter(([, b]) => b.width > 0);
          const found = [];
          all.forEach(([a, p], i) => all.slice(i + 1).forEach(([b, q]) => {
            if (p.x + 0.5 < q.x + q.width && q.x + 0.5 < p.x + p.width
                && p.y + 3 < q.y + q.height && q.y + 3 < p.y + p.height) found.push([a, b]);
          }));
          return found;
        }"""
    )
    assert covered == []
    page.close()


@pytest.mark.parametrize("path", ["", "?part=pump"])
def test_axe_finds_nothing_serious(page: Page, path: str) -> None:
    page.goto(f"/jobs/demo/vehicle{path}")
    found = Axe().run(page).response["violations"]
    serious = [v["id"] for v in found if v["impact"] in ("serious", "critical")]
    assert serious == []
