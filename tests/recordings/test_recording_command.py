"""The commands that read recordings, and the job that keeps what was said about one."""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from sagtrace.adapters.remembered import RoleFile
from sagtrace.app.workshop import Workshop
from sagtrace.bootstrap import demo_folder, job_place, open_workshop
from sagtrace.cli.main import EXIT_FILE, EXIT_INPUT, main
from sagtrace.errors import EvidenceError, InputError
from sagtrace.evidence.facts import Facts
from sagtrace.signals.imported import Assignment
from sagtrace.signals.trace import Trace
from sagtrace.twin.identify.result import Fit, Tape
from sagtrace.vehicle.job import Taped
from sagtrace.vehicle.layouts import Layout

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
    assert "no height of this vehicle, which are height.rear" in said
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


# --- what a recording says of a system


TAPES = ("--tape", "0 min left=405 mm", "--tape", "0 min right=403 mm",
         "--tape", "3.5 min left=341 mm", "--tape", "3.5 min right=403 mm")  # fmt: skip


def test_what_it_says_of_a_system(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    said = run(capsys, "recording", "recording.csv", "--layout", "rear-pair")
    assert "2880 samples over 1439.5 s" in said
    assert "Audit of the height signals: nothing stands out in 7 tests." in said
    assert re.search(r"height\.rear 0\.50 min 190 s 8\.\d+ ± 0\.0\d+ mm/min", said)
    assert "The pump ran 10 % of the recorded time." in said
    assert re.search(r"leak of the axle \d+ ± \d+ mL/min \d+ to \d+ mL/min the fit", said)
    assert re.search(r"leak at the left not told 0 to \d+ mL/min", said)
    assert re.search(r"4\d\.\d ± [\d.]+ % \d+ to \d+ % the fit", said)
    assert "as well as its noise allows (mean square misfit 0." in said
    assert "Not told: left and right cannot be told apart from one axle sensor" in said
    assert "What would help most: no reading that is asked for here" in said
    assert "Findings:" in said


def test_the_reading_that_would_help_most_is_said(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The demo's job knows its vehicle well enough for a tape to be worth it."""
    shutil.copyfile(demo_folder() / "demo.yaml", "demo.yaml")
    said = run(capsys, "recording", "recording.csv", "--job", "demo.yaml")
    assert "What would help most: To narrow the leak of" in said
    assert "tape the height at left and right at the beginning and at the end" in said


def test_what_stands_out_is_a_line_each(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    header, *rows = DEMO.read_text().splitlines()
    at = header.split(",").index("height.rear [mm]")
    for row in range(300, 2800, 400):
        cells = rows[row].split(",")
        cells[at] = f"{float(cells[at]) + 40:.1f}"
        rows[row] = ",".join(cells)
    Path("spiky.csv").write_text("\n".join([header, *rows, ""]))
    said = run(capsys, "recording", "spiky.csv", "--layout", "rear-pair")
    assert "Audit of the height signals: what stands out." in said
    shown = data(capsys, "recording", "spiky.csv", "--layout", "rear-pair")["says"]
    out = [r for r in shown["audit"] if r["stands_out"]]
    assert {r["channel"] for r in out} == {"height.rear"}
    assert all(r["value"] > r["threshold"] for r in out)
    assert all(f"{r['kind']}" in said for r in out)
    assert len(out) >= 1


def test_tapes_tell_the_sides_apart_and_go_with_the_job(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The left wheel arch sank by 64 mm in 3.5 min while the right one stood."""
    plain = data(capsys, "recording", "recording.csv", "--layout", "rear-pair")["says"]
    words = ("recording", "recording.csv", "--layout", "rear-pair", *TAPES)
    taped = data(capsys, *words)["says"]
    assert not plain["fit"]["leaks"]["left"]["told"]
    assert taped["fit"]["leaks"]["left"]["told"]
    leaks = taped["fit"]["leaks"]
    assert leaks["right"]["value"] < 0.1 * leaks["left"]["value"]
    assert taped["tapes"][0] == {"time": "0 min", "corner": "left", "height": "405 mm"}
    audit = next(f for f in taped["findings"] if ".audit." in f["id"])
    assert audit["estimate"]["unit"] == "mm"
    run(capsys, "attach", "job.yaml", "recording.csv", *TAPES)
    (kept,) = job_place(Path("job.yaml")).load().recordings
    assert [t.corner for t in kept.tapes] == ["left", "right", "left", "right"]
    again = data(capsys, "recording", "recording.csv", "--job", "job.yaml")["says"]
    assert again["fit"] == taped["fit"]
    assert again["findings"] == taped["findings"]


def test_findings_are_written_as_data(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    words = ("recording", "recording.csv", "--job", "job.yaml", "--save", "deep/findings.json")
    run(capsys, *words)
    kept = json.loads(Path("deep/findings.json").read_text(encoding="utf-8"))
    assert kept == data(capsys, "recording", "recording.csv", "--job", "job.yaml")
    assert len(kept["report"]["sha256"]) == 64
    assert {"audit", "table", "fit", "findings", "notes", "episodes"} <= kept["says"].keys()
    curve = kept["says"]["fit"]["curves"]["height.rear"]
    assert len(curve["time"]) == len(curve["fitted"]) > 100


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--tape", "12 min right=385 mm"), "add --layout rear-pair or --job JOB"),
        (("--save", "x.json"), "add --layout rear-pair or --job JOB"),
        (("--layout", "rear-pear"), "Did you mean 'rear-pair'"),
        (("--layout", "rear-pair", "--job", "job.yaml"), "leave one of them out"),
        (("--layout", "rear-pair", "--tape", "right=385 mm"), "expected time corner=height"),
        (("--layout", "rear-pair", "--tape", "12 min rigt=385 mm"), "Did you mean 'right'"),
        (("--layout", "rear-pair", "--tape", "40 min right=385 mm"), "0.0 min to 24.0 min"),
    ],
)
def test_what_cannot_be_asked(
    folder: Path, capsys: pytest.CaptureFixture[str], words: tuple[str, ...], said: str
) -> None:
    assert said in run(capsys, "recording", "recording.csv", *words, code=EXIT_INPUT)
    assert not Path("x.json").exists()


def test_the_first_fit_says_what_it_prepares(
    folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Only where a fit has to be worked out; a kept one prepares nothing."""
    said: list[str] = []

    def prepare(tell: Callable[[str], None], *, at_once: bool) -> None:
        assert at_once
        tell("preparing")
        said.append("asked")
        raise EvidenceError("stopped here")

    monkeypatch.setenv("XDG_CACHE_HOME", str(folder / "cache"))
    monkeypatch.setattr("sagtrace.twin.simulate.prepare", prepare)
    assert main(["recording", "recording.csv", "--layout", "rear-pair"]) == 0
    shown = capsys.readouterr()
    assert "preparing" in shown.err
    assert "No fit of the virtual vehicle: stopped here" in " ".join(shown.out.split())
    assert main(["recording", "recording.csv", "--layout", "rear-pair"]) == 0
    assert said == ["asked"]


class Listener:
    """A fitter that keeps what it was asked and fits nothing."""

    def __init__(self) -> None:
        self.keys: list[str] = []
        self.tapes: list[tuple[Tape, ...]] = []

    def fit(
        self, layout: Layout, facts: Facts, trace: Trace, key: str, tapes: Sequence[Tape] = ()
    ) -> Fit:
        self.keys.append(key)
        self.tapes.append(tuple(tapes))
        raise EvidenceError("not asked to")


def test_a_fit_is_known_by_all_that_goes_into_it(folder: Path) -> None:
    """A look before it is attached has the key of the job; other tapes or facts have another."""
    heard = Listener()
    workshop = replace(open_workshop(), fitter=heard)
    job = job_place(Path("job.yaml")).load()
    imported = workshop.inspect(DEMO, "recording.csv")
    tapes = (Taped(time="1 min", corner="left", height="400 mm"),)
    workshop.look(job, imported)
    workshop.attach(job, DEMO.read_bytes(), "recording.csv", "2026-11-25T08:00:00+00:00")
    workshop.look(job, imported, tapes=tapes)
    other = (Taped(time="1 min", corner="left", height="401 mm"),)
    workshop.look(job, imported, tapes=other)
    workshop.look(job.tell({"spring-area": "120 cm2"}), imported)
    assert heard.keys[0] == heard.keys[1]
    assert len(set(heard.keys)) == 4
    assert [len(seen) for seen in heard.tapes] == [0, 0, 1, 1, 0]
    assert heard.tapes[2][0].height == pytest.approx(0.4)


def test_heights_at_the_corners_are_attached_too(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Four heights used to end in an error, because the axle's was looked for."""
    names = [f"height.{a}-{s} [mm]" for a in ("front", "rear") for s in ("left", "right")]
    rng = np.random.default_rng(2)
    rows = [
        f"{t / 2},{','.join(f'{400 + x:.2f}' for x in rng.normal(0, 0.3, 4))},{int(100 < t < 120)}"
        for t in range(1200)
    ]
    table = "\n".join([",".join(["time [s]", *names, "pump.command [-]"]), *rows, ""])
    Path("corners.csv").write_text(table)
    said = run(capsys, "recording", "corners.csv", "--layout", "four-corner")
    assert "height.rear-right" in said
    assert "Audit of height.front-left" in said
