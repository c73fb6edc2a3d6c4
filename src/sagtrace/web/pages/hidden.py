"""What was hidden in a practice job, behind a warning that seeing it ends the practice."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from sagtrace.web.asking import Asked
from sagtrace.web.pages.page import Frame, show
from sagtrace.web.views.hidden import HiddenView, view_hidden
from sagtrace.web.views.opened import open_job
from sagtrace.web.words import _

__all__ = ["router"]

router = APIRouter()


@dataclass(frozen=True, slots=True, kw_only=True)
class HiddenPage:
    """Everything that hidden.html may use."""

    job: str
    problem: str  # why there is no verdict to compare with
    view: HiddenView | None  # None: nobody said yet that the practice shall end


@router.get("/jobs/{job}/hidden")
def hidden(
    request: Request, ask: Asked, job: str, reveal: bool = False, plan: bool = False
) -> HTMLResponse:
    """Show what was hidden, once the person says that the practice shall end."""
    opened = open_job(ask.desk, job)
    kept = opened.kept
    found = ask.desk.hidden(kept)  # refuses a job that is no practice
    view = None
    if reveal:
        system = ask.desk.workshop.system(kept.job.layout)
        planned = ask.desk.by_plan(kept) if plan else None
        view = view_hidden(system, kept.job, opened.assessment, found, planned)
    page = HiddenPage(job=job, problem=opened.problem, view=view)
    return show(request, "hidden.html", Frame.of(kept, _("What was hidden"), "next"), page)
