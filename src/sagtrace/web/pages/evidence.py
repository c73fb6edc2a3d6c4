"""What was entered for a job, the vehicle's own values, and who did what."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated

from fastapi import APIRouter, File, Form, Request, Response, UploadFile
from fastapi.responses import HTMLResponse, RedirectResponse
from starlette.concurrency import run_in_threadpool

from sagtrace.errors import SagtraceError
from sagtrace.evidence.facts import Facts
from sagtrace.report.assessment import Judged
from sagtrace.vehicle.job import Note
from sagtrace.web.api.files import keep_picture
from sagtrace.web.asking import Asked
from sagtrace.web.pages.page import Frame, show
from sagtrace.web.views.evidence_list import evidence_page
from sagtrace.web.views.people import Person

__all__ = ["router"]

router = APIRouter(prefix="/jobs/{job}")


@router.get("/evidence")
def evidence(request: Request, ask: Asked, job: str) -> HTMLResponse:
    """Show what was entered, with the way to correct and to withdraw it."""
    kept, person = ask.desk.open(job), Person.of(request.cookies)
    judged: Judged | None = None
    facts: Facts | None = None
    problem = ""
    try:
        facts = ask.desk.workshop.facts(kept.job)
        judged = ask.desk.judged(kept)
    except SagtraceError as err:
        problem = str(err)
    page = evidence_page(
        kept.job, ask.desk.workshop.system(kept.job.layout), facts, judged, problem,
        ask.desk.changes(job), person, ask.at,
    )  # fmt: skip
    return show(request, "evidence.html", Frame.of(kept, "Evidence", "evidence"), page)


@router.post("/photos")
async def add_photo(
    ask: Asked,
    job: str,
    file: Annotated[UploadFile, File()],
    key: Annotated[str, Form(max_length=200)] = "",
    by: Annotated[str, Form(max_length=80)] = "",
    text: Annotated[str, Form(max_length=4000)] = "",
    check: Annotated[str, Form(max_length=120)] = "",
) -> Response:
    """Keep a picture sent by a form without a script."""
    note = Note(id="", text=text, check=check)
    asked = replace(ask, key=key)
    await run_in_threadpool(keep_picture, asked, job, await file.read(), note, by)
    return RedirectResponse(f"/jobs/{job}/evidence", status_code=303)
