"""A script for the virtual vehicle: what it means, and where it is wrong."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import pytest

from sagtrace.adapters.scripts import read_script, script_from_data
from sagtrace.app.plans import Plan, Scene, WantedFault
from sagtrace.bootstrap import demo_folder, fault_book
from sagtrace.errors import DocumentError, InputError
from sagtrace.twin.parameters import VehicleParameters
from sagtrace.twin.script import Ambient, Door, Engine, Lift, Load, Mode, Script
from sagtrace.vehicle.knowledge import Knowledge
from sagtrace.vehicle.layouts import Layout
from sagtrace.vehicle.system import expand

WHOLE = """\
title: A night
layout: rear-pair
duration: 14 h
ambient: 68 °F
engine: on
seed: 7
events:
  - {at: 0, ambient: 2 °C, over: 8 h}
  - {at: 10 h, engine: off}
  - {at: 10 h 5 min, load: {left: 100 kg, right: 220.462 lb}, over: 30 s}
  - {at: 11:00, door: open}
  - {at: 11 h 10 min, lift: up}
  - {at: 690 min, mode: on}
facts:
  spring-pressure: 5.2 bar
  barometer: 95 kPa
faults:
  - {fault: spring.fold-leak@left, state: slow, size: 1.5, onset: 1 h}
  - {fault: fuse.blown}
"""


class Book:
    """Takes every fault but one, and remembers what it was asked."""

    def __init__(self) -> None:
        self.facts: dict[str, float] = {}

    def vehicle(self, layout: Layout, facts: Mapping[str, float]) -> VehicleParameters:
        self.facts = dict(facts)
        return fault_book().vehicle(layout, facts)

    def put_in(
        self, vehicle: VehicleParameters, script: Script, wanted: Sequence[WantedFault]
    ) -> Scene:
        if any(one.fault == "use.stored-code" for one in wanted):
            raise InputError("use.stored-code: it has no physics.")
        return Scene(vehicle=vehicle, script=script)


@pytest.fixture
def book() -> Book:
    return Book()


def read(text: str | bytes, knowledge: Knowledge, book: Book) -> Plan:
    data = text if isinstance(text, bytes) else text.encode()
    return read_script(data, "night.yaml", lambda layout: expand(knowledge, layout), book)


@pytest.mark.arithmetic("68 degF = 293.15 K; 220.462 lb x 0.45359237 kg = 99.99988 kg")
def test_everything_is_read_in_si(knowledge: Knowledge, book: Book) -> None:
    plan = read(WHOLE, knowledge, book)
    (load,) = (e for e in plan.script.events if isinstance(e, Load))
    assert load.kilograms["right"] == pytest.approx(99.99988, abs=1e-5)
    assert plan.script.ambient == pytest.approx(293.15, abs=1e-9)
    assert plan == Plan(
        layout="rear-pair",
        title="A night",
        seed=7,
        script=Script(
            duration=50400.0,
            ambient=plan.script.ambient,
            engine=True,
            events=(
                Ambient(at=0.0, to=275.15, over=28800.0),
                Engine(at=36000.0, on=False),
                Load(at=36300.0, kilograms={**load.kilograms, "left": 100.0}, over=30.0),
                Door(at=39600.0, open=True),
                Lift(at=40200.0, up=True),
                Mode(at=41400.0, on=True),
            ),
        ),
        facts={"spring-pressure": "5.2 bar", "barometer": "95 kPa"},
        faults=(
            WantedFault(fault="spring.fold-leak@left", state="slow", size=1.5, onset=3600.0),
            WantedFault(fault="fuse.blown", state="present"),
        ),
    )
    assert book.facts == pytest.approx({"spring-pressure": 5.2e5, "barometer": 9.5e4})


def test_little_is_needed(knowledge: Knowledge, book: Book) -> None:
    plan = read("layout: four-corner\nduration: 30 min\n", knowledge, book)
    assert plan == Plan(layout="four-corner", script=Script(duration=1800.0))


def test_plain_data_reads_like_the_file(knowledge: Knowledge, book: Book) -> None:
    data = {
        "layout": "rear-pair",
        "duration": "30 min",
        "events": [{"at": "1 min", "door": "open"}, {"at": "2 min", "door": "closed"}],
    }
    plan = read(script_from_data(data), knowledge, book)
    assert plan.script.events == (Door(at=60.0, open=True), Door(at=120.0, open=False))


def test_the_shipped_example_is_right_and_says_that_it_is_invented(
    knowledge: Knowledge, book: Book
) -> None:
    text = (demo_folder() / "night.yaml").read_text(encoding="utf-8")
    assert "invented" in text.splitlines()[0]
    plan = read(text, knowledge, book)
    assert [one.fault for one in plan.faults] == ["spring.fold-leak@left"]
    assert len(plan.script.events) >= 6


WRONG: list[tuple[str, str, int | None, tuple[str, ...]]] = [
    # what stands there, what is written instead, line of the error, what it says
    ("layout: rear-pair", "layout: rear", 2, ("layout", "no layout 'rear'", "'rear-pair'")),
    ("layout: rear-pair", "layuot: rear-pair", 2, ("no field 'layuot'", "'layout'")),
    ("duration: 14 h", "duration: 14", 3, ("duration", "'14'", "11 h 30 min")),
    ("duration: 14 h", "duration: 14 m", 3, ("duration", "Minutes are written min")),
    ("duration: 14 h", "duration: 0 h", 3, ("duration = 0 s", "above zero")),
    ("duration: 14 h", "duration: -1 h", 3, ("duration",)),
    ("duration: 14 h", "duration: [14 h]", 3, ("expected text", "a list")),
    ("duration: 14 h", "length: 14 h", 1, ("duration: this field is missing",)),
    ("ambient: 68 °F", "ambient: 68", 4, ("ambient = '68'", "-5 °C")),
    ("ambient: 68 °F", "ambient: 0", 4, ("ambient = '0'", "-5 °C")),
    ("ambient: 68 °F", "ambient: 120 °C", 4, ("ambient = 120 °C", "from -60 to 70")),
    ("engine: on", "engine: yes", 5, ("expected on or off", "'yes'")),
    ("engine: on", "engine: true", 5, ("expected on or off", "true")),
    ("seed: 7", "seed: -7", 6, ("seed = -7", "from 0 to")),
    ("seed: 7", "seed: 1.5", 6, ("expected a whole number", "1.5")),
    ("{at: 10 h, engine: off}", "{at: 10 h, engin: off}", 9, ("no field 'engin'", "'engine'")),
    ("{at: 10 h, engine: off}", "{at: 15 h, engine: off}", 9, ("54000 s", "within the run")),
    ("{at: 10 h, engine: off}", "{at: 10, engine: off}", 9, ("events[1].at", "at = '10'")),
    ("{at: 10 h, engine: off}", "{at: 10 h}", 9, ("expected one of ambient, engine", "none")),
    (
        "{at: 10 h, engine: off}",
        "{at: 10 h, engine: off, door: open}",
        9,
        ("expected one of", "engine and door"),
    ),
    (
        "{at: 10 h, engine: off}",
        "{at: 10 h, engine: off, over: 3 s}",
        9,
        ("events[1].over", "ambient, load, lift"),
    ),
    ("door: open", "door: shut", 11, ("expected open or closed", "'shut'")),
    ("lift: up", "lift: upp", 12, ("expected up or down", "Did you mean 'up'?")),
    ("left: 100 kg", "lft: 100 kg", 10, ("no corner 'lft'", "'left'")),
    ("left: 100 kg", "left: 100 N", 10, ("events[2].load.left", "80 kg")),
    ("left: 100 kg", "left: 20 t", 10, ("left = 20000 kg", "at most 1500 at one wheel")),
    ("{left: 100 kg, right: 220.462 lb}", "{}", 10, ("a mass at one of left, right",)),
    ("spring-pressure: 5.2 bar", "spring-presure: 5.2 bar", 15, ("'spring-pressure'",)),
    ("spring-pressure: 5.2 bar", "spring-pressure: 52 bar", 15, ("facts.spring-pressure",)),
    ("spring-pressure: 5.2 bar", "spring-pressure: 52 cm", 15, ("facts.spring-pressure",)),
    (
        "spring.fold-leak@left,",
        "spring.fold-leak,",
        18,
        ("Say which corner: spring.fold-leak@left, spring.fold-leak@right",),
    ),
    ("spring.fold-leak@left", "spring.fold-leak.left", 18, ("'spring.fold-leak@left'",)),
    ("spring.fold-leak@left", "spring.fold-lek@left", 18, ("'spring.fold-leak@left'",)),
    ("state: slow", "state: slwo", 18, ("no state of spring.fold-leak@left", "'slow'")),
    ("state: slow, ", "", 18, ("how bad spring.fold-leak@left is: slow, fast, heavy",)),
    ("size: 1.5", "size: 0", 18, ("size = 0", "above zero")),
    ("size: 1.5", "size: 1e9", 18, ("size = 1e+09", "at most 100")),
    ("size: 1.5", "size: big", 18, ("expected a number", "'big'")),
    ("onset: 1 h", "onset: 20 h", 18, ("onset = 72000 s", "within the run")),
    ("{fault: fuse.blown}", "{fault: use.stored-code}", 19, ("it has no physics",)),
    ("{fault: fuse.blown}", "{fault: fuse.blown, sise: 2}", 19, ("'sise'", "'size'")),
    (WHOLE, "", None, ("the file is empty",)),
    (WHOLE, "- a list", 1, ("expected a mapping",)),
    ("title: A night", "title: [", None, ("night.yaml",)),
]


@pytest.mark.parametrize(("old", "new", "line", "fragments"), WRONG, ids=[w[1][:40] for w in WRONG])
def test_a_mistake_is_shown_where_it_is(
    knowledge: Knowledge,
    book: Book,
    old: str,
    new: str,
    line: int | None,
    fragments: tuple[str, ...],
) -> None:
    assert old in WHOLE
    with pytest.raises(DocumentError) as refused:
        read(WHOLE.replace(old, new, 1), knowledge, book)
    said = str(refused.value)
    assert said.startswith("night.yaml")
    assert [text for text in fragments if text not in said] == [], said
    if line is not None:
        assert refused.value.line == line, said


def test_bytes_that_are_no_text_are_refused(knowledge: Knowledge, book: Book) -> None:
    with pytest.raises(DocumentError, match="line 2: bytes that are no text"):
        read(b"layout: rear-pair\n\xff\xfe", knowledge, book)
