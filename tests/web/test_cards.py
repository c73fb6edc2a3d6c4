"""Cards of checks: pictures where to measure, and one next thing on list, page and API."""

from __future__ import annotations

import html

import pytest
from fastapi.testclient import TestClient
from local import client_of, small_desk
from playwright.sync_api import Browser

from sagtrace.app.desk import Desk
from sagtrace.app.kept import Mark
from sagtrace.bootstrap import pictures
from sagtrace.report.headline import headline
from sagtrace.report.pictures import picture_for
from sagtrace.vehicle.job import Begun
from workbench import Bench

MARK = Mark(what="begin", at="2026-11-24T08:00:00+00:00")
SOAP = "soap.fitting@left"


@pytest.fixture
def desk() -> Desk:
    return small_desk()


@pytest.fixture
def client(desk: Desk) -> TestClient:
    return client_of(desk)


def test_a_check_shows_its_picture_after_the_cautions(client: TestClient, desk: Desk) -> None:
    check = desk.workshop.system("rear-pair").check(SOAP)
    picture = picture_for(pictures(), check)
    assert picture is not None
    text = html.unescape(client.get(f"/jobs/small/checks/{SOAP}").text)
    place = text.index(f'aria-label="{picture.alt}"')
    assert text.rindex('class="caution ') < place < text.index('<ol class="steps">')


def test_a_check_without_a_picture_has_none(client: TestClient, desk: Desk) -> None:
    system = desk.workshop.system("rear-pair")
    bare = next(c for c in system.checks.values() if picture_for(pictures(), c) is None)
    assert 'class="picture"' not in client.get(f"/jobs/small/checks/{bare.id}").text


@pytest.mark.parametrize(("width", "beside"), [(1024, True), (390, False)])
def test_the_picture_stands_where_there_is_room(
    browser: Browser, bench: Bench, width: int, beside: bool
) -> None:
    context = browser.new_context(base_url=bench.url, viewport={"width": width, "height": 800})
    page = context.new_page()
    page.goto(f"/jobs/demo/checks/{SOAP}")
    picture = page.locator(".picture").bounding_box()
    steps, caution = (page.locator(at).bounding_box() for at in (".steps", ".caution >> nth=-1"))
    assert picture
    assert steps
    assert caution
    assert picture["y"] >= caution["y"] + caution["height"]
    if beside:
        assert picture["x"] >= steps["x"] + steps["width"]
        assert abs(picture["y"] - steps["y"]) < 60
    else:
        assert steps["y"] >= picture["y"] + picture["height"]
    context.close()


def test_list_page_and_api_name_the_same_next_thing(client: TestClient, desk: Desk) -> None:
    first = desk.assessed(desk.open("small")).plan.offers[0].check
    desk.begin("small", Begun(id="", check=first), MARK)
    kept = desk.open("small")
    said = headline(desk.assessed(kept))
    told = client.get("/api/v1/jobs/small/next").json()
    assert told["headline"] == said
    assert told["offers"][0]["name"].lower() == said.rstrip(".").lower()
    assert first not in [offer["id"] for offer in told["offers"]]
    page = html.unescape(client.get("/jobs/small").text)
    assert f"<h1>{said.rstrip('.')}</h1>" in page
    line = html.unescape(client.get("/jobs/small/line", headers={"X-Part": "main"}).text)
    assert said in line


def test_a_value_of_the_vehicle_says_what_it_moved(client: TestClient, desk: Desk) -> None:
    client.get("/jobs/small")
    sent = {"vehicle.spring-area": "60 ± 1 cm²"}
    assert client.post("/jobs/small/do/vehicle", data=sent).status_code == 200
    page = html.unescape(client.get("/jobs/small").text)
    assert "Kept: Value of the vehicle: " in page
