"""The command line through its front door: results, refusals, exit codes, what stays on disk."""

from __future__ import annotations

import errno
import json
import os
import shlex
import shutil
import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pytest
import typer

from sagtrace.app.ports import Recordings
from sagtrace.app.workshop import COMPLAINT, Workshop
from sagtrace.bootstrap import demo_folder, job_place
from sagtrace.cli.main import EXIT_FILE, EXIT_INPUT, EXIT_PART, app, main
from sagtrace.report.assessment import Assessment
from sagtrace.twin.simulate import prepare
from sagtrace.vehicle.job import Job

EXIT_OK, EXIT_USAGE = 0, 2

JOB = """\
format: 1
id: job
title: Left rear is down every morning
layout: rear-pair
opened: 2026-11-24T08:05:00+00:00
complaint: Left rear is down every morning
entries:
  - id: e1
    check: story.when-low@left
    outcome: within-hour
    at: 2026-11-24T08:12:00+00:00
  - id: e2
    check: hold.short@left
    values: {height-start: 403 mm, height-end: 356 mm, time: 3 min}
    at: 2026-11-24T08:30:00+00:00
  - id: e3
    check: soap.fold-normal@left
    outcome: bubbles
    at: 2026-11-24T08:40:00+00:00
"""

WHEN = "2026-11-24T09:00:00+00:00"
HOLD = ("-v", "height-start=412 mm", "-v", "height-end=398 mm", "-v", "time=20 min")

# Every command as somebody would type it on the job above.
COMMANDS: dict[str, tuple[str, ...]] = {
    "new": ("other.yaml", "--at", WHEN),
    "next": ("job.yaml",),
    "add": ("job.yaml", "hold.short@right", *HOLD, "--at", WHEN),
    "withdraw": ("job.yaml", "e3", "--note", "wrong side", "--at", WHEN),
    "recording": ("recording.csv",),
    "attach": ("job.yaml", "recording.csv", "--at", WHEN),
    "show": ("job.yaml",),
    "verdict": ("job.yaml",),
    "options": ("job.yaml",),
    "approve": ("job.yaml", "spring.replace@left"),
    "repaired": ("job.yaml", "spring.replace@left"),
    "proofs": ("job.yaml",),
    "prove": ("job.yaml", "hold.overnight@left", *HOLD, "--at", WHEN),
    "paper": ("job.yaml", "--out", "papers"),
    "simulate": ("--example",),
    "know": ("faults",),
    "schema": (),
    "demo": ("--out", "out"),
}
GOES_ON = "serve"  # until it is stopped; tests/web/test_serving.py runs it


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    code: int
    out: str
    err: str

    def data(self) -> Any:
        return json.loads(self.out, parse_constant=_no_number)


def _no_number(text: str) -> float:
    raise AssertionError(f"{text} is no JSON")


Cli = Callable[..., Said]


@pytest.fixture(scope="module", autouse=True)
def _assess_once() -> Iterator[None]:
    """Assess equal jobs once: it follows from the job and its recordings alone."""
    kept: dict[tuple[str | bytes, ...], Assessment] = {}
    really = Workshop.assess

    def assess(self: Workshop, job: Job, place: Recordings | None = None) -> Assessment:
        recordings = () if place is None else (place.recording(r.file) for r in job.recordings)
        key = (repr(job), *recordings)
        if key not in kept:
            kept[key] = really(self, job, place)
        return kept[key]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Workshop, "assess", assess)
        yield


@pytest.fixture
def cli(capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Cli:
    """A command line in an empty folder that holds a job and a recording beside it."""
    monkeypatch.chdir(tmp_path)
    Path("job.yaml").write_text(JOB)
    shutil.copyfile(demo_folder() / "recording.csv", "recording.csv")

    def run(*argv: str) -> Said:
        capsys.readouterr()
        code = main(argv)
        said = capsys.readouterr()
        assert "Traceback" not in said.out + said.err
        return Said(code=code, out=said.out, err=said.err)

    return run


def refused(said: Said, code: int, *fragments: str) -> None:
    """Check that the command said why it did nothing, on the channel for talk."""
    assert said.code == code, said
    assert said.out == ""
    assert said.err.startswith("sagtrace: ")
    assert [text for text in fragments if text not in said.err] == [], said.err


# --- every command


@pytest.fixture(scope="module", autouse=True)
def compiled() -> None:
    """What the first run on a machine says of its compiling is no part of what is tested here."""
    prepare()


def test_no_command_is_left_out() -> None:
    group = typer.main.get_command(app)
    known = list(getattr(group, "commands"))  # noqa: B009  because typer hides it
    assert list(COMMANDS) == [name for name in known if name != GOES_ON]


@pytest.mark.parametrize("command", COMMANDS)
def test_says_its_result_in_words(cli: Cli, command: str) -> None:
    said = cli(command, *COMMANDS[command])
    assert (said.code, said.err) == (EXIT_OK, "")
    assert said.out.strip()


@pytest.mark.parametrize("command", COMMANDS)
def test_says_its_result_as_json(cli: Cli, command: str) -> None:
    said = cli(command, *COMMANDS[command], "--json")
    assert (said.code, said.err) == (EXIT_OK, "")
    assert said.data()


@pytest.mark.parametrize("command", COMMANDS)
def test_help_explains_with_an_example(cli: Cli, command: str) -> None:
    said = cli(command, "--help")
    assert (said.code, said.err) == (EXIT_OK, "")
    assert f"Example: sagtrace {command}" in said.out
    assert f"Usage: sagtrace {command}" in said.out
    assert "--json" in said.out


def examples() -> Iterator[str]:
    group = typer.main.get_command(app)
    for name, command in getattr(group, "commands").items():  # noqa: B009
        if name == GOES_ON:
            continue
        text = command.epilog.removeprefix("Example: ").partition(" > ")[0]
        yield from text.split("; ")


@pytest.mark.parametrize("example", list(examples()))
def test_every_example_works_as_written(cli: Cli, example: str) -> None:
    program, *argv = shlex.split(example)
    assert program == "sagtrace"
    if argv[0] == "new":
        Path("job.yaml").unlink()
    said = cli(*argv)
    # The first run on a machine compiles the virtual vehicle and says so.
    more = [line for line in said.err.splitlines() if "virtual vehicle" not in line]
    assert (said.code, more) == (EXIT_OK, [])


def test_the_start_of_the_help_leads_on(cli: Cli) -> None:
    said = cli("--help")
    assert said.code == EXIT_OK
    assert "Start with: sagtrace new job.yaml" in said.out
    for command in COMMANDS:
        assert f"\n  {command} " in said.out


# --- the command line itself is wrong


@pytest.mark.parametrize(
    ("argv", "fragment"),
    [
        ((), "Usage: sagtrace"),
        (("nonsense",), "No such command"),
        (("next",), "Missing argument"),
        (("next", "job.yaml", "--cuont", "3"), "--count"),
        (("next", "job.yaml", "--count", "0"), "--count"),
        (("next", "job.yaml", "--count", "two"), "integer"),
        (("repaired", "job.yaml"), "Missing argument"),
        (("show", "job.yaml", "more"), "more"),
    ],
)
def test_a_wrong_command_line_is_code_2(cli: Cli, argv: Sequence[str], fragment: str) -> None:
    said = cli(*argv)
    assert said.code == EXIT_USAGE
    assert fragment in said.out + said.err
    assert Path("job.yaml").read_text() == JOB


# --- an answer that cannot be right leaves the job as it is

REFUSED_ANSWERS: list[tuple[tuple[str, ...], tuple[str, ...]]] = [
    (("soap.fiting@left", "-o", "none"), ("no check 'soap.fiting@left'", "'soap.fitting@left'")),
    (("soap.fitting", "-o", "none"), ("Say which corner: soap.fitting@left, soap.fitting@right",)),
    (("soap.fitting@left", "-o", "nonne"), ("no outcome of soap.fitting@left", "'none'")),
    (("soap.fitting@left",), ("no outcome of soap.fitting@left", "Known: bubbles, none")),
    (("soap.fitting@left", *HOLD), ("asks for one of its outcomes", "bubbles, none")),
    (("hold.short@left", "-o", "none"), ("asks for numbers, not for an outcome", "'none'")),
    (("hold.short@left",), ("height-start (", "height-end (", "time (", "in mm", "in min")),
    (("hold.short@left", *HOLD[:4]), ("also needs: time (",)),
    (("hold.short@left", *HOLD, "-v", "tempreature-end=9 °C"), ("'temperature-end'",)),
    (("hold.short@left", "-v", "time"), ("value 'time': expected name=text",)),
    (("hold.short@left", *HOLD, "-v", "time=30 min"), ("'time' is given twice",)),
    (("supply.running", "-v", "value=12 bar"), ("value = '12 bar'", "12.4 V", "pressure")),
    (("supply.running", "-v", "value=much"), ("value = 'much'", "No number")),
    (("supply.running", "-v", "value=nan V"), ("nan V", "Leave the reading out")),
    (("supply.running", "-v", "value=900 V"), ("900",)),
    (
        (*("hold.short@left", "-v", "height-start=356 mm"), "-v", "height-end=403 mm", *HOLD[4:]),
        ("drop = -47 mm", "swapped"),
    ),
    (
        (*("hold.short@left", "-v", "height-start=812 mm"), "-v", "height-end=398 mm", *HOLD[4:]),
        ("drop = 414 mm", "Check both heights"),
    ),
    (
        ("hold.short@left", *HOLD[:4], "-v", "time=0 min"),
        ("0 s", "above zero"),
    ),
    (("pump.duty", "-v", "running=60 min", "-v", "watched=10 s"), ("swapped",)),
    (("relay.drop", "-v", "drop=60 mV", "-v", "current=0 A"), ("current = 0 A", "pump runs")),
    (("soap.ends@left", "-o", "none", "--corrects", "e9"), ("earlier entry 'e9'", "'e3'")),
    (("soap.ends@left", "-o", "none", "--at", "yesterday"), ("'yesterday'", "2026-11-24T08:05")),
]


@pytest.mark.parametrize(("answer", "fragments"), REFUSED_ANSWERS, ids=" ".join)
def test_a_refused_answer_changes_nothing(
    cli: Cli, answer: tuple[str, ...], fragments: tuple[str, ...]
) -> None:
    refused(cli("add", "job.yaml", *answer), EXIT_INPUT, *fragments)
    if "--corrects" not in answer:
        refused(cli("prove", "job.yaml", *answer), EXIT_INPUT, *fragments)
    assert Path("job.yaml").read_bytes() == JOB.encode()


@pytest.mark.parametrize(
    ("argv", "fragments"),
    [
        (("withdraw", "job.yaml", "e9"), ("no entry 'e9'", "'e3'")),
        (("repaired", "job.yaml", "spring.replace"), ("Say which corner: spring.replace@left",)),
        (("repaired", "job.yaml", "pump.ringkit"), ("no repair 'pump.ringkit'", "pump.ring-kit")),
        (("know", "check"), ("Did you mean 'checks'?",)),
        (("know", "checks", "hold.overnite"), ("'hold.overnite'", "'hold.overnight'")),
        (("new", "x.yaml", "--layout", "rear"), ("no layout 'rear'", "rear-pair")),
        (("new", "x.yaml", "--fact", "spring-are=3"), ("'spring-area'",)),
        (("new", "x.yaml", "--fact", "spring-area=3 bar"), ("area of one spring", "pressure")),
        (("new", "x.yaml", "--fact", "spring-area"), ("fact 'spring-area': expected name=text",)),
        (("new", "x.yaml", "--at", "24/11"), ("'24/11'",)),
        (("new", "job.yaml"), ("job.yaml exists already and is left as it is",)),
    ],
    ids=" ".join,
)
def test_other_input_that_cannot_be_right(
    cli: Cli, argv: tuple[str, ...], fragments: tuple[str, ...]
) -> None:
    refused(cli(*argv), EXIT_INPUT, *fragments)
    assert Path("job.yaml").read_bytes() == JOB.encode()
    assert not Path("x.yaml").exists()


# --- what is kept


def test_a_new_job_can_be_used(cli: Cli) -> None:
    cli("new", "a.yaml", "--complaint", "sits low", "--fact", "spring-area=112 cm2", "--at", WHEN)
    job = cli("show", "a.yaml", "--json").data()
    assert (job["id"], job["title"], job["complaint"]) == ("a", "sits low", "sits low")
    assert job["opened"] == WHEN
    assert [(t["name"], t["text"]) for t in job["told"]] == [("spring-area", "112 cm2")]


def test_an_empty_complaint_becomes_the_usual_one(cli: Cli) -> None:
    cli("new", "a.yaml", "--complaint", "")
    job = cli("show", "a.yaml", "--json").data()
    assert job["title"] == job["complaint"] == COMPLAINT


def test_an_answer_is_kept_as_typed(cli: Cli) -> None:
    values = ("-v", "height-start=16 1/4 in", "-v", "height-end=412,0 mm", "-v", "time= 90 min ")
    about = ("--by", "A", "--instrument", "tape", "--note", "in the yard", "--at", WHEN)
    said = cli("add", "job.yaml", "hold.short@right", *values, *about)
    assert said.out.startswith("e4 kept: ")
    assert "mL/min" in said.out
    assert "temperatures" in said.out  # a caveat, because none was given
    assert cli("show", "job.yaml", "--json").data()["entries"][-1] == {
        "id": "e4",
        "check": "hold.short@right",
        "outcome": "",
        "values": {"height-start": "16 1/4 in", "height-end": "412,0 mm", "time": "90 min"},
        "at": WHEN,
        "by": "A",
        "instrument": "tape",
        "note": "in the yard",
        "supersedes": "",
        "withdrawn": False,
        "ends": "",
    }


def test_a_correction_keeps_both(cli: Cli) -> None:
    said = cli("add", "job.yaml", "hold.short@left", *HOLD, "--corrects", "e2", "--at", WHEN)
    assert said.code == EXIT_OK
    entries = {e["id"]: e for e in cli("show", "job.yaml", "--json").data()["entries"]}
    assert entries["e2"]["values"]["height-end"] == "356 mm"
    assert entries["e4"]["supersedes"] == "e2"
    assert row(cli("show", "job.yaml"), "e2").endswith("not counted")
    assert not row(cli("show", "job.yaml"), "e4").endswith("not counted")
    (left,) = cli("verdict", "job.yaml", "--json").data()["left_out"]
    assert (left["entry"], left["why"]) == ("e2", "corrected by e4")


def row(said: Said, start: str) -> str:
    return next(line.rstrip() for line in said.out.splitlines() if line.startswith(start))


def test_a_withdrawal_keeps_the_entry(cli: Cli) -> None:
    before = leak(cli)
    cli("withdraw", "job.yaml", "e3", "--note", "wrong side", "--by", "A", "--at", WHEN)
    entries = cli("show", "job.yaml", "--json").data()["entries"]
    assert [e["id"] for e in entries] == ["e1", "e2", "e3", "e4"]
    assert (entries[-1]["withdrawn"], entries[-1]["supersedes"]) == (True, "e3")
    assert (entries[-1]["note"], entries[-1]["by"]) == ("wrong side", "A")
    assert "withdraws e3" in row(cli("show", "job.yaml"), "e4")
    assert leak(cli) < before


def leak(cli: Cli) -> float:
    beliefs = cli("verdict", "job.yaml", "--json").data()["beliefs"]
    return next(float(b["probability"]) for b in beliefs if b["fault"] == "spring.fold-leak@left")


def test_the_next_checks_can_be_limited(cli: Cli) -> None:
    assert len(cli("next", "job.yaml", "--count", "2", "--json").data()["offers"]) == 2
    one = cli("next", "job.yaml", "--count", "1")
    assert one.code == EXIT_OK
    assert "\nOr " not in one.out  # no table of nothing


def test_cautions_come_before_the_steps(cli: Cli, monkeypatch: pytest.MonkeyPatch) -> None:
    once = Workshop.assess

    def soap_first(self: Workshop, job: Job, place: Recordings | None = None) -> Assessment:
        a = once(self, job, place)
        soap = next(o for o in a.plan.offers if o.check == "soap.ends@left")
        return replace(a, plan=replace(a.plan, action="check", offers=(soap,)))

    monkeypatch.setattr(Workshop, "assess", soap_first)
    out = cli("next", "job.yaml").out
    assert out.startswith("NEXT: ")
    assert 0 < out.index("DANGER: ") < out.index("  1. ")


@pytest.mark.parametrize(
    ("faults", "said"),
    [
        (("spring.fold-leak@left",), "Sure enough: cracked fold in the left rear air spring."),
        (("controller.target-wrong",), "Not sure, but cheaper to put right than to look at: "),
    ],
)
def test_what_is_only_cheap_is_not_called_sure(
    cli: Cli, monkeypatch: pytest.MonkeyPatch, faults: tuple[str, ...], said: str
) -> None:
    once = Workshop.assess

    def stop(self: Workshop, job: Job, place: Recordings | None = None) -> Assessment:
        a = once(self, job, place)
        return replace(a, plan=replace(a.plan, action="repair", faults=faults))

    monkeypatch.setattr(Workshop, "assess", stop)
    lines = cli("next", "job.yaml").out.splitlines()
    assert lines[0] == "Stop looking: no further check would pay for itself."
    assert lines[1].startswith(said)
    assert lines[2] == "Before you begin:"
    assert lines[3].startswith("  DANGER: ")
    assert lines[-1].startswith("What it costs and risks: ")


def test_half_a_repair_is_never_proved(cli: Cli) -> None:
    """Renewing the pump behind a leak passes the pump's proof, and the job still waits."""
    cli("repaired", "job.yaml", "pump.ring-kit")
    fill = (
        "pressure-start=0 bar",
        "pressure-end=7 bar",
        "time=50 s",
        "volume=2 L",
        "supply=12.5 V",
    )
    given = [part for text in fill for part in ("-v", text)]
    said = cli("prove", "job.yaml", "pump.fill-test", *given, "--at", WHEN)
    assert said.code == EXIT_OK
    assert {p["proof"]["check"] for p in cli("proofs", "job.yaml", "--json").data()} >= {
        "pump.fill-test",
        "hold.overnight@left",
    }
    assert cli("next", "job.yaml", "--json").data()["stage"] == "prove"
    assert "waits for its proof" in cli("next", "job.yaml").out


def test_a_repair_of_something_sound_is_not_proved_by_nothing(cli: Cli) -> None:
    cli("repaired", "job.yaml", "fuse.renew")
    assert cli("next", "job.yaml", "--json").data()["stage"] == "prove"
    assert "fuse" in cli("proofs", "job.yaml").out


def test_a_repair_that_holds_is_proved(cli: Cli) -> None:
    cli("repaired", "job.yaml", "spring.replace@left")
    night = ("height-start=412 mm", "height-end=412 mm", "time=12 h")
    warm = ("temperature-start=12 °C", "temperature-end=12 °C")
    given = [part for text in (*night, *warm) for part in ("-v", text)]
    said = cli("prove", "job.yaml", "hold.overnight@left", *given, "--at", WHEN)
    assert said.out.startswith("PASSED: ")
    assert not cli("next", "job.yaml").out.startswith("The repair is proved.")
    cli("prove", "job.yaml", "try.lift", "-o", "normal", "--at", WHEN)
    assert cli("next", "job.yaml").out.startswith("The repair is proved.")
    assert cli("proofs", "job.yaml").out.startswith("PASSED: ")


def test_a_proof_that_belongs_to_nothing_is_said_to_be(cli: Cli) -> None:
    cli("repaired", "job.yaml", "spring.replace@left")
    said = cli("prove", "job.yaml", "relay.click", "-o", "click", "--at", WHEN)
    assert said.out.startswith("Kept, but nothing that was repaired is proved by relay.click")


# --- files that cannot be right

DAMAGED: dict[str, tuple[str | bytes, tuple[str, ...]]] = {
    "yaml syntax": (
        JOB + "access: [on-stands\n",
        ("job.yaml, line 21", "expected , or ]", "opened on line 20"),
    ),
    "tab": (JOB.replace("    check: hold", "\tcheck: hold"), ("line 13", "a tab stands here")),
    "unknown field": (
        JOB.replace("outcome: bubbles", "outcom: bubbles"),
        ("line 18, entries[2].outcom", "no field 'outcom'", "'outcome'"),
    ),
    "wrong type": (
        JOB.replace("{height-start: 403 mm, height-end: 356 mm, time: 3 min}", "403 mm"),
        ("line 14, entries[1].values", "expected a mapping"),
    ),
    "number for text": (
        JOB.replace("time: 3 min", "time: 3"),
        ("line 14, entries[1].values.time", "expected text"),
    ),
    "missing field": (JOB.replace("layout: rear-pair\n", ""), ("line 1, layout", "missing")),
    "newer format": (JOB.replace("format: 1", "format: 2"), ("format 1", "A newer program")),
    "older format": (JOB.replace("format: 1", "format: 0"), ("reads job format 1",)),
    "same id twice": (JOB.replace("id: e2", "id: e1"), ("two entries have the id 'e1'",)),
    "correction of nothing": (
        JOB.replace("outcome: bubbles", "supersedes: e7"),
        ("earlier entry 'e7'", "'e1'"),
    ),
    "name twice": (JOB + "title: again\n", ("line 20", "'title' is here twice", "line 3")),
    "empty": ("", ("job.yaml: the file is empty",)),
    "a list": ("- 1\n", ("line 1: expected a mapping",)),
    "binary": (b"\x89PNG\r\n\x1a\n\x00\xff\xfe", ("job.yaml: cannot be read as text",)),
    "other encoding": ("title: Größe\n".encode("latin-1"), ("cannot be read as text", "utf-8")),
    "zero byte": (JOB.encode() + b"\x00", ("line 20", "no text file should hold")),
}


@pytest.mark.parametrize("what", DAMAGED)
def test_a_damaged_job_file_is_refused_at_its_line(cli: Cli, what: str) -> None:
    content, fragments = DAMAGED[what]
    data = content if isinstance(content, bytes) else content.encode()
    Path("job.yaml").write_bytes(data)
    refused(cli("show", "job.yaml"), EXIT_FILE, "job.yaml", *fragments)
    answer = ("add", "job.yaml", "soap.ends@left", "-o", "none")
    refused(cli(*answer), EXIT_FILE, *fragments)
    assert Path("job.yaml").read_bytes() == data


def test_no_job_file(cli: Cli) -> None:
    said = cli("next", "jobb.yaml")
    refused(said, EXIT_FILE, "jobb.yaml: there is no such job file; `sagtrace new` starts one")


def test_a_folder_is_no_job_file(cli: Cli) -> None:
    Path("folder").mkdir()
    refused(cli("show", "folder"), EXIT_FILE, "folder: cannot be read", "directory")


def test_a_job_file_that_may_not_be_read(cli: Cli, monkeypatch: pytest.MonkeyPatch) -> None:
    def denied(self: Path, *args: object, **more: object) -> str:
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES), str(self))

    monkeypatch.setattr(Path, "open", denied)
    refused(cli("show", "job.yaml"), EXIT_FILE, "job.yaml: cannot be read", "Permission denied")


@pytest.mark.parametrize(
    ("change", "fragments"),
    [
        (JOB.replace("soap.fold-normal@left", "soap.fold@left"), ("no check 'soap.fold@left'",)),
        (JOB.replace("rear-pair", "rear-pear"), ("no layout 'rear-pear'", "'rear-pair'")),
        (JOB + "access: [on-stand]\n", ("no access state 'on-stand'", "'on-stands'")),
        (
            JOB + "told: [{id: v1, name: spring-area, text: 3 bar}]\n",
            ("area of one spring", "pressure"),
        ),
        (JOB + "works: [{id: w1, repairs: [spring.fix@left]}]\n", ("no repair 'spring.fix@left'",)),
    ],
)
def test_what_only_the_knowledge_can_refuse(
    cli: Cli, change: str, fragments: tuple[str, ...]
) -> None:
    Path("job.yaml").write_text(change)
    code = EXIT_FILE if "soap.fold@left" in change else EXIT_INPUT
    refused(cli("verdict", "job.yaml"), code, *fragments)


# --- writing


@pytest.mark.parametrize("function", ["replace", "fsync", "fdopen"])
def test_a_failed_write_leaves_the_old_content(
    cli: Cli, monkeypatch: pytest.MonkeyPatch, function: str, tmp_path: Path
) -> None:
    def full(*args: object, **more: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    before = sorted(tmp_path.iterdir())
    monkeypatch.setattr(os, function, full)
    said = cli("add", "job.yaml", "soap.ends@left", "-o", "none")
    refused(said, EXIT_FILE, "job.yaml: cannot be written", "No space left", "untouched")
    assert Path("job.yaml").read_bytes() == JOB.encode()
    assert sorted(tmp_path.iterdir()) == before  # no .part is left


def test_an_interrupted_write_leaves_the_old_content(
    cli: Cli, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    def stop(*args: object) -> None:
        raise KeyboardInterrupt

    before = sorted(tmp_path.iterdir())
    monkeypatch.setattr(os, "replace", stop)
    assert cli("add", "job.yaml", "soap.ends@left", "-o", "none").code not in (EXIT_OK, EXIT_FILE)
    assert Path("job.yaml").read_bytes() == JOB.encode()
    assert sorted(tmp_path.iterdir()) == before


def test_a_folder_that_is_not_there(cli: Cli) -> None:
    refused(cli("new", "nowhere/job.yaml"), EXIT_FILE, "nowhere/job.yaml", "cannot be written")


@pytest.mark.parametrize("command", ["paper", "demo"])
def test_papers_into_a_file(cli: Cli, command: str) -> None:
    job = ("job.yaml",) if command == "paper" else ()
    refused(cli(command, *job, "--out", "recording.csv"), EXIT_FILE, "recording.csv", "be written")


def test_two_papers(cli: Cli) -> None:
    said = cli("paper", "job.yaml", "--out", "deep/papers")
    assert said.out.splitlines() == ["deep/papers/customer.pdf", "deep/papers/technical.pdf"]
    written = sorted(Path("deep/papers").iterdir())
    assert [path.name for path in written] == ["customer.pdf", "technical.pdf"]
    assert {path.read_bytes()[:5] for path in written} == {b"%PDF-"}


def test_without_the_pdf_maker(cli: Cli, monkeypatch: pytest.MonkeyPatch) -> None:
    from sagtrace.adapters import pdf

    monkeypatch.setitem(sys.modules, "typst", None)
    pdf._fonts.cache_clear()
    try:
        said = cli("paper", "job.yaml", "--out", "papers")
    finally:
        pdf._fonts.cache_clear()
    refused(said, EXIT_PART, 'pip install "sagtrace[paper]"')
    assert not Path("papers").exists()


def test_a_defect_is_not_hidden(cli: Cli, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(self: Workshop, *args: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr(Workshop, "assess", broken)
    with pytest.raises(ZeroDivisionError):
        main(["verdict", "job.yaml"])


# --- recordings


def test_a_recording_is_read_and_kept(cli: Cli) -> None:
    said = cli("attach", "job.yaml", "recording.csv", "--at", WHEN)
    assert said.out.startswith("r1 kept: recording.csv")
    assert "mL/min" in said.out
    (recording,) = cli("show", "job.yaml", "--json").data()["recordings"]
    assert (recording["id"], recording["file"]) == ("r1", "recording.csv")
    assert "r1: recording.csv" in cli("show", "job.yaml").out


def test_a_recording_counts_once(cli: Cli) -> None:
    cli("attach", "job.yaml", "recording.csv", "--at", WHEN)
    before = Path("job.yaml").read_bytes()
    refused(cli("attach", "job.yaml", "recording.csv"), EXIT_INPUT, "attached already, as r1")
    shutil.copyfile("recording.csv", "copy.csv")
    refused(cli("attach", "job.yaml", "copy.csv"), EXIT_INPUT, "attached already, as r1")
    lines = Path("recording.csv").read_text().splitlines(keepends=True)
    Path("recording.csv").write_text("".join(lines[:-1]))
    said = cli("attach", "job.yaml", "recording.csv")
    refused(said, EXIT_INPUT, "recording.csv has other content", "r1", "a name of its own")
    assert Path("job.yaml").read_bytes() == before


def test_a_recording_from_elsewhere(cli: Cli, tmp_path_factory: pytest.TempPathFactory) -> None:
    elsewhere = tmp_path_factory.mktemp("elsewhere") / "recording.csv"
    shutil.copyfile("recording.csv", elsewhere)
    refused(cli("attach", "job.yaml", str(elsewhere)), EXIT_INPUT, "must lie beside job.yaml")
    Path("link.csv").symlink_to(elsewhere)
    refused(cli("attach", "job.yaml", "link.csv"), EXIT_INPUT, "must lie beside job.yaml")
    assert Path("job.yaml").read_bytes() == JOB.encode()


def test_a_recording_that_is_not_there(cli: Cli) -> None:
    refused(cli("attach", "job.yaml", "no.csv"), EXIT_FILE, "no.csv: cannot be read", "No such")


def test_a_file_that_is_no_recording(cli: Cli) -> None:
    Path("no.csv").write_text("a,b\n1,2\n")
    refused(cli("attach", "job.yaml", "no.csv"), EXIT_FILE, "no.csv, line 1", "height.rear")
    assert Path("job.yaml").read_bytes() == JOB.encode()


def test_a_recording_whose_content_changed(cli: Cli) -> None:
    cli("attach", "job.yaml", "recording.csv", "--at", WHEN)
    with Path("recording.csv").open("a") as file:
        file.write("\n")
    for command in ("next", "verdict", "options", "proofs", "paper"):
        refused(cli(command, "job.yaml"), EXIT_FILE, "recording.csv", "its content changed")


@pytest.mark.parametrize("path", ["../recording.csv", "a/../../recording.csv", "/recording.csv"])
def test_a_recording_path_that_leaves_the_folder(cli: Cli, path: str) -> None:
    job = JOB + f"recordings:\n  - {{id: r1, file: {path}, sha256: '0'}}\n"
    Path("job.yaml").write_text(job)
    refused(cli("verdict", "job.yaml"), EXIT_FILE, path, "lies beside its job file")


# --- texts of people

HOSTILE = "[bold]x[/] [/red] :bomb: \\[link=a]b {c} <b>&amp;"


def test_texts_of_people_are_printed_as_they_are(cli: Cli) -> None:
    cli("new", "a.yaml", "--complaint", HOSTILE, "--at", WHEN)
    out = cli("show", "a.yaml").out
    assert out.splitlines()[:2] == [f"{HOSTILE} (rear-pair)", f"Complaint: {HOSTILE}"]
    assert cli("show", "a.yaml", "--json").data()["complaint"] == HOSTILE


def test_texts_of_people_in_a_table(cli: Cli, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "200")
    Path("job.yaml").write_text(JOB.replace("2026-11-24T08:40:00+00:00", "'[b]:bomb:[/]'"))
    assert "[b]:bomb:[/]" in row(cli("show", "job.yaml"), "e3")


def test_texts_of_people_in_an_error(cli: Cli) -> None:
    refused(cli("add", "job.yaml", "[red]a[/]", "-o", "b"), EXIT_INPUT, "'[red]a[/]'")
    refused(cli("add", "job.yaml", "story.load", "-o", "[/b]"), EXIT_INPUT, "'[/b]'")


def test_a_command_to_copy_stays_in_one_line(cli: Cli) -> None:
    name = "a-very-long-name-of-a-job-file-that-would-not-fit-into-eighty-characters.yaml"
    out = cli("new", name, "--at", WHEN).out
    assert out.splitlines() == [f"{name} is ready. What to do first: sagtrace next {name}"]


def test_what_names_the_vehicle_is_kept_and_shown(cli: Cli) -> None:
    named = ("--registration", "INVENTED 9", "--odometer", "9 999 mi", "--reference", "R-9")
    cli("new", "named.yaml", *named)
    said = cli("show", "named.yaml").out
    for text in ("Registration: INVENTED 9", "Odometer at intake: 9 999 mi", "reference: R-9"):
        assert text in said
    wrong = cli("new", "wrong.yaml", "--odometer", "9999")
    refused(wrong, 3, "odometer at intake", "km or mi")
    assert not Path("wrong.yaml").exists()


def test_work_beyond_the_approval_is_refused_without_a_reason(cli: Cli) -> None:
    cli("approve", "job.yaml", "pump.ring-kit", "--at", "2026-11-24T08:05:00Z", "--who", "owner")
    job = job_place(Path("job.yaml")).load()
    assert (job.approvals[-1].answer, job.approvals[-1].who) == ("approved", "owner")
    assert "The approval of 2026-11-24 08:05 UTC was for" in cli("options", "job.yaml").out
    more = ("repaired", "job.yaml", "pump.ring-kit", "spring.replace@left")
    refused(cli(*more), 3, "the approval of 2026-11-24 08:05 UTC was for", "ask again")
    assert job_place(Path("job.yaml")).load() == job
    cli(*more, "--without-approval", "it was leaking")
    kept = job_place(Path("job.yaml")).load()
    assert kept.repaired == ("pump.ring-kit", "spring.replace@left")
    assert kept.notes[-1].text.endswith("approval: it was leaking")


def test_approved_work_needs_no_reason(cli: Cli) -> None:
    cli("approve", "job.yaml", "pump.ring-kit")
    cli("repaired", "job.yaml", "pump.ring-kit")
    assert job_place(Path("job.yaml")).load().notes == ()
