"""Jobs that papers have to cope with, each assessed once, and ways to read a paper as a tree."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import fields, is_dataclass, replace
from functools import cache
from typing import Any

from sagtrace.bootstrap import demo_folder, job_place, open_workshop
from sagtrace.report.assessment import Assessment
from sagtrace.report.tree import Block, Paper, Section, Table
from sagtrace.vehicle.job import Approval, Begun, Entry, Job, Note, Work

PLACE = job_place(demo_folder() / "demo.yaml")
DEMO = PLACE.load()
HOSTILE = (
    '#include("x.typ") $x$ [bold]y[/] <b>&amp;</b> \\n {0} %s "quoted" \'s *\N{BOMB}*\nsecond line'
)


def numbers(id: str, check: str, **values: str) -> Entry:  # noqa: A002
    return Entry(id=id, check=check, values={k.replace("_", "-"): v for k, v in values.items()})


AT_9_DEGREES = {"temperature_start": "9 °C", "temperature_end": "9 °C"}

FILL = {"pressure_start": "0 bar", "pressure_end": "7 bar", "volume": "2 L"}
AT, LATER = "2026-11-24T08:05:00+00:00", "2026-11-25T16:30:00+00:00"

JOBS: dict[str, Job] = {
    "demo": DEMO,
    # Neither complaint nor answer: what is known before anybody speaks.
    "empty": Job(id="empty", title="Nothing yet", layout="rear-pair"),
    "opened": Job(id="opened", title="Sits low", layout="rear-pair", complaint="It sits low."),
    "contradiction": replace(
        DEMO,
        recordings=(),
        entries=(
            *DEMO.entries[:8],
            numbers("x1", "supply.running", value="3 V"),
            Entry(id="x2", check="soap.fitting@left", outcome="bubbles"),
            Entry(id="x3", check="soap.fitting@left", outcome="none"),
        ),
    ),
    "repaired": replace(
        DEMO,
        works=(
            Work(
                id="w1", entries=len(DEMO.entries), recordings=len(DEMO.recordings),
                repairs=(
                    "spring.replace@left", "pump.ring-kit", "connector.repair", "relay.replace",
                ),
            ),
        ),
        proofs=(
            numbers(
                "p1", "hold.overnight@left",
                height_start="403 mm", height_end="383 mm", time="12 h", **AT_9_DEGREES,
            ),
            numbers(
                "p2", "pump.fill-test",
                pressure_start="0 bar", pressure_end="7 bar", time="50 s", volume="2 L",
                supply="12.5 V",
            ),
            numbers("p3", "connector.drop", drop="60 mV", current="18 A"),
        ),
    ),
    "proved": replace(
        DEMO,
        entries=(
            *DEMO.entries,
            Entry(id="x1", check="soap.fitting@left", outcome="bubbles", at=AT, by="A. Example"),
            Entry(
                id="x2", check="soap.fitting@left", supersedes="x1", withdrawn=True, at=AT,
                by="A. Example", note="wrong corner",
            ),
        ),
        begun=(
            Begun(
                id="b1", check="hold.overnight@left", values={"height-start": "400 mm"}, at=AT,
                by="A. Example",
            ),
            Begun(id="b2", drops="b1", at=LATER, by="B. Example", note="the bay was needed"),
        ),
        notes=(
            Note(
                id="n1", text="wet bellows", photo="bellows.jpg", sha256="ab" * 32,
                check="soap.fold-normal@left", at=AT, by="A. Example",
            ),
        ),
        approvals=(
            Approval(
                id="a1", repairs=("spring.replace@left",), offered="400 ± 60 EUR with tax",
                answer="declined", how="by telephone", who="C. Example", at=AT, by="B. Example",
            ),
            Approval(
                id="a2", repairs=("spring.replace@left", "pump.ring-kit"),
                offered="900 ± 90 EUR with tax", answer="approved", how="in writing",
                who="C. Example", at=LATER, by="B. Example",
            ),
        ),
        works=(
            Work(
                id="w1", repairs=("spring.replace@left", "pump.ring-kit"), at=LATER,
                by="A. Example", entries=len(DEMO.entries) + 2, proofs=1,
                recordings=len(DEMO.recordings),
            ),
        ),
        proofs=(
            numbers("p1", "pump.fill-test", **FILL, time="70 s", supply="12.5 V"),
            numbers(
                "p2", "hold.overnight@left",
                height_start="403 mm", height_end="402 mm", time="14 h",
            ),
            numbers(
                "p3", "hold.overnight@left",
                height_start="403 mm", height_end="402.5 mm", time="14 h", **AT_9_DEGREES,
            ),
            numbers("p4", "pump.fill-test", **FILL, time="30 s", supply="12.5 V"),
            Entry(id="p5", check="try.lift", outcome="normal"),
        ),
    ),
    "hostile": replace(
        DEMO,
        recordings=(),
        title=HOSTILE,
        complaint=HOSTILE,
        entries=tuple(
            replace(e, by=HOSTILE, instrument=HOSTILE, note=HOSTILE) for e in DEMO.entries
        ),
    ),
}  # fmt: skip


@cache
def assessed(name: str) -> Assessment:
    """Return the assessment of one of the jobs."""
    return open_workshop().assess(JOBS[name], PLACE)


def every(value: Any, kind: type) -> Iterator[Any]:
    """Yield everything of this kind in a tree, in reading order."""
    if isinstance(value, kind):
        yield value
    if is_dataclass(value) and not isinstance(value, type):
        for field in fields(value):
            yield from every(getattr(value, field.name), kind)
    elif isinstance(value, tuple):
        for item in value:
            yield from every(item, kind)


def texts(tree: Any) -> list[str]:
    return list(every(tree, str))


def section(paper: Paper, title: str) -> tuple[Block, ...]:
    """Return what stands under this heading; nothing if there is no such heading."""
    found = [s.body for s in paper.body if isinstance(s, Section) and s.title == title]
    assert len(found) <= 1
    return found[0] if found else ()


def column(table: Table, title: str) -> list[str]:
    titles = [c.title for c in table.columns]
    return [row[titles.index(title)] for row in table.rows]


def tables(blocks: tuple[Block, ...]) -> list[Table]:
    return [block for block in blocks if isinstance(block, Table)]
