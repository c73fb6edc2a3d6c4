"""The calculators' pages and their API."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from fastapi.testclient import TestClient
from playwright.sync_api import Page, expect

from sagtrace.web.app import build_app
from workbench import fresh_desk

LEAK = "height-start=412+mm&height-end=398+mm&time=20+min"


@pytest.fixture(scope="module")
def client() -> Iterator[TestClient]:
    app = build_app(fresh_desk())
    with TestClient(app, base_url="http://127.0.0.1", client=("127.0.0.1", 5000)) as found:
        yield found


def test_page_and_api_say_the_same(client: TestClient) -> None:
    said = client.get(f"/api/v1/calculators/leak-from-drop/result?{LEAK}").json()
    page = client.get(f"/calculators/leak-from-drop?{LEAK}")
    assert said["results"][0]["text"] in page.text
    assert said["assumed"][0] == "spring-area"
    assert f"/calculators/leak-from-drop?{LEAK.replace('&', '&amp;')}" in page.text


def test_every_calculator_has_its_page(client: TestClient) -> None:
    for calculator in client.get("/api/v1/calculators").json():
        page = client.get(f"/calculators/{calculator['id']}")
        assert page.status_code == 200
        assert calculator["formula"].split("=")[0] in page.text
        assert 'class="problem" id=' not in page.text


def test_a_slip_keeps_what_was_typed(client: TestClient) -> None:
    page = client.get("/calculators/joint?drop=half+a+volt&current=20+A").text
    assert 'value="half a volt"' in page
    assert "expected a voltage" in page
    answer = client.get("/api/v1/calculators/joint/result?drop=half+a+volt&current=20+A")
    assert answer.status_code == 422
    assert answer.headers["content-type"] == "application/problem+json"


def test_none_of_that_name(client: TestClient) -> None:
    assert client.get("/api/v1/calculators/jont").status_code == 404
    assert client.get("/calculators/jont").status_code == 404


def test_in_the_hand(page: Page) -> None:
    page.goto("/calculators")
    page.get_by_role("link", name="Joint: milliohms and watts").tap()
    page.get_by_label("voltage across the joint under load").fill("0.5 V")
    page.get_by_label("current meanwhile").fill("20")
    page.get_by_role("button", name="Work it out").tap()
    expect(page.get_by_text("25.0 ± 1.6 mΩ")).to_be_visible()
