"""The commands that read recordings, and the job that keeps what was said about one."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from sagtrace.adapters.remembered import RoleFile
from sagtrace.app.workshop import Workshop
from sagtrace.bootstrap import demo_folder, job_place, open_workshop
from sagtrace.cli.main import EXIT_FILE, EXIT_INPUT, main
from sagtrace.errors import InputError
from sagtrace.signals.imported import Assignment

DEMO = demo_folder() / "recording.csv"
TITLES = {
    "time [s]": "Zeit;s", "height.rear [mm]": "Niveau Hinterachse;mm",
    "pump.command [-]": "Kompressor Relais;-", "supply [V]": "Batteriespannung;V",
    "pump.voltage [V]": "Kompressorspannung;V", "ambient [degC]": "Aussentemperatur;°C",
    "engine [-]": "Motor;-",
}  # fmt: skip


def german(**other: str) -> bytes:
    """The invented recording of the demo as a tool elsewhere would export it."""
    header, *rows = DEMO.read_text().splitlines()
    titles = [TITLES[cell].split(";") for cell in header.split(",")]
    names = [other.get(name, name) for name, _ in titles]
    units = [unit for _, unit in titles]
    body = [row.replace(",", ";").replace(".", ",") for row in rows]
    lines = ["Aufzeichnung, erfunden", "", ";".join(names), ";".join(units), *body]
    return "\r\n".join([*lines, ""]).encode("cp1252")


@pytest.fixture
def folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "home"))
    assert main(["new", "job.yaml"]) == 0
    shutil.copyfile(DEMO, "recording.csv")
    Path("drive.csv").write_bytes(german())
    capsys.readouterr()
    return tmp_path


def run(capsys: pytest.CaptureFixture[str], *words: str, code: int = 0) -> str:
    assert main(list(words)) == code
    said = capsys.readouterr()
    return " ".join((said.out if code == 0 else said.err).split())


def data(capsys: pytest.CaptureFixture[str], *words: str) -> Any:
    assert main([*words, "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def test_a_recording_from_elsewhere_says_the_same(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    strict = data(capsys, "attach", "job.yaml", "recording.csv")
    main(["new", "other.yaml"])
    capsys.readouterr()
    assert data(capsys, "attach", "other.yaml", "drive.csv") == strict
    (kept,) = job_place(Path("other.yaml")).load().recordings
    assert kept.roles == {
        "Zeit": "time [s]",
        "Niveau Hinterachse": "height.rear [mm]",
        "Kompressor Relais": "pump.command [-]",
        "Batteriespannung": "supply [V]",
        "Kompressorspannung": "pump.voltage [V]",
        "Aussentemperatur": "ambient [°C]",
        "Motor": "engine [-]",
    }
    assert job_place(Path("job.yaml")).load().recordings[0].roles == {}


def test_what_was_done_to_a_file_is_said(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    said = run(capsys, "attach", "job.yaml", "drive.csv")
    assert "import: Lines 1 to 2 above the header were not read as data." in said
    assert "import: Line 4 holds the units." in said
    assert "import: 2880 rows of values." in said
    assert "column: 'Niveau Hinterachse' is height.rear [mm]" in said


def test_the_columns_of_a_recording(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    shown = data(capsys, "recording", "drive.csv")
    assert shown["report"]["encoding"] == "cp1252"
    assert shown["report"]["decimal"] == "comma"
    assert shown["report"]["size"] == len(german())
    roles = {c["name"]: c["role"] for c in shown["columns"]}
    assert roles["Batteriespannung"] == "supply"
    said = run(capsys, "recording", "drive.csv")
    assert "Kompressorspannung V pump.voltage [V]" in said
    assert "2880 samples over 1439.5 s" in said


def test_a_column_that_is_not_clear_is_asked_for(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    Path("drive.csv").write_bytes(german(**{"Niveau Hinterachse": "Niveau"}))
    said = run(capsys, "recording", "drive.csv")
    assert "height.rear?" in said
    assert "--role 'Niveau=height.rear [mm]'" in said
    before = Path("job.yaml").read_bytes()
    said = run(capsys, "attach", "job.yaml", "drive.csv", code=EXIT_FILE)
    assert "it is not clear what 1 column(s) are. 'Niveau' [mm]: height.rear (48 %)" in said
    assert "--role 'Niveau=height.rear [mm]'" in said
    assert "--role 'Niveau=-'" in said
    assert Path("job.yaml").read_bytes() == before
    run(capsys, "attach", "job.yaml", "drive.csv", "--role", "Niveau=height.rear [mm]")
    assert main(["verdict", "job.yaml"]) == 0


def test_a_recording_is_read_again_as_it_was(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What is remembered later changes no job that has its recording already."""
    workshop = open_workshop()
    place = job_place(Path("job.yaml"))
    said = Assignment(roles={"Batteriespannung": "-"})
    content = Path("drive.csv").read_bytes()
    job, recorded = workshop.attach(place.load(), content, "drive.csv", "", said)
    place.save(job)
    assert "supply" not in recorded.trace.channels
    run(capsys, "recording", "drive.csv", "--role", "Niveau Hinterachse=height.front [mm]",
        "--role", "Batteriespannung=pump.voltage [V]", "--role", "Motor=door",
        "--remember")  # fmt: skip
    (again,) = workshop.assess(place.load(), place).recordings
    assert again.report.findings == recorded.report.findings
    np.testing.assert_array_equal(again.trace.time, recorded.trace.time)
    assert again.trace.channels.keys() == recorded.trace.channels.keys()
    for role, values in recorded.trace.channels.items():
        np.testing.assert_array_equal(again.trace.channels[role], values)


def test_a_correction_is_remembered(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    Path("drive.csv").write_bytes(german(**{"Niveau Hinterachse": "Kanal 7"}))
    said = run(capsys, "attach", "job.yaml", "drive.csv", code=EXIT_INPUT)
    assert "no channel height.rear" in said
    run(capsys, "recording", "drive.csv", "--role", "Kanal 7=height.rear [mm]", "--remember")
    kept = RoleFile(folder / "home" / "sagtrace" / "roles.yaml").recall()
    assert kept == {("Kanal 7", "mm"): "height.rear [mm]"}
    assert "100 % remembered" in run(capsys, "recording", "drive.csv")
    assert "Kanal 7" in run(capsys, "attach", "job.yaml", "drive.csv")


def test_nothing_said_is_nothing_to_remember(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    said = run(capsys, "recording", "drive.csv", "--remember", code=EXIT_INPUT)
    assert "nothing was said" in said
    without = Workshop(
        knowledge_source=open_workshop().knowledge_source,
        recording_reader=open_workshop().recording_reader,
        paper_maker=open_workshop().paper_maker,
        version="9.9",
    )
    imported = without.inspect(german(), "drive.csv")
    with pytest.raises(InputError, match="no place to remember"):
        without.remember(imported, Assignment())


def test_a_recording_without_a_time(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    lines = [line.partition(",")[2] for line in DEMO.read_text().splitlines()]
    Path("drive.csv").write_text("\n".join(lines))
    said = run(capsys, "recording", "drive.csv", code=EXIT_FILE)
    assert "no time column" in said
    strict = data(capsys, "attach", "job.yaml", "recording.csv")
    main(["new", "other.yaml"])
    capsys.readouterr()
    assert data(capsys, "attach", "other.yaml", "drive.csv", "--rate", "2 Hz") == strict
    assert job_place(Path("other.yaml")).load().recordings[0].rate == "2 Hz"
    assert main(["verdict", "other.yaml"]) == 0


@pytest.mark.parametrize("text", ["height.rear [mm]", "=supply [V]", "Zeit="])
def test_a_role_that_is_said_wrongly(
    folder: Path, capsys: pytest.CaptureFixture[str], text: str
) -> None:
    said = run(capsys, "recording", "drive.csv", "--role", text, code=EXIT_INPUT)
    assert "expected column=role, e.g. 'Column name=height.rear [mm]'" in said


def test_a_role_that_is_said_twice(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    words = ("--role", "Zeit=time [s]", "--role", "Zeit=-")
    assert "given twice" in run(capsys, "recording", "drive.csv", *words, code=EXIT_INPUT)


def test_a_file_in_which_nothing_is_known(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    rows = "\n".join(f"{i},{i % 7},{i % 5}" for i in range(40))
    Path("drive.csv").write_text(f"Time [s],Ka,Kb\n{rows}\n")
    said = run(capsys, "attach", "job.yaml", "drive.csv", code=EXIT_FILE)
    assert "no column is known by its name or its values" in said
    assert "--role 'Name=height.rear [mm]'" in said
