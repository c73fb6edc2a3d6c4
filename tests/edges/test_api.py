"""The Python API does what its page says, and a whole job can be driven through it alone."""

from __future__ import annotations

import inspect
import re
import shutil
from collections.abc import Callable, Iterator, Mapping
from dataclasses import fields, is_dataclass
from importlib.resources import files
from pathlib import Path
from typing import Any, get_type_hints

import numpy as np
import pytest

import sagtrace
from sagtrace import api
from sagtrace.bootstrap import demo_folder, open_workshop
from sagtrace.errors import DocumentError, DomainError, InputError, UnitError, UnknownIdError
from sagtrace.vehicle.system import base_id

PAGE = (Path(__file__).parents[2] / "docs" / "python-api.md").read_text()
RECORDING = demo_folder() / "recording.csv"
ROW = re.compile(r"^\| (`.*?) \| (.*) \|$", re.MULTILINE)
CODE = re.compile(r"`([^`]+)`")

Readings = Mapping[str, str | float]


# --- the page


def test_the_example_works(capsys: pytest.CaptureFixture[str]) -> None:
    example, _ = re.findall(r"^```python\n(.*?)^```$", PAGE, re.DOTALL | re.MULTILINE)
    space: dict[str, Any] = {}
    exec(compile(example, "docs/python-api.md", "exec"), space)
    said = capsys.readouterr().out.splitlines()
    assert "mL/min" in said[0]
    assert said[1].endswith(tuple("0123456789"))
    assert any(line.startswith("spring.fold-leak@left: 0.") for line in said)
    assert space["job"].stage in ("check", "repair")


def rows() -> Iterator[tuple[str, str]]:
    """Yield every documented name, with its arguments if it has any, and what it does."""
    for names, what in ROW.findall(PAGE):
        for name in CODE.findall(names):
            yield name, what


def find(dotted: str) -> Any:
    item: Any = sagtrace
    for part in dotted.split("."):
        item = getattr(item, part)
    return item


@pytest.mark.parametrize(("name", "what"), list(rows()))
def test_every_documented_name_exists_as_documented(name: str, what: str) -> None:
    dotted, bracket, rest = name.partition("(")
    item = find(dotted)
    assert callable(item) == bool(bracket)
    if bracket:
        documented = [part.strip(" *") for part in rest.rstrip(")").split(",")]
        real = [p for p in inspect.signature(item).parameters if p != "self"]
        assert [p for p in documented if p] == real


@pytest.mark.parametrize(
    "record", [sagtrace.Check, sagtrace.Diagnosis, sagtrace.NextCheck, sagtrace.RepairOption]
)
def test_every_field_is_documented(record: type) -> None:
    (what,) = {what for _, what in rows() if f"`{record.__name__}`" in what}
    assert {f.name for f in fields(record)} <= set(CODE.findall(what))
    assert set(CODE.findall(what)) - {record.__name__} <= {f.name for f in fields(record)}


def test_every_method_is_documented() -> None:
    methods = {f"OpenJob.{name}" for name in vars(sagtrace.OpenJob) if not name.startswith("_")}
    assert methods == {name.partition("(")[0] for name, _ in rows() if name.startswith("OpenJob")}


def test_public_names_are_sorted_and_complete() -> None:
    names = list(sagtrace.__all__)
    assert names == sorted(names, key=str.lower)
    assert names == list(api.__all__)
    assert {item.__name__ for item in map(find, names)} == set(names)
    defined = {
        name
        for name, item in vars(api).items()
        if getattr(item, "__module__", "") == api.__name__ and not name.startswith("_")
    }
    assert defined == set(names)
    with pytest.raises(AttributeError, match="no attribute 'opem_job'"):
        find("opem_job")


def test_is_typed() -> None:
    assert (files("sagtrace") / "py.typed").is_file()
    methods = [getattr(sagtrace.OpenJob, name) for name in vars(sagtrace.OpenJob)]
    functions = [sagtrace.open_job, sagtrace.load_job, sagtrace.layouts]
    for function in filter(inspect.isfunction, [*methods, *functions]):
        hints = get_type_hints(function)
        wanted = {p for p in inspect.signature(function).parameters if p != "self"} | {"return"}
        assert set(hints) == wanted, function


# --- a job with everything in it


@pytest.fixture(scope="module")
def job() -> sagtrace.OpenJob:
    job = sagtrace.open_job(
        "rear-pair",
        complaint="Left rear is down every morning.",
        vehicle={"spring-area": "112 cm2"},
        title="A title",
        id="j7",
    )
    job.record("story.when-low@left", outcome="within-hour", by="A", at="2026-11-24T08:12:00Z")
    job.record("hold.short@left", values={"height-start": "403 mm", "height-end": 356, "time": 3.0})
    job.record("soap.fold-normal@left", outcome="none")
    job.record("soap.fold-normal@left", outcome="bubbles", supersedes="e3", note="other side")
    job.record("dryer.moisture", outcome="clean")
    job.record("intake.look", outcome="free")
    job.attach_recording(RECORDING, at="2026-11-24T10:05:00Z")
    return job


def test_what_was_recorded(job: sagtrace.OpenJob) -> None:
    record = job.job
    assert (record.id, record.title, record.layout) == ("j7", "A title", "rear-pair")
    assert [e.id for e in record.entries] == ["e1", "e2", "e3", "e4", "e5", "e6"]
    assert record.entries[1].values == {"height-start": "403 mm", "height-end": "356", "time": "3"}
    assert [e.id for e in record.current()] == ["e1", "e2", "e4", "e5", "e6"]
    assert job.recording("recording.csv") == RECORDING.read_bytes()


def test_a_number_is_in_the_unit_of_the_check() -> None:
    """A bare number means the same as the text with the unit that `Check.values` names."""
    checks = {check.id: check for check in sagtrace.open_job().checks()}
    units = checks["hold.short@left"].values
    bare = {"height-start": 403.0, "height-end": 356.0, "time": 3.0}
    typed = {name: f"{number:g} {units[name]}" for name, number in bare.items()}
    first, second = (sagtrace.open_job().record("hold.short@left", values=v) for v in (bare, typed))
    assert first.text == second.text
    assert first.likelihood == pytest.approx(second.likelihood)


def test_the_verdict(job: sagtrace.OpenJob) -> None:
    verdict = job.verdict()
    assert set(verdict.faults) == set(job.faults()) == set(verdict.states)
    assert list(verdict.faults.values()) == sorted(verdict.faults.values(), reverse=True)
    assert verdict.faults["spring.fold-leak@left"] > 0.9
    for fault, states in verdict.states.items():
        assert sum(states.values()) == pytest.approx(1.0, abs=1e-6)
        absent = next(iter(states))
        assert 1.0 - states[absent] == pytest.approx(verdict.faults[fault], abs=1e-6)
    assert sum(p for _, p in verdict.sets) <= 1.0 + 1e-6
    assert ("spring.fold-leak@left", "pump.worn") in {(a, b) for a, b, _ in verdict.links}
    assert set(verdict.not_excluded).isdisjoint(verdict.sets[0][0])
    assert verdict.log_evidence < 0.0
    assert any("temperatures" in text for text in verdict.caveats)


def test_the_next_checks(job: sagtrace.OpenJob) -> None:
    offers = job.next_checks(3)
    assert len(offers) == 3
    known = {check.id: check for check in job.checks()}
    answered = {entry.check for entry in job.job.entries}
    for offer in offers:
        assert offer.id not in answered
        assert offer.minutes >= known[offer.id].minutes
        assert sum(offer.outcomes.values()) == pytest.approx(1.0, abs=1e-6)
        if known[offer.id].outcomes:
            assert list(offer.outcomes) == list(known[offer.id].outcomes)
    assert len(job.next_checks()) == 5


def test_every_check_can_be_read(job: sagtrace.OpenJob) -> None:
    for check in job.checks():
        assert bool(check.outcomes) != bool(check.values)
        assert set(check.required) <= set(check.values)
        assert check.steps
        assert check.minutes > 0.0


def test_options_and_proofs(job: sagtrace.OpenJob) -> None:
    best, *others = job.options()
    assert all(best.expected_total <= other.expected_total for other in others)
    assert {"spring.replace@left"} <= set(best.repairs)
    for option in (best, *others):
        assert 0.0 <= option.cure <= 1.0
        assert 0.0 <= option.come_back <= 1.0
        assert option.expected_total >= option.price >= 0.0
    assert "hold.overnight@left" in {proof.check for proof in job.proofs()}


def plain_numbers(value: Any, path: str = "") -> Iterator[tuple[str, type]]:
    """Yield where a number stands in the records of the API, and its type."""
    if is_dataclass(value) and not isinstance(value, type):
        for field in fields(value):
            yield from plain_numbers(getattr(value, field.name), f"{path}.{field.name}")
    elif isinstance(value, Mapping):
        for key, item in value.items():
            yield from plain_numbers(item, f"{path}[{key}]")
    elif isinstance(value, tuple):
        for item in value:
            yield from plain_numbers(item, f"{path}[]")
    elif not isinstance(value, str | frozenset) and value is not None:
        yield path, type(value)


def test_numbers_are_floats(job: sagtrace.OpenJob) -> None:
    answers = (job.verdict(), job.next_checks(99), job.options(), job.proofs(), job.checks())
    found = [item for answer in answers for item in plain_numbers(answer)]
    assert len(found) > 500
    assert [(path, kind) for path, kind in found if kind is not float] == []


# --- on disk


def test_saved_and_loaded_it_is_the_same(job: sagtrace.OpenJob, tmp_path: Path) -> None:
    job.save(tmp_path / "job.yaml")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["job.yaml", "recording.csv"]
    again = sagtrace.load_job(tmp_path / "job.yaml")
    assert again.job == job.job
    assert again.verdict() == job.verdict()
    assert again.options() == job.options()
    again.record("soap.ends@left", outcome="none")
    again.save(tmp_path / "job.yaml")
    assert sagtrace.load_job(tmp_path / "job.yaml").job == again.job
    assert len(job.job.entries) == 6


def test_papers(job: sagtrace.OpenJob, tmp_path: Path) -> None:
    written = job.papers(tmp_path / "deep" / "papers")
    assert [path.name for path in written] == ["customer.pdf", "technical.pdf"]
    assert {path.read_bytes()[:5] for path in written} == {b"%PDF-"}


def test_another_recording_is_not_written_over(job: sagtrace.OpenJob, tmp_path: Path) -> None:
    other = tmp_path / "recording.csv"
    other.write_text("somebody else's")
    with pytest.raises(DocumentError, match="left as it is"):
        job.save(tmp_path / "job.yaml")
    assert other.read_text() == "somebody else's"
    assert not (tmp_path / "job.yaml").exists()


# --- what cannot be right

HOLD: Readings = {"height-start": "403 mm", "height-end": "356 mm", "time": "3 min"}

WRONG: dict[str, tuple[Callable[[sagtrace.OpenJob], object], type[Exception], str]] = {
    "check": (lambda j: j.record("soap.fiting@left"), UnknownIdError, "soap.fitting@left"),
    "corner": (lambda j: j.record("soap.fitting"), UnknownIdError, "Say which corner"),
    "outcome": (
        lambda j: j.record("soap.ends@left", outcome="noen"), UnknownIdError, "'none'"
    ),
    "unit": (
        lambda j: j.record("hold.short@left", values={**HOLD, "time": "3 V"}), UnitError, "'3 V'"
    ),
    "not a number": (
        lambda j: j.record("hold.short@left", values={**HOLD, "time": float("nan")}), UnitError,
        "nan",
    ),
    "infinite": (
        lambda j: j.record("hold.short@left", values={**HOLD, "time": float("inf")}), UnitError,
        "inf",
    ),
    "swapped": (
        lambda j: j.record("hold.short@left", values={**HOLD, "height-end": "500 mm"}),
        DomainError,
        "swapped",
    ),
    "missing": (lambda j: j.record("hold.short@left"), InputError, "also needs"),
    "correction": (
        lambda j: j.record("soap.ends@left", outcome="none", supersedes="e77"),
        UnknownIdError,
        "'e77'",
    ),
    "repair": (lambda j: j.repair("spring.replace@left", "x"), UnknownIdError, "'x'"),
    "proof": (lambda j: j.prove("hold.overnight@left"), InputError, "also needs"),
    "file": (lambda j: j.attach_recording("no such.csv"), DocumentError, "no such.csv"),
    "recording": (lambda j: j.attach_recording(__file__), DocumentError, "test_api.py"),
    "twice": (lambda j: j.attach_recording(RECORDING), InputError, "attached already"),
}  # fmt: skip


@pytest.mark.parametrize("what", WRONG)
def test_nothing_changes_after_an_error(job: sagtrace.OpenJob, what: str) -> None:
    wrong, kind, says = WRONG[what]
    before, verdict = job.job, job.verdict()
    with pytest.raises(kind, match=re.escape(says)):
        wrong(job)
    assert job.job is before
    assert job.verdict() == verdict
    assert job.recording("recording.csv") == RECORDING.read_bytes()


def test_a_job_of_no_layout() -> None:
    with pytest.raises(UnknownIdError, match="'rear-pair'"):
        sagtrace.open_job("rear-pear")
    with pytest.raises(UnknownIdError, match="'spring-area'"):
        sagtrace.open_job(vehicle={"spring-are": "1 cm2"})
    with pytest.raises(DocumentError, match="no such job file"):
        sagtrace.load_job("nowhere.yaml")


def test_a_second_recording_of_the_same_name(tmp_path: Path) -> None:
    job = sagtrace.open_job()
    job.attach_recording(RECORDING)
    lines = RECORDING.read_text().splitlines(keepends=True)
    (tmp_path / "recording.csv").write_text("".join(lines[:1500]))
    with pytest.raises(InputError, match="a name of its own"):
        job.attach_recording(tmp_path / "recording.csv")
    assert job.recording("recording.csv") == RECORDING.read_bytes()
    shutil.move(tmp_path / "recording.csv", tmp_path / "second.csv")
    job.attach_recording(tmp_path / "second.csv")
    assert [r.id for r in job.job.recordings] == ["r1", "r2"]


def test_tapes_go_with_a_recording() -> None:
    job = sagtrace.open_job()
    tapes = [("0 min", "left", "405 mm"), ("0 min", "right", "403 mm")]
    tapes += [("3.5 min", "left", "341 mm"), ("3.5 min", "right", "403 mm")]
    findings = job.attach_recording(RECORDING, tapes=tapes)
    assert [(t.time, t.corner, t.height) for t in job.job.recordings[0].tapes] == tapes
    # The left wheel arch sank while the right one stood, so each side has a leak of its own.
    leaks = {f.target: f.estimate.value for f in findings if f.estimate and ".leak." in f.id}
    assert leaks["air.escape@right"] < 0.1 * leaks["air.escape@left"]


def test_without_a_complaint_the_prior_stays() -> None:
    """The page promises it: with no complaint and no answer, every fault keeps its prior."""
    silent, usual = sagtrace.open_job(complaint=""), sagtrace.open_job()
    beliefs = silent.assessment().verdict.beliefs
    assert all(b.probability == pytest.approx(b.prior, abs=1e-9) for b in beliefs)
    spring = "spring.fold-leak@left"
    assert usual.verdict().faults[spring] > 2.0 * silent.verdict().faults[spring]
    assert silent.verdict().log_evidence == pytest.approx(0.0, abs=1e-9)


# --- a whole session


def hold(start: str, end: str, time: str) -> Readings:
    both = {"temperature-start": "15 °C", "temperature-end": "15 °C"}
    return {"height-start": start, "height-end": end, "time": time, **both}


def lift(end: str) -> Readings:
    return {"height-start": "360 mm", "height-end": end, "time": "20 s"}


def fill(end: str) -> Readings:
    return {"pressure-start": 0.0, "pressure-end": end, "time": "50 s", "volume": "2 L"}


def tape(low: str, high: str) -> Readings:
    return {"signal-low": low, "tape-low": "361 mm", "signal-high": high, "tape-high": "404 mm"}


def feed(pump: str, current: str) -> Readings:
    return {"battery": "12.40 V", "pump": pump, "current": current}


def decay(end: str) -> Readings:
    return {"pressure-start": "7 bar", "pressure-end": end, "time": "5 min", "volume": "50 mL"}


HOLDS = {
    "tight": hold("403 mm", "402.9 mm", "45 min"),
    "slow": hold("403 mm", "400 mm", "45 min"),
    "fast": hold("403 mm", "358 mm", "45 min"),
    "heavy": hold("403 mm", "358 mm", "3 min"),
}
JOINTS: dict[str, Readings] = {
    "absent": {"drop": "60 mV", "current": "18 A"},
    "resistive": {"drop": "1.5 V", "current": "16 A"},
    "open": {"drop": "9 V", "current": "3 A"},
}

# chosen: numbers that a technician could read while the node is in the state.
READS: dict[str, dict[str, Readings]] = {
    "hold.short": HOLDS,
    "hold.overnight": HOLDS,
    "connector.drop": JOINTS,
    "ground.drop": JOINTS,
    "feed-wire.drop": JOINTS | {"absent": {"drop": "180 mV", "current": "18 A"}},
    "relay.drop": JOINTS,
    "supply-line.decay": {"tight": decay("6.99 bar"), "leaking": decay("3 bar")},
    "feed.loss": {
        "sound": feed("12.04 V", "18 A"),
        "resistive": feed("10.20 V", "18 A"),
        "open": feed("0.02 V", "0 A"),
    },
    "supply.running": {"good": {"value": 12.3}, "low": {"value": 11.1}, "flat": {"value": 9.2}},
    "pump.duty": {
        "normal": {"running": "10 s", "watched": "60 min"},
        "excessive": {"running": "300 s", "watched": "60 min"},
    },
    "pump.rise-rate": {"full": lift("416 mm"), "weak": lift("388 mm"), "none": lift("362 mm")},
    "pump.fill-test": {"full": fill("7 bar"), "weak": fill("3.8 bar"), "none": fill("0.3 bar")},
    "pump.current-clamp": {
        "normal": {"value": 18.0},
        "low": {"value": 9.0},
        "high": {"value": 45.0},
        "none": {"value": 0.0},
    },
    "sensor.tape": {
        "agrees": tape("359 mm", "403 mm"),
        "offset": tape("396 mm", "439 mm"),
        "noisy": tape("354 mm", "411 mm"),
        "invalid": tape("431 mm", "404 mm"),
    },
}


def answer(job: sagtrace.OpenJob, check: sagtrace.NextCheck, shows: str) -> None:
    known = next(c for c in job.checks() if c.id == check.id)
    if known.outcomes:
        job.record(check.id, outcome=shows)
        return
    job.record(check.id, values=READS[base_id(check.id)][shows])


@pytest.mark.parametrize(
    ("check", "state"), [(check, state) for check, states in READS.items() for state in states]
)
def test_a_reading_of_a_state_reads_like_it(check: str, state: str) -> None:
    """The numbers of the sessions below say what the plan drew."""
    job = sagtrace.open_job()
    full = next(c.id for c in job.checks() if base_id(c.id) == check)
    finding = job.record(full, values=READS[check][state])
    states = open_workshop().system("rear-pair").nodes[finding.target].state_ids
    assert states[finding.likelihood.index(1.0)] == state
    assert finding.fit > 0.05


FIRST_SEEN: dict[str, tuple[str, str, Readings]] = {
    "a fast leak": ("hold.short@left", "", HOLDS["fast"]),
    "a pump without current": ("pump.current-clamp", "", {"value": 0.0}),
    "a height signal that is off": ("sensor.tape", "", READS["sensor.tape"]["offset"]),
}


# Seeds of short sessions, because every step takes a second.
@pytest.mark.parametrize(("seen", "seed"), list(zip(FIRST_SEEN, (2, 2, 1), strict=True)))
def test_a_session_that_follows_the_plan_comes_to_a_repair(seen: str, seed: int) -> None:
    """Do what the plan says; what each check shows is drawn from what the plan expects of it.

    That is a fair draw of a vehicle on which the first thing was seen. Without it one draw in
    four or so is of a vehicle with nothing wrong that is listed, and while nothing is found the
    plan goes on to the end of the list.
    """
    rng = np.random.default_rng(seed)
    job = sagtrace.open_job()
    check_id, outcome, values = FIRST_SEEN[seen]
    job.record(check_id, outcome=outcome, values=values)
    asked = [check_id]
    while job.stage == "check":
        check = job.next_checks(1)[0]
        assert check.id not in asked
        asked.append(check.id)
        assert len(asked) <= 60
        chances = np.array(list(check.outcomes.values()))
        shows = list(check.outcomes)[rng.choice(len(chances), p=chances / chances.sum())]
        answer(job, check, shows)
    assert job.stage == "repair"
    assert next(iter(job.verdict().faults.values())) > 0.5
    job.repair(*(job.options()[0].repairs or job.options()[1].repairs))
    assert job.stage == "prove"
    assert job.proofs()
