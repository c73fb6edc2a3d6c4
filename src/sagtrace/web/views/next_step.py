"""The next thing to do on a job, and what the last answer changed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from sagtrace.plan.next_check import Offer
from sagtrace.report.after_repair import (
    approved_work,
    checks_after_failure,
    how_things_stand,
    repair_after_failure,
    still_there,
    suspects,
)
from sagtrace.report.assessment import Assessment
from sagtrace.report.from_before import from_before, sum_of
from sagtrace.report.headline import headline
from sagtrace.report.moved import Moved, verdict_bars
from sagtrace.report.parts import no_part, open_offers, proof_text
from sagtrace.report.tree import Bar
from sagtrace.report.words import listed, money, sentence
from sagtrace.vehicle.job import Job
from sagtrace.vehicle.system import System
from sagtrace.web.views.cards import Card, Wait, card, there_and_back, time_of, waits
from sagtrace.web.views.moments import moment
from sagtrace.web.views.people import Person
from sagtrace.web.views.proofs import what_now
from sagtrace.web.words import _

__all__ = ["access_of", "AccessChoice", "Due", "Other", "StepPage", "step_page", "troubled_page"]

_OTHERS = 6  # chosen: offers beside the first; the search has the rest
_BARS = 4  # chosen: faults of the short verdict


@dataclass(frozen=True, slots=True, kw_only=True)
class Other:
    """Another check that could be done."""

    check: str
    name: str
    time: str
    saves: str  # empty: nothing


@dataclass(frozen=True, slots=True, kw_only=True)
class AccessChoice:
    """An access state and whether it holds now."""

    id: str
    name: str
    minutes: str
    held: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Due:
    """A proof that is still due."""

    check: str
    name: str
    text: str
    result: str  # empty: not done yet
    said: str = ""  # why it came out so
    now: str = ""  # what to do about it


@dataclass(frozen=True, slots=True, kw_only=True)
class StepPage:
    """Everything that step.html may use."""

    job: str
    complaint: str
    practice: bool
    stage: str  # check, repair, prove, proved; empty: the evidence cannot be judged
    headline: str
    reason: str
    problem: str
    card: Card | None
    waits: tuple[Wait, ...]
    due_hold: bool  # one of them can be read now
    moved: Moved | None
    undo: str  # the entry that was just made, if taking it back brings back what was
    begun: str  # what was just begun, in words
    bars: tuple[Bar, ...]
    lead: str  # the verdict in a sentence
    old: str  # what still counts from before a repair
    others: tuple[Other, ...]
    dear: tuple[Other, ...]  # others that are not expected to pay for themselves
    due: tuple[Due, ...]
    again: bool  # a proof failed, and enough is known to repair again before it is repeated
    access: tuple[AccessChoice, ...]
    holds: str  # the access states that hold, in words


def step_page(
    found: Assessment, moves: Moved | None, person: Person, now: str, *, began: bool = False
) -> StepPage:
    """Return the page of a job that was worked out; `began`: the last change began a check."""
    job, system = found.job, found.system
    offers = open_offers(found)
    on = checks_after_failure(found)
    offers = on or offers
    first = offers[0] if offers and (on or found.stage == "check") else None
    held = waits(system, job, person, now, [p.proof.check for p in found.proofs])
    shown = None
    if first is not None:
        chances = {answer.outcome: answer.probability for answer in first.answers}
        shown = card(system, job, system.checks[first.check], person, expected=chances, now=now)
    others = [_other(system, o, found.plan.currency) for o in (offers[1:] if first else offers)]
    return StepPage(
        job=job.id,
        complaint=job.complaint,
        practice=bool(job.practice),
        stage=found.stage,
        headline=headline(found),
        reason=_reason(found, first is None),
        problem="",
        card=shown,
        waits=held,
        due_hold=any(w.due for w in held),
        moved=moves,
        undo=_undo(job, moves),
        begun=_begun(job, now) if began else "",
        bars=verdict_bars(found.system, found.verdict, _BARS),
        lead=how_things_stand(found),
        old=sum_of(from_before(found)),
        others=tuple(o for o in others if o.saves)[:_OTHERS],
        dear=tuple(o for o in others if not o.saves)[:_OTHERS],
        due=_due(found),
        again=repair_after_failure(found) is not None,
        access=access_of(system, job),
        holds=_holds(system, job),
    )


def troubled_page(job: Job, system: System, problem: str, person: Person, now: str) -> StepPage:
    """Return the page of a job whose evidence cannot be judged."""
    return StepPage(
        job=job.id, complaint=job.complaint, practice=bool(job.practice), stage="",
        headline=_("Look at the evidence again."), reason="", problem=problem, card=None,
        waits=waits(system, job, person, now),
        due_hold=False, moved=None, undo="", begun="", bars=(), lead="", old="", others=(), dear=(),
        due=(), again=False,
        access=access_of(system, job), holds=_holds(system, job),
    )  # fmt: skip


def access_of(system: System, job: Job) -> tuple[AccessChoice, ...]:
    """Return every access state of the system and whether it holds."""
    return tuple(
        AccessChoice(
            id=a.id, name=sentence(a.name).rstrip("."), held=a.id in job.access,
            minutes=there_and_back(f"{a.minutes_on:.0f}", f"{a.minutes_off:.0f}"),
        )
        for a in system.access.values()
    )  # fmt: skip


def _holds(system: System, job: Job) -> str:
    return sentence(listed([system.access[a].name for a in job.access if a in system.access]))


def _other(system: System, offer: Offer, currency: str) -> Other:
    # Less than half a unit would be told as "0".
    saving = money(offer.saving, currency) if offer.saving >= 0.5 else ""
    saves = _("expected to save %(money)s", money=saving) if saving else ""
    return Other(
        check=offer.check,
        name=sentence(system.checks[offer.check].name).rstrip("."),
        time=time_of(offer.minutes, offer.wait_minutes),
        saves=saves,
    )


def _undo(job: Job, moves: Moved | None) -> str:
    """Return the last entry if it can be taken back as if it had never been made.

    One that took another's place, or ended what waited, cannot: those would not come back.
    """
    last = job.entries[-1] if job.entries and moves else None
    if last is None or moves is None or last.id != moves.entry:
        return ""
    return "" if last.withdrawn or last.supersedes or last.ends else last.id


def _begun(job: Job, now: str) -> str:
    if not (waiting := job.waiting()):
        return ""
    last = waiting[-1]
    at, ready = moment(last.at, now).text, moment(last.ready, now).text
    return _("Begun %(at)s, read after %(ready)s", at=at, ready=ready)


def _reason(found: Assessment, waits_only: bool) -> str:
    if found.stage == "check" and waits_only:
        return _("Every other check would disturb what waits, or waits itself.")
    if found.stage == "repair" and (work := approved_work(found.job)):
        return _less(found, work)
    if found.plan.undecided and (found.stage == "repair" or repair_after_failure(found)):
        return _undecided(found)
    if found.stage == "repair":
        return _("Stop looking: no further check would pay for itself.")
    if repair_after_failure(found):
        return _("Enough is known: no further check would pay for itself.")
    if found.stage == "prove" and (left := still_there(found)):
        return _("Not repaired, and most likely still there: %(what)s.", what=left)
    if found.stage == "prove":
        return _("The repair is done. It is worth nothing to the customer until it is proved.")
    if found.stage == "proved":
        return _("Every test that was due has passed.")
    return ""


def _less(found: Assessment, work: Sequence[str]) -> str:
    """Return what the approved work leaves out of what would help most."""
    left = [found.system.repairs[r].name for r in found.options[0].repairs if r not in work]
    if not left:
        return _("The customer approved it.")
    return _(
        "The customer approved this and no more. Left out of what would help most: %(what)s. Tell "
        "them that it may come back.",
        what=listed(left),
    )


def _undecided(found: Assessment) -> str:
    """Return why it goes no further, and what to do all the same."""
    if no_part(found):
        return _(
            "What can still be checked here tells nothing more. Most likely no part is at fault, "
            "but that is not sure: note the heights, so that a leak would show."
        )
    return _(
        "What can still be checked here does not tell these apart: %(what)s. Repair the likelier "
        "first and prove it; if its proof fails, go on with the next.",
        what=suspects(found),
    )


def _due(found: Assessment) -> tuple[Due, ...]:
    if found.stage != "prove":
        return ()
    checks: Sequence[str] = []
    due = []
    for each in found.proofs:
        result = each.judged.result if each.judged else ""
        if result == "passed" or each.proof.check in checks:
            continue
        checks = [*checks, each.proof.check]
        name = sentence(found.system.checks[each.proof.check].name).rstrip(".")
        text = proof_text(found.system, each)
        said = sentence(each.judged.text) if each.judged else ""
        due.append(
            Due(
                check=each.proof.check, name=name, text=text, result=result, said=said,
                now=what_now(found, result),
            )
        )  # fmt: skip
    return tuple(due)
