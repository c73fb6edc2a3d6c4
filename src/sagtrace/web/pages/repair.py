"""The repair: choices and their prices, the customer's approval, the work, the proofs."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from sagtrace.repair.approved import covered
from sagtrace.report.after_repair import declined
from sagtrace.report.approved import ask_again
from sagtrace.report.headline import headline
from sagtrace.vehicle.job import Job
from sagtrace.web.asking import Asked
from sagtrace.web.pages.page import Frame, show
from sagtrace.web.views.opened import open_job
from sagtrace.web.views.people import Person
from sagtrace.web.views.proofs import HandoverView, OldProof, ProofView, view_handover, view_proofs
from sagtrace.web.views.repair import OfferView, RepairView, planned, said_of, view_repair
from sagtrace.web.words import _

__all__ = ["router"]

router = APIRouter()


@dataclass(frozen=True, slots=True, kw_only=True)
class RepairPage:
    """Everything that repair.html may use."""

    job: str
    problem: str  # why no repair can be chosen
    stage: str
    headline: str
    repair: RepairView | None
    offers: tuple[OfferView, ...]  # newest first
    repaired: bool
    approved: bool  # the work that is planned, at its price
    ask_again: str  # why an approval that was given does not reach over it
    declined: bool  # what was offered last, and nothing was repaired
    practice: bool
    focus: str  # the section where the next thing is to be done
    proofs: tuple[ProofView, ...]
    old_proofs: tuple[OldProof, ...]
    handover: HandoverView | None


@router.get("/jobs/{job}/repair")
def repair(request: Request, ask: Asked, job: str) -> HTMLResponse:
    """Show what can be repaired, what the customer said, and what proves it."""
    opened = open_job(ask.desk, job)
    a, kept = opened.assessment, opened.kept
    system = ask.desk.workshop.system(kept.job.layout)
    proofs, old = view_proofs(a, ask.at, Person.of(request).reader) if a else ((), ())
    cover = covered(system, kept.job, planned(kept.job, a.options)) if a else None
    page = RepairPage(
        job=job, problem=opened.problem, stage=a.stage if a else "",
        headline=headline(a) if a else "", repair=view_repair(a) if a else None,
        offers=tuple(said_of(system, approval) for approval in reversed(kept.job.approvals)),
        repaired=bool(kept.job.repaired), practice=bool(kept.job.practice), focus=_focus(kept.job),
        approved=cover is not None and cover.fits,
        ask_again=ask_again(system, cover) if cover else "",
        declined=declined(kept.job), proofs=proofs, old_proofs=old,
        handover=view_handover(a) if a else None,
    )  # fmt: skip
    return show(request, "repair.html", Frame.of(kept, _("Repair"), "repair"), page)


def _focus(job: Job) -> str:
    if job.repaired:
        return "proofs"
    if not job.approvals:
        return ""
    return {"asked": "customer", "approved": "work", "declined": "choices"}[
        job.approvals[-1].answer
    ]
