"""What a hostile or broken sender sends is refused in words, and nothing of it is kept."""

from __future__ import annotations

import json
import socket
from collections.abc import Iterator
from typing import Any

import httpx2
import pytest
from fastapi.testclient import TestClient
from local import client_of, small_desk

from sagtrace.app.desk import Desk
from sagtrace.web.app import build_app
from sagtrace.web.problems import KINDS
from workbench import Bench

URL = "/api/v1/jobs/small"
JSON = {"Content-Type": "application/json"}


@pytest.fixture(scope="module")
def desk() -> Desk:
    return small_desk()


@pytest.fixture(scope="module")
def api(desk: Desk) -> Iterator[TestClient]:
    with client_of(desk) as client:
        yield client


@pytest.fixture(autouse=True)
def nothing_is_kept(desk: Desk) -> Iterator[None]:
    before = desk.open("small")
    yield
    assert desk.open("small") == before


def is_problem(told: Any, status: int) -> dict[str, Any]:
    assert told.status_code == status, told.text
    assert told.headers["Content-Type"] == "application/problem+json"
    found: dict[str, Any] = told.json()
    assert found["status"] == status
    assert found["title"]
    assert len(found["detail"]) > 10
    assert "Traceback" not in told.text
    return found


def note(text: bytes) -> bytes:
    return b'{"text": "' + text + b'"}'


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (rb"a\u0000b", "character 2 is a control character (0x00)"),
        (rb"a\u001b[31m", "control character (0x1b)"),
        (rb"\ud800", "character 1 is half a character (0xd800)"),
        (rb"ab\udfff", "character 3 is half a character (0xdfff)"),
        (b"x" * 4001, "at most 4000"),
    ],
)
def test_texts_that_nothing_can_hold(api: TestClient, text: bytes, said: str) -> None:
    told = is_problem(api.post(f"{URL}/notes", content=note(text), headers=JSON), 422)
    assert said in told["detail"]
    assert told["errors"][0]["at"] == "body.text"


@pytest.mark.parametrize("field", ["by", "check", "outcome", "at", "instrument", "note", "ends"])
@pytest.mark.parametrize("bad", ["\x00", "\ud800", "x" * 5000])
def test_every_text_of_an_answer_is_looked_at(api: TestClient, field: str, bad: str) -> None:
    body = json.dumps({"check": "soap.fitting@left", "outcome": "none", field: bad})
    is_problem(api.post(f"{URL}/entries", content=body, headers=JSON), 422)


@pytest.mark.parametrize("bad", ["\x00", "\ud800", "x" * 500])
def test_names_and_values_of_numbers_are_looked_at(api: TestClient, bad: str) -> None:
    for values in ({bad: "1 mm"}, {"height-start": bad}):
        body = json.dumps({"check": "hold.short@left", "values": values})
        is_problem(api.post(f"{URL}/entries", content=body, headers=JSON), 422)
        started = json.dumps({"vehicle": {"spring-area": bad}})
        is_problem(api.post("/api/v1/jobs", content=started, headers=JSON), 422)


@pytest.mark.parametrize(
    "value", ["9" * 200 + " mm", "1e400 mm", "-1e308 mm", "nan", "inf mm", "1e-400 mm", "−", "½ mm"]
)
def test_huge_and_odd_numbers(api: TestClient, value: str) -> None:
    values = {"height-start": value, "height-end": "356 mm", "time": "3 min"}
    body = {"check": "hold.short@left", "values": values}
    is_problem(api.post(f"{URL}/entries", json=body), 422)


@pytest.mark.parametrize(
    "moment", ["soon", "2026-13-01T00:00Z", "0001-01-01T00:00", "20261124", "-1"]
)
def test_what_is_no_moment(api: TestClient, moment: str) -> None:
    body = {"check": "soap.fitting@left", "outcome": "none", "at": moment}
    told = is_problem(api.post(f"{URL}/entries", json=body), 422)
    assert "2026-11-24T17:30:00Z" in told["detail"]


@pytest.mark.parametrize(
    ("content", "status"),
    [
        (b"", 422),
        (b"{", 422),
        (b"null", 422),
        (b"[]", 422),
        (b'"text"', 422),
        (b'{"text": 1}', 422),
        (b'{"text": "a", "extra": 1}', 422),
        (b'{"text": "\xff\xfe"}', 400),
        (b"[" * 100_000, 400),
        (b'{"text": ' * 50_000, 400),
        (b'{"text": ' + b"9" * 10_000 + b"}", 400),
        (b'{"text": 1e999}', 422),
        (b'{"text": NaN}', 422),
    ],
    ids=lambda c: repr(c[:20]) if isinstance(c, bytes) else str(c),
)
def test_what_is_no_such_request(api: TestClient, content: bytes, status: int) -> None:
    is_problem(api.post(f"{URL}/notes", content=content, headers=JSON), status)


@pytest.mark.parametrize(
    "head",
    [
        {},
        {"Content-Type": "text/plain"},
        {"Content-Type": "application/x-www-form-urlencoded"},
        {"Content-Type": "multipart/form-data; boundary=x"},
        {"Content-Type": "application/json", "Content-Encoding": "gzip"},
    ],
    ids=str,
)
def test_content_of_another_type(api: TestClient, head: dict[str, str]) -> None:
    is_problem(api.post(f"{URL}/notes", content=note(b"seen"), headers=head), 415)


def test_a_picture_of_another_type(api: TestClient) -> None:
    is_problem(api.post(f"{URL}/photos", json={"text": "seen"}), 415)
    head = {"Content-Type": "multipart/form-data"}  # that says no boundary
    is_problem(api.post(f"{URL}/photos", content=b"--x", headers=head), 400)


def test_the_fields_of_a_form_are_looked_at(api: TestClient) -> None:
    data = b"\x89PNG\r\n\x1a\n"
    for fields in ({"text": "\x00"}, {"at": "soon"}, {"check": "x" * 200}, {"by": "x" * 300}):
        told = api.post(f"{URL}/photos", files={"file": data}, data=fields)
        is_problem(told, 422)


# --- sizes


@pytest.mark.parametrize("size", [2_000_001, 5_000_000])
def test_a_body_that_is_too_large(api: TestClient, size: int) -> None:
    told = is_problem(api.post(f"{URL}/notes", content=bytes(size), headers=JSON), 413)
    assert "2 MB" in told["detail"]


def test_a_body_is_counted_without_its_length(bench: Bench) -> None:
    def parts() -> Iterator[bytes]:
        for _ in range(40):
            yield b" " * 100_000

    with httpx2.Client(base_url=bench.url) as api:
        for path in ("/api/v1/jobs", "/api/v1/jobs/demo/entries"):
            told = api.post(path, content=parts(), headers=JSON)
            assert "Content-Length" not in told.request.headers
            is_problem(told, 413)
        assert api.get("/api/v1/alive").status_code == 200


def test_a_length_that_is_a_lie(bench: Bench) -> None:
    """A server reads no more than the length says, and none waits for what never comes."""
    host, port = bench.url.removeprefix("http://").split(":")
    head = (
        f"POST /api/v1/jobs HTTP/1.1\r\nHost: {host}:{port}\r\nContent-Type: application/json\r\n"
    )
    for length in ("-1", "x", "99999999999999999999"):
        with socket.create_connection((host, int(port)), timeout=2) as line:
            line.sendall(f"{head}Content-Length: {length}\r\n\r\n{{}}".encode())
            if length.startswith("9"):
                continue  # it waits for the rest until the line is cut
            assert line.recv(100).split()[1] == b"400"
    assert httpx2.get(f"{bench.url}/api/v1/alive").status_code == 200


# --- addresses, methods and headers


@pytest.mark.parametrize(
    "path",
    ["/api/v1/nothing", "/api/", "/api/v2/jobs", "/api/v1/jobs/none", "/api/v1/jobs/%00",
     "/api/v1/jobs/%ED%A0%80/next", f"/api/v1/jobs/{'x' * 500}", "/api/v1/jobs/..%2f..%2fetc",
     "/api/v1/layouts/none/checks", "/api/v1/problems/none"],
)  # fmt: skip
def test_addresses_of_nothing(api: TestClient, path: str) -> None:
    is_problem(api.get(path), 404)


def test_an_unknown_page_is_a_page(api: TestClient) -> None:
    told = api.get("/nothing")
    assert told.status_code == 404
    assert told.headers["Content-Type"].startswith("text/html")


def test_an_id_in_the_body_is_no_address(api: TestClient) -> None:
    """What is unknown in the body is 422 even if it is spelled like the job of the address."""
    is_problem(api.post(f"{URL}/entries", json={"check": "small", "outcome": "none"}), 422)


def test_methods(api: TestClient) -> None:
    for path, allowed in (
        ("/api/v1/jobs", "GET, HEAD, POST, OPTIONS"),
        (URL, "GET, HEAD, OPTIONS"),
        (f"{URL}/entries", "POST, OPTIONS"),
    ):
        told = api.options(path)
        assert (told.status_code, told.headers["Allow"], told.content) == (204, allowed, b"")
        for method in {"PUT", "PATCH", "DELETE", "GET", "POST"} - set(allowed.split(", ")):
            refused = api.request(method, path)
            is_problem(refused, 405)
            assert refused.headers["Allow"] == allowed
    assert api.options("/api/v1/nothing").status_code == 404


@pytest.mark.parametrize("path", [URL, f"{URL}/verdict", f"{URL}/papers/customer.pdf", "/"])
def test_head_is_get_without_the_content(bench: Bench, path: str) -> None:
    there = path.replace("small", "demo")
    with httpx2.Client(base_url=bench.url, timeout=30) as api:
        head, get = api.head(there), api.get(there)
    assert (head.status_code, head.content) == (200, b"")
    for name in ("Content-Type", "Content-Length", "ETag"):
        if name != "Content-Length" or not there.endswith(".pdf"):  # a paper tells its moment
            assert head.headers.get(name) == get.headers.get(name)


@pytest.mark.parametrize("name", ["Idempotency-Key", "Content-Type", "Host", "Origin"])
def test_a_header_said_twice(api: TestClient, name: str) -> None:
    value = {"Host": "127.0.0.1", "Origin": "http://127.0.0.1"}.get(name, "application/json")
    head = [("Content-Type", "application/json"), (name, value), (name, value)]
    told = is_problem(api.post(f"{URL}/notes", content=note(b"seen"), headers=head), 400)
    assert name.lower() in told["detail"]


@pytest.mark.parametrize(
    "head",
    [
        {"Host": "example.org"},
        {"Host": "127.0.0.1.example.org"},
        {"Host": "[::1"},
        {"Host": ""},
        {"Origin": "http://example.org"},
        {"Origin": "null"},
        {"Origin": "http://[::1"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
    ],
    ids=str,
)
def test_other_hosts_and_sites(api: TestClient, head: dict[str, str]) -> None:
    is_problem(api.post(f"{URL}/notes", content=note(b"x"), headers=JSON | head), 403)


def test_another_machine(desk: Desk) -> None:
    far = TestClient(build_app(desk), base_url="http://127.0.0.1", client=("192.0.2.1", 5000))
    is_problem(far.get(URL), 403)


@pytest.mark.parametrize("key", ["x" * 201, "\x00", "é".encode("latin-1"), "\x7f"])
def test_keys_that_are_none(api: TestClient, key: str | bytes) -> None:
    raw = key.encode() if isinstance(key, str) else key
    head = [(b"content-type", b"application/json"), (b"idempotency-key", raw)]
    is_problem(api.post(f"{URL}/notes", content=note(b"seen"), headers=head), 422)


@pytest.mark.parametrize(
    "query", ["limit=0", "limit=201", "limit=x", "text=%00", "after=%00", "waits=x"]
)
def test_queries_that_cannot_be(api: TestClient, query: str) -> None:
    is_problem(api.get(f"/api/v1/jobs?{query}"), 422)


def test_every_kind_of_problem_is_described(api: TestClient) -> None:
    for kind, (status, title, what) in KINDS.items():
        told = api.get(f"/api/v1/problems/{kind}").json()
        assert told == {"kind": kind, "status": status, "title": title, "what": what}
    told = is_problem(api.get("/api/v1/jobs/none"), 404)
    assert api.get(told["type"]).status_code == 200


# --- the same of the forms


@pytest.mark.parametrize(
    "fields",
    [
        {"check": "soap.fitting@left", "outcome": "\x00"},
        {"check": "hold.short@left", "values": "x", "values.time": "3 min"},
        {"check": "soap.fitting@left", "outcome": "none", "key": "\x00"},
        {"check": "soap.fitting@left", "outcome": "none", "item": "x" * 900},
        {"check": "soap.fitting@left", "outcome": "none", "repairs": "x"},
        {".": "x"},
        {},
    ],
    ids=str,
)
def test_hostile_forms_get_a_page(api: TestClient, fields: dict[str, str]) -> None:
    told = api.post("/jobs/small/do/answer", data=fields)
    assert told.status_code == 422
    assert told.headers["Content-Type"].startswith("text/html")
    assert "Traceback" not in told.text


# --- the other forms keep to the same


def test_a_refused_picture_loses_no_words(api: TestClient) -> None:
    for text, data in (("rubbed through", b"none"), ("half\x00way", b"\xff\xd8\xff\xe0")):
        fields = {"text": text, "by": "technician 2", "check": "soap.fitting@left"}
        told = api.post("/jobs/small/photos", data=fields, files={"file": ("a.jpg", data)})
        assert told.status_code == 422
        assert "Not kept" in told.text
        assert text in told.text
        assert 'type="file" name="file"' in told.text
        assert 'name="by" value="technician 2"' in told.text
    none = api.post("/jobs/small/photos", data={"text": "forgot the picture"})
    assert none.status_code == 422
    assert "forgot the picture" in none.text


@pytest.mark.parametrize("bad", ["a\x00b", "a\x1b[31m", "x" * 81, "a\nb", "a\tb"])
def test_a_name_that_no_form_may_send_is_no_setting(api: TestClient, bad: str) -> None:
    told = api.post("/settings", data={"by": bad}, follow_redirects=False)
    assert told.status_code == 422
    assert "set-cookie" not in told.headers


def test_a_hostile_cookie_blocks_no_form(api: TestClient) -> None:
    head = {"Cookie": "by=%00A%1b%0aB%C2%85"}
    shown = api.get("/jobs/small/evidence", headers=head)
    assert 'name="by" value="AB"' in shown.text


def test_an_import_by_nobody_that_can_be_written(api: TestClient) -> None:
    job = b"format: 1\nid: x\ntitle: x\nlayout: rear-pair\n"
    for fields in ({"by": "\x00"}, {"key": "\x00"}):
        told = api.post("/import", data=fields, files={"file": ("a.yaml", job)})
        assert told.status_code == 422
    assert api.get("/api/v1/jobs/x").status_code == 404


def test_roles_are_texts_that_can_be_kept(api: TestClient) -> None:
    body = {"sha256": "0" * 64, "roles": {"H": "a\x00"}}
    is_problem(api.post(f"{URL}/recordings", json=body), 422)


def test_what_is_no_json_is_called_so(api: TestClient) -> None:
    told = is_problem(api.post(f"{URL}/notes", content=b'{"text": "a"', headers=JSON), 422)
    assert "the body is no JSON: Expecting ',' delimiter" in told["detail"]


def test_an_etag_that_is_not_ours_is_called_so(api: TestClient) -> None:
    for tag, said in (('"other"', "another revision than the ETag says"), ('"7"', "not 7")):
        told = api.post(f"{URL}/notes", json={"text": "a"}, headers={"If-Match": tag})
        assert said in is_problem(told, 412)["detail"]


def test_a_body_has_one_end(api: TestClient) -> None:
    head = [("Content-Length", "2"), ("Transfer-Encoding", "chunked")]
    told = api.post(f"{URL}/notes", content=b"{}", headers=[*head, *JSON.items()])
    assert "said together" in is_problem(told, 400)["detail"]


@pytest.mark.parametrize(
    "host", ["a@127.0.0.1", "127.0.0.1/x", "127.0.0.1:x", "127.0.0.1:8#a", "127.0.0.1 ", "::1",
             "127.0.0.1?x", "localhost:123456", "[127.0.0.1"]
)  # fmt: skip
def test_a_host_is_a_host_and_a_port(api: TestClient, host: str) -> None:
    is_problem(api.get("/api/v1/jobs", headers={"Host": host}), 403)


@pytest.mark.parametrize("host", ["127.0.0.1", "localhost:8321", "[::1]", "[::1]:80", "LOCALHOST"])
def test_this_machine_is_answered(api: TestClient, host: str) -> None:
    assert api.get("/api/v1/jobs", headers={"Host": host}).status_code == 200
