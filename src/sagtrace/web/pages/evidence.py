"""What was entered for a job, the vehicle's own values, and who did what."""

from __future__ import annotations

from dataclasses import replace

from fastapi import APIRouter, Request, Response
from fastapi.responses import HTMLResponse, RedirectResponse
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile

from sagtrace.errors import SagtraceError
from sagtrace.evidence.facts import Facts
from sagtrace.report.assessment import Judged
from sagtrace.vehicle.job import Note
from sagtrace.web.api.files import keep_picture
from sagtrace.web.asking import Asked
from sagtrace.web.bodies import PictureBody
from sagtrace.web.pages.forms import TYPED_WRONG, again, body_of, last_of, read_fields
from sagtrace.web.pages.page import Frame, show
from sagtrace.web.views.evidence_list import evidence_page
from sagtrace.web.views.people import Person
from sagtrace.web.words import _

__all__ = ["router"]

router = APIRouter(prefix="/jobs/{job}")


@router.get("/evidence")
def evidence(request: Request, ask: Asked, job: str) -> HTMLResponse:
    """Show what was entered, with the way to correct and to withdraw it."""
    kept, person = ask.desk.open(job), Person.of(request)
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
    return show(request, "evidence.html", Frame.of(kept, _("Evidence"), "evidence"), page)


@router.post("/photos")
async def add_photo(request: Request, ask: Asked, job: str) -> Response:
    """Keep a picture sent by a form without a script."""
    back = f"/jobs/{job}/evidence"
    await run_in_threadpool(ask.desk.open, job)  # because an unknown job is no slip of the pen
    async with request.form(max_fields=400, max_files=1) as form:
        fields, file = await read_fields(request), form.get("file")
        data = await file.read() if isinstance(file, UploadFile) else b""
    try:
        body = body_of(PictureBody, fields)
        asked = replace(ask, key=last_of(fields, "key"))
        note = Note(id="", text=body.text, check=body.check, at=body.at)
        await run_in_threadpool(keep_picture, asked, job, data, note, body.by)
    except TYPED_WRONG as err:
        return again(request, err, fields, back, file="file")
    return RedirectResponse(back, status_code=303)
