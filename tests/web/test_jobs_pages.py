"""The core pages as a browser without a script gets them."""

from __future__ import annotations

import html
import re
from collections.abc import Iterator
from datetime import datetime, timedelta

import pytest
from fastapi.testclient import TestClient

from sagtrace.app.desk import Desk
from sagtrace.app.kept import Mark
from sagtrace.errors import ContradictionError
from sagtrace.vehicle.job import Begun, Entry, Job
from sagtrace.web.app import build_app
from sagtrace.web.views.moments import moment
from workbench import fresh_desk

NOW = "2026-11-25T07:00:00+00:00"
MARK = Mark(what="start", at=NOW)
ANSWER = Mark(what="answer", at=NOW)


@pytest.fixture
def desk() -> Desk:
    found = fresh_desk()
    complaint = "It sinks over night."
    found.start(Job(id="j1", title="Order 7", layout="rear-pair", complaint=complaint), MARK)
    return found


@pytest.fixture
def client(desk: Desk) -> Iterator[TestClient]:
    app = build_app(desk, now=lambda: NOW)
    with TestClient(app, base_url="http://127.0.0.1", client=("127.0.0.1", 5000)) as found:
        yield found


def fields(page: str, form: str) -> dict[str, str]:
    """Return what a browser would send for a form as it comes: hidden and filled fields."""
    match = re.search(rf'<form id="{re.escape(form)}".*?</form>', page, re.S)
    assert match, form
    found = {}
    for tag in re.findall(r"<input[^>]*>", match[0]):
        name, value = re.search(r'name="([^"]*)"', tag), re.search(r'value="([^"]*)"', tag)
        if name and 'type="radio"' not in tag and 'type="checkbox"' not in tag:
            found[name[1]] = value[1] if value else ""
    return found


# --- the list


def test_the_list_works_a_job_out_after_it_is_shown(client: TestClient) -> None:
    assert 'data-line="/jobs/j1/line"' in client.get("/").text
    line = client.get("/jobs/j1/line", headers={"X-Part": "main"}).text
    assert "Finding out" in line
    assert "<html" not in line
    assert 'data-line="/jobs/j1/line"' not in client.get("/").text


def test_the_list_is_searched_by_words_and_stage(client: TestClient) -> None:
    client.get("/jobs/j1/line")
    assert "Order 7" in client.get("/", params={"text": "over NIGHT"}).text
    assert "Order 7" not in client.get("/", params={"text": "trailer"}).text
    assert "No job fits" in client.get("/", params={"stage": "proved"}).text
    assert "Order 7" in client.get("/", params={"stage": "check"}).text


def test_the_list_says_when_a_hold_can_be_read(client: TestClient, desk: Desk) -> None:
    begun = Begun(id="", check="hold.overnight@left", at="2026-11-25T00:00:00+00:00")
    desk.begin("j1", begun, MARK)
    assert "A hold can be read in 3.0 h" in client.get("/jobs/j1/line").text


def test_an_empty_list_says_what_to_do(desk: Desk) -> None:
    desk.store = type(desk.store)()  # type: ignore[call-arg, unused-ignore]
    app = build_app(desk)
    client = TestClient(app, base_url="http://127.0.0.1", client=("127.0.0.1", 5000))
    assert "No job yet" in client.get("/").text
    answer = client.post("/demo", follow_redirects=False)
    assert answer.headers["location"] == "/jobs/demo"
    assert client.post("/demo", follow_redirects=False).status_code == 303
    assert len(desk.changes("demo")) == 1


def test_a_long_list_has_pages(client: TestClient, desk: Desk) -> None:
    for n in range(31):
        desk.start(Job(id=f"p{n}", title=f"Number {n:02}", layout="rear-pair"), MARK)
    first = client.get("/").text
    older = re.search(r'href="(/\?after=[^"]*)"', first)
    assert older
    second = client.get(older[1].replace("&amp;", "&")).text
    titles = re.findall(r"Number \d\d", first) + re.findall(r"Number \d\d", second)
    assert len(set(titles)) == len(titles) == 31


# --- starting


def test_a_job_is_started_without_a_script(client: TestClient) -> None:
    sent = fields(client.get("/new").text, "new")
    sent |= {"complaint": "Low at the back", "layout": "rear-pair", "vehicle.spring-area": "112"}
    answer = client.post("/new", data=sent, follow_redirects=False)
    assert answer.status_code == 303
    assert client.post("/new", data=sent, follow_redirects=False).headers == answer.headers
    page = client.get(f"{answer.headers['location']}/evidence").text
    assert 'value="112 cm²"' in page


def test_new_ticks_no_layout_and_says_what_is_assumed(client: TestClient) -> None:
    page = client.get("/new").text
    ticks = re.findall(r'<input type="radio"[^>]*>', page)
    assert len(ticks) == 3
    assert all(" required" in tick and " checked" not in tick for tick in ticks)
    assert 'placeholder="100 ± 2 kPa"' in page  # of the air outside, the same for all
    assert "rear pair: 110 ± 22 cm²" in page


def test_a_refused_start_loses_nothing(client: TestClient) -> None:
    sent = {"complaint": "Low", "layout": "rear-pair", "vehicle.spring-area": "112 bar", "key": "k"}
    answer = client.post("/new", data=sent)
    assert answer.status_code == 422
    assert "expected an area" in answer.text
    assert 'value="112 bar"' in answer.text
    assert 'value="Low"' in answer.text


# --- the next step


def test_cautions_stand_before_the_steps_and_dangers_first(client: TestClient) -> None:
    page = client.get("/jobs/j1/checks/bellows.look@left").text
    levels = re.findall(r'class="caution (\w+)"', page)
    assert levels == sorted(levels, key=["danger", "warning", "notice"].index)
    assert levels[0] == "danger"
    assert (
        page.rindex('class="caution') < page.index('class="steps"') < page.index('name="outcome"')
    )


def test_an_answer_without_a_script_moves_the_verdict(client: TestClient) -> None:
    card = client.get("/jobs/j1/checks/soap.fold-normal@left").text
    sent = fields(card, "answer-soap.fold-normal@left") | {"outcome": "bubbles"}
    answer = client.post("/jobs/j1/do/answer", data=sent)
    assert answer.url.path == "/jobs/j1"
    moved = re.search(r'class="moved".*?</section>', answer.text, re.S)
    assert moved
    rise = r"Cracked fold in the left rear air spring rose from (\d+) % to (\d+) %"
    found = re.search(rise, moved[0])
    assert found
    assert int(found[1]) < int(found[2])
    assert "bubbles grow at a fold" in moved[0]
    # What was reached for it holds now.
    assert "raised, body and axle supported" in answer.text


def test_a_wrong_number_without_a_script_is_told_and_kept(client: TestClient) -> None:
    card = client.get("/jobs/j1/checks/supply.running").text
    sent = fields(card, "answer-supply.running") | {"values.value": "12.4 bar"}
    answer = client.post("/jobs/j1/do/answer", data=sent)
    assert answer.status_code == 422
    assert "expected a voltage" in answer.text
    again = {"key": "other", "by": "", "check": "supply.running", "values.value": "12.4"}
    assert client.post("/jobs/j1/do/answer", data=again).url.path == "/jobs/j1"


def test_what_is_behind_a_check_can_be_found_by_part(client: TestClient) -> None:
    page = client.get("/jobs/j1/checks", params={"component": "dryer"}).text
    assert "dryer.moisture" in page
    assert "fuse.test" not in page
    assert "No check fits" in client.get("/jobs/j1/checks", params={"text": "gearbox"}).text


def test_other_checks_are_always_at_hand(client: TestClient) -> None:
    for job in ("j1", "demo"):
        page = client.get(f"/jobs/{job}").text
        assert 'action="/jobs/' + job + '/checks"' in page
        assert len(re.findall(r'class="row" href="/jobs/\w+/checks/', page)) >= 3


def test_access_is_changed_and_can_be_emptied(client: TestClient, desk: Desk) -> None:
    sent = fields(client.get("/jobs/demo").text, "access")
    assert client.post("/jobs/demo/do/access", data=sent | {"access": ["wheel-off"]}).is_success
    assert desk.open("demo").job.access == ("wheel-off",)
    assert client.post("/jobs/demo/do/access", data={"by": "", "key": "2"}).is_success
    assert desk.open("demo").job.access == ()


# --- what waits


def test_a_hold_is_begun_read_and_finished(client: TestClient, desk: Desk) -> None:
    card = client.get("/jobs/j1/checks/hold.overnight@left").text
    sent = fields(card, "begin-hold.overnight@left")
    assert "values.height-end" not in sent
    sent |= {"values.height-start": "403", "values.temperature-start": "12"}
    page = client.post("/jobs/j1/do/begin", data=sent).text
    assert "Waiting:" in page
    assert "in 10.0 h" in page
    begun = desk.open("j1").job.waiting()[0]
    assert begun.values["height-start"] == "403 mm"
    form = f"answer-hold.overnight@left-{begun.id}"
    sent = fields(page, form) | {"values.height-end": "380", "values.time": "10"}
    assert sent["values.height-start"] == "403 mm"
    page = client.post("/jobs/j1/do/answer", data=sent).text
    assert "Waiting:" not in page
    assert desk.open("j1").job.waiting() == ()


@pytest.mark.parametrize(
    ("values", "told"),
    [
        ({"height-start": "abc"}, "Height of the left rear in the evening: 'abc' cannot be read;"),
        ({"height-start": "4120"}, "4120 mm must be between 150 and 1500 mm"),
        ({"height-start": "403", "temperature-start": "90"}, "90 °C must be between -50 and 60 °C"),
    ],
)
def test_what_is_read_at_the_beginning_is_checked(
    client: TestClient, desk: Desk, values: dict[str, str], told: str
) -> None:
    """Limits: at_least and at_most of the check's own inputs."""
    check = "hold.overnight@left"
    sent = fields(client.get(f"/jobs/j1/checks/{check}").text, f"begin-{check}")
    sent |= {f"values.{name}": text for name, text in values.items()}
    answer = client.post("/jobs/j1/do/begin", data=sent)
    assert answer.status_code == 422
    page = html.unescape(answer.text)
    assert told in page
    assert re.search(r'name="values\.[a-z-]+-start" value="[^"]*" aria-invalid="true"', page)
    body = {"check": check, "values": values}
    problem = client.post("/api/v1/jobs/j1/begun", json=body)
    assert problem.status_code == 422
    assert problem.json()["field"] == f"values.{list(values)[-1]}"
    assert told in problem.json()["said"]
    assert desk.open("j1").job.begun == ()


@pytest.mark.parametrize(
    "body",
    [
        {"check": "hold.overnight@left", "values": {"speed": "3 m"}},
        {"check": "relay.click", "values": {"height-start": "403 mm"}},
        {"check": "none", "ready": "2026-11-25T17:00:00Z"},
    ],
)
def test_nothing_unknown_is_begun(
    client: TestClient, desk: Desk, body: dict[str, dict[str, str]]
) -> None:
    assert client.post("/api/v1/jobs/j1/begun", json=body).status_code == 422
    assert desk.open("j1").job.begun == ()


def test_what_was_begun_stands_on_top_and_nothing_spoils_it(client: TestClient, desk: Desk) -> None:
    at = datetime.fromisoformat(NOW).astimezone()
    check, later = "hold.overnight@left", at + timedelta(hours=10)
    sent = fields(client.get(f"/jobs/j1/checks/{check}").text, f"begin-{check}")
    page = client.post("/jobs/j1/do/begin", data=sent).text
    day = "" if later.date() == at.date() else f"{later:%a} {later.day} {later:%b}, "
    told = f"Begun {at:%H:%M}, read after {day}{later:%H:%M}"
    assert page.index(told) < page.index("<h1>")
    shown = set(re.findall(r'href="/jobs/j1/checks/([^"?]+)"', page))
    shown |= set(re.findall(r'name="check" value="([^"]+)"', page))
    system = desk.workshop.system("rear-pair")
    assert len(shown) > 2
    for each in shown - {check}:
        assert "on-stands" not in system.checks[each].needs
        assert "sudden-move" not in system.checks[each].cautions


def test_the_time_since_the_beginning_stands_in_its_field(client: TestClient, desk: Desk) -> None:
    begun = Begun(id="", check="hold.overnight@left", at="2026-11-24T20:45:00+00:00")
    desk.begin("j1", begun, MARK)
    page = client.get("/jobs/j1").text
    sent = fields(page, "answer-hold.overnight@left-b1")
    assert sent["values.time"] == "10.2"  # from 20:45 to 07:00
    assert 'data-elapsed="36900"' in page
    assert "expected to save 0" not in page


def test_a_day_is_told_unless_it_is_today() -> None:
    now = datetime(2026, 11, 27, 14, 25).astimezone()
    texts = [moment((now - timedelta(days=d)).isoformat(), now.isoformat()).text for d in (0, 1)]
    assert texts == ["14:25", "Thu 26 Nov, 14:25"]
    assert moment("2025-11-24T12:00:00+00:00", now.isoformat()).text.startswith("Mon 24 Nov 2025, ")


def test_a_start_without_a_layout_is_told_and_loses_nothing(client: TestClient) -> None:
    answer = client.post("/new", data={"complaint": "Low", "key": "k"})
    assert answer.status_code == 422
    assert "Say which springs are air springs." in answer.text
    sent = {"complaint": "Low", "layout": "rear-pair", "key": "k"}
    assert all(f'name="{name}"' in answer.text for name in sent)
    assert client.post("/new", data=sent, follow_redirects=False).status_code == 303


def test_the_name_is_asked_for_once(client: TestClient, desk: Desk) -> None:
    asks = '<input id="answer-relay.click-by" type="text" name="by"'
    card = client.get("/jobs/j1/checks/relay.click").text
    assert asks in card
    sent = fields(card, "answer-relay.click") | {"outcome": "click", "by": "Zoë"}
    client.post("/jobs/j1/do/answer", data=sent)
    assert desk.open("j1").job.entries[-1].by == "Zoë"
    card = client.get("/jobs/j1/checks/relay.click").text
    assert asks not in card
    assert fields(card, "answer-relay.click")["by"] == "Zoë"


def test_an_answer_can_be_undone_at_once(client: TestClient, desk: Desk) -> None:
    desk.answer("j1", Entry(id="", check="relay.click", outcome="click"), ANSWER)
    sent = fields(client.get("/jobs/j1").text, "undo")
    assert client.post("/jobs/j1/do/withdraw", data=sent).is_success
    job = desk.open("j1").job
    assert job.current() == ()
    assert job.entries[-1].note == "undone at once"
    assert 'id="undo"' not in client.get("/jobs/j1").text


def test_a_correction_cannot_be_undone_at_once(client: TestClient, desk: Desk) -> None:
    """Because what it took the place of would not come back."""
    desk.answer("j1", Entry(id="", check="relay.click", outcome="click"), ANSWER)
    again = Entry(id="", check="relay.click", outcome="silent", supersedes="e1")
    desk.answer("j1", again, ANSWER)
    page = client.get("/jobs/j1").text
    assert 'class="moved"' in page
    assert 'id="undo"' not in page


def test_a_hold_is_given_up(client: TestClient, desk: Desk) -> None:
    desk.begin("j1", Begun(id="", check="hold.overnight@left"), MARK)
    sent = fields(client.get("/jobs/j1").text, "drop-b1") | {"note": "the customer needs it"}
    assert client.post("/jobs/j1/do/drop", data=sent).is_success
    assert desk.open("j1").job.waiting() == ()


def test_a_repair_is_proved_from_the_next_step(client: TestClient, desk: Desk) -> None:
    desk.repaired("demo", ["spring.replace@left"], MARK, without_approval="practice")
    page = client.get("/jobs/demo").text
    assert "Prove the repair" in page
    link = re.search(r'href="(/jobs/demo/checks/([^"?]+)\?proof=1)"', page)
    assert link
    sent = fields(client.get(link[1]).text, f"prove-{link[2]}")
    values = {name: "10" for name in sent if name.startswith("values.time")}
    values |= {name: "403" for name in sent if name.startswith("values.height")}
    values |= {name: "12" for name in sent if name.startswith("values.temperature")}
    assert client.post("/jobs/demo/do/prove", data=sent | values).is_success
    assert [e.check for e in desk.open("demo").job.proofs] == [link[2]]


# --- evidence


def test_a_correction_comes_prefilled_and_keeps_both(client: TestClient, desk: Desk) -> None:
    page = client.get("/jobs/demo/checks/feed.loss", params={"corrects": "e14"}).text
    sent = fields(page, "answer-feed.loss-e14")
    assert (sent["supersedes"], sent["values.battery"]) == ("e14", "12.41 V")
    client.post("/jobs/demo/do/answer", data=sent | {"values.battery": "12.45 V"})
    job = desk.open("demo").job
    assert [e.values.get("battery") for e in job.entries if e.check == "feed.loss"] == [
        "12.41 V",
        "12.45 V",
    ]
    assert "Corrected by e21" in client.get("/jobs/demo/evidence").text


def test_a_withdrawal_says_what_it_moved(client: TestClient) -> None:
    sent = fields(client.get("/jobs/demo/evidence").text, "withdraw-e16") | {"note": "wrong side"}
    page = client.post("/jobs/demo/do/withdraw", data=sent)
    assert page.url.path == "/jobs/demo/evidence"
    assert "Withdrawn by e21: wrong side" in page.text
    assert "e16 was withdrawn" in client.get("/jobs/demo").text.casefold()


def test_who_did_what_is_told(client: TestClient, desk: Desk) -> None:
    entry = Entry(id="", check="relay.click", outcome="click")
    desk.answer("j1", entry, Mark(what="answer relay.click", at=NOW, by="Ana"))
    page = client.get("/jobs/j1/evidence").text
    assert "answer relay.click" in page
    assert "Ana" in page


def test_contradictory_evidence_opens_with_the_way_out(
    client: TestClient, desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    def contradicts(*_: object) -> None:
        raise ContradictionError("nothing explains these findings together: pump.feed.")

    monkeypatch.setattr(desk.workshop, "judge", contradicts)
    desk.answer("j1", Entry(id="", check="relay.click", outcome="click"), MARK)
    for path in ("", "/evidence", "/line"):
        page = client.get(f"/jobs/j1{path}")
        assert page.status_code == 200
        assert "nothing explains these findings together" in page.text.casefold()
    assert 'id="withdraw-e1"' in client.get("/jobs/j1/evidence").text
    assert client.get("/jobs/j1/checks/relay.click").status_code == 200


def test_a_picture_without_a_script(client: TestClient, desk: Desk) -> None:
    picture = {"file": ("a.png", b"\x89PNG\r\n\x1a\n0", "image/png")}
    sent = {"key": "k1", "text": "rub mark"}
    assert client.post("/jobs/j1/photos", data=sent, files=picture).is_success
    assert client.post("/jobs/j1/photos", data=sent, files=picture).is_success
    (note,) = desk.open("j1").job.notes
    page = client.get("/jobs/j1/evidence").text
    assert f'src="/api/v1/jobs/j1/files/{note.sha256}"' in page
    assert client.get(f"/api/v1/jobs/j1/files/{note.sha256}").content.startswith(b"\x89PNG")
    bad = client.post("/jobs/j1/photos", files={"file": ("a.svg", b"<svg/>", "image/svg+xml")})
    assert bad.status_code == 422


# --- settings


def test_settings_reach_the_forms(client: TestClient) -> None:
    sent = {"by": "Zoë Ö.", "theme": "dark", "units": "imperial", "numbers": "comma"}
    page = client.post("/settings", data=sent).text
    assert 'data-theme="dark"' in page
    assert "15,866 ± 0,039 in" in page  # 403 ± 1 mm / 25.4
    card = client.get("/jobs/j1/checks/hold.overnight@left").text
    assert 'name="unit:values.height-start" value="in"' in card
    assert 'name="by" value="Zoë Ö."' in card


def test_a_bare_number_means_the_unit_that_stood_there(client: TestClient, desk: Desk) -> None:
    client.post("/settings", data={"units": "imperial"})
    card = client.get("/jobs/j1/checks/hold.overnight@left").text
    sent = fields(card, "answer-hold.overnight@left") | {
        "values.height-start": "15 7/8", "values.height-end": "380 mm", "values.time": "10",
    }  # fmt: skip
    assert client.post("/jobs/j1/do/answer", data=sent).is_success
    values = desk.open("j1").job.entries[-1].values
    assert values["height-start"] == "15 7/8 in"
    assert values["height-end"] == "380 mm"
    assert values["time"] == "10 h"


@pytest.mark.parametrize(
    "path",
    ["/jobs/none", "/jobs/none/evidence", "/jobs/none/checks", "/jobs/j1/checks/none"],
)
def test_what_is_not_there_is_said(client: TestClient, path: str) -> None:
    answer = client.get(path)
    assert answer.status_code == 404
    assert "There is no" in answer.text


@pytest.mark.parametrize("path", ["/", "/new", "/jobs/demo", "/jobs/demo/evidence", "/settings"])
def test_pages_hold_no_inline_script_or_style(client: TestClient, path: str) -> None:
    page = client.get(path).text
    assert not re.search(r"\son\w+=|\sstyle=|<style|<script(?![^>]*\ssrc=)", page)
