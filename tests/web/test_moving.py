"""A job goes out of the workbench and into it, and is the same job."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from local import client_of
from playwright.sync_api import Page, expect

from sagtrace.app.desk import Desk
from sagtrace.app.kept import Mark
from sagtrace.bootstrap import job_place
from sagtrace.vehicle.job import Note
from workbench import fresh_desk

API = "/api/v1"


@pytest.fixture
def desk() -> Desk:
    return fresh_desk()


@pytest.fixture
def client(desk: Desk) -> Iterator[TestClient]:
    with client_of(desk) as found:
        yield found


def test_what_goes_out_comes_in_again(client: TestClient, desk: Desk) -> None:
    out = client.get(f"{API}/jobs/demo/export")
    assert out.headers["Content-Type"] == "application/zip"
    sent = {"file": ("demo.zip", out.content)}
    for again in (False, True):
        said = client.post(f"{API}/import", files=sent, headers={"Idempotency-Key": "k1"}).json()
        assert said["again"] is again
    assert said["job"] != "demo"  # because that id is taken
    taken = desk.open(said["job"]).job
    assert replace(taken, id="demo") == desk.open("demo").job
    verdicts = [client.get(f"{API}/jobs/{id_}/verdict").json() for id_ in ("demo", said["job"])]
    assert verdicts[0]["beliefs"] == verdicts[1]["beliefs"]


def test_the_commands_read_what_goes_out(client: TestClient, desk: Desk, tmp_path: Path) -> None:
    with zipfile.ZipFile(io.BytesIO(client.get(f"{API}/jobs/demo/export").content)) as archive:
        archive.extractall(tmp_path)
    place = job_place(tmp_path / "job.yaml")
    job = place.load()
    assert job == desk.open("demo").job
    assert desk.workshop.assess(job, place).verdict == desk.assessed(desk.open("demo")).verdict


@pytest.mark.parametrize(
    "data", [b"", b"\x00\x01", b"PK\x03\x04 no archive", b"format: 9\nid: x\n"]
)
def test_what_is_no_job_is_refused_in_words(client: TestClient, data: bytes) -> None:
    said = client.post(f"{API}/import", files={"file": ("a.zip", data)})
    assert said.status_code == 422
    assert len(said.json()["detail"]) > 20
    page = client.post("/import", files={"file": ("a.zip", data)})
    assert page.status_code == 422
    assert said.json()["detail"].split(":")[-1].strip()[:20] in page.text


def test_a_file_of_the_command_line_is_taken_in(page: Page, tmp_path: Path) -> None:
    job = tmp_path / "job.yaml"
    job.write_text("format: 1\nid: bay-2\ntitle: Rear is down\nlayout: rear-pair\n")
    page.goto("/new")
    page.get_by_label("A job as an archive").set_input_files(job)
    page.get_by_role("button", name="Take it in").tap()
    page.wait_for_url("**/jobs/bay-2")
    expect(page.get_by_text("Rear is down").first).to_be_visible()


def test_a_proved_job_goes_out_and_comes_in(client: TestClient, desk: Desk) -> None:
    url = f"{API}/jobs/demo"
    repair = next(iter(desk.workshop.system("rear-pair").repairs))
    picture = {"file": ("a.jpg", b"\xff\xd8\xff\xe0" + bytes(40))}
    told = [
        client.post(f"{url}/begun", json={"check": "hold.short@right"}),
        client.post(f"{url}/notes", json={"text": "rubbed"}),
        client.post(f"{url}/photos", files=picture, data={"text": "here"}),
        client.post(f"{url}/approvals", json={"repairs": [repair], "answer": "approved"}),
        client.post(f"{url}/repairs", json={"repairs": [repair]}),
        client.post(f"{url}/proofs", json={"check": "soap.fold-normal@left", "outcome": "none"}),
    ]
    assert [t.status_code for t in told] == [201] * 6, [t.text for t in told]
    sent = {"file": ("demo.zip", client.get(f"{url}/export").content)}
    said = client.post(f"{API}/import", files=sent)
    assert said.status_code == 201, said.text
    taken = desk.open(said.json()["job"]).job
    assert taken.proofs
    assert replace(taken, id="demo") == desk.open("demo").job


def test_moments_that_no_clock_shows_are_refused_and_shown(client: TestClient, desk: Desk) -> None:
    job = desk.open("demo").job
    for at in ("0001-01-01T00:00:00+00:00", "9999-12-31T23:59:59+00:00"):
        text = f"format: 1\nid: x\ntitle: x\nlayout: rear-pair\nopened: {at}\n"
        said = client.post(f"{API}/import", files={"file": ("a.yaml", text.encode())})
        assert said.status_code == 422
        assert "opened" in said.json()["detail"]
        old = replace(job, id=f"old-{at[:4]}", opened=at, notes=(Note(id="n1", text="a", at=at),))
        desk.store.add(old, Mark(what="start", at=at), {})  # as an older program kept it
        for path in ("", f"/jobs/{old.id}", f"/jobs/{old.id}/evidence"):
            assert client.get(path or "/").status_code == 200
