"""The example of the page about the HTTP API works, and the page has every route."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from local import client_of

from sagtrace.web.problems import KINDS
from workbench import Bench, fresh_desk

PAGE = (Path(__file__).parents[2] / "docs" / "http-api.md").read_text()
ELSEWHERE = {"recordings"}  # told on their own pages


def test_the_client_of_the_page_works(bench: Bench, capsys: pytest.CaptureFixture[str]) -> None:
    code = re.search(r"^```python\n(.*?)^```$", PAGE, re.DOTALL | re.MULTILINE)
    assert code is not None
    usual = "http://127.0.0.1:8040"
    assert usual in code[1]
    names: dict[str, Any] = {}
    exec(compile(code[1].replace(usual, bench.url), "http-api.md", "exec"), names)
    names["api"].close()
    said = capsys.readouterr().out
    assert re.search(r"^e2 .*leak.* again: False$", said, re.MULTILINE), said
    assert re.search(r"^e2 .*leak.* again: True$", said, re.MULTILINE)
    assert "\n412 " in said
    assert "\n304\n" in said
    assert "422 application/problem+json ['hold.short@left'" in said
    entries = bench.desk.open(names["job"]).job.entries
    assert [entry.id for entry in entries] == ["e1", "e2"]


def test_the_page_has_every_route() -> None:
    said = re.sub(r"…(/\w)", r"\1", PAGE)
    for path, operations in (
        client_of(fresh_desk()).get("/api/v1/openapi.json").json()["paths"].items()
    ):
        last = [part for part in path.split("/") if not part.startswith("{")][-1]
        if set(path.split("/")) & ELSEWHERE:
            continue
        assert f"/{last}" in said, path
        assert operations


def test_the_page_has_every_status_of_a_problem() -> None:
    told = {
        int(n)
        for row in re.findall(r"^\| ([\d, ]+) \|", PAGE, re.MULTILINE)
        for n in row.split(",")
    }
    assert {status for status, _, _ in KINDS.values()} <= told
