"""What the page of the repair shows of its proofs: limit, way there, form, result."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime

from sagtrace.repair.costs import way_to_check
from sagtrace.repair.proofs import DueProof
from sagtrace.report.after_repair import handover, proof_cautions, repair_after_failure
from sagtrace.report.assessment import Assessment
from sagtrace.report.compared import compared
from sagtrace.report.words import duration, listed, sentence
from sagtrace.units import Reader, as_read, from_si, to_si
from sagtrace.vehicle.checks import Check, Input
from sagtrace.vehicle.job import Begun
from sagtrace.web.views.intervals import IntervalsDrawing, draw_intervals
from sagtrace.web.views.opened import CautionGroup, Moment, grouped, moment
from sagtrace.web.views.people import with_unit
from sagtrace.web.views.plot import NARROW, WIDE
from sagtrace.web.words import _, later

__all__ = [
    "ComparisonView",
    "FieldView",
    "HandoverView",
    "OldProof",
    "ProofView",
    "view_handover",
    "view_proofs",
    "WaitingView",
    "what_now",
]

_WHAT_NOW = {  # by the result of a proof
    "passed": later("Nothing more is needed here."),
    "undecided": later(
        "The repair is neither proved nor refuted. Do the test again as said, and type the new "
        "result. If that leaves it open too, look for a second fault."
    ),
    "failed": later(
        "The repair is not proved. A fault that was repaired is still there, or one that was not "
        "found is: go on checking, and type what you find as an answer to its check."
    ),
    "repair": later(
        "The repair is not proved, and enough was found since to repair again. Then do this test "
        "anew."
    ),
}


def what_now(a: Assessment, result: str) -> str:
    """Return what to do after a proof that ended so."""
    again = result == "failed" and repair_after_failure(a)
    return _(_WHAT_NOW["repair" if again else result]) if result else ""


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldView:
    """One number that a proof asks for."""

    name: str
    ask: str
    unit: str
    required: bool
    value: str = ""  # read when the test was begun
    since: str = ""  # RFC 3339: a time field that counts from here
    seconds: float = 1.0  # of the field's unit, for counting
    hint: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class WaitingView:
    """A test that was begun."""

    id: str
    at: Moment
    ready: Moment
    over: bool  # it can be read now
    note: str  # who began it and what was read


@dataclass(frozen=True, slots=True, kw_only=True)
class ComparisonView:
    """Before and after, drawn for wide and for narrow pages, and in words."""

    drawings: tuple[tuple[str, IntervalsDrawing], ...]
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ProofView:
    """One test that is due."""

    check: str
    name: str
    proves: str
    left: str  # what was found and not repaired, which it would find still there
    limit: str
    least: str  # how long it lasts at least, for a hold
    why: str
    minutes: str
    first: tuple[str, ...]  # what to undo and to reach before it
    tools: str
    steps: tuple[str, ...]
    expect: str
    cautions: tuple[CautionGroup, ...]
    result: str  # empty: not done yet
    result_text: str
    result_when: Moment
    result_by: str
    typed: tuple[str, ...]
    next: str
    waiting: WaitingView | None
    may_begin: bool
    start_fields: tuple[FieldView, ...]
    fields: tuple[FieldView, ...]
    outcomes: tuple[tuple[str, str], ...]
    comparison: ComparisonView | None


@dataclass(frozen=True, slots=True, kw_only=True)
class OldProof:
    """A result that no longer counts, and why."""

    name: str
    said: str
    when: Moment
    by: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class HandoverView:
    """What is still off a proved vehicle, and the way back."""

    cautions: tuple[CautionGroup, ...]
    back: tuple[str, ...]  # in the order in which it is put back


def view_handover(a: Assessment) -> HandoverView | None:
    """Return what to put back before the vehicle is handed over; None if nothing is off."""
    found, access = handover(a), a.system.access
    if found is None:
        return None
    back = tuple(
        sentence(
            _(
                "%(what)s (%(minutes)s min)",
                what=access[name].back,
                minutes=round(access[name].minutes_off),
            )
        )
        for name in found.back
    )
    return HandoverView(cautions=grouped(found.cautions), back=back)


def view_proofs(
    a: Assessment, now: str, reader: Reader
) -> tuple[tuple[ProofView, ...], tuple[OldProof, ...]]:
    """Return the proofs that are due, and results that count no longer."""
    return tuple(_proof(a, due, now, reader) for due in a.proofs), tuple(_old(a))


def _proof(a: Assessment, due: DueProof, now: str, reader: Reader) -> ProofView:
    system, check = a.system, a.system.checks[due.proof.check]
    way = way_to_check(system, check, a.job.access)
    begun = next((b for b in reversed(a.job.waiting()) if b.check == check.id), None)
    entry = next((e for e in reversed(a.job.valid_proofs()) if e.check == check.id), None)
    result = due.judged.result if due.judged else ""
    inputs = check.measure.inputs if check.measure else ()
    fixed = {fault for repair in a.job.repaired for fault in system.repair(repair).fixes}
    left = [f for f in due.faults if a.job.repaired and f not in fixed]
    return ProofView(
        check=check.id,
        name=sentence(check.name).rstrip("."),
        proves=_faults(a, [f for f in due.faults if f not in left])
        if due.faults
        else _("Everything, on the whole vehicle"),
        left=_faults(a, left),
        limit=_limit(due),
        least=duration(due.hold) if due.hold is not None else "",
        why=sentence(due.proof.text),
        minutes=_minutes(check),
        first=(
            *(sentence(system.access[name].back) for name in way.undo),
            *(sentence(system.access[name].name) for name in way.reach),
        ),
        tools=listed(check.tools),
        steps=check.steps,
        expect=check.expect,
        cautions=grouped(proof_cautions(system, a.job, check)),
        result=result,
        result_text=sentence(due.judged.text) if due.judged else "",
        result_when=moment(entry.at if entry else ""),
        result_by=entry.by if entry else "",
        typed=_typed(entry.values, inputs) if entry else (),
        next=what_now(a, result),
        waiting=_waiting(begun, inputs, now) if begun else None,
        may_begin=check.wait_minutes > 0.0,
        start_fields=tuple(_field(slot, None, now, reader) for slot in inputs if _at_start(slot)),
        fields=tuple(_field(slot, begun, now, reader) for slot in inputs),
        outcomes=tuple((o.id, sentence(o.text)) for o in check.outcomes),
        comparison=_comparison(a, due, reader),
    )


def _faults(a: Assessment, faults: Sequence[str]) -> str:
    return sentence(listed([a.system.faults[f].name for f in faults])).rstrip(".")


def _limit(due: DueProof) -> str:
    if due.fall is None:
        return sentence(due.limit)
    fall = f"{1e3 * due.fall:.0f}"
    return sentence(
        _("%(limit)s: about %(fall)s mm in 12 h at one temperature", limit=due.limit, fall=fall)
    )


def _minutes(check: Check) -> str:
    work = f"{check.minutes:.0f}"
    if not check.wait_minutes:
        return _("%(work)s min of work", work=work)
    wait = duration(60 * check.wait_minutes)
    return _("%(work)s min of work, %(wait)s wait", work=work, wait=wait)


def _at_start(slot: Input) -> bool:
    return slot.name.endswith("-start")


def _field(slot: Input, begun: Begun | None, now: str, reader: Reader) -> FieldView:
    field = FieldView(
        name=slot.name,
        ask=sentence(slot.ask).rstrip("."),
        unit=reader.unit(slot.unit),
        required=slot.required,
    )
    if begun is None:
        return field
    field = replace(field, value=begun.values.get(slot.name, ""))
    passed = _between(begun.at, now) if slot.kind == "time" else None
    if passed is None:
        return field
    shown = f"{from_si(passed, slot.unit):.2g} {slot.unit}"
    hint = _(
        "Since it was begun: %(time)s. Filled in when you type what is read at the end.", time=shown
    )
    return replace(field, since=begun.at, seconds=to_si(1.0, slot.unit), hint=hint)


def _typed(values: Mapping[str, str], inputs: Sequence[Input]) -> tuple[str, ...]:
    """Return what was typed, a bare number with the unit that it was taken in."""
    units = {slot.name: slot.unit for slot in inputs}
    return tuple(
        f"{name.replace('-', ' ')} {with_unit(text, units.get(name, ''))}"
        for name, text in values.items()
    )


def _waiting(begun: Begun, inputs: Sequence[Input], now: str) -> WaitingView:
    moment_now, wanted = _parsed(now), _parsed(begun.ready)
    by = begun.by and _("by %(who)s", who=begun.by)
    values = _typed(begun.values, inputs)
    return WaitingView(
        id=begun.id, at=moment(begun.at), ready=moment(begun.ready),
        over=bool(moment_now and wanted and moment_now >= wanted),
        note="; ".join(part for part in (*values, by, begun.note) if part),
    )  # fmt: skip


def _comparison(a: Assessment, due: DueProof, reader: Reader) -> ComparisonView | None:
    found = compared(a.system, a.as_found().verdict, due)
    if found is None or not a.job.repaired:
        return None
    found = as_read(found, reader)
    drawings = (("wide", draw_intervals(found, WIDE)), ("narrow", draw_intervals(found, NARROW)))
    return ComparisonView(drawings=drawings, text=found.text)


def _old(a: Assessment) -> list[OldProof]:
    left_out = a.job.left_out_proofs()
    return [
        OldProof(
            name=sentence(a.system.checks[e.check].name).rstrip("."),
            said=e.outcome or ", ".join(f"{k.replace('-', ' ')} {v}" for k, v in e.values.items()),
            when=moment(e.at),
            by=e.by,
            why=left_out[e.id],
        )
        for e in a.job.proofs
        if e.id in left_out and not e.withdrawn
    ]


def _parsed(at: str) -> datetime | None:
    try:
        found = datetime.fromisoformat(at)
    except ValueError:
        return None
    return found if found.tzinfo else found.replace(tzinfo=UTC)


def _between(start: str, end: str) -> float | None:
    """Return the seconds between two moments, or None if one is no moment."""
    a, b = _parsed(start), _parsed(end)
    return None if a is None or b is None else max((b - a).total_seconds(), 0.0)
