"""The drawing has every part of the layout once, in a place of its own, joined at its ports."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from itertools import combinations
from pathlib import Path

import pytest

from sagtrace.adapters.documents import load_located
from sagtrace.adapters.drawings import SHIPPED, load_drawing, load_pictures
from sagtrace.bootstrap import drawing, open_workshop, pictures
from sagtrace.errors import DocumentError
from sagtrace.report.assessment import Judged
from sagtrace.report.lettering import text_width, wrap
from sagtrace.report.pictures import picture_for
from sagtrace.report.schematic import Schematic, draw
from sagtrace.report.schematic_parts import (
    NOT_EXCLUDED,
    WHOLE,
    Measured,
    Part,
    led_to,
    parts_of,
    parts_of_check,
)
from sagtrace.report.schematic_rules import SHEETS
from sagtrace.report.shapes import Box, hatching
from sagtrace.report.words import percent
from sagtrace.vehicle.job import Job
from sagtrace.vehicle.system import System, base_id, corner_of
from workbench import fresh_desk

LAYOUTS = ("rear-pair", "four-corner", "four-corner-reservoir")
CASES = [(layout, sheet) for layout in LAYOUTS for sheet in SHEETS]

# What each layout has in it, by hand from its description in the knowledge; not from the rules
# of the drawing. Four times: once for each corner.
COMMON = Counter({
    "pump": 1, "intake": 1, "dryer": 1, "vent": 1, "battery": 1, "fuse": 1, "relay": 1,
    "connector": 1, "feed-wire": 1, "ground": 1, "controller": 1,
})  # fmt: skip
FOUR = Counter(
    {"spring": 4, "line": 5, "valve": 4, "corner-sensor": 4, "block": 1, "pressure-sensor": 1}
)
CONTENT: Mapping[str, Counter[str]] = {
    "rear-pair": COMMON + Counter({"spring": 2, "line": 3, "valve": 2, "sensor": 1}),
    "four-corner": COMMON + FOUR,
    "four-corner-reservoir": COMMON + FOUR + Counter({"reservoir": 1, "reservoir-valve": 1}),
}


@cache
def judged(layout: str) -> Judged:
    job = Job(id="j", title="t", layout=layout, complaint="It is low.")
    return open_workshop().judge(job)


@cache
def demo() -> Judged:
    desk = fresh_desk()
    return desk.judged(desk.open("demo"))


def system(layout: str) -> System:
    return open_workshop().system(layout)


def sheet_of(layout: str, sheet: str, parts: Mapping[str, Part] | None = None) -> Schematic:
    found = parts or parts_of(judged(layout), drawing())
    return draw(drawing(), system(layout).layout, found, sheet)


def loaded(layout: str) -> Mapping[str, Part]:
    """Every part as probable as a text can say, and everything measured that can be."""
    told = {**parts_of(judged(layout), drawing())}
    nodes = system(layout).nodes
    for node in nodes.values():
        shows = drawing().shown.get(base_id(node.id))
        if node.quantity is None or shows is None:
            continue
        corner = corner_of(node.id)
        first = shows.parts[0]
        id_ = f"{first}@{corner}" if f"{first}@{corner}" in told else first
        reading = Measured(
            finding="e1",
            word=shows.word,
            interval=f"1280 to 1380\u00a0{node.quantity.unit}",
            of=shows.of,
        )
        told[id_] = replace(told[id_], measured=(*told[id_].measured, reading))
    return {
        id_: replace(p, beliefs=(replace(p.beliefs[0], probability=0.999),)) if p.beliefs else p
        for id_, p in told.items()
    }


# --- what is drawn


@pytest.mark.parametrize(("layout", "sheet"), CASES)
def test_every_component_is_drawn_once_for_each_corner(layout: str, sheet: str) -> None:
    drawn = [part.part for part in sheet_of(layout, sheet).parts]
    assert Counter(part.component for part in drawn) == CONTENT[layout]
    assert len({part.id for part in drawn}) == len(drawn)
    corners = {corner.id for corner in system(layout).layout.corners}
    assert {p.corner for p in drawn if p.component == "spring"} == corners


@pytest.mark.parametrize("layout", LAYOUTS)
def test_every_fault_has_a_part(layout: str) -> None:
    parts = parts_of(judged(layout), drawing())
    told = [b.fault for part in parts.values() for b in part.beliefs]
    assert sorted(told) == sorted(system(layout).faults)


@pytest.mark.parametrize("layout", LAYOUTS)
def test_every_check_belongs_to_a_part_or_to_the_whole_vehicle(layout: str) -> None:
    parts = parts_of(judged(layout), drawing())
    told = {check for part in parts.values() for check in part.checks}
    assert told == set(system(layout).checks)
    assert parts[WHOLE].checks  # some belong to no part, such as the warning in the panel


@pytest.mark.parametrize("layout", LAYOUTS)
def test_every_state_that_a_check_looks_at_is_placed(layout: str) -> None:
    placed = {*drawing().shown, *drawing().whole}
    for check in system(layout).checks.values():
        nodes = {node for row in check.rows for node in row.when}
        nodes |= {check.measure.node} if check.measure else set()
        conditions = {base_id(n) for n in nodes if n not in system(layout).faults}
        assert conditions <= placed, check.id


@pytest.mark.parametrize(
    ("check", "parts"),
    [
        ("soap.fold-normal@left", ("spring@left",)),
        ("hold.short@right", ("spring@right", "line@right", "valve@right")),
        ("soap.supply-line", ("line",)),
        ("connector.drop", ("connector",)),
        ("pump.fill-test", ("pump", "intake", "dryer")),
        ("story.warning", (WHOLE,)),
        ("load.weigh", ("use",)),
    ],
)
def test_a_check_belongs_to(check: str, parts: tuple[str, ...]) -> None:
    rear = system("rear-pair")
    assert parts_of_check(rear, drawing(), rear.checks[check]) == parts


# --- what it says


@pytest.mark.parametrize("sheet", SHEETS)
def test_the_suspicion_shown_is_that_of_the_verdict(sheet: str) -> None:
    verdict, faults = demo().verdict, demo().system.faults
    parts = parts_of(demo(), drawing())
    shown = draw(drawing(), demo().system.layout, parts, sheet)
    for part in shown.parts:
        mine = [
            b.probability
            for b in verdict.beliefs
            if faults[b.fault].component == part.part.component
            and corner_of(b.fault) == part.part.corner
        ]
        figures = [w.text.replace("\u00a0", " ") for w in part.words if w.style == "figure"]
        assert bool(part.hatch) == (max(mine) >= NOT_EXCLUDED)
        assert " ".join(figures) == (percent(max(mine)) if max(mine) >= NOT_EXCLUDED else "")


def test_what_was_measured_stands_at_its_part() -> None:
    parts = parts_of(demo(), drawing())
    finding = next(f for f in demo().verdict.findings if f.id == "e13")  # 12.4 V at the battery
    assert finding.estimate is not None
    low, high = finding.estimate.interval()
    said = parts["battery"].measured[0].interval
    assert said == f"{low:.2f} to {high:.2f}\u00a0V"
    assert parts["spring@left"].measured[0].text.startswith("leak ")
    assert parts["connector"].measured == ()


def test_of_two_numbers_for_one_state_the_surer_is_shown() -> None:
    of_pump = {f.id: f for f in demo().verdict.findings if f.target == "pump.delivery"}
    assert len(of_pump) == 2
    surest = min(of_pump.values(), key=lambda f: f.estimate.std if f.estimate else 1e9)
    shown = parts_of(demo(), drawing())["pump"].measured
    assert [m.finding for m in shown if m.word == "delivers"] == [surest.id]


def test_a_part_is_reached_only_by_what_is_off() -> None:
    parts = parts_of(demo(), drawing())
    assert parts["spring@left"].reach == "reached"
    assert parts["battery"].reach == "free"
    held = replace(demo(), job=replace(demo().job, access=()))
    assert parts_of(held, drawing())["spring@left"].reach != "reached"


def test_what_led_to_what_is_numbered_from_the_cause() -> None:
    steps = led_to(demo(), drawing())
    assert [(s.number, s.part, s.fault) for s in steps] == [
        (1, "spring@left", "spring.fold-leak@left"),
        (2, "pump", "pump.worn"),
    ]
    assert steps[0].how == ""
    assert "keeps the pump running" in steps[1].how
    assert led_to(judged("rear-pair"), drawing()) == ()


def test_hatching_is_denser_the_more_probable() -> None:
    box = Box(x=10, y=20, width=44, height=52)
    counts = [len(hatching(box, p)) for p in (0.02, 0.1, 0.3, 0.6, 0.95)]
    assert counts == sorted(set(counts))
    for x1, y1, x2, y2 in hatching(box, 0.5):
        for x, y in ((x1, y1), (x2, y2)):
            assert box.x - 0.01 <= x <= box.right + 0.01
            assert box.y - 0.01 <= y <= box.bottom + 0.01


# --- where it stands


@pytest.mark.parametrize(("layout", "sheet"), CASES)
@pytest.mark.parametrize("full", [False, True], ids=["fresh", "loaded"])
def test_nothing_overlaps(layout: str, sheet: str, full: bool) -> None:
    shown = sheet_of(layout, sheet, loaded(layout) if full else None)
    boxes = [(p.part.id, p.box) for p in shown.parts]
    boxes += [(f"{p.part.id}: {w.text}", w.box) for p in shown.parts for w in p.words]
    boxes += [(w.text, w.box) for w in shown.words]
    assert [(a, b) for (a, x), (b, y) in combinations(boxes, 2) if x.overlaps(y)] == []
    for name, box in boxes:
        assert box.x >= 0, name
        assert box.right <= shown.width, name
        assert 0 <= box.y < box.bottom <= shown.height, name


@pytest.mark.parametrize(("layout", "sheet"), CASES)
@pytest.mark.parametrize("full", [False, True], ids=["fresh", "loaded"])
def test_no_line_runs_through_a_part_or_a_word(layout: str, sheet: str, full: bool) -> None:
    shown = sheet_of(layout, sheet, loaded(layout) if full else None)
    boxes = [(p.part.id, p.box) for p in shown.parts]
    boxes += [(f"{p.part.id}: {w.text}", w.box) for p in shown.parts for w in p.words]
    boxes += [(w.text, w.box) for w in shown.words]
    through = []
    for run in shown.lines:
        for (x1, y1), (x2, y2) in zip(run.points, run.points[1:], strict=False):
            way = Box(x=min(x1, x2), y=min(y1, y2), width=abs(x2 - x1), height=abs(y2 - y1))
            through += [(run.ends, name) for name, box in boxes if way.overlaps(box, -0.01)]
    assert through == []


@pytest.mark.parametrize(("layout", "sheet"), CASES)
def test_lines_join_ports_that_exist_at_right_angles(layout: str, sheet: str) -> None:
    shown = sheet_of(layout, sheet)
    ports = {f"{p.part.id}.{n}": at for p in shown.parts for n, at in p.ports.items()}
    rails = {rail.id for rail in drawing().rails}
    for run in shown.lines:
        assert {e for e in run.ends if e not in rails} <= set(ports)
        for (x1, y1), (x2, y2) in zip(run.points, run.points[1:], strict=False):
            assert x1 == pytest.approx(x2) or y1 == pytest.approx(y2)
    straight = [run for run in shown.lines if len(run.ends) == 2 and run.points[0] != run.points[1]]
    for run in straight:
        if run.ends[0] in ports and run.ends[1] in ports and len(run.points) == 2:
            assert run.points[0] == pytest.approx(ports[run.ends[0]])
            assert run.points[1] == pytest.approx(ports[run.ends[1]])


@pytest.mark.parametrize("layout", LAYOUTS)
@pytest.mark.common_practice("air comes from the intake through pump and dryer into every spring")
def test_air_reaches_every_spring_from_the_intake(layout: str) -> None:
    reached = _reached(layout, "air", "intake")
    springs = {f"spring@{c.id}" for c in system(layout).layout.corners}
    assert springs <= reached
    assert {"pump", "dryer", "vent"} <= reached
    assert ("reservoir" in reached) == ("reservoir" in system(layout).layout.features)


@pytest.mark.parametrize("layout", LAYOUTS)
@pytest.mark.common_practice("battery, fuse, relay, wire, connector, pump and ground are in series")
def test_the_pump_circuit_is_closed(layout: str) -> None:
    circuit = {"battery", "fuse", "relay", "feed-wire", "connector", "pump", "ground"}
    assert _reached(layout, "wire", "battery") == circuit


def _reached(layout: str, kind: str, start: str) -> set[str]:
    found, new = set[str](), {start}
    runs = [r for r in sheet_of(layout, "phone").lines if r.kind == kind]
    groups = [{e.rpartition(".")[0] or e for e in run.ends} for run in runs]
    while new:
        found |= new
        new = set().union(*(g for g in groups if g & found)) - found
    return {f for f in found if f not in {rail.id for rail in drawing().rails}}


@pytest.mark.parametrize(("layout", "sheet"), CASES)
def test_a_finger_hits_every_part_and_everybody_reads_it(layout: str, sheet: str) -> None:
    shown = sheet_of(layout, sheet, loaded(layout))
    for part in shown.parts:
        assert min(part.box.width, part.box.height) >= 44
        assert all(word.size >= 13 for word in part.words)
    assert all(word.size >= 13 for word in shown.words)


# --- the letters and the data


def test_a_text_is_broken_between_words_only() -> None:
    text = "feed and ground lose 0.27 to 0.76 V"
    lines = wrap(text, 13, 80)
    assert " ".join(lines) == text
    assert all(text_width(line, 13) <= 80 for line in lines)
    assert wrap("controller", 13, 10) == ("controller",)


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("component: fuse,", "component: fusee,", "there is no component 'fusee'"),
        ("symbol: fuse,", "symbol: fues,", "there is no symbol 'fues'"),
        ("end: fuse.in", "end: fuse.inn", "'fuse.inn' is neither a rail nor a port"),
        ("id: fuse, width: 52", "id: fuse, width: 40", "smaller than 44"),
        ("node: moisture", "node: moistness", "there is no fault or condition 'moistness'"),
        ("row: store, column: 3", "row: stored, column: 3", "there is no row 'stored'"),
    ],
)  # fmt: skip
def test_a_mistake_in_the_data_is_told_with_its_line(
    old: str, new: str, says: str, tmp_path: Path
) -> None:
    text = (SHIPPED / "schematic.yaml").read_text(encoding="utf-8")
    assert old in text
    (tmp_path / "schematic.yaml").write_text(text.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(DocumentError, match=says) as caught:
        load_drawing(tmp_path, open_workshop().knowledge)
    assert caught.value.line is not None


# --- pictures


def test_a_check_has_its_picture() -> None:
    rear = system("rear-pair")
    tape = picture_for(pictures(), rear.checks["height.arrival@left"])
    assert tape is not None
    assert tape.id == "tape"
    assert picture_for(pictures(), rear.checks["fuse.test"]) is None


def test_every_picture_is_used_and_says_what_it_shows() -> None:
    book = pictures()
    assert {shown.picture for shown in book.checks} == {p.id for p in book.pictures}
    assert all(len(p.alt) > 60 and p.title for p in book.pictures)


def test_a_wrong_picture_is_told_with_its_line(tmp_path: Path) -> None:
    text = (SHIPPED / "pictures.yaml").read_text(encoding="utf-8")
    (tmp_path / "pictures.yaml").write_text(text.replace("check: feed.loss", "check: feed.los"))
    with pytest.raises(DocumentError, match=r"there is no check 'feed.los'"):
        load_pictures(tmp_path, open_workshop().knowledge)


def test_every_source_of_the_data_is_marked_from_memory_or_chosen() -> None:
    for name in ("schematic.yaml", "pictures.yaml"):
        data = load_located((SHIPPED / name).read_text(encoding="utf-8"), name).data
        kinds = {source["kind"] for source in data["sources"]}
        assert kinds <= {"from_memory", "chosen", "common_practice"}
