"""Verdict, repair and papers: what they say is what the assessment says, and a job can be walked.

The demonstration job is invented. Its numbers are compared with the assessment that the commands
print, never with numbers written here.
"""

from __future__ import annotations

import html
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import fields, is_dataclass, replace
from itertools import count

import pytest
from axe_playwright_python.sync_playwright import Axe
from fastapi.testclient import TestClient
from playwright.sync_api import Page, expect

from sagtrace.adapters.store.memory import MemoryStore
from sagtrace.app.desk import Desk
from sagtrace.app.kept import Kept, Mark
from sagtrace.errors import ContradictionError
from sagtrace.report.assessment import Assessment
from sagtrace.report.customer import customer_paper, with_tax
from sagtrace.report.headline import DECLINED
from sagtrace.report.technical import technical_paper
from sagtrace.report.tree import LinePlot, Paper
from sagtrace.report.words import odds, percent
from sagtrace.vehicle.job import Entry, Job
from sagtrace.web.app import build_app
from workbench import fresh_desk

LEAK, PUMP = "spring.fold-leak@left", "pump.worn"
HOLD, FILL = "hold.overnight@left", "pump.fill-test"
PAGES = ("verdict", "repair", "papers", "papers/customer", "papers/technical")
COUNT = count()
CERTAIN = re.compile(r"(?<![\d.,])(?:0|100)(?:\.0*)?\s%")
NOBODY_ASKED = {"without_approval": "an invented reason"}
GOOD_NIGHT = {
    "values.height-start": "404 mm",
    "values.height-end": "403 mm",
    "values.time": "11 h",
    "values.temperature-start": "9",
    "values.temperature-end": "7",
}


@pytest.fixture(scope="module")
def shared() -> Desk:
    """A desk that no test changes."""
    return fresh_desk()


@pytest.fixture(scope="module")
def client(shared: Desk) -> TestClient:
    return client_of(shared)


@pytest.fixture(scope="module")
def demo(shared: Desk) -> Assessment:
    return shared.assessed(shared.open("demo"))


@pytest.fixture
def desk(shared: Desk) -> Desk:
    """A desk of its own with the demonstration job; what was worked out once is not again."""
    return like(shared)


def like(desk: Desk) -> Desk:
    """Return a desk with the same demonstration job; what its workshop read is not read again."""
    found = Desk(workshop=desk.workshop, store=MemoryStore())
    job = desk.open("demo").job
    for recording in job.recordings:
        found.store.keep(desk.store.content(recording.sha256))
    found.store.add(job, Mark(what="import", at="2026-11-24T08:05:00+00:00"), {})
    return found


def client_of(desk: Desk, now: str = "2026-11-25T08:00:00+00:00") -> TestClient:
    app = build_app(desk, now=lambda: now)
    return TestClient(app, base_url="http://127.0.0.1", client=("127.0.0.1", 5000))


def text_of(client: TestClient, path: str, job: str = "demo") -> str:
    answer = client.get(f"/jobs/{job}/{path}")
    assert answer.status_code == 200, answer.text
    return plain(answer.text)


def plain(page: str) -> str:
    """Return what a page says, attributes that are read aloud included."""
    body = page[page.index("<main") :] if "<main" in page else page
    said = re.findall(r'(?:aria-label|data-head)="([^"]*)"', body)
    text = re.sub(r"<[^>]+>", " ", body)
    found = " ".join(html.unescape(" ".join([text, *said])).split())
    return re.sub(r" (?=[.,;:])", "", found)


def send(client: TestClient, job: str, act: str, data: Mapping[str, str | list[str]]) -> None:
    """Send a form as a browser without a script does."""
    body = {
        "key": f"key {next(COUNT)}",
        "next": f"/jobs/{job}/repair",
        "by": "technician 1",
        **data,
    }
    answer = client.post(f"/jobs/{job}/do/{act}", data=body, follow_redirects=False)
    assert answer.status_code == 303, plain(answer.text)


# --- every page


@pytest.mark.parametrize("path", PAGES)
def test_nothing_is_certain(client: TestClient, path: str) -> None:
    found = CERTAIN.findall(text_of(client, path))
    assert found == []


def test_the_search_for_certainty_would_find_it() -> None:
    assert CERTAIN.findall("present: 100 %, before: 0 %; tax 20 %") == ["100 %", "0 %"]


@pytest.mark.parametrize("path", PAGES)
def test_has_no_inline_script_or_style(client: TestClient, path: str) -> None:
    page = client.get(f"/jobs/demo/{path}").text
    assert not re.search(r"\sstyle=|<style|\son\w+=|<script(?![^>]*\ssrc=)|<iframe|<object", page)


@pytest.mark.parametrize("path", PAGES)
def test_an_unknown_job_is_told(client: TestClient, path: str) -> None:
    answer = client.get(f"/jobs/nobody/{path}")
    assert answer.status_code == 404
    assert "nobody" in plain(answer.text)


@pytest.mark.parametrize("path", PAGES)
def test_a_contradicting_job_opens_with_the_problem(
    desk: Desk, path: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    said = "nothing explains these findings together: air.escape@left, check:soap.fold-normal@left."

    def refuse(kept: Kept) -> Assessment:
        raise ContradictionError(said)

    monkeypatch.setattr(desk, "assessed", refuse)
    text = text_of(client_of(desk), path)
    assert said in text
    assert "cannot be right" in text
    assert "To the entries" in text


@pytest.mark.parametrize("path", PAGES)
def test_a_job_with_an_entry_that_cannot_be_right_opens(desk: Desk, path: str) -> None:
    bad = Entry(id="e1", check="soap.fold-normal@left", outcome="perhaps")
    job = Job(id="bad", title="An invented slip", layout="rear-pair", entries=(bad,))
    desk.store.add(job, Mark(what="import", at="2026-11-24T08:00:00+00:00"), {})
    text = text_of(client_of(desk), path, "bad")
    assert "entry e1" in text
    assert "perhaps" in text


# --- verdict


def test_verdict_tells_every_fault_now_and_before(client: TestClient, demo: Assessment) -> None:
    text = text_of(client, "verdict").lower()
    for belief in demo.verdict.beliefs:
        name = demo.system.faults[belief.fault].name.lower()
        told = f"{percent(belief.probability)} before: {percent(belief.prior)}"
        assert f"{name} {told}" in text


def test_verdict_tells_what_moved_a_fault_and_where_to_look(
    client: TestClient, demo: Assessment
) -> None:
    page = client.get("/jobs/demo/verdict").text
    text = plain(page)
    findings = {f.id: f for f in demo.verdict.findings}
    for fault in (LEAK, PUMP):
        for move in demo.verdict.why(fault):
            assert f"{odds(move.log_odds)} " in text
            assert findings[move.finding].text in text
    assert 'href="/jobs/demo/evidence#e16"' in page
    assert 'href="/jobs/demo/recordings"' in page
    assert "Speaks against it" in text


def test_verdict_tells_sets_and_what_is_left(client: TestClient, demo: Assessment) -> None:
    text = text_of(client, "verdict")
    assert percent(demo.verdict.leading.probability) in text
    rest = 1.0 - sum(s.probability for s in demo.verdict.sets[:5])
    assert f"All other sets together: {percent(rest)}" in text
    for belief in demo.verdict.not_excluded:
        assert demo.system.faults[belief.fault].name in text.lower()


def test_verdict_draws_the_story_with_its_numbers(client: TestClient, demo: Assessment) -> None:
    page = client.get("/jobs/demo/verdict").text
    (drawing,) = re.findall(r'<svg class="drawing wide story".*?</svg>', page, re.S)
    written = plain(drawing)
    (link,) = demo.story
    assert link.support is not None
    for part in (*link.support.text.split(), "present:", "led", "960 ± 220 mL/min"):
        assert part in written
    assert drawing.count('class="station"') == 2
    assert drawing.count('class="shaft"') == 1


def test_verdict_tells_what_is_assumed(client: TestClient, demo: Assessment) -> None:
    text = text_of(client, "verdict").lower()
    assert demo.facts.assumed
    for fact in demo.facts.assumed:
        assert fact.name.lower() in text
    typed = [f for f in demo.system.layout.facts if f.id in demo.job.vehicle]
    assert typed
    assert all(fact.name.lower() not in text for fact in typed)


def assess(desk: Desk, *answers: tuple[str, str | Mapping[str, str]]) -> Assessment:
    entries = tuple(
        Entry(id=f"e{i}", check=check, outcome=given)
        if isinstance(given, str)
        else Entry(id=f"e{i}", check=check, values=given)
        for i, (check, given) in enumerate(answers, start=1)
    )
    job = Job(id="invented", title="t", layout="rear-pair", complaint="low", entries=entries)
    return desk.workshop.assess(job)


# --- repair


def test_choices_tell_what_the_customer_page_tells(client: TestClient, demo: Assessment) -> None:
    text = text_of(client, "repair")
    rows = texts(customer_paper(demo))
    for option in demo.options:
        assert with_tax(demo, option) in text
        assert percent(option.cure) in text
        assert percent(option.come_back) in text
        for reason in option.reasons:
            assert reason.text.lower() in text.lower()
        for repair in option.repairs:
            assert demo.system.repairs[repair].plain.lower() in text.lower()
    assert with_tax(demo, demo.options[0]) in rows
    assert "Half of the recommended repair" in text
    assert "invented tariff" in text


def test_work_that_may_not_last_is_a_reason_to_come_back(
    client: TestClient, demo: Assessment
) -> None:
    ring = demo.system.repairs["pump.ring-kit"]
    said = f"The work may not last: {ring.name}. {percent(1.0 - ring.holds)}"
    assert said in text_of(client, "repair")


def test_cautions_stand_before_the_work(client: TestClient) -> None:
    text = text_of(client, "repair")
    assert text.index("Before you start") < text.index("Tick what was really done")
    assert text.index("rated stands") < text.index("Tick what was really done")


def test_no_part_is_to_be_repaired(shared: Desk) -> None:
    """A vehicle that only cooled over night gets no part, and the page says so in a sentence."""
    desk = like(shared)
    good = {"temperature-start": "20", "temperature-end": "0", "time": "12 h"}
    answers: Sequence[tuple[str, str | Mapping[str, str]]] = (
        ("hold.overnight@left", {**good, "height-start": "404", "height-end": "394"}),
        ("hold.overnight@right", {**good, "height-start": "404", "height-end": "394"}),
        ("story.cold-night", "fell-far"),
        ("hold.temperature", "explained"),
        ("story.when-low@left", "overnight"),
        ("story.when-low@right", "overnight"),
        ("codes.height", "clear"),
        ("codes.lifting", "clear"),
        ("story.pump-noise", "usual"),
    )
    a = assess(desk, *answers)
    assert a.stage == "repair"
    job = a.job
    desk.store.add(job, Mark(what="import", at="2026-11-24T08:00:00+00:00"), {})
    text = text_of(client_of(desk), "repair", job.id)
    assert "No part is to be repaired" in text
    assert "What helps: Explain" in text


def test_it_is_early_without_evidence(desk: Desk) -> None:
    job = Job(id="new", title="Just in", layout="rear-pair", complaint="low")
    desk.store.add(job, Mark(what="import", at="2026-11-24T08:00:00+00:00"), {})
    client = client_of(desk)
    assert "It is early to repair" in text_of(client, "repair", "new")
    assert "No fault stands out yet" in text_of(client, "verdict", "new")


# --- from verdict to proved, without a script


def test_walks_from_offer_to_proved(desk: Desk, demo: Assessment) -> None:
    client = client_of(desk)
    repairs = list(demo.options[0].repairs)
    told = f"{with_tax(demo, demo.options[0])} with tax"
    offer: dict[str, str | list[str]] = {"repairs": repairs, "offered": told}
    assert "The customer has not approved this" in text_of(client, "repair")
    send(client, "demo", "approve", {**offer, "answer": "asked"})
    assert "Offered, no answer yet" in text_of(client, "repair")
    send(client, "demo", "approve", {**offer, "answer": "declined", "how": "by telephone",
                                     "who": "the owner"})  # fmt: skip
    text = text_of(client, "repair")
    assert "Declined by the customer" in text
    assert DECLINED in text
    assert "Offer choice 1 again" in text
    assert "Offer choice 2 to the customer" in text
    assert DECLINED in text_of(client, "")
    row = plain(client.get("/jobs/demo/line").text)
    assert DECLINED in row
    assert "Ready to repair" not in row
    send(client, "demo", "approve", {**offer, "answer": "approved", "how": "in person",
                                     "who": "the owner"})  # fmt: skip
    text = text_of(client, "repair")
    assert "Approved, in person, said by the owner." in text
    assert "Declined, by telephone, said by the owner." in text  # the history stays
    assert told in text
    assert "has not approved" not in text
    assert "without the customer's approval" not in text

    send(client, "demo", "repaired", {"repairs": repairs})
    text = text_of(client, "repair")
    assert "Done: 2026-11-25 08:00 UTC, technician 1" in text
    assert "Shortest hold that can tell" in text

    start = {"check": HOLD, "values.height-start": "404 mm", "values.temperature-start": "9"}
    send(client, "demo", "begin", start)
    text = text_of(client, "repair")
    assert "Read it not before 2026-11-25 18:00 UTC" in text
    assert "height start 404 mm; temperature start 9 °C" in text
    late = client_of(desk, "2026-11-25T19:00:00+00:00")
    text = text_of(late, "repair")
    assert "It can be read now" in text
    assert "Since it was begun: 11 h" in text

    send(late, "demo", "prove", {"check": HOLD, "ends": "b1", **GOOD_NIGHT})
    text = text_of(late, "repair")
    assert text.count("Passed.") == 1
    assert "before the repair, short hold of the left rear" in text
    assert "after the repair, overnight hold of the left rear" in text
    fill = {"values.pressure-start": "0 bar", "values.pressure-end": "8 bar", "values.time": "95 s",
            "values.volume": "5 L", "values.supply": "13 V"}  # fmt: skip
    send(late, "demo", "prove", {"check": FILL, **fill})
    text = text_of(late, "repair")
    assert text.count("Passed.") == 2
    assert "The repair is proved" not in text  # the whole vehicle is still to be tried
    send(late, "demo", "prove", {"check": "try.lift", "outcome": "normal"})
    text = text_of(late, "repair")
    assert text.count("Passed.") == 3
    assert "The repair is proved" in text
    assert "The repair is proved" in text_of(late, "papers/customer")


def repaired(desk: Desk, demo: Assessment) -> TestClient:
    client = client_of(desk)
    send(client, "demo", "repaired", {"repairs": list(demo.options[0].repairs), **NOBODY_ASKED})
    return client


@pytest.mark.parametrize(
    ("answer", "said"),
    [("", "was not asked"), ("asked", "has not answered"), ("declined", "declined")],
)
def test_work_without_approval_needs_a_reason(
    desk: Desk, demo: Assessment, answer: str, said: str
) -> None:
    client = client_of(desk)
    repairs = list(demo.options[0].repairs)
    if answer:
        send(client, "demo", "approve", {"repairs": repairs, "answer": answer})
    assert "Do it without the customer's approval" in text_of(client, "repair")
    for reason in ("", "  "):
        body = {"repairs": repairs, "without_approval": reason}
        refused = client.post("/api/v1/jobs/demo/repairs", json=body)
        assert refused.status_code == 422
        assert f"the customer {said}" in refused.text
    assert desk.open("demo").job.repaired == ()
    send(client, "demo", "repaired", {"repairs": repairs, "without_approval": "towed in"})
    job = desk.open("demo").job
    assert job.repaired == tuple(repairs)
    assert job.notes[-1].text == "Repaired without the customer's approval: towed in"
    assert job.notes[-1].by == "technician 1"


def test_a_proof_is_corrected_and_withdrawn_on_the_evidence_page(
    desk: Desk, demo: Assessment
) -> None:
    client = repaired(desk, demo)
    send(client, "demo", "prove", {"check": HOLD, **GOOD_NIGHT, "values.height-end": "350 mm"})
    proof = desk.open("demo").job.proofs[-1].id
    page = client.get("/jobs/demo/evidence").text
    form = f"/jobs/demo/checks/{HOLD}?corrects={proof}&amp;proof=1"
    assert f'href="{form}"' in page
    assert f'id="withdraw-{proof}"' in page
    card = client.get(html.unescape(form)).text
    assert 'value="350 mm"' in card
    assert 'action="/jobs/demo/do/prove"' in card
    assert f'name="supersedes" value="{proof}"' in card
    send(client, "demo", "prove", {"check": HOLD, **GOOD_NIGHT, "supersedes": proof})
    text = text_of(client, "evidence")
    better = desk.open("demo").job.proofs[-1].id
    assert f"Does not count: Corrected by {better}." in text
    assert "Passed." in text_of(client, "repair")
    send(client, "demo", "withdraw", {"item": better, "note": "wrong wheel"})
    assert "Withdrawn by" in text_of(client, "evidence")
    assert "Passed." not in text_of(client, "repair")


def test_the_next_step_after_a_failed_proof_is_a_check(desk: Desk, demo: Assessment) -> None:
    client = repaired(desk, demo)
    send(client, "demo", "prove", {"check": HOLD, **GOOD_NIGHT, "values.height-end": "350 mm"})
    page = client.get("/jobs/demo").text
    text = plain(page)
    assert "A proof failed: Overnight hold of the left rear. Leak of the spring circuit" in text
    assert "go on checking" in text
    assert "Repaired, but a proof failed; before the repair: " in text
    assert 'action="/jobs/demo/do/answer"' in page
    short = {**GOOD_NIGHT, "values.time": "1 h", "values.height-end": "404 mm"}
    send(client, "demo", "prove", {"check": HOLD, **short})
    text = text_of(client, "")
    assert "The reading cannot tell" in text
    assert "Do the test again as said" in text
    assert "A proof failed" not in text


def test_after_a_failed_proof_that_is_explained_the_page_says_repair(
    desk: Desk, demo: Assessment
) -> None:
    """Not to go on checking, which the line above it says no longer pays."""
    client = client_of(desk)
    send(client, "demo", "repaired", {"repairs": ["pump.ring-kit"], "without_approval": "a trial"})
    send(client, "demo", "prove", {"check": HOLD, **GOOD_NIGHT, "values.height-end": "350 mm"})
    page = client.get("/jobs/demo").text
    text = plain(page)
    assert "A proof failed, repair: " in text
    assert "go on checking" not in text
    assert "enough was found since to repair again" in text
    assert page.index('<a class="button" href="/jobs/demo/repair">') < page.index("?proof=1")
    text = text_of(client, "repair")
    assert "go on checking" not in text
    assert "To the choices" in text
    assert "Found, and not repaired so far Cracked fold in the left rear air spring" in text


def test_what_is_off_is_told_at_the_hand_over(desk: Desk, demo: Assessment) -> None:
    client = repaired(desk, demo)
    text = text_of(client, "repair")
    assert text.index("Never lower the vehicle onto an empty spring") < text.index(
        "Fill the air system again"
    )
    assert "Before you hand it over" not in text
    fill = {"values.pressure-start": "0 bar", "values.pressure-end": "8 bar", "values.time": "95 s",
            "values.volume": "5 L", "values.supply": "13 V"}  # fmt: skip
    send(client, "demo", "prove", {"check": "try.lift", "outcome": "normal"})
    send(client, "demo", "prove", {"check": HOLD, **GOOD_NIGHT})
    send(client, "demo", "prove", {"check": FILL, **fill})
    text = text_of(client, "repair")
    assert "Before you hand it over" in text
    assert 'href="/jobs/demo/repair#handover"' in client.get("/jobs/demo").text
    assert text.index("Never lower the vehicle") < text.index("Switch automatic levelling on")
    send(client, "demo", "access", {})
    assert desk.open("demo").job.access == ()
    assert "Before you hand it over" not in text_of(client, "repair")


def test_a_begun_hold_stands_on_its_wheels(desk: Desk, demo: Assessment) -> None:
    client = repaired(desk, demo)
    assert "on-stands" in desk.open("demo").job.access
    send(client, "demo", "begin", {"check": HOLD, "values.height-start": "404 mm"})
    assert "on-stands" not in desk.open("demo").job.access


def test_a_failed_proof_says_what_to_do(desk: Desk, demo: Assessment) -> None:
    client = repaired(desk, demo)
    send(client, "demo", "prove", {"check": HOLD, **GOOD_NIGHT, "values.height-end": "350 mm"})
    text = text_of(client, "repair")
    assert "Failed. Leak of the spring circuit" in text
    assert "must be at most 0.7 mL/min" in text
    assert "go on checking" in text


def test_an_undecided_proof_says_what_to_do(desk: Desk, demo: Assessment) -> None:
    client = repaired(desk, demo)
    short = {**GOOD_NIGHT, "values.time": "1 h", "values.height-end": "404 mm"}
    send(client, "demo", "prove", {"check": HOLD, **short})
    text = text_of(client, "repair")
    assert "Undecided." in text
    assert "Do the test again as said" in text


def test_proofs_made_before_the_last_repair_no_longer_count(desk: Desk, demo: Assessment) -> None:
    client = repaired(desk, demo)
    send(client, "demo", "prove", {"check": HOLD, **GOOD_NIGHT})
    send(client, "demo", "repaired", {"repairs": ["dryer.renew"], **NOBODY_ASKED})
    text = text_of(client, "repair")
    assert "Passed." not in text
    assert "made before the last repair" in text


def test_a_begun_proof_can_be_given_up(desk: Desk, demo: Assessment) -> None:
    client = repaired(desk, demo)
    send(client, "demo", "begin", {"check": HOLD, "values.height-start": "404 mm"})
    send(client, "demo", "drop", {"item": "b1", "note": "a door was opened"})
    text = text_of(client, "repair")
    assert "Read it not before" not in text
    assert "Begin now, read later" in text


# --- papers


def texts(value: object) -> Iterator[str]:
    """Yield every text of a tree, apart from names of roles, units and where it is drawn."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, tuple):
        for item in value:
            yield from texts(item)
    elif is_dataclass(value) and not isinstance(value, type):
        skip = {"kind", "role", "tone", "level", "align", "unit"}
        if isinstance(value, LinePlot):
            skip |= {"x", "y"}
        for f in fields(value):
            if f.name not in skip:
                yield from texts(getattr(value, f.name))


@pytest.mark.parametrize("kind", ["customer", "technical"])
def test_the_page_says_everything_that_the_paper_says(
    client: TestClient, demo: Assessment, kind: str
) -> None:
    paper: Paper = {"customer": customer_paper, "technical": technical_paper}[kind](demo)
    text = text_of(client, f"papers/{kind}")
    words = [re.sub(r" (?=[.,;:])", "", " ".join(t.split())) for t in texts(paper)]
    assert len(words) > 50
    assert [t for t in words if t not in text] == []


def test_papers_are_served_as_pdf(client: TestClient) -> None:
    answer = client.get("/jobs/demo/papers/customer.pdf")
    assert answer.headers["content-type"] == "application/pdf"
    assert answer.content[:5] == b"%PDF-"
    assert answer.headers["content-disposition"] == 'inline; filename="demo-customer.pdf"'
    answer = client.get("/jobs/demo/papers/technical.pdf?download=true")
    assert answer.headers["content-disposition"] == 'attachment; filename="demo-technical.pdf"'


@pytest.mark.parametrize("path", ["papers/bill.pdf", "papers/bill"])
def test_an_unknown_paper_is_told(client: TestClient, path: str) -> None:
    answer = client.get(f"/jobs/demo/{path}")
    assert answer.status_code == 404
    assert "There is no paper 'bill'" in plain(answer.text)


def test_papers_name_what_they_contain(client: TestClient, demo: Assessment) -> None:
    page = client.get("/jobs/demo/papers").text
    text = plain(page)
    for title in ("What we recommend", "Your approval", "Measurements", "Recording r1"):
        assert title in text
    assert 'href="/api/v1/jobs/demo/export"' in page


def test_hostile_texts_are_shown_as_they_are(desk: Desk) -> None:
    job = replace(
        Job(id="odd", title="<b>odd</b>", layout="rear-pair"), complaint="<script>alert(1)</script>"
    )
    desk.store.add(job, Mark(what="import", at="2026-11-24T08:00:00+00:00"), {})
    page = client_of(desk).get("/jobs/odd/papers/customer").text
    assert "<script>alert" not in page
    assert "<script>alert(1)</script>" in html.unescape(page)


# --- in a browser


@pytest.mark.parametrize("path", PAGES)
def test_is_accessible_and_fits_a_phone(page: Page, path: str) -> None:
    page.goto(f"/jobs/demo/{path}")
    wide = page.evaluate("document.documentElement.scrollWidth - innerWidth")
    assert wide <= 0
    assert Axe().run(page).response["violations"] == []


def test_an_offer_leads_to_the_answer_and_the_answer_to_the_work(page: Page) -> None:
    page.goto("/jobs/demo/repair")
    page.get_by_role("button", name="Offer choice 1 to the customer").click()
    expect(page.get_by_role("heading", name="The customer's answer")).to_be_focused()
    page.get_by_label("By telephone").check()
    page.get_by_label("Who said it").fill("the owner")
    page.get_by_role("button", name="Approved").click()
    expect(page.get_by_text("Approved, by telephone, said by the owner.")).to_be_visible()
    expect(page.get_by_role("heading", name="The work")).to_be_focused()
    page.get_by_role("checkbox", name="Replace the left rear air spring").check()
    page.get_by_role("button", name="Mark as repaired").click()
    expect(page.get_by_role("heading", name="Proof", exact=True)).to_be_focused()


def test_curves_are_drawn_on_paper_too(page: Page) -> None:
    """The shared look hides what is no part of a printed page; a plot's curves are a part."""
    page.goto("/jobs/demo/papers/technical")
    page.emulate_media(media="print")
    shown = page.locator("svg.plot.wide path.measured-0").first
    assert shown.evaluate("e => getComputedStyle(e).display") != "none"
    assert shown.evaluate("e => getComputedStyle(e).stroke") != "none"


def test_a_fault_opens_by_keyboard(page: Page) -> None:
    page.goto("/jobs/demo/verdict")
    fault = page.locator("details.fault", has_text="Worn air pump").first
    fault.locator("summary").focus()
    page.keyboard.press("Enter")
    expect(fault.get_by_text("Speaks for it")).to_be_visible()
