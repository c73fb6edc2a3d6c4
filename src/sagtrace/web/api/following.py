"""What to do next on a job, and every check of its layout as it stands for this job."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Query
from pydantic import Field

from sagtrace.plan.next_check import Offer
from sagtrace.repair.costs import way_cautions, way_to_check
from sagtrace.report.assessment import Assessment
from sagtrace.report.headline import headline
from sagtrace.report.parts import open_offers, repair_cautions
from sagtrace.vehicle.checks import Check
from sagtrace.vehicle.job import Job
from sagtrace.vehicle.system import System
from sagtrace.web.api.answers import Answer
from sagtrace.web.api.known import (
    AccessAnswer,
    CautionAnswer,
    CheckAnswer,
    access_answer,
    check_fields,
)
from sagtrace.web.api.paging import After, Limit, cut
from sagtrace.web.asking import Look, Looked

__all__ = ["router"]

router = APIRouter(prefix="/jobs/{job}", tags=["next"])


class ReachedCheck(CheckAnswer):
    """A check with the way to it from the access states that hold now."""

    minutes_here: float = Field(description="With getting there and putting back [min]")
    undo: list[AccessAnswer] = Field(description="Access states to be undone first, in order")
    reach: list[AccessAnswer] = Field(description="Access states still to be reached, in order")


class ChanceAnswer(Answer):
    """What a check may show, and what that would do to the fault that it moves most."""

    outcome: str
    text: str
    chance: float = Field(description="Probability of this answer [-]")
    fault: str
    name: str
    before: float = Field(description="Probability of the fault now [-]")
    after: float = Field(description="Probability of the fault after this answer [-]")


class OfferAnswer(ReachedCheck):
    """A check worth doing next."""

    cost: float = Field(description="Of doing it from here, in `currency`")
    saving: float = Field(description="Expected, after its cost, in `currency`; below 0: no gain")
    currency: str
    chances: list[ChanceAnswer]


class WaitAnswer(Answer):
    """A check that was begun and waits."""

    id: str
    check: str
    at: str = Field(description="RFC 3339")
    ready: str = Field(description="RFC 3339: from when on it can be read")


class SureAnswer(Answer):
    """A fault that is sure enough to be repaired without another look."""

    fault: str
    name: str
    probability: float = Field(description="[-]")


class NextAnswer(Answer):
    """What to do next."""

    cautions: list[CautionAnswer] = Field(description="Of the repair, at the stage repair")
    job: str
    revision: int
    stage: str = Field(description="check, repair, prove or proved")
    headline: str
    currency: str
    expected_cost: float = Field(description="Of finishing the job from here, in `currency`")
    faults: list[SureAnswer]
    waiting: list[WaitAnswer]
    offers: list[OfferAnswer] = Field(description="Best first, without those that were begun")


class GivenAnswer(Answer):
    """An answer that a check was given."""

    id: str
    outcome: str
    values: dict[str, str] = Field(description="As typed")
    at: str = Field(description="RFC 3339")
    by: str


class JobCheck(ReachedCheck):
    """A check of the layout as it stands for this job."""

    answered: GivenAnswer | None = Field(description="The answer that counts")
    closed_by: str = Field(description="The answered check after which it says nothing new")


class JobChecks(Answer):
    """A page of checks."""

    checks: list[JobCheck]
    next: str = Field(description="Pass it as `after` for the next page; empty on the last")


@router.get("/next")
def read_next(look: Looked, job: str, limit: Annotated[int, Query(ge=1, le=200)] = 5) -> NextAnswer:
    """Return what to do next: checks with their cautions and steps, or stop and repair."""
    kept = look.open(job, derived=True)
    a = look.desk.assessed(kept)
    option = a.options[0].repairs if a.options and a.stage == "repair" else ()
    chance = {b.fault: b.probability for b in a.verdict.beliefs}
    return NextAnswer(
        cautions=[CautionAnswer.model_validate(c) for c in repair_cautions(a, option)],
        job=kept.job.id, revision=kept.revision, stage=a.stage, headline=headline(a),
        currency=a.plan.currency, expected_cost=a.plan.expected_cost,
        faults=[
            SureAnswer(fault=f, name=a.system.faults[f].name, probability=chance[f])
            for f in a.plan.faults
        ],
        waiting=[WaitAnswer.model_validate(begun) for begun in kept.job.waiting()],
        offers=[_offer(a, offer) for offer in open_offers(a)[:limit]],
    )  # fmt: skip


@router.get("/checks")
def list_job_checks(
    look: Looked,
    job: str,
    open: Annotated[bool, Query(description="Only those that still say something")] = False,  # noqa: A002
    limit: Limit = 50,
    after: After = "",
) -> JobChecks:
    """List the checks of the job's layout as they stand for it, probable or not."""
    system, kept = _system(look, job)
    found = [_job_check(system, check, kept) for check in system.checks.values()]
    if open:
        found = [check for check in found if not (check.answered or check.closed_by)]
    page, following = cut(found, lambda check: check.id, limit, after)
    return JobChecks(checks=list(page), next=following)


@router.get("/checks/{check}")
def read_job_check(look: Looked, job: str, check: str) -> JobCheck:
    """Return any check of the job's layout, with the answer that it was given."""
    system, kept = _system(look, job)
    return _job_check(system, system.check(check), kept)


def _system(look: Look, job: str) -> tuple[System, Job]:
    kept = look.open(job, derived=True)
    return look.desk.workshop.system(kept.job.layout), kept.job


def _reached(system: System, check: Check, job: Job) -> dict[str, Any]:
    way = way_to_check(system, check, job.access)
    also = way_cautions(system, check.needs, check.without, job.access)
    return {
        **check_fields(system, check, also),
        "minutes_here": check.minutes + way.minutes,
        "undo": [access_answer(system, system.access[name]) for name in way.undo],
        "reach": [access_answer(system, system.access[name]) for name in way.reach],
    }


def _job_check(system: System, check: Check, job: Job) -> JobCheck:
    given = {entry.check: entry for entry in job.current()}
    stronger = [name for name in check.yields_to if name in given]
    return JobCheck.model_validate(
        {
            **_reached(system, check, job),
            "answered": given.get(check.id),
            "closed_by": stronger[0] if stronger else "",
        }
    )


def _offer(a: Assessment, offer: Offer) -> OfferAnswer:
    system, check = a.system, a.system.checks[offer.check]
    states = system.nodes[check.measure.node].states if check.measure else ()
    texts = {o.id: o.text for o in check.outcomes} | {s.id: s.text for s in states}
    return OfferAnswer.model_validate(
        {
            **_reached(system, check, a.job),
            "cost": offer.cost,
            "saving": offer.saving,
            "currency": a.plan.currency,
            "chances": [
                {
                    "outcome": answer.outcome,
                    "text": texts[answer.outcome],
                    "chance": answer.probability,
                    "fault": answer.fault,
                    "name": system.faults[answer.fault].name,
                    "before": answer.before,
                    "after": answer.after,
                }
                for answer in offer.answers
            ],
        }
    )
