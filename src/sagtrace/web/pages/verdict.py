"""The verdict: how probable each fault is, why, what led to what, and how sure that is."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from sagtrace.report.headline import headline
from sagtrace.web.asking import Asked
from sagtrace.web.pages.page import Frame, show
from sagtrace.web.views.opened import open_job
from sagtrace.web.views.people import Person
from sagtrace.web.views.verdict import VerdictView, view_verdict
from sagtrace.web.words import _

__all__ = ["router"]

router = APIRouter()


@dataclass(frozen=True, slots=True, kw_only=True)
class VerdictPage:
    """Everything that verdict.html may use."""

    job: str
    problem: str  # why there is no verdict
    next: str  # the next thing to do
    next_link: str
    verdict: VerdictView | None


@router.get("/jobs/{job}/verdict")
def verdict(request: Request, ask: Asked, job: str) -> HTMLResponse:
    """Show the verdict of a job."""
    opened = open_job(ask.desk, job)
    a = opened.assessment
    links = {"check": "", "repair": "/repair", "prove": "/repair#proofs", "proved": "/papers"}
    page = VerdictPage(
        job=job, problem=opened.problem,
        next=headline(a) if a else "", next_link=f"/jobs/{job}{links[a.stage]}" if a else "",
        verdict=view_verdict(a, Person.of(request).reader) if a else None,
    )  # fmt: skip
    return show(request, "verdict.html", Frame.of(opened.kept, _("Verdict"), "verdict"), page)
