"""Everything that a page does, the API does too, with the same effect on the job.

The actions are tested from their one table; the forms are found by reading all templates and all
pages that can be reached, so a new page is tested without a word here.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from local import FromHere, client_of, small_desk

import sagtrace.web
from sagtrace.app.desk import Desk
from sagtrace.app.kept import Mark
from sagtrace.vehicle.job import Begun
from sagtrace.web.acts import ACTS
from sagtrace.web.app import build_app

TEMPLATES = Path(sagtrace.web.__file__).parent / "templates"
API = "/api/v1"
NOW = "2026-11-24T12:00:00+00:00"
MOST_PAGES = 600
PUT_IN = "\ufffc"  # stands in a template for what is put in there

# Forms that change no job by themselves, so that they need no twin, and why.
NO_TWIN = {
    "/settings": "what this browser remembers",
    "/jobs/[^/]+/recordings/(rate|forget)": "a file that belongs to no job yet",
    PUT_IN: "a refused form sent again: its address is put in, and the first form has the twin",
}

# A request for every action: the record that it acts on, and what it carries.
SAMPLES: Mapping[str, tuple[str, Mapping[str, Any]]] = {
    "answer": ("", {
        "check": "hold.short@left", "note": "twice", "instrument": "steel tape",
        "at": "2026-11-24T11:00:00+00:00", "ends": "b1",
        "values": {"height-start": "403 mm", "height-end": "356 mm", "time": "3 min"},
    }),
    "withdraw": ("e1", {"note": "slip"}),
    "begin": ("", {"check": "hold.short@right", "values": {"height-start": "404 mm"}}),
    "drop": ("b1", {"note": "no time"}),
    "note": ("", {"text": "crack\nat the fold", "check": "soap.fitting@left"}),
    "approve": ("", {
        "repairs": ["pump.unit-replace"], "offered": "420 ± 60 EUR", "answer": "approved",
        "how": "by telephone", "who": "the owner",
    }),
    "repaired": ("", {"repairs": ["pump.unit-replace"], "without_approval": "by telephone"}),
    "prove": ("", {"check": "soap.fitting@left", "outcome": "none"}),
    "vehicle": ("", {"vehicle": {"spring-area": "109 ± 4 cm²", "pump-delivery": ""}}),
    "practise": ("", {"check": "hold.short@left"}),
    "access": ("", {"access": ["levelling-off", "on-stands"]}),
}  # fmt: skip


def desk_with_all() -> Desk:
    """Return a desk whose job `twin` has something for every action to act on."""
    desk = small_desk()
    begun = Begun(id="b1", check="hold.short@left", at="2026-11-24T09:00:00+00:00")
    job = replace(desk.open("small").job, id="twin", begun=(begun,))
    desk.store.add(job, Mark(what="start", at="2026-11-24T08:00:00+00:00"), {})
    return desk


def client(desk: Desk) -> TestClient:
    app = FromHere(build_app(desk, now=lambda: NOW))
    return TestClient(app, base_url="http://127.0.0.1", follow_redirects=False)


def as_fields(body: Mapping[str, Any]) -> dict[str, Any]:
    """Return a body as a browser sends it: parts get a dot, lists repeat their name.

    Lines end in CR LF, as the HTML standard has it for forms.
    """
    found: dict[str, Any] = {}
    for name, value in body.items():
        if isinstance(value, Mapping):
            found |= {f"{name}.{part}": text for part, text in value.items()}
        else:
            found[name] = value.replace("\n", "\r\n") if isinstance(value, str) else value
    return found


def test_every_action_has_a_sample() -> None:
    assert set(SAMPLES) == set(ACTS)


@pytest.mark.parametrize("name", ACTS)
def test_the_form_does_what_the_api_does(name: str) -> None:
    item, body = SAMPLES[name]
    sent = {**body, "by": "technician 1"}
    by_page, by_api = desk_with_all(), desk_with_all()
    before = by_page.open("twin").job
    own = {"key": "k1", "item": item, "next": "/jobs/twin/verdict"}
    told = client(by_page).post(f"/jobs/twin/do/{name}", data=as_fields(sent) | own)
    assert (told.status_code, told.headers["Location"]) == (303, "/jobs/twin/verdict"), told.text
    url = f"{API}/jobs/twin{ACTS[name].path.replace('{item}', item)}"
    said = client(by_api).post(url, json=sent, headers={"Idempotency-Key": "k1"})
    assert said.status_code == 201, said.text
    assert by_page.open("twin") == by_api.open("twin")
    assert by_page.changes("twin") == by_api.changes("twin")
    assert by_api.open("twin").job != before
    assert by_api.changes("twin")[-1].mark.by == "technician 1"


@pytest.mark.parametrize("name", ACTS)
def test_a_form_sent_again_by_script_is_carried_out_once(name: str) -> None:
    """A page that loses its script between two tries must not enter anything twice."""
    item, body = SAMPLES[name]
    desk = desk_with_all()
    here = client(desk)
    here.post(f"/jobs/twin/do/{name}", data={**as_fields(body), "key": "k1", "item": item})
    url = f"{API}/jobs/twin{ACTS[name].path.replace('{item}', item)}"
    said = here.post(url, json=body, headers={"Idempotency-Key": "k1"})
    assert said.json()["again"] is True, said.text
    assert desk.open("twin").revision == 2


def test_starting_a_job_by_form_is_starting_it_by_the_api() -> None:
    told = {"spring-area": "112 cm²"}
    body = {"complaint": "Down.", "title": "Van", "layout": "rear-pair", "vehicle": told}
    by_page, by_api = small_desk(), small_desk()
    to = client(by_page).post("/new", data=as_fields(body)).headers["Location"]
    made = client(by_api).post(f"{API}/jobs", json=body)
    assert made.headers["Location"] == f"{API}/jobs/{made.json()['job']}"
    one = by_page.open(to.removeprefix("/jobs/")).job
    two = by_api.open(made.json()["job"]).job
    assert replace(one, id="") == replace(two, id="")
    assert one.complaint == "Down."


# --- the forms of all pages


@dataclass
class Form:
    """A form as a page has it."""

    attributes: dict[str, str]
    names: set[str] = field(default_factory=set)
    files: bool = False

    @property
    def send(self) -> str:
        """The address in the API that a script sends it to."""
        found = [
            v for k, v in self.attributes.items() if k.startswith("data-") and v.startswith(API)
        ]
        return found[0] if found else ""

    @property
    def changes(self) -> bool:
        """Whether it changes anything, so that it needs a twin."""
        return self.attributes.get("method", "get").lower() == "post"


class Forms(HTMLParser):
    """Reads the forms and links of a page or template."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.forms: dict[str, Form] = {}
        self.links: set[str] = set()
        self.open = ""
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        said = {name: value or "" for name, value in attrs}
        if tag == "form":
            self.open = said.get("id") or f"form {len(self.forms)}"
            self.forms[self.open] = Form(said)
        elif tag == "a" and said.get("href", "").startswith("/"):
            self.links.add(said["href"].partition("#")[0].partition("?")[0])
        elif tag in ("input", "select", "textarea", "button") and said.get("name"):
            form = self.forms.get(said.get("form", self.open))
            if form is not None:
                form.names.add(said["name"])
                form.files = form.files or said.get("type") == "file"

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self.open = ""


def without_logic(template: str) -> str:
    """Return a template as markup, with a sign for what is put in."""
    text = re.sub(r"\{#.*?#\}|\{%.*?%\}", "", template, flags=re.DOTALL)
    return re.sub(r"\{\{.*?\}\}", PUT_IN, text, flags=re.DOTALL)


def same_place(said: str, path: str) -> bool:
    """Return whether an address, or what a template says of it, may be this path of the API."""
    if PUT_IN in said:
        held = re.sub(r"\{\w+\}", "a", path)
        return bool(re.fullmatch(re.escape(said).replace(PUT_IN, ".+"), held))
    return bool(re.fullmatch(re.sub(r"\{\w+\}", "[^/]+", path), said))


def problems(form: Form, spec: Mapping[str, Any]) -> Iterator[str]:
    """Yield what is wrong with a form that changes something."""
    at = form.attributes.get("action", "")
    if not form.send:
        if not any(re.fullmatch(known, at) for known in NO_TWIN):
            yield f"it names no address of the API, and {at!r} is not known to change no job"
        return
    posts = {path: o["post"] for path, o in spec["paths"].items() if "post" in o}
    found = [path for path in posts if same_place(form.send, path)]
    if not found:
        yield f"the API has no POST {form.send}"
        return
    action = re.fullmatch(r"/jobs/[^/]+/do/(\w+)", at)
    if action and action[1] not in ACTS:
        yield f"there is no action {action[1]}"
    elif action and f"{API}/jobs/{{job}}{ACTS[action[1]].path}" not in found:
        yield f"{form.send} is not what {action[1]} does"
    if len(found) == 1:
        yield from unknown_fields(form, posts[found[0]], spec)


def unknown_fields(
    form: Form, operation: Mapping[str, Any], spec: Mapping[str, Any]
) -> Iterator[str]:
    held = operation.get("requestBody", {}).get("content", {})
    for media in held.values():
        name = media.get("schema", {}).get("$ref", "").rpartition("/")[2]
        known = set(spec["components"]["schemas"].get(name, {}).get("properties", {}))
        # A unit that stands beside a field goes into the field's text.
        names = {n.removeprefix("unit:").partition(".")[0] for n in form.names}
        names -= {"key", "next", "item"}
        if known and (odd := {n for n in names if PUT_IN not in n} - known):
            yield f"the API does not take {', '.join(sorted(odd))}"


@pytest.fixture(scope="module")
def api() -> Iterator[TestClient]:
    with client_of(desk_with_all()) as found:
        yield found


@pytest.fixture(scope="module")
def spec(api: TestClient) -> Mapping[str, Any]:
    found: Mapping[str, Any] = api.get(f"{API}/openapi.json").json()
    return found


@pytest.mark.parametrize(
    "path", sorted(TEMPLATES.rglob("*.html")), ids=lambda p: str(p.relative_to(TEMPLATES))
)
def test_every_form_of_a_template_has_its_twin(path: Path, spec: Mapping[str, Any]) -> None:
    text = path.read_text()
    for name, form in Forms(without_logic(text)).forms.items():
        if form.changes:
            assert list(problems(form, spec)) == [], name


def test_every_form_of_every_page_has_its_twin(api: TestClient, spec: Mapping[str, Any]) -> None:
    seen: dict[str, int] = {}
    to_see = ["/", "/jobs/twin", "/jobs/demo"]
    while to_see:
        page = to_see.pop(0)
        if page in seen or page.startswith(("/api/", "/static/", "/plot/")):
            continue
        told = api.get(page)
        seen[page] = told.status_code
        assert told.status_code < 500, page
        assert len(seen) <= MOST_PAGES
        if not told.headers.get("Content-Type", "").startswith("text/html"):
            continue
        found = Forms(told.text)
        for name, form in found.forms.items():
            if form.changes:
                assert list(problems(form, spec)) == [], (page, name)
        to_see += sorted(found.links - seen.keys())
    assert seen["/"] == 200


@pytest.mark.parametrize(
    ("markup", "said"),
    [
        ('<form method="post">', "it names no address"),
        ('<form method="post" action="/jobs/a/do/note">', "it names no address"),
        ('<form method="post" data-send="/api/v1/jobs/{{ a }}/{{ b }}/no">', "the API has no POST"),
        ('<form method="post" data-send="/api/v1/jobs/{{ a }}/nothing">', "the API has no POST"),
        ('<form method="POST" data-send="/api/v1/jobs/a/notes" action="/jobs/a/do/sing">',
         "there is no action sing"),
        ('<form method="post" data-send="/api/v1/jobs/a/notes" action="/jobs/a/do/drop">',
         "is not what drop does"),
        ('<form method="post" data-send="/api/v1/jobs/a/notes"><input name="words">',
         "the API does not take words"),
        ('<form method="post" id="f" data-send="/api/v1/jobs/a/notes"></form>'
         '<button form="f" name="odd">', "the API does not take odd"),
    ],
)  # fmt: skip
def test_the_reader_notices(markup: str, said: str, spec: Mapping[str, Any]) -> None:
    (form,) = Forms(without_logic(markup)).forms.values()
    assert form.changes
    assert said in "; ".join(problems(form, spec))


def test_the_reader_lets_good_forms_pass(spec: Mapping[str, Any]) -> None:
    good = (
        '{% if a %}<form id="f" method="post" data-send="/api/v1/jobs/{{ job }}/begun/{{ b }}/drop"'
        ' action="/jobs/{{ job }}/do/drop"><input name="key"><input name="item">'
        '<textarea name="note"></textarea></form>{% endif %}<form action="/"><input name="text">'
    )
    posting, getting = Forms(without_logic(good)).forms.values()
    assert list(problems(posting, spec)) == []
    assert not getting.changes
