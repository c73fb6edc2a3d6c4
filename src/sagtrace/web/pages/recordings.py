"""The pages of recordings: the list with what is on its way, and one of them."""

from __future__ import annotations

import hashlib
from collections.abc import AsyncIterator
from dataclasses import replace

from fastapi import APIRouter, Request, Response
from fastapi.responses import HTMLResponse, RedirectResponse
from starlette.datastructures import UploadFile

from sagtrace.errors import InputError, UnknownIdError
from sagtrace.evidence.audit import height_channels
from sagtrace.web.api.recordings import AttachBody, readings_of, said_of
from sagtrace.web.asking import Asked
from sagtrace.web.pages.forms import body_of
from sagtrace.web.pages.page import Frame, show
from sagtrace.web.readings import Readings
from sagtrace.web.tasks import Task
from sagtrace.web.uploads import file_name
from sagtrace.web.views.recording import RecordingWait, make_recording
from sagtrace.web.views.recordings import (
    Proposal,
    RecordingsPage,
    make_proposal,
    recording_lines,
    waiting_line,
)
from sagtrace.web.words import _

__all__ = ["router"]

router = APIRouter(prefix="/jobs/{job}/recordings")

PART = 1 << 20  # [bytes] chosen: read at a time of a form


@router.get("")
def recordings(request: Request, ask: Asked, job: str, file: str = "") -> Response:
    """Show the recordings of a job and what is on its way."""
    kept, room = ask.desk.open(job), readings_of(request)
    system = ask.desk.workshop.system(kept.job.layout)
    task = room.tasks.about(job, file) if file else None
    # A part of a page cannot lead elsewhere; its script does, once it sees that the task is over.
    part = request.headers.get("x-part") == "main"
    if task is not None and task.state == "done" and not part:
        return RedirectResponse(f"/jobs/{job}/recordings/{task.result['recording']}", 303)
    going = task if task is not None and task.state != "failed" else None
    proposal, missing = None, ""
    if file and going is None:
        try:
            proposal = _proposal(room, ask, job, file, task)
        except UnknownIdError as err:
            missing = err.hint
    waiting = [room.inspected(job, u.sha256) for u in room.uploads.of(job) if u.sha256 != file]
    page = RecordingsPage(
        job=job,
        lines=recording_lines(kept),
        waiting=tuple(waiting_line(found) for found in waiting),
        proposal=proposal,
        task=going,
        missing=missing,
        largest=room.uploads.largest,
        heights=", ".join(height_channels(system)),
    )
    return show(request, "recordings.html", Frame.of(kept, _("Recordings"), "recordings"), page)


def _proposal(room: Readings, ask: Asked, job: str, file: str, task: Task | None) -> Proposal:
    kept = ask.desk.open(job)
    layout = ask.desk.workshop.system(kept.job.layout).layout
    found = room.inspected(job, file)
    said = room.said(job, file)
    refused = task.problem if task is not None and task.state == "failed" and said else ""
    return make_proposal(kept.job, layout, found, said, refused)


@router.post("/send")
async def send(request: Request, job: str) -> Response:
    """Take a file from a page without a script."""
    async with request.form(max_files=1) as form:
        found = form.get("recording")
        if not isinstance(found, UploadFile) or not found.filename:
            raise InputError(_("choose a file first: the recording that the tool exported."))
        name, told = file_name(found.filename), found.size or 0
        kept = await readings_of(request).take(job, name, "", _parts(found), told)
    return RedirectResponse(f"/jobs/{job}/recordings?file={kept.upload.sha256}", 303)


async def _parts(file: UploadFile) -> AsyncIterator[bytes]:
    while part := await file.read(PART):
        yield part


@router.post("/rate")
async def rate(request: Request, job: str) -> Response:
    """Read a file again with a rate."""
    form = await request.form()
    sha256 = str(form.get("sha256", ""))
    await readings_of(request).again(job, sha256, str(form.get("rate", ""))[:40])
    return RedirectResponse(f"/jobs/{job}/recordings?file={sha256}", 303)


@router.post("/forget")
async def forget(request: Request, job: str) -> Response:
    """Forget a file that was sent."""
    form = await request.form()
    readings_of(request).give_up(job, str(form.get("sha256", "")))
    return RedirectResponse(f"/jobs/{job}/recordings", 303)


@router.post("/attach")
async def attach(request: Request, ask: Asked, job: str) -> Response:
    """Start to attach a file, from a page without a script."""
    form = await request.form(max_fields=8000)
    fields: dict[str, list[str]] = {}
    for name, value in form.multi_items():
        if isinstance(value, str):
            fields.setdefault(name, []).append(value)
    body = body_of(AttachBody, fields)
    said = hashlib.sha256(repr(sorted(fields.items())).encode()).hexdigest()
    asked = replace(ask, key=fields.get("key", [""])[-1], request=said)
    mark = asked.mark(f"recording {body.file}".strip(), body.by)
    readings_of(request).attach(job, said_of(body), mark, asked.base)
    return RedirectResponse(f"/jobs/{job}/recordings?file={body.sha256}", 303)


@router.get("/{recording}")
def recording(request: Request, ask: Asked, job: str, recording: str) -> HTMLResponse:
    """Show what a recording says, or that it is being read."""
    kept, room = ask.desk.open(job), readings_of(request)
    found = room.recorded(kept, recording)
    own = next(r for r in kept.job.recordings if r.id == recording)
    frame = Frame.of(kept, own.file, "recordings")
    if isinstance(found, Task):
        if found.state == "failed":
            raise InputError(found.problem)
        wait = RecordingWait(job=job, id=recording, file=own.file, task=found)
        return show(request, "recording-wait.html", frame, wait)
    page = make_recording(job, own, found, room.plotted(kept, recording))
    return show(request, "recording.html", frame, page)
