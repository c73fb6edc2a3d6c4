"""Changes are carried out once, from the state that their sender saw; pictures come back whole."""

from __future__ import annotations

import hashlib
import threading
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from io import BytesIO
from typing import Any

import pytest
from fastapi.testclient import TestClient
from local import client_of, small_desk
from PIL import Image

from sagtrace.adapters.store.memory import MemoryStore
from sagtrace.app.desk import Desk
from sagtrace.bootstrap import open_workshop

URL = "/api/v1/jobs/small"
BODY = {"check": "soap.fitting@left", "outcome": "none", "by": "technician 1"}


@pytest.fixture
def desk() -> Desk:
    return small_desk()


@pytest.fixture
def api(desk: Desk) -> Iterator[TestClient]:
    with client_of(desk) as client:
        yield client


def answer(api: TestClient, body: object = BODY, **headers: str) -> Any:
    return api.post(f"{URL}/entries", json=body, headers=headers)


# --- sent once


def test_the_same_request_is_carried_out_once(api: TestClient, desk: Desk) -> None:
    first, again = (answer(api, **{"Idempotency-Key": "k1"}) for _ in range(2))
    assert (first.status_code, again.status_code) == (201, 201)
    assert first.json() == {**again.json(), "again": False}
    assert again.json()["again"] is True
    assert [e.id for e in desk.open("small").job.entries] == ["e1", "e2", "e3"]


def test_the_same_request_may_be_written_otherwise(api: TestClient) -> None:
    said = '{"outcome": "none",\n "by": "technician 1", "check": "soap.fitting@left", "note": ""}'
    head = {"Idempotency-Key": "k1", "Content-Type": "application/json"}
    answer(api, **{"Idempotency-Key": "k1"})
    assert api.post(f"{URL}/entries", content=said, headers=head).json()["again"] is True


def test_a_key_used_for_something_else_is_refused(api: TestClient, desk: Desk) -> None:
    key = {"Idempotency-Key": "k1"}
    answer(api, **key)
    for path, body in (
        (f"{URL}/entries", {**BODY, "outcome": "bubbles"}),
        ("/api/v1/jobs/demo/entries", BODY),
        (f"{URL}/proofs", BODY),
        ("/api/v1/jobs", {}),
    ):
        told = api.post(path, json=body, headers=key)
        assert told.status_code == 422, path
        assert "'k1' was used for another request" in told.json()["detail"]
    assert desk.open("small").revision == 2
    assert desk.open("demo").revision == 1


def test_a_refused_request_does_not_use_its_key_up(api: TestClient) -> None:
    key = {"Idempotency-Key": "k1"}
    assert answer(api, {**BODY, "outcome": "no such"}, **key).status_code == 422
    assert answer(api, **key).json()["again"] is False


@pytest.mark.parametrize("path", [f"{URL}/entries", "/api/v1/jobs"])
def test_the_same_request_many_times_at_once_is_carried_out_once(
    api: TestClient, desk: Desk, path: str
) -> None:
    gate = threading.Barrier(8)
    body = BODY if path.startswith(URL) else {"complaint": "Down."}

    def send(_: int) -> Any:
        gate.wait()
        return api.post(path, json=body, headers={"Idempotency-Key": "k1"})

    with ThreadPoolExecutor(8) as pool:
        told = list(pool.map(send, range(8)))
    assert {t.status_code for t in told} == {201}
    assert sorted(t.json()["again"] for t in told) == [False] + [True] * 7
    assert len({str(t.json()["result"]) for t in told}) == 1
    assert len(desk.open("small").job.entries) == (3 if body is BODY else 2)
    assert len(api.get("/api/v1/jobs").json()["jobs"]) == (2 if body is BODY else 3)


def test_the_demonstration_is_kept_once() -> None:
    desk = Desk(workshop=open_workshop(), store=MemoryStore())
    with client_of(desk) as api:
        first, again = (api.post("/api/v1/demo", json={"by": "technician 1"}) for _ in range(2))
        assert (first.json()["again"], again.json()["again"]) == (False, True)
        assert api.get(first.headers["Location"]).json()["job"]["invented"] is True
        (listed,) = api.get("/api/v1/jobs/demo/evidence").json()["recordings"]
        assert api.get(listed["href"]).status_code == 200
    assert desk.open("demo").revision == 1


# --- two at once


def test_a_change_from_an_old_state_is_refused(api: TestClient, desk: Desk) -> None:
    seen = api.get(URL).headers["ETag"]
    assert api.post(f"{URL}/notes", json={"text": "other"}).status_code == 201
    told = answer(api, **{"If-Match": seen})
    assert told.status_code == 412
    assert told.json()["type"] == "/api/v1/problems/changed"
    assert len(desk.open("small").job.entries) == 2
    assert answer(api, **{"If-Match": api.get(URL).headers["ETag"]}).status_code == 201


def test_the_tag_of_what_follows_serves_too(api: TestClient) -> None:
    tag = api.get(f"{URL}/next").headers["ETag"]
    assert answer(api, **{"If-Match": tag}).status_code == 201
    assert answer(api, **{"If-Match": tag}).status_code == 412


@pytest.mark.parametrize(
    ("said", "status"),
    [
        ("*", 201),
        ('"1"', 201),
        ('"7", "1"', 201),
        ('"7","x,y" , "1"', 201),
        ('"7", "8"', 412),
        ('W/"1"', 412),  # RFC 9110, 13.1.1: a weak tag fits nothing
        ('"abc"', 412),
        ("1", 422),
        ('"1', 422),
        ('"1" "2"', 422),
    ],
)
def test_if_match(api: TestClient, said: str, status: int) -> None:
    assert answer(api, **{"If-Match": said}).status_code == status


def test_if_match_in_two_headers_is_one_list(api: TestClient) -> None:
    head = [("If-Match", '"7"'), ("If-Match", '"1"')]
    assert api.post(f"{URL}/entries", json=BODY, headers=head).status_code == 201
    assert api.post(f"{URL}/entries", json=BODY, headers=head).status_code == 412


def test_a_repeated_request_is_told_the_same_though_the_state_is_newer(api: TestClient) -> None:
    head = {"If-Match": '"1"', "Idempotency-Key": "k1"}
    assert answer(api, **head).json()["again"] is False
    assert answer(api, **head).json()["again"] is True


# --- pictures


def picture(kind: str = "PNG") -> bytes:
    held = BytesIO()
    Image.new("RGB", (8, 8), (200, 10, 10)).save(held, kind)
    return held.getvalue()


def photo(api: TestClient, data: bytes, key: str = "", name: str = "a.png", **fields: str) -> Any:
    return api.post(
        f"{URL}/photos", files={"file": (name, data, "text/html")}, data=fields,
        headers={"Idempotency-Key": key},
    )  # fmt: skip


@pytest.mark.parametrize(
    ("kind", "media"), [("PNG", "image/png"), ("JPEG", "image/jpeg"), ("WEBP", "image/webp")]
)
def test_a_picture_comes_back_as_it_came(
    api: TestClient, desk: Desk, kind: str, media: str
) -> None:
    """Whatever its sender calls it: a file that says to be a page must never be shown as one."""
    data = picture(kind)
    told = photo(
        api, data, name="../../<b>.html", text="crack", check="soap.fitting@left", by="technician 1"
    )
    assert told.status_code == 201
    (note,) = desk.open("small").job.notes
    assert (note.text, note.check, note.by) == ("crack", "soap.fitting@left", "technician 1")
    assert "/" not in note.photo
    assert "<" not in note.photo
    (listed,) = api.get(f"{URL}/evidence").json()["notes"]
    got = api.get(listed["href"])
    assert got.content == data
    assert got.headers["Content-Type"] == media
    assert "immutable" in got.headers["Cache-Control"]
    assert got.headers["X-Content-Type-Options"] == "nosniff"
    assert got.headers["Content-Disposition"] == f"inline; filename*=UTF-8''{note.photo}"


def test_a_recording_comes_back_as_it_came(api: TestClient, desk: Desk) -> None:
    (listed,) = api.get("/api/v1/jobs/demo/evidence").json()["recordings"]
    got = api.get(listed["href"])
    assert hashlib.sha256(got.content).hexdigest() == listed["href"].rpartition("/")[2]
    assert got.headers["Content-Type"] == "application/octet-stream"
    assert got.headers["Content-Disposition"].startswith("attachment;")


def test_a_file_of_another_job_is_not_there(api: TestClient) -> None:
    digest = hashlib.sha256(picture()).hexdigest()
    assert photo(api, picture()).status_code == 201
    assert api.get(f"{URL}/files/{digest}").status_code == 200
    assert api.get(f"/api/v1/jobs/demo/files/{digest}").status_code == 404
    assert api.get(f"{URL}/files/{'0' * 64}").status_code == 404


def test_the_digest_of_a_picture_counts_for_its_key(api: TestClient) -> None:
    assert photo(api, picture(), "k1", text="crack").json()["again"] is False
    assert photo(api, picture(), "k1", text="crack").json()["again"] is True
    assert photo(api, picture("JPEG"), "k1", text="crack").status_code == 422
    assert photo(api, picture(), "k1", text="other").status_code == 422


@pytest.mark.parametrize("data", [b"", b"<html>", b"GIF89a", b"%PDF-1.7", b"\xff\xd8"])
def test_what_is_no_picture_is_refused(api: TestClient, desk: Desk, data: bytes) -> None:
    told = photo(api, data)
    assert told.status_code == 422
    assert "JPEG, PNG or WebP" in told.json()["detail"]
    assert desk.open("small").job.notes == ()


def test_a_picture_that_is_too_large_says_what_is_kept(api: TestClient) -> None:
    told = photo(api, picture() + bytes(12_500_000))
    assert told.status_code == 422
    assert "up to 12 MB" in told.json()["detail"]
    assert photo(api, picture() + bytes(15_500_000)).status_code == 413
