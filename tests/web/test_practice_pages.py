"""Practice on the pages: the invented vehicle answers, and hides its faults until asked."""

from __future__ import annotations

import html
import json
import re

import pytest
from axe_playwright_python.sync_playwright import Axe
from fastapi.testclient import TestClient
from local import client_of, small_desk
from playwright.sync_api import BrowserContext, Page, Route, expect

from sagtrace.app.desk import Desk
from sagtrace.app.kept import Mark
from sagtrace.report.words import percent
from sagtrace.vehicle.job import NOT_DONE, Begun, Job
from workbench import Bench

AT = "2026-11-24T08:00:00+00:00"
MARK = Mark(what="practise", at=AT)
HOLD = "hold.short@left"
LINK = "sensor.link-broken"  # seed 4 hides it


@pytest.fixture
def desk() -> Desk:
    found = small_desk()
    job = Job(id="p", title="Practice 4", layout="rear-pair", complaint="low", practice=4)
    found.store.add(job, MARK, {})
    return found


@pytest.fixture
def client(desk: Desk) -> TestClient:
    return client_of(desk)


def text_of(client: TestClient, path: str) -> str:
    found = client.get(path)
    assert found.status_code == 200, found.text
    return html.unescape(found.text)


@pytest.mark.parametrize("path", ["", f"/checks/{HOLD}"])
def test_every_card_offers_the_vehicle_first(client: TestClient, path: str) -> None:
    text = text_of(client, f"/jobs/p{path}")
    offered = text.index("See what the invented vehicle shows")
    folded = text.index("Or enter an answer of your own")
    assert offered < folded < text.index('class="answer"')
    assert text.count("<details") == text.count("</details>")


def test_a_real_vehicle_offers_nothing_of_the_kind(client: TestClient) -> None:
    for path in ("", f"/checks/{HOLD}", "/repair"):
        assert "invented vehicle shows" not in text_of(client, f"/jobs/demo{path}")
    assert "What was hidden" not in text_of(client, "/jobs/demo")


def test_what_the_vehicle_shows_is_kept_and_moves(client: TestClient, desk: Desk) -> None:
    sent = {"check": HOLD, "by": "technician 1", "key": "k"}
    text = html.unescape(client.post("/jobs/p/do/practise", data=sent).text)
    assert "Kept: " in text
    (entry,) = desk.open("p").job.entries
    assert entry.check == HOLD
    assert set(entry.values) >= {"height-start", "height-end"}


def test_a_begun_check_is_read_on_the_vehicle(client: TestClient, desk: Desk) -> None:
    desk.begin("p", Begun(id="", check=HOLD), MARK)
    text = text_of(client, "/jobs/p")
    form = re.search(r'<form id="practise-[^"]*-b1".*?</form>', text, re.DOTALL)
    assert form, "the wait has a form of its own"
    ids = re.findall(r'\bid="([^"]+)"', text_of(client, f"/jobs/p/checks/{HOLD}"))
    assert len(ids) == len(set(ids))


def test_a_proof_is_done_on_the_vehicle(client: TestClient, desk: Desk) -> None:
    desk.repaired("p", ["linkage.replace"], MARK, without_approval="practice")
    proofs = [p.proof.check for p in desk.assessed(desk.open("p")).proofs]
    text = text_of(client, "/jobs/p/repair")
    for check in proofs:
        assert f'id="practise-proof-{check}"' in text
    card = text_of(client, f"/jobs/p/checks/{proofs[0]}?proof=1")
    assert f'id="practise-proof-{proofs[0]}"' in card
    sent = {"check": proofs[0], "proof": "true", "next": "/jobs/p/repair"}
    assert client.post("/jobs/p/do/practise", data=sent).status_code == 200
    assert [p.check for p in desk.open("p").job.proofs] == [proofs[0]]


def test_a_check_that_the_vehicle_cannot_answer_says_why(client: TestClient, desk: Desk) -> None:
    """It is kept as not done, so the plan goes on; a proof it is none, and stays due."""
    job = Job(id="q", title="", layout="rear-pair", complaint="low", practice=2)  # no feed
    desk.store.add(job, MARK, {})
    check = "outlet.running"  # needs a pump that runs
    proof = client.post("/jobs/q/do/practise", data={"check": check, "proof": "true"})
    assert proof.status_code == 422
    assert "no voltage reaches the pump" in html.unescape(proof.text)
    assert desk.open("q").job.proofs == ()
    told = client.post("/jobs/q/do/practise", data={"check": check})
    assert told.status_code == 200
    (entry,) = desk.open("q").job.entries
    assert (entry.outcome, entry.note) == (NOT_DONE, "no voltage reaches the pump")
    assert "could not be done" in html.unescape(told.text)
    assert check not in {offer.check for offer in desk.assessed(desk.open("q")).plan.offers}


def test_the_reason_stands_at_the_card(context: BrowserContext, bench: Bench) -> None:
    job = Job(id="p", title="Practice 4", layout="rear-pair", complaint="low", practice=4)
    bench.desk.store.add(job, MARK, {})
    page, held = context.new_page(), list[Route]()  # not the fixture: a refusal is in the console

    def hold(route: Route) -> None:
        held.append(route)

    page.route("**/api/v1/jobs/p/practice", hold)
    page.goto(f"/jobs/p/checks/{HOLD}")
    button = page.get_by_role("button", name="See what the invented vehicle shows")
    button.click()
    working = page.get_by_role("status").filter(has_text="is being looked at")
    expect(working).to_be_visible()
    expect(button).to_have_attribute("aria-busy", "true")
    body = json.dumps({"title": "no", "status": 422, "detail": "Nothing to see there."})
    held[0].fulfill(status=422, body=body, content_type="application/problem+json")
    expect(page.locator("form.practise").get_by_role("alert")).to_have_text("Nothing to see there.")
    expect(working).to_have_count(0)
    expect(button).not_to_have_attribute("aria-busy", "true")


# --- what was hidden


def test_it_is_hidden_until_the_practice_shall_end(client: TestClient, desk: Desk) -> None:
    name = desk.workshop.system("rear-pair").faults[LINK].name
    text = text_of(client, "/jobs/p/hidden")
    assert "Seeing it ends the practice" in text
    assert name.lower() not in text.lower()
    assert name.lower() in text_of(client, "/jobs/p/hidden?reveal=1").lower()


def test_the_link_is_folded_while_there_is_something_to_find(
    client: TestClient, desk: Desk
) -> None:
    link = 'href="/jobs/p/hidden"'
    before = text_of(client, "/jobs/p")
    fold = before.index('<details id="hidden-fold"')
    assert fold < before.index(link) < before.index("</details>", fold)
    desk.repaired("p", ["linkage.replace"], MARK, without_approval="practice")
    after = text_of(client, "/jobs/p")
    assert link in after
    assert "hidden-fold" not in after


def test_it_tells_what_was_found_and_repaired(client: TestClient, desk: Desk) -> None:
    desk.practise("p", "try.lift", MARK)
    desk.repaired(
        "p", ["linkage.replace", "spring.replace@left"], MARK, without_approval="practice"
    )
    kept = desk.open("p")
    system, belief = desk.workshop.system("rear-pair"), desk.judged(kept).verdict.belief
    text = text_of(client, "/jobs/p/hidden?reveal=1")
    for hidden in desk.hidden(kept):
        assert system.faults[hidden.fault].name.lower() in text.lower()
        assert f"the verdict says {percent(belief(hidden.fault).probability)}." in text
    took, needless = text.index("took out: "), text.index("needless; ")
    assert system.repairs["linkage.replace"].name.lower() in text[:took].lower()
    assert system.repairs["spring.replace@left"].name.lower() in text[took:needless].lower()
    assert "Not repaired." in text  # the leak, which seed 4 hides too
    assert "100 %" not in text


def test_the_plan_is_compared_if_asked(client: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sagtrace.app.practice.LONGEST", 1)
    text = text_of(client, "/jobs/p/hidden?reveal=1&plan=1")
    assert "The plan" in text
    assert "<td>1</td>" in text


def test_a_real_vehicle_hides_nothing(client: TestClient) -> None:
    told = client.get("/jobs/demo/hidden")
    assert told.status_code == 422
    assert "no practice" in told.text


def test_it_is_accessible_and_fits_a_phone(page: Page, bench: Bench) -> None:
    job = Job(id="p", title="Practice 4", layout="rear-pair", complaint="low", practice=4)
    bench.desk.store.add(job, MARK, {})
    bench.desk.repaired("p", ["linkage.replace"], MARK, without_approval="practice")
    for path in ("/jobs/p/hidden", "/jobs/p/hidden?reveal=1", f"/jobs/p/checks/{HOLD}"):
        page.goto(path)
        assert Axe().run(page).response["violations"] == []
        assert page.evaluate("document.documentElement.scrollWidth") <= 390
