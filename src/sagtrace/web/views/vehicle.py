"""What the drawing of a vehicle shows, and the panel of the part that was tapped."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from urllib.parse import quote

from sagtrace.diagnosis.verdict import Belief
from sagtrace.errors import UnknownIdError
from sagtrace.repair.costs import way_to_check
from sagtrace.report.assessment import Judged
from sagtrace.report.parts import identity_facts, state_text
from sagtrace.report.schematic import Schematic, draw
from sagtrace.report.schematic_parts import (
    NOT_EXCLUDED,
    WHOLE,
    Part,
    Step,
    led_to,
    parts_of,
)
from sagtrace.report.schematic_rules import SHEETS, Drawing
from sagtrace.report.words import duration, listed, odds, percent, sentence
from sagtrace.units import METRIC, Reader, as_read
from sagtrace.vehicle.checks import Check
from sagtrace.web.words import _

__all__ = [
    "Aside",
    "CheckLine",
    "FaultLine",
    "KnownLine",
    "Panel",
    "StepLine",
    "vehicle_page",
    "VehiclePage",
]

_SHOWN = 5  # chosen: lines of what is known; the verdict has them all


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultLine:
    """One fault of the part; `bar` and `before` are lengths in a hundred.

    A `minor` one is excluded as far as a verdict excludes anything.
    """

    name: str
    state: str
    percent: str
    prior: str
    bar: float
    before: float
    minor: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownLine:
    """Something that is known of the part, and how it moved the odds of a fault."""

    text: str
    moved: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckLine:
    """One check of the part: `way` is what has to come off first, empty if nothing has to."""

    href: str
    name: str
    minutes: str
    wait: str
    way: str
    answer: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Panel:
    """Everything about one part."""

    part: str
    title: str
    faults: tuple[FaultLine, ...]
    readings: tuple[str, ...]
    known: tuple[KnownLine, ...]
    checks: tuple[CheckLine, ...]  # still open, those within reach first
    done: tuple[CheckLine, ...]
    all_checks: str  # address
    close: str  # address


@dataclass(frozen=True, slots=True, kw_only=True)
class StepLine:
    """One station of what led to what, numbered as in the drawing."""

    number: int
    part: str
    href: str
    text: str
    percent: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Aside:
    """Something that no symbol can stand for, listed beside the drawing."""

    part: str
    href: str
    label: str
    percent: str
    readings: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class VehiclePage:
    """Everything that vehicle.html may use."""

    layout: str
    identity: tuple[tuple[str, str], ...]
    sheets: tuple[Schematic, ...]
    hrefs: Mapping[str, str]  # by part
    names: Mapping[str, str]  # by part, for those who hear the page
    steps: tuple[StepLine, ...]  # what led to what
    marks: Mapping[str, tuple[int, ...]]  # their numbers, by part
    asides: tuple[Aside, ...]
    access: tuple[str, ...]  # what is off, up or unplugged now
    chosen: str
    panel: Panel | None
    edition: str


def vehicle_page(
    judged: Judged, drawing: Drawing, chosen: str, reader: Reader = METRIC
) -> VehiclePage:
    """Return the page; raise UnknownIdError if the chosen part does not exist."""
    parts = {id_: as_read(part, reader) for id_, part in parts_of(judged, drawing).items()}
    if chosen and chosen not in parts:
        raise UnknownIdError("part", chosen, parts)
    system, job = judged.system, f"/jobs/{judged.job.id}"
    hrefs = {id_: f"{job}/vehicle?part={quote(id_)}#panel" for id_ in parts}
    steps = led_to(judged, drawing)
    beside = [p for p in parts.values() if p.component not in drawing.by_component]
    return VehiclePage(
        layout=sentence(system.layout.name).rstrip("."),
        identity=identity_facts(judged.job),
        sheets=tuple(draw(drawing, system.layout, parts, sheet) for sheet in SHEETS),
        hrefs=hrefs,
        names={id_: _spoken(judged, part) for id_, part in parts.items()},
        steps=tuple(_step(judged, step, hrefs[step.part]) for step in steps),
        marks={id_: tuple(s.number for s in steps if s.part == id_) for id_ in parts},
        asides=tuple(_aside(part, hrefs[part.id]) for part in beside),
        access=tuple(system.access[name].name for name in judged.job.access),
        chosen=chosen,
        panel=_panel(judged, parts[chosen]) if chosen else None,
        edition=system.edition,
    )


def _spoken(judged: Judged, part: Part) -> str:
    """Return the part, its worst fault with the probability, its readings and whether in reach."""
    worst = part.worst
    said = (
        [f"{judged.system.faults[worst.fault].name}, {percent(worst.probability)}"] if worst else []
    )
    said += [m.text for m in part.measured]
    if part.reach == "reached":
        said.append(_("within reach as it stands"))
    return f"{part.name}: {'; '.join(said)}"


def _step(judged: Judged, step: Step, href: str) -> StepLine:
    name = judged.system.faults[step.fault].name
    return StepLine(
        number=step.number, part=step.part, href=href,
        text=sentence(f"{name}: {step.how}" if step.how else name),
        percent=percent(judged.verdict.belief(step.fault).probability),
    )  # fmt: skip


def _aside(part: Part, href: str) -> Aside:
    return Aside(
        part=part.id, href=href, label=part.label,
        percent=percent(part.worst.probability) if part.worst else "",
        readings=tuple(m.text for m in part.measured),
    )  # fmt: skip


def _panel(judged: Judged, part: Part) -> Panel:
    job = f"/jobs/{judged.job.id}"
    checks = [judged.system.checks[c] for c in part.checks]
    answers = {f.source: f.text for f in judged.verdict.findings}
    still = [c for c in checks if c.id not in judged.answered]
    still.sort(key=lambda c: _minutes(judged, c))
    return Panel(
        part=part.id,
        title=part.name,
        faults=tuple(_fault(judged, belief) for belief in part.beliefs),
        readings=tuple(sentence(m.text).rstrip(".") for m in part.measured),
        known=_known(judged, part),
        checks=tuple(_check(judged, c, "") for c in still),
        done=tuple(
            _check(judged, c, sentence(answers.get(c.id, _("answered by another check"))))
            for c in checks
            if c.id in judged.answered
        ),
        all_checks=f"{job}/checks" + (f"?component={quote(part.id)}" if part.id != WHOLE else ""),
        close=f"{job}/vehicle",
    )  # fmt: skip


def _fault(judged: Judged, belief: Belief) -> FaultLine:
    return FaultLine(
        name=sentence(judged.system.faults[belief.fault].name).rstrip("."),
        state=sentence(state_text(judged.system, belief)),
        percent=percent(belief.probability),
        prior=percent(belief.prior),
        bar=round(100 * belief.probability, 1),
        before=round(100 * belief.prior, 1),
        minor=belief.probability < NOT_EXCLUDED,
    )


def _known(judged: Judged, part: Part) -> tuple[KnownLine, ...]:
    """Return what moved the faults of the part most, each finding once."""
    faults, mine = judged.system.faults, {b.fault for b in part.beliefs}
    findings = {f.id: f for f in judged.verdict.findings}
    moves = sorted(judged.verdict.moves, key=lambda m: -abs(m.log_odds))
    told: dict[str, KnownLine] = {}
    for move in moves:
        if move.fault in mine and move.finding not in told:
            text = sentence(findings[move.finding].text)
            moved = f"{faults[move.fault].name}: {odds(move.log_odds)}"
            told[move.finding] = KnownLine(text=text, moved=moved)
    return tuple(told.values())[:_SHOWN]


def _minutes(judged: Judged, check: Check) -> tuple[float, str]:
    way = way_to_check(judged.system, check, judged.job.access)
    return way.minutes + check.minutes, check.id


def _check(judged: Judged, check: Check, answer: str) -> CheckLine:
    system = judged.system
    way = way_to_check(system, check, judged.job.access)
    steps = [system.access[name].name for name in way.reach]
    steps += [_("undo: %(what)s", what=system.access[name].name) for name in way.undo]
    wait = duration(60 * check.wait_minutes) if check.wait_minutes else ""
    needs = f"{listed(steps)}: {way.minutes:.0f} min" if steps else ""
    return CheckLine(
        href=f"/jobs/{judged.job.id}/checks/{quote(check.id)}",
        name=sentence(check.name).rstrip("."), minutes=f"{check.minutes:.0f} min", wait=wait,
        way=needs, answer=answer,
    )  # fmt: skip
