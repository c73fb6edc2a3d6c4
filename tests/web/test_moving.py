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
from sagtrace.bootstrap import job_place
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
