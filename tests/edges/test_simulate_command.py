"""`sagtrace simulate` and `sagtrace.simulate`: what they write, say and refuse."""

from __future__ import annotations

import csv
import json
import os
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pytest

import sagtrace
from sagtrace.adapters import exports
from sagtrace.adapters.files import read_csv_recording
from sagtrace.app import virtual
from sagtrace.cli.main import EXIT_FILE, EXIT_INPUT, main
from sagtrace.errors import DocumentError, DomainError, InputError

PAGE = (Path(__file__).parents[2] / "docs" / "python-api.md").read_text()

SCRIPT = """\
title: A short morning
layout: rear-pair
duration: 6 min
ambient: 5 °C
seed: 3
events:
  - {at: 1 min, engine: on}
  - {at: 2 min, load: {left: 150 kg, right: 150 kg}}
  - {at: 5 min, door: open}
faults:
  - {fault: spring.fold-leak@left, state: fast, size: 1.5, onset: 30 s}
"""
FOUR = "layout: four-corner-reservoir\nduration: 2 min\nevents: [{at: 10 s, engine: on}]\n"
HEADER = [
    "time [s]",
    "height.rear [mm]",
    "pump.current [A]",
    "pump.voltage [V]",
    "supply [V]",
    "pump.command [-]",
    "vent.command [-]",
    "valve.left [-]",
    "valve.right [-]",
    "pump.temperature [°C]",
    "ambient [°C]",
    "engine [-]",
]
INVENTED = "Invented data: a virtual vehicle, no real one."


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    code: int
    out: str
    err: str


Cli = Callable[..., Said]


@pytest.fixture
def cli(capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Cli:
    """A command line in an empty folder that holds scripts."""
    monkeypatch.chdir(tmp_path)
    Path("a.yaml").write_text(SCRIPT)
    Path("four.yaml").write_text(FOUR)

    def run(*argv: str) -> Said:
        capsys.readouterr()
        code = main(("simulate", *argv))
        said = capsys.readouterr()
        assert "Traceback" not in said.out + said.err
        return Said(code=code, out=said.out, err=said.err)

    return run


def columns(path: str) -> dict[str, np.ndarray]:
    """Return the columns of a CSV file, read without the program's own reader."""
    with Path(path).open(encoding="utf-8", newline="") as file:
        header, *rows = csv.reader(file)
    return dict(zip(header, np.array(rows, dtype=float).T, strict=True))


# --- what is written


def test_the_recording_is_one_that_attach_reads(
    cli: Cli, capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli("a.yaml", "--out", "r.csv").code == 0
    assert list(columns("r.csv")) == HEADER
    assert main(("new", "job.yaml")) == 0
    assert main(("attach", "job.yaml", "r.csv")) == 0
    assert "r1 kept: r.csv" in capsys.readouterr().out


def test_the_recording_says_what_was_simulated(cli: Cli) -> None:
    cli("a.yaml", "--out", "r.csv", "--rate", "4")
    trace = read_csv_recording(Path("r.csv").read_bytes(), "r.csv")
    run = sagtrace.simulate("a.yaml", rate=4.0)
    assert len(trace.time) == 6 * 60 * 4 + 1
    assert trace.time == pytest.approx(run.time, abs=1e-9)
    assert set(trace.channels) == set(run.channels)
    for role, values in trace.channels.items():
        assert values == pytest.approx(run.channels[role], rel=1e-9, abs=1e-9), role


@pytest.mark.parametrize("script", ["a.yaml", "four.yaml"])
def test_parquet_holds_the_same_numbers(cli: Cli, script: str) -> None:
    for suffix in ("csv", "parquet"):
        where = ("--out", f"r.{suffix}", "--truth", f"t.{suffix}")
        assert cli(script, *where, "--rate", "5").code == 0
    for name in "rt":
        text, binary = columns(f"{name}.csv"), pl.read_parquet(f"{name}.parquet")
        assert list(text) == binary.columns
        for title, values in text.items():
            assert binary[title].to_numpy() == pytest.approx(values, rel=1e-9, abs=0.0), title
        metadata = pl.read_parquet_metadata(f"{name}.parquet")
        assert metadata["invented"] == "virtual vehicle, invented data"


def test_the_truth_is_in_the_units_of_its_titles(cli: Cli) -> None:
    cli("a.yaml", "--out", "r.csv", "--truth", "t.csv", "--rate", "2")
    truth, run = columns("t.csv"), sagtrace.simulate("a.yaml", rate=2.0)
    volumes = ("left", "right", "gallery")
    units = {
        **{f"height.{c}": ("mm", 1e3, 0.0) for c in ("left", "right")},
        **{f"mass.{v}": ("g", 1e3, 0.0) for v in volumes},
        **{f"temperature.{v}": ("°C", 1.0, -273.15) for v in (*volumes, "head", "connector")},
        **{f"pressure.{v}": ("kPa abs", 1e-3, 0.0) for v in volumes},
        **{f"leak.{v}": ("mL/min", 6e7, 0.0) for v in volumes},
        **{f"valve.{c}": ("-", 1.0, 0.0) for c in ("left", "right")},
        "delivery.pump": ("L/min", 6e4, 0.0),
        "water.dryer": ("g", 1e3, 0.0),
        "charge.battery": ("%", 1e2, 0.0),
    }
    titles = {name: f"{name} [{unit}]" for name, (unit, _, _) in units.items()}
    assert list(truth) == ["time [s]", *titles.values()]
    assert set(run.truth) == set(units)
    for name, (_, scale, offset) in units.items():
        shown = scale * run.truth[name] + offset
        assert truth[titles[name]] == pytest.approx(shown, rel=1e-9, abs=2e-9), name


def test_the_truth_makes_sense(cli: Cli) -> None:
    """What anybody would expect of such a morning, in the units that people read."""
    cli("a.yaml", "--out", "r.csv", "--truth", "t.csv")
    truth, seen = columns("t.csv"), columns("r.csv")
    leak = truth["leak.left [mL/min]"]
    assert np.all(leak[:300] == 0.0)
    assert leak[301] > 1.0
    assert np.all(truth["leak.right [mL/min]"] == 0.0)
    assert truth["height.left [mm]"][1200] < truth["height.right [mm]"][1200] - 0.1
    mean = (truth["height.left [mm]"] + truth["height.right [mm]"]) / 2.0
    assert np.abs(mean - seen["height.rear [mm]"]).max() < 2.0  # noise and its step
    assert 100.0 < truth["pressure.left [kPa abs]"].min() < 1500.0
    assert 0.0 < truth["charge.battery [%]"].min() <= truth["charge.battery [%]"].max() <= 100.0
    assert seen["ambient [°C]"] == pytest.approx(5.0)
    assert set(seen["engine [-]"]) == {0.0, 1.0}


def test_the_same_seed_gives_the_same_bytes(cli: Cli) -> None:
    def written(name: str, *options: str) -> tuple[bytes, bytes]:
        cli("a.yaml", "--out", f"{name}.csv", "--truth", f"{name}-t.csv", *options)
        return Path(f"{name}.csv").read_bytes(), Path(f"{name}-t.csv").read_bytes()

    first = written("a")
    assert written("b", "--seed", "3", "--progress") == first
    assert written("c", "--seed", "4")[0] != first[0]


def test_a_long_recording_is_written_in_parts(cli: Cli, monkeypatch: pytest.MonkeyPatch) -> None:
    cli("a.yaml", "--out", "whole.csv")
    monkeypatch.setattr(exports, "PART", 1000)
    cli("a.yaml", "--out", "parts.csv")
    assert Path("parts.csv").read_bytes() == Path("whole.csv").read_bytes()


# --- what is said


def test_the_summary_is_what_somebody_sees(cli: Cli) -> None:
    said = cli("a.yaml", "--out", "r.csv", "--truth", "t.csv")
    assert said.code == 0
    lines = said.out.splitlines()
    assert lines[0] == INVENTED
    assert lines[1] == "A short morning: rear pair, 6 min from 5 °C, 3 events, seed 3."
    assert [line.split()[0] for line in lines[3:5]] == ["left", "right"]
    assert re.match(r"Pump: ran for \d+ s in [12] starts?\.", lines[5])
    assert lines[6].startswith("Codes: ")
    assert re.match(r"Balance: mass within \de-1\d, energy within \de-1\d\.", lines[7])
    assert lines[8:] == ["r.csv: 3601 rows of 12 columns.", "t.csv: 3601 rows of 22 columns."]


def test_faults_stay_hidden_unless_asked_for(cli: Cli) -> None:
    for more in ((), ("--json",)):
        hidden = cli("a.yaml", "--out", f"h{len(more)}.csv", *more)
        assert not re.search("leak|fault", hidden.out)
    told = cli("a.yaml", "--out", "t.csv", "--tell")
    assert re.search(r"^spring\.fold-leak@left +fast +1\.5 × +30 s$", told.out, re.MULTILINE)
    assert "No fault was put in." in cli("four.yaml", "--out", "f.csv", "--tell").out


def test_the_same_as_data(cli: Cli) -> None:
    said = cli("a.yaml", "--out", "r.csv", "--json", "--tell")
    data = json.loads(said.out)
    assert data["invented"] is True
    assert (data["layout"], data["duration_s"], data["seed"]) == ("rear-pair", 360.0, 3)
    assert data["files"]["recording"] == {"path": "r.csv", "rows": 3601, "columns": HEADER}
    assert data["faults"][0]["onset"] == 30.0
    assert data["not_read_by_attach"] == []
    seen, run = columns("r.csv"), sagtrace.simulate("a.yaml")
    for corner, at in data["corners"].items():
        end = 1e3 * run.truth[f"height.{corner}"][-1]
        assert at["height_mm"] == pytest.approx(end, abs=1e-6)
        assert at["above_ride_height_mm"] == pytest.approx(end - 400.0, abs=1e-6)
    running = np.count_nonzero(seen["pump.current [A]"][1:]) * 0.1
    assert data["pump"]["running_s"] == pytest.approx(running)
    assert data["balance"]["mass"] < 1e-9


def test_columns_that_attach_does_not_know_are_named(cli: Cli) -> None:
    said = cli("four.yaml", "--out", "r.csv")
    unknown = [title.partition(" ")[0] for title in columns("r.csv")][1:]
    unknown = [role for role in unknown if role not in read_roles()]
    if unknown:
        assert f"sagtrace attach knows no column {', '.join(unknown)}." in said.out
    assert "pressure.reservoir [kPa abs]" in columns("r.csv")


def read_roles() -> Sequence[str]:
    from sagtrace.signals.trace import ROLES

    return list(ROLES)


def test_codes_are_told_with_status_and_time(cli: Cli) -> None:
    text = SCRIPT.replace("150 kg", "900 kg").replace("6 min", "12 min").replace("5 min", "11 min")
    Path("heavy.yaml").write_text(text)
    said = cli("heavy.yaml", "--out", "r.csv", "--rate", "1")
    codes = r"Codes: [a-z ]+ \((failing now|history), status [0-9A-F]{2}, first at \d+ min"
    assert re.search(codes, said.out)
    (first, *_) = json.loads(cli("heavy.yaml", "--out", "s.csv", "--rate", "1", "--json").out)[
        "codes"
    ]
    assert set(first) == {"name", "failing_now", "status_byte", "first_seen_s"}
    assert 120.0 < first["first_seen_s"] < 720.0


def test_progress_is_lines_without_a_terminal(cli: Cli) -> None:
    said = cli("a.yaml", "--out", "r.csv", "--truth", "t.csv", "--progress")
    for part in ("simulating", "writing r.csv", "writing t.csv"):
        assert f"{part}: 100 %" in said.err
    assert "%" not in cli("a.yaml", "--out", "quiet.csv").err


def test_progress_is_a_bar_on_a_terminal(cli: Cli, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("FORCE_COLOR", "1")
    said = cli("a.yaml", "--out", "r.csv", "--progress")
    assert "simulating" in said.err
    assert "━" in said.err


def test_the_example_can_be_used(cli: Cli) -> None:
    Path("night.yaml").write_text(cli("--example").out, encoding="utf-8")
    said = cli("night.yaml", "--out", "night.csv", "--rate", "0.1")
    assert (said.code, said.out.splitlines()[0]) == (0, INVENTED)
    assert json.loads(cli("--example", "--json").out)["script"] == Path("night.yaml").read_text(
        encoding="utf-8"
    )


# --- weeks


def test_weeks_wear_the_pump(cli: Cli) -> None:
    said = cli("a.yaml", "--weeks", "3", "--out", "w.csv", "--progress")
    assert said.code == 0
    assert said.out.splitlines()[0] == INVENTED
    assert [line.split()[0] for line in said.out.splitlines()[3:7]] == ["Week", "1", "2", "3"]
    assert max(map(len, said.out.splitlines())) <= 80
    assert "simulating weeks: 100 %" in said.err
    table = columns("w.csv")
    assert list(table)[:3] == ["week [-]", "pump.running [s]", "pump.starts [-]"]
    for grows in ("wear.ring [%]", "wear.brushes [mΩ]", "wear.connector [mΩ]"):
        assert table[grows][0] == 0.0
        assert np.all(np.diff(table[grows]) > 0.0)
    weeks = json.loads(cli("a.yaml", "--weeks", "3", "--json").out)["weeks"]
    assert [week["week"] for week in weeks] == [1, 2, 3]
    assert weeks[2]["ring_leak_added_percent"] == pytest.approx(table["wear.ring [%]"][2])
    assert weeks[0]["pump_running_s"] == table["pump.running [s]"][0] > 0.0


def test_codes_of_weeks_are_told_once(cli: Cli) -> None:
    text = SCRIPT.replace("150 kg", "900 kg").replace("6 min", "12 min").replace("5 min", "11 min")
    Path("heavy.yaml").write_text(text)
    said = cli("heavy.yaml", "--weeks", "2")
    assert len(re.findall(r"^Codes from week 1: ", said.out, re.MULTILINE)) == 1
    assert "Codes from week 2: level" not in said.out


# --- refusals


@pytest.mark.parametrize(
    ("argv", "fragments"),
    [
        (("a.yaml", "--out", "r.txt"), ("r.txt", ".csv or .parquet")),
        (("a.yaml", "--out", "r"), (".csv or .parquet",)),
        (("a.yaml", "--out", "old.csv"), ("old.csv exists already and is left as it is",)),
        (("a.yaml", "--out", "r.csv", "--truth", "old.csv"), ("old.csv exists already",)),
        (("a.yaml", "--out", "r.csv", "--truth", "r.csv"), ("r.csv is named twice",)),
        (("a.yaml", "--out", "r.csv", "--rate", "0"), ("rate = 0 1/s", "above zero")),
        (("a.yaml", "--out", "r.csv", "--rate", "-1"), ("rate = -1 1/s",)),
        (("a.yaml", "--out", "r.csv", "--rate", "nan"), ("rate = nan 1/s",)),
        (("a.yaml", "--out", "r.csv", "--rate", "inf"), ("rate = inf 1/s", "at most 1000")),
        (("a.yaml", "--out", "r.csv", "--rate", "1e-3"), ("rate = 0.001", "two samples")),
        (("long.yaml", "--out", "r.csv"), ("at most 20 000 000", "samples a second")),
        (
            ("long.yaml", "--out", "r.csv", "--truth", "t.csv", "--rate", "1"),
            ("at most 8 000 000 with the truth",),
        ),
        (("a.yaml", "--out", "r.csv", "--seed", str(2**40)), ("seed = ", "from 0 to")),
        (("a.yaml", "--weeks", "2", "--truth", "t.csv"), ("--truth", "leave one out")),
        (("a.yaml", "--weeks", "2", "--rate", "0.5"), ("rate = 0.5", "every run of the pump")),
    ],
    ids=" ".join,
)
def test_input_that_cannot_be_right(
    cli: Cli, argv: tuple[str, ...], fragments: tuple[str, ...]
) -> None:
    Path("old.csv").write_text("mine")
    Path("long.yaml").write_text("layout: rear-pair\nduration: 300 d\n")
    before = sorted(os.listdir())
    said = cli(*argv)
    assert said.code == EXIT_INPUT
    assert said.out == ""
    assert [text for text in fragments if text not in said.err] == [], said.err
    assert sorted(os.listdir()) == before
    assert Path("old.csv").read_text() == "mine"


@pytest.mark.parametrize(
    ("argv", "fragments"),
    [
        (("none.yaml", "--out", "r.csv"), ("none.yaml", "cannot be read")),
        ((".", "--out", "r.csv"), ("it is a directory",)),
        (("wrong.yaml", "--out", "r.csv"), ("wrong.yaml, line 2", "duration = '6'")),
        (("a.yaml", "--out", "wrong.yaml/r.csv"), ("cannot be written", "is no folder")),
        (("a.yaml", "--out", "shut/r.csv"), ("cannot be written", "may not be written in")),
    ],
    ids=" ".join,
)
def test_files_that_cannot_be_right(
    cli: Cli, argv: tuple[str, ...], fragments: tuple[str, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    Path("wrong.yaml").write_text("layout: rear-pair\nduration: 6\n")
    Path("shut").mkdir()
    # Because whoever runs the tests may be allowed to write anywhere.
    monkeypatch.setattr(os, "access", lambda path, _: Path(path).name != "shut")
    said = cli(*argv)
    assert (said.code, said.out) == (EXIT_FILE, "")
    assert [text for text in fragments if text not in said.err] == [], said.err


@pytest.mark.parametrize(
    ("argv", "fragment"),
    [
        ((), "name a script"),
        (("a.yaml",), "say where to write"),
        (("a.yaml", "--out", "r.csv", "--rate", "fast"), "--rate"),
        (("a.yaml", "--out", "r.csv", "--seed", "-1"), "--seed"),
        (("a.yaml", "--weeks", "0"), "--weeks"),
    ],
)
def test_a_wrong_command_line(cli: Cli, argv: tuple[str, ...], fragment: str) -> None:
    said = cli(*argv)
    assert said.code == 2
    assert fragment in said.err


def test_a_calculation_that_fails_says_so(cli: Cli, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(virtual, "simulate", _raise(DomainError("p", -1.0, "Pa", "above zero")))
    said = cli("a.yaml", "--out", "r.csv")
    assert said.code == EXIT_INPUT
    assert "p = -1 Pa" in said.err
    assert not Path("r.csv").exists()


@pytest.mark.parametrize("where", ["simulating", "writing"])
def test_stopped_by_hand_it_leaves_nothing_behind(
    cli: Cli, where: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    if where == "simulating":
        monkeypatch.setattr(virtual, "simulate", _raise(KeyboardInterrupt()))
    else:
        monkeypatch.setattr(exports, "_frame", _raise(KeyboardInterrupt()))
    before = sorted(os.listdir())
    said = cli("a.yaml", "--out", "r.csv")
    assert said.code != 0
    assert sorted(os.listdir()) == before


def _raise(err: BaseException) -> Callable[..., Any]:
    def fail(*_: object, **__: object) -> None:
        raise err

    return fail


# --- from Python


def test_the_example_of_the_page_works(capsys: pytest.CaptureFixture[str]) -> None:
    _, example = re.findall(r"^```python\n(.*?)^```$", PAGE, re.DOTALL | re.MULTILINE)
    exec(compile(example, "docs/python-api.md", "exec"), {})
    said = capsys.readouterr().out.splitlines()
    assert said[0].startswith("721 samples of height.rear, pump.current")
    assert re.match(r"pump runs from 1[23]\d to \d+ s", said[1])
    assert re.match(r"hottest head \d+ °C, codes \{", said[2])


def test_a_run_can_be_saved(tmp_path: Path) -> None:
    data = {"layout": "rear-pair", "duration": "1 min"}
    run = sagtrace.simulate(data, seed=5, rate=1.0)
    run.save(tmp_path / "r.csv")
    run.save_truth(str(tmp_path / "t.parquet"))
    assert len(columns(str(tmp_path / "r.csv"))["time [s]"]) == 61
    assert pl.read_parquet(tmp_path / "t.parquet").height == 61
    again = sagtrace.simulate({**data, "seed": 5}, rate=1.0, truth=False)
    assert np.array_equal(again.channels["height.rear"], run.channels["height.rear"])
    assert dict(again.truth) == {}
    with pytest.raises(InputError, match="truth=True"):
        again.save_truth(tmp_path / "u.csv")
    with pytest.raises(InputError, match=r"r\.txt: expected a name"):
        run.save(tmp_path / "r.txt")


def test_wrong_data_is_refused_with_its_field() -> None:
    with pytest.raises(DocumentError, match="no field 'duraton'"):
        sagtrace.simulate({"layout": "rear-pair", "duraton": "1 min"})
    with pytest.raises(DomainError, match="seed"):
        sagtrace.simulate({"layout": "rear-pair", "duration": "1 min"}, seed=-1)
    with pytest.raises(DomainError, match="rate"):
        sagtrace.simulate({"layout": "rear-pair", "duration": "1 min"}, rate=0.0)


def test_every_field_of_a_run_is_documented() -> None:
    (what,) = re.findall(r"^\| `simulate\(.*`SimulatedRun`: (.*) \|$", PAGE, re.MULTILINE)
    public = [name for name in sagtrace.SimulatedRun.__slots__ if not name.startswith("_")]
    assert [name for name in public if f"`{name}`" not in what] == []


def test_a_library_call_that_must_compile_says_so(
    cli: Cli, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr("sagtrace.twin.simulate.all_kept", lambda: False)
    sagtrace.simulate("a.yaml", rate=1.0, truth=False)
    assert "compiles it, once" in caplog.text
