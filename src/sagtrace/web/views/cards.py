"""A check as a card: what to mind, what to do, and the ways to answer it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sagtrace.bootstrap import pictures
from sagtrace.repair.costs import way_cautions, way_to_check
from sagtrace.report.after_repair import proof_cautions
from sagtrace.report.parts import by_gravity
from sagtrace.report.pictures import Picture, picture_for
from sagtrace.report.words import duration, percent, sentence
from sagtrace.units import Own, convert
from sagtrace.vehicle.checks import Caution, Check, Input
from sagtrace.vehicle.job import NOT_DONE, Begun, Entry, Job
from sagtrace.vehicle.system import System
from sagtrace.web.views.moments import Moment, moment, since
from sagtrace.web.views.people import Person
from sagtrace.web.words import _, later

__all__ = [
    "card", "Card", "Choice", "Field", "KINDS", "Step", "there_and_back", "time_of",
    "Wait", "waits",
]  # fmt: skip

_LONG = 20.0  # [min] chosen: a wait in which other work is taken up

KINDS = {
    "ask": later("Ask"),
    "look": later("Look"),
    "listen": later("Listen"),
    "measure": later("Measure"),
    "try": later("Try"),
    "read": later("Read out"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """An outcome to choose."""

    id: str
    text: str
    expected: str = ""  # how likely it is, if that was worked out


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """A number to type."""

    name: str
    ask: str
    unit: str
    hint: str
    required: bool
    value: str = ""  # as typed before
    elapsed: float | None = None  # since the check was begun [s], where a time is asked for


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """An access state to reach, or what ends it."""

    name: str
    minutes: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Card:
    """Everything that a check's card shows."""

    job: str
    check: str
    name: str
    kind: str
    why: str
    time: str
    cautions: tuple[Caution, ...]  # dangers first
    undo: tuple[Step, ...]
    reach: tuple[Step, ...]
    tools: tuple[str, ...]
    steps: tuple[str, ...]
    expect: str
    choices: tuple[Choice, ...]
    fields: tuple[Field, ...]
    wait: str  # empty: its answer is there at once
    long: bool  # nobody stands there for it, so it is begun now and read later
    begin_fields: tuple[Field, ...]  # what can be read at the beginning
    picture: Picture | None = None  # of where to measure
    practice: bool = False  # an invented vehicle can answer it
    act: str = "answer"  # or "prove"
    path: str = "entries"  # of the API
    instrument: str = ""
    note: str = ""
    supersedes: str = ""
    ends: str = ""
    answered: str = ""  # id of the entry that answers it already
    answered_text: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Wait:
    """A check that was begun and waits, with the card that finishes it."""

    begun: str
    name: str
    ready: Moment
    due: bool  # it can be read now
    left: str  # how long still
    started: str  # what was read at the beginning
    note: str
    card: Card


def card(
    system: System,
    job: Job,
    check: Check,
    person: Person,
    *,
    expected: Mapping[str, float] | None = None,
    proof: bool = False,
    corrects: Entry | None = None,
    ends: Begun | None = None,
    now: str = "",
) -> Card:
    """Return the card of a check as the job stands."""
    way = way_to_check(system, check, job.access)
    there = way_cautions(system, check.needs, check.without, job.access)
    used = by_gravity(system, dict.fromkeys([*there, *check.cautions]))
    inputs = check.measure.inputs if check.measure else ()
    typed = corrects.values if corrects else ends.values if ends else {}
    fields = tuple(_field(slot, person, typed, ends, now) for slot in inputs)
    times, now_after = job.times(), len(job.works)
    mine = (e for e in job.current() if e.check == check.id and times[e.id] == now_after)
    last = corrects or next(mine, None)
    texts = {NOT_DONE: _("could not be done"), **{o.id: o.text for o in check.outcomes}}
    said = (texts.get(last.outcome) or Own("; ".join(last.values.values()))) if last else ""
    return Card(
        job=job.id,
        check=check.id,
        name=sentence(check.name).rstrip("."),
        kind=_(KINDS[check.kind]),
        why=check.why,
        time=time_of(check.minutes + way.minutes, check.wait_minutes),
        cautions=proof_cautions(system, job, check) if proof else used,
        undo=tuple(_step(system, a, on=False) for a in way.undo),
        reach=tuple(_step(system, a, on=True) for a in way.reach),
        tools=check.tools,
        steps=check.steps,
        expect=check.expect,
        choices=_choices(check, expected or {}),
        fields=fields,
        wait=duration(60 * check.wait_minutes) if check.wait_minutes else "",
        long=check.wait_minutes >= _LONG,
        begin_fields=tuple(f for f in fields if f.name.endswith("-start")),
        picture=picture_for(pictures(), check),
        practice=bool(job.practice),
        act="prove" if proof else "answer",
        path="proofs" if proof else "entries",
        instrument=corrects.instrument if corrects else "",
        note=corrects.note if corrects else "",
        supersedes=corrects.id if corrects else "",
        ends=ends.id if ends else "",
        answered=last.id if last and not proof else "",
        answered_text=said,
    )


def _choices(check: Check, expected: Mapping[str, float]) -> tuple[Choice, ...]:
    return tuple(
        Choice(
            id=o.id,
            text=sentence(o.text).rstrip("."),
            expected=percent(expected[o.id]) if o.id in expected else "",
        )
        for o in check.outcomes
    )


def _field(
    slot: Input, person: Person, typed: Mapping[str, str], begun: Begun | None, now: str
) -> Field:
    unit = person.reader.unit(slot.unit)
    hint, value, passed = "", typed.get(slot.name, ""), math.nan
    if begun is not None and slot.name == "time":
        passed = since(begun.at, now)
    if passed >= 0.0:
        hint = person.number(_("%(time)s since it was begun", time=duration(passed)))
        value = value or (person.number(_rounded(convert(passed, "s", unit))) if passed else "")
    return Field(
        name=slot.name, ask=sentence(slot.ask).rstrip("."), unit=unit, hint=hint,
        required=slot.required, value=value, elapsed=passed if hint else None,
    )  # fmt: skip


def _rounded(number: float) -> str:
    """Return what a person would type for a time: three digits, and no hundredths of a minute."""
    return f"{number:.0f}" if number >= 100 else f"{number:.3g}"


def _step(system: System, access: str, *, on: bool) -> Step:
    state = system.access[access]
    off = f"{state.minutes_off:.0f}"
    if on:
        return Step(name=state.name, minutes=there_and_back(f"{state.minutes_on:.0f}", off))
    return Step(name=state.back, minutes=_("%(minutes)s min", minutes=off))


def there_and_back(on: str, off: str) -> str:
    """Return the minutes that something takes to reach and to put back, in words."""
    return _("%(on)s min, %(off)s min to put back", on=on, off=off)


def time_of(minutes: float, wait: float) -> str:
    """Return the minutes of work with access, and apart the waiting."""
    work = f"{minutes:.0f}"
    if not wait:
        return f"{work} min"
    waited = duration(60 * wait)
    return _("%(work)s min, then %(wait)s of waiting", work=work, wait=waited)


def waits(
    system: System, job: Job, person: Person, now: str, proofs: Sequence[str] = ()
) -> tuple[Wait, ...]:
    """Return what was begun and waits, the first to be ready first; `proofs` are proof tests."""
    found = []
    for begun in sorted(job.waiting(), key=lambda b: b.ready):
        check, left = system.check(begun.check), since(now, begun.ready)
        proof = bool(job.repaired) and begun.check in proofs
        found.append(
            Wait(
                begun=begun.id,
                name=sentence(check.name).rstrip("."),
                ready=moment(begun.ready, now),
                due=not left > 0.0,
                left=duration(left) if left > 0.0 else "",
                started="; ".join(begun.values.values()),
                note=begun.note,
                card=card(system, job, check, person, ends=begun, now=now, proof=proof),
            )
        )
    return tuple(found)
