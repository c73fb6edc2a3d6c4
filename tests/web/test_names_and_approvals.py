"""What names a vehicle, the workshop's heading, and approvals that reach too short, on the pages.

Each is done by a form without a script, and read back from the API, the papers and the record.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace

import pypdfium2 as pdfium
import pytest
from fastapi.testclient import TestClient
from local import FromHere

from sagtrace.app.desk import Desk
from sagtrace.app.kept import Mark
from sagtrace.errors import DocumentError
from sagtrace.report.heading import NO_HEADING, Heading
from sagtrace.vehicle.job import Approval, Job
from sagtrace.web.app import build_app
from workbench import fresh_desk

API = "/api/v1"
NOW = "2026-11-25T08:00:00+00:00"
SHOP = {"name": "Invented Springs Ltd", "lines": "0 Example Lane\r\nTelephone 000\r\n"}


class Memory:
    """A place for a heading that forgets."""

    def __init__(self) -> None:
        self.kept, self.damaged = NO_HEADING, False

    def load(self) -> Heading:
        if self.damaged:
            raise DocumentError("workshop.yaml", 1, "name", "this is no text")
        return self.kept

    def save(self, heading: Heading) -> None:
        self.kept, self.damaged = heading, False


@pytest.fixture(scope="module")
def shared() -> Desk:
    return fresh_desk()


@pytest.fixture
def place(shared: Desk, monkeypatch: pytest.MonkeyPatch) -> Memory:
    found = Memory()
    monkeypatch.setattr(shared.workshop, "headings", found)
    return found


@pytest.fixture
def client(shared: Desk, place: Memory) -> Iterator[TestClient]:
    app = FromHere(build_app(shared, now=lambda: NOW))
    with TestClient(app, base_url="http://127.0.0.1", follow_redirects=False) as found:
        yield found


@pytest.fixture
def job(shared: Desk, request: pytest.FixtureRequest) -> str:
    """A job of its own, with the evidence of the demonstration."""
    name = re.sub(r"\W+", "-", request.node.name)[:70]
    demo = replace(shared.open("demo").job, id=name, recordings=())
    shared.store.add(demo, Mark(what="import", at="2026-11-24T08:00:00+00:00"), {})
    return name


def words(page: str) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", page).replace("&#39;", "'").split())


def printed(client: TestClient, job: str, kind: str) -> str:
    answer = client.get(f"{API}/jobs/{job}/papers/{kind}.pdf")
    assert answer.status_code == 200, answer.text
    pages = pdfium.PdfDocument(answer.content)
    return " ".join(" ".join(p.get_textpage().get_text_bounded() for p in pages).split())


# --- what names the vehicle


def test_a_new_job_is_named_by_form(client: TestClient, shared: Desk) -> None:
    fields = {
        "complaint": "Down.", "layout": "rear-pair", "registration": "INVENTED 5",
        "odometer": "84 210", "unit:odometer": "mi", "reference": "ORDER-5",
        "vehicle.spring-area": "112 cm2", "by": "technician 1",
    }  # fmt: skip
    page = client.get("/new").text
    assert {f'name="{name}"' in page for name in ("registration", "odometer", "reference")} == {
        True
    }
    made = client.post("/new", data=fields).headers["Location"]
    kept = shared.open(made.rpartition("/")[2]).job
    assert kept.identity == {
        "registration": "INVENTED 5", "odometer": "84 210 mi", "reference": "ORDER-5",
    }  # fmt: skip
    assert {t.by for t in kept.told} == {"technician 1"}
    said = client.get(f"{API}{made}/vehicle").json()
    assert (said["registration"], said["odometer"]) == ("INVENTED 5", "84 210 mi")
    assert "Registration INVENTED 5" in words(client.get(f"{made}/vehicle").text)
    assert made in client.get("/?text=invented+5").text
    assert made in client.get("/?text=order-5").text


def test_a_reading_that_cannot_be_loses_nothing(client: TestClient) -> None:
    fields = {
        "complaint": "Down.\r\nAgain.", "layout": "rear-pair", "odometer": "much",
        "registration": "INVENTED 6", "unit:odometer": "km",
    }  # fmt: skip
    again = client.post("/new", data=fields)
    assert again.status_code == 422
    assert "Odometer at intake: 'much' cannot be read; expected a reading" in words(
        again.text.replace("&#39;", "'")
    )
    assert 'value="INVENTED 6"' in again.text
    assert re.search(r'name="odometer" value="much" aria-invalid="true"', again.text)
    assert re.search(r">Down\.\s+Again\.</textarea>", again.text)


@pytest.mark.parametrize("text", ["A\x07B", "A\tB", "A" * 81])
def test_what_no_paper_can_carry_is_refused(client: TestClient, job: str, text: str) -> None:
    for name in ("registration", "odometer", "odometer_out", "reference"):
        answer = client.post(f"{API}/jobs/{job}/vehicle", json={name: text})
        assert answer.status_code == 422, (name, answer.text)
    assert client.get(f"{API}/jobs/{job}/revision").json() == {"revision": 1}


def test_a_corrected_value_stays_on_the_page_and_on_the_paper(
    client: TestClient, job: str, shared: Desk
) -> None:
    form = {"key": "k", "by": "technician 2", "odometer_out": "123 470", "unit:odometer_out": "km",
            "registration": "INVENTED 2", "vehicle.spring-area": "109 ± 4 cm²"}  # fmt: skip
    assert client.post(f"/jobs/{job}/do/vehicle", data=form).status_code == 303
    kept = shared.open(job).job
    assert kept.identity["registration"] == "INVENTED 2"
    assert kept.identity["odometer-out"] == "123 470 km"
    assert kept.identity["odometer"] == "123 456 km"  # what a form leaves out stays
    assert kept.vehicle["spring-area"] == "109 ± 4 cm²"
    page = words(client.get(f"/jobs/{job}/evidence").text)
    now = next(t for t in reversed(kept.told) if t.name == "spring-area")
    for text in (
        "Registration INVENTED 2",
        f"Effective area of one spring: 112 ± 6 cm² {now.supersedes} · ",
        f"technician 1 · corrected by {now.id}",
        f"Effective area of one spring: 109 ± 4 cm² {now.id} · ",
        "technician 2",
    ):
        assert text in page
    paper = printed(client, job, "technical")
    assert f"corrected by {now.id}" in paper
    assert "INVENTED 1" in paper
    customer = printed(client, job, "customer")
    for text in ("INVENTED 2", "123 456 km", "123 470 km", "INVENTED-7"):
        assert text in customer
    assert "INVENTED 1" not in customer.replace("INVENTED 2", "")
    told = client.get(f"{API}/jobs/{job}/vehicle").json()["told"]
    assert {t["id"]: t["counts"] for t in told}[now.supersedes] is False
    back = client.get(f"{API}/jobs/{job}/export").content
    moved = client.post(f"{API}/import", files={"file": ("job.zip", back)})
    assert moved.status_code == 201, moved.text
    assert shared.open(moved.json()["job"]).job.told == kept.told


# --- the workshop's heading


def test_the_heading_is_kept_by_form_and_printed_on_both_papers(
    client: TestClient, job: str, place: Memory
) -> None:
    before = client.get(f"{API}/jobs/{job}/papers/customer.pdf")
    assert "Springs Ltd" not in printed(client, job, "customer")
    told = client.post("/settings/heading", data={"key": "k", **SHOP})
    assert (told.status_code, told.headers["Location"]) == (303, "/settings?heading=1#heading")
    assert place.kept == Heading(
        name="Invented Springs Ltd", lines=("0 Example Lane", "Telephone 000")
    )
    page = client.get("/settings?heading=1").text
    assert 'value="Invented Springs Ltd"' in page
    assert "0 Example Lane\nTelephone 000</textarea>" in page
    for kind in ("customer", "technical"):
        assert "Invented Springs Ltd 0 Example Lane Telephone 000" in printed(client, job, kind)
        on_page = words(client.get(f"/jobs/{job}/papers/{kind}").text)
        assert "Invented Springs Ltd 0 Example Lane Telephone 000" in on_page
    seen = {"If-None-Match": before.headers["ETag"]}
    assert client.get(f"{API}/jobs/{job}/papers/customer.pdf", headers=seen).status_code == 200
    tag = client.get(f"{API}/jobs/{job}/papers/customer.pdf").headers["ETag"]
    same = client.get(f"{API}/jobs/{job}/papers/customer.pdf", headers={"If-None-Match": tag})
    assert same.status_code == 304


def test_the_api_does_the_same(client: TestClient, place: Memory) -> None:
    assert client.get(f"{API}/heading").json() == {"name": "", "lines": []}
    said = client.post(f"{API}/heading", json=SHOP)
    assert said.json() == {"name": "Invented Springs Ltd",
                           "lines": ["0 Example Lane", "Telephone 000"]}  # fmt: skip
    assert client.get(f"{API}/heading").json() == said.json()
    assert client.post(f"{API}/heading", json={}).json() == {"name": "", "lines": []}
    assert place.kept == NO_HEADING


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"name": "A\x07"}, "control character"),
        ({"name": "A" * 81}, "80"),
        ({"name": "A", "lines": "1\r\n2\r\n3\r\n4"}, "at most 3"),
        ({"name": "A", "lines": "1" * 81}, "81 characters"),
        ({"name": "A", "lines": "a\tb"}, "line 1"),
    ],
)
def test_a_heading_that_does_not_fit_is_refused(
    client: TestClient, place: Memory, fields: dict[str, str], said: str
) -> None:
    again = client.post("/settings/heading", data=fields)
    assert again.status_code == 422
    assert said.lower() in words(again.text).lower()
    assert client.post(f"{API}/heading", json=fields).status_code == 422
    assert place.kept == NO_HEADING


def test_a_damaged_heading_is_told_and_can_be_replaced(client: TestClient, place: Memory) -> None:
    place.damaged = True
    page = words(client.get("/settings").text)
    assert "workshop.yaml" in page
    assert "What is kept here takes its place." in page
    client.post("/settings/heading", data=SHOP)
    assert "workshop.yaml" not in client.get("/settings").text


# --- approvals


def approve(client: TestClient, job: str, *repairs: str, answer: str = "approved") -> None:
    body = {"repairs": list(repairs), "offered": "500 EUR with tax", "answer": answer}
    said = client.post(f"{API}/jobs/{job}/approvals", json=body)
    assert said.status_code == 201, said.text


def test_an_approval_of_less_than_is_recommended_says_ask_again(
    client: TestClient, job: str, shared: Desk
) -> None:
    best = shared.assessed(shared.open(job)).options[0].repairs
    assert len(best) == 2
    approve(client, job, best[0])
    said = "The approval of 2026-11-25 08:00 UTC was for "
    page = words(client.get(f"/jobs/{job}/repair").text)
    assert "Approved by the customer" in page  # of that half alone
    assert "has not approved" not in page  # of the work that is planned
    assert said in page  # at the choice that is recommended
    paper = printed(client, job, "customer")
    assert said in paper
    assert "500 EUR with tax; this is more (also" in paper
    assert "ask again." in paper
    refused = client.post(f"{API}/jobs/{job}/repairs", json={"repairs": list(best)})
    assert refused.status_code == 422
    assert said[1:] in refused.json()["detail"]
    done = client.post(f"{API}/jobs/{job}/repairs", json={"repairs": [best[0]]})
    assert done.status_code == 201, done.text
    assert shared.open(job).job.notes == ()


def test_a_price_that_rose_says_ask_again(client: TestClient, job: str, shared: Desk) -> None:
    best = shared.assessed(shared.open(job)).options[0].repairs
    approve(client, job, *best)
    kept = shared.open(job).job
    assert "this is more" not in words(client.get(f"/jobs/{job}/repair").text)
    cheaper = replace(kept.approvals[0], price=kept.approvals[0].price - 40.0)
    other = replace(kept, id=f"{job}-cheaper"[-79:], approvals=(cheaper,))
    shared.store.add(other, Mark(what="import", at=NOW), {})
    page = words(client.get(f"/jobs/{other.id}/repair").text)
    assert "500 EUR with tax; this is more (now " in page
    assert "Offer choice 1" in page
    assert "Do it without the customer's approval" in page
    assert "this is more (now " in printed(client, other.id, "customer")
    refused = client.post(f"{API}/jobs/{other.id}/repairs", json={"repairs": list(best)})
    assert refused.status_code == 422


def test_work_beyond_the_approval_is_refused_and_takes_a_reason_on_the_page(
    client: TestClient, job: str, shared: Desk
) -> None:
    best = shared.assessed(shared.open(job)).options[0].repairs
    approve(client, job, *best)
    page = client.get(f"/jobs/{job}/repair").text
    assert 'name="without_approval"' in page
    assert not re.search(r'name="without_approval"[^>]*required', page)
    more = [*best, "connector.repair"]
    form = {"key": "more", "next": f"/jobs/{job}/repair", "repairs": more, "without_approval": ""}
    again = client.post(f"/jobs/{job}/do/repaired", data=form)
    assert again.status_code == 422
    assert "this is more (also" in words(again.text)
    assert 'name="without_approval"' in again.text
    form["without_approval"] = "the plug was green"
    assert client.post(f"/jobs/{job}/do/repaired", data=form).status_code == 303
    kept = shared.open(job).job
    assert kept.notes[-1].text == "Repaired without the customer's approval: the plug was green"
    assert "Done without a noted approval" in printed(client, job, "customer")


def test_practice_asks_for_no_approval(client: TestClient, shared: Desk) -> None:
    bare = Job(id="practising", title="Practice 3", layout="rear-pair", practice=3, invented=True)
    asked = Approval(id="a1", repairs=("pump.ring-kit",), answer="declined")
    shared.store.add(replace(bare, approvals=(asked,)), Mark(what="start", at=NOW), {})
    page = client.get("/jobs/practising/repair").text
    assert "without_approval" not in page
    assert "approved this" not in page
    done = client.post(f"{API}/jobs/practising/repairs", json={"repairs": ["pump.ring-kit"]})
    assert done.status_code == 201, done.text
    assert shared.open("practising").job.notes == ()
