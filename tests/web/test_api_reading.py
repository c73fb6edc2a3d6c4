"""The API tells what the use cases work out, and does not send twice what has not changed."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import pytest
from fastapi.testclient import TestClient
from local import client_of, small_desk

from sagtrace.adapters.store.memory import MemoryStore
from sagtrace.app.desk import Desk
from sagtrace.app.kept import Mark
from sagtrace.app.workshop import Workshop
from sagtrace.bootstrap import open_workshop
from sagtrace.vehicle.job import Entry, Job
from sagtrace.vehicle.knowledge import Knowledge

JOB = "/api/v1/jobs/demo"


@pytest.fixture(scope="module")
def desk() -> Desk:
    return small_desk()


@pytest.fixture(scope="module")
def api(desk: Desk) -> Iterator[TestClient]:
    with client_of(desk) as client:
        yield client


def test_cautions_come_first_and_the_gravest_of_them_first(api: TestClient) -> None:
    following = api.get("/api/v1/jobs/small/next?limit=200").json()
    order = {"danger": 0, "warning": 1, "notice": 2}
    warned = 0
    for offer in following["offers"]:
        assert next(iter(offer)) == "cautions"
        levels = [order[caution["level"]] for caution in offer["cautions"]]
        assert levels == sorted(levels)
        of_the_way = {c["id"] for state in offer["reach"] for c in state["cautions"]}
        assert of_the_way <= {c["id"] for c in offer["cautions"]}
        warned += bool(levels)
    assert warned > 10


def test_next_is_the_plan(api: TestClient, desk: Desk) -> None:
    a = desk.assessed(desk.open("demo"))
    told = api.get(f"{JOB}/next?limit=3").json()
    assert told["stage"] == a.stage
    assert [offer["id"] for offer in told["offers"]] == [o.check for o in a.plan.offers[:3]]
    for offer, plan in zip(told["offers"], a.plan.offers, strict=False):
        assert offer["minutes_here"] == plan.minutes
        assert offer["saving"] == plan.saving
        assert [c["chance"] for c in offer["chances"]] == [x.probability for x in plan.answers]
        assert bool(offer["outcomes"]) != bool(offer["inputs"])
    assert {f["fault"] for f in told["faults"]} == set(a.plan.faults)


def test_every_input_has_a_unit_and_what_is_asked(api: TestClient) -> None:
    inputs = [
        slot for check in everything(api, f"{JOB}/checks", "checks") for slot in check["inputs"]
    ]
    assert len(inputs) > 20
    assert [slot for slot in inputs if not slot["ask"] or not slot["kind"]] == []
    assert {slot["unit"] for slot in inputs if slot["kind"] != "count"} >= {"mm", "V", "bar"}


def everything(api: TestClient, url: str, name: str) -> list[dict[str, Any]]:
    """Return all pages of a list."""
    found, after = [], ""
    while True:
        page = api.get(url, params={"limit": 7, "after": after}).json()
        assert len(page[name]) <= 7
        found += page[name]
        after = page["next"]
        if not after:
            return found


def test_pages_of_a_list_are_the_list(api: TestClient, desk: Desk) -> None:
    system = desk.workshop.system("rear-pair")
    layout = everything(api, "/api/v1/layouts/rear-pair/checks", "checks")
    assert [check["id"] for check in layout] == list(system.checks)
    job = everything(api, f"{JOB}/checks", "checks")
    assert [check["id"] for check in job] == list(system.checks)
    answered = {c["id"] for c in job if c["answered"] or c["closed_by"]}
    assert answered == desk.judged(desk.open("demo")).answered
    assert api.get(f"{JOB}/checks?after=nothing").status_code == 422


def test_a_check_says_what_it_was_answered(api: TestClient) -> None:
    told = api.get(f"{JOB}/checks/hold.short@left").json()
    assert told["answered"]["id"] == "e9"
    assert told["answered"]["values"]["height-start"] == "403 mm"
    assert api.get(f"{JOB}/checks/hold.shrot@left").status_code == 404
    assert "hold.short@left" in api.get(f"{JOB}/checks/hold.shrot@left").json()["nearest"]


def test_the_verdict_is_the_verdict(api: TestClient, desk: Desk) -> None:
    judged = desk.judged(desk.open("demo"))
    told = api.get(f"{JOB}/verdict").json()
    assert {b["fault"]: b["probability"] for b in told["beliefs"]} == {
        b.fault: b.probability for b in judged.verdict.beliefs
    }
    for belief in told["beliefs"]:
        assert sum(state["probability"] for state in belief["states"]) == pytest.approx(1.0)
    (link,) = told["story"]
    assert (link["cause"], link["effect"]) == ("spring.fold-leak@left", "pump.worn")
    assert link["support"]["estimate"]["unit"] == "%"
    assert link["support"]["estimate"]["low"] < link["support"]["limit"]
    assert told["left_out"] == [
        {"entry": x.entry, "check": x.check, "why": x.why} for x in judged.left_out
    ]


def test_evidence_says_why_something_does_not_count(api: TestClient) -> None:
    job = api.post("/api/v1/jobs", json={"complaint": "Down."}).json()["job"]
    url = f"/api/v1/jobs/{job}"
    for outcome in ("none", "bubbles"):
        body = {"check": "soap.fitting@left", "outcome": outcome, "by": "technician 1"}
        assert api.post(f"{url}/entries", json=body).status_code == 201
    body = {"check": "soap.fitting@right", "outcome": "none"}
    assert api.post(f"{url}/entries", json=body).json()["result"]["entry"] == "e3"
    again = {"check": "soap.fitting@right", "outcome": "bubbles", "supersedes": "e3"}
    assert api.post(f"{url}/entries", json=again).status_code == 201
    assert api.post(f"{url}/entries/e4/withdrawal", json={"note": "slip"}).status_code == 201
    told = {
        e["id"]: (e["counts"], e["why_not"]) for e in api.get(f"{url}/evidence").json()["entries"]
    }
    assert told == {
        "e1": (False, "answered again later"),
        "e2": (True, ""),
        "e3": (False, "corrected by e4"),
        "e4": (False, "withdrawn by e5"),
        "e5": (False, "only withdraws another"),
    }
    changes = api.get(f"{url}/changes").json()["changes"]
    assert [c["revision"] for c in changes] == [1, 2, 3, 4, 5, 6]
    assert changes[1]["by"] == "technician 1"
    assert changes[5]["what"] == "withdraw e4"


def test_what_yields_to_a_stronger_check_says_so(api: TestClient, desk: Desk) -> None:
    judged = desk.judged(desk.open("demo"))
    told = {e["id"]: e["why_not"] for e in api.get(f"{JOB}/evidence").json()["entries"]}
    assert {id_ for id_, why in told.items() if why} == {x.entry for x in judged.left_out}


@pytest.mark.parametrize(
    "path",
    [
        "",
        "/next",
        "/verdict",
        "/evidence",
        "/options",
        "/proofs",
        "/checks",
        "/papers/customer.pdf",
    ],
)
def test_what_the_sender_has_is_not_sent_again(api: TestClient, path: str) -> None:
    first = api.get(JOB + path)
    tag = first.headers["ETag"]
    assert first.headers["Cache-Control"] == "no-cache"
    for said in (tag, f'"x", {tag}', f"W/{tag}", "*"):
        again = api.get(JOB + path, headers={"If-None-Match": said})
        assert (again.status_code, again.content, again.headers["ETag"]) == (304, b"", tag)
    for said in ('"0"', "no tag", ""):
        assert api.get(JOB + path, headers={"If-None-Match": said}).status_code == 200


def test_a_change_makes_a_new_tag(api: TestClient) -> None:
    url = "/api/v1/jobs/small"
    before = {path: api.get(url + path).headers["ETag"] for path in ("", "/next", "/evidence")}
    assert api.post(f"{url}/notes", json={"text": "seen"}).status_code == 201
    assert all(api.get(url + path).headers["ETag"] != tag for path, tag in before.items())


def test_papers_are_papers(api: TestClient) -> None:
    for name in ("customer.pdf", "technical.pdf"):
        paper = api.get(f"{JOB}/papers/{name}")
        assert paper.headers["Content-Type"] == "application/pdf"
        assert paper.content.startswith(b"%PDF-")
    assert api.get(f"{JOB}/papers/other.pdf").status_code == 404


def test_vehicle_and_access_tell_what_holds(api: TestClient, desk: Desk) -> None:
    facts = {f["id"]: f for f in api.get(f"{JOB}/vehicle").json()["facts"]}
    assert facts["spring-area"]["typed"] == "112 ± 6 cm²"
    assert (facts["spring-area"]["value"], facts["spring-area"]["unit"]) == (
        pytest.approx(112.0), "cm²",
    )  # fmt: skip
    # "± 6" is a half-width, so one standard deviation is 6 / √3 (JCGM 100:2008, 4.3.7).
    assert facts["spring-area"]["std"] == pytest.approx(6.0 / math.sqrt(3.0))
    layout = desk.workshop.system("rear-pair").layout
    for fact in layout.facts:
        if fact.id not in desk.open("demo").job.vehicle:
            assert facts[fact.id]["value"] == pytest.approx(fact.value), fact.id
            assert facts[fact.id]["std"] == pytest.approx(fact.std), fact.id
            assert facts[fact.id]["source"]
    held = {state["id"] for state in api.get(f"{JOB}/access").json() if state["held"]}
    assert held == set(desk.open("demo").job.access)


# --- entries that nothing explains together


@pytest.fixture(scope="module")
def torn(knowledge: Knowledge) -> Desk:
    """A desk whose knowledge lets two looks rule each other out, and a job that has both."""
    looks = [c for c in knowledge.checks if c.rows and c.per == "vehicle" and len(c.outcomes) == 2]
    one, two = (looks[0], looks[1])

    def sure(check: object, first: float) -> object:
        names = [o.id for o in check.outcomes]  # type: ignore[attr-defined]
        shows = {names[0]: first, names[1]: 1.0 - first}
        rows = tuple(replace(row, shows=shows) for row in check.rows)  # type: ignore[attr-defined]
        return replace(check, rows=rows)  # type: ignore[type-var]

    checks = tuple(
        sure(c, 0.0) if c.id == one.id else sure(c, 0.5) if c.id == two.id else c
        for c in knowledge.checks
    )

    class Source:
        def load(self) -> Knowledge:
            return replace(knowledge, checks=checks)  # type: ignore[arg-type]

    usual = open_workshop()
    workshop = Workshop(
        knowledge_source=Source(), recording_reader=usual.recording_reader,
        paper_maker=usual.paper_maker, version="0",
    )  # fmt: skip
    desk = Desk(workshop=workshop, store=MemoryStore())
    entries = tuple(
        Entry(id=f"e{i}", check=c.id, outcome=c.outcomes[0].id) for i, c in enumerate((two, one), 1)
    )
    job = Job(id="torn", title="Torn", layout="rear-pair", complaint="Down.", entries=entries)
    desk.store.add(job, Mark(what="start", at="2026-11-24T08:00:00+00:00"), {})
    return desk


def test_a_contradiction_names_the_entries_and_leaves_the_job_usable(torn: Desk) -> None:
    with client_of(torn) as api:
        url = "/api/v1/jobs/torn"
        for path in ("/verdict", "/next", "/options", "/proofs", "/papers/customer.pdf"):
            told = api.get(url + path)
            assert told.status_code == 409, path
            assert told.headers["Content-Type"] == "application/problem+json"
            assert told.json()["entries"] == ["e2"]
            assert "e2" in told.json()["detail"]
        for path in ("", "/evidence", "/changes", "/checks", "/vehicle", "/access", "/revision"):
            assert api.get(url + path).status_code == 200, path
        assert api.get("/api/v1/jobs").json()["jobs"][0]["id"] == "torn"
        assert api.post(f"{url}/notes", json={"text": "seen"}).status_code == 201
        assert api.post(f"{url}/entries/e2/withdrawal", json={"note": "slip"}).status_code == 201
        assert api.get(f"{url}/verdict").status_code == 200
