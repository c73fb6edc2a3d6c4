"""The list of jobs."""

from __future__ import annotations

from typing import get_args

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from sagtrace.app.kept import Query, Waits
from sagtrace.errors import SagtraceError, UnknownIdError
from sagtrace.web.asking import Asked
from sagtrace.web.pages.page import Frame, show
from sagtrace.web.views.job_list import STAGES, jobs_page, row_of
from sagtrace.web.words import _

__all__ = ["router"]

router = APIRouter()

_WAITS: tuple[Waits, ...] = get_args(Waits)


@router.get("/")
def jobs(
    request: Request, ask: Asked, text: str = "", stage: str = "", waits: str = "", after: str = ""
) -> HTMLResponse:
    """Show the list of jobs."""
    query = Query(
        text=text.strip()[:200],
        stage=stage if stage in STAGES else "",
        waits=next((w for w in _WAITS if w == waits), ""),
        limit=30,
        after=after[:200],
    )
    knowledge = ask.desk.workshop.knowledge
    page = jobs_page(query, ask.desk.jobs(query), knowledge, ask.at)
    return show(request, "jobs.html", Frame(title=_("Jobs"), here="jobs"), page)


@router.get("/jobs/{job}/line")
def line(request: Request, ask: Asked, job: str) -> HTMLResponse:
    """Work out what a job waits for and show its line, for a list that is there already."""
    kept = ask.desk.open(job)
    problem = ""
    try:
        ask.desk.assessed(kept)
    except UnknownIdError:
        raise
    except SagtraceError as err:
        problem = str(err)
    found = ask.desk.jobs(Query(text=job, limit=200)).lines
    here = next((each for each in found if each.id == job), None)
    if here is None:
        raise UnknownIdError("job", job, ())
    row = row_of(here, ask.desk.workshop.knowledge, ask.at, problem)
    return show(request, "job_line.html", Frame(title=_("Job")), row)
