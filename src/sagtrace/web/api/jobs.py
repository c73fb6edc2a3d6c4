"""Jobs: the list, one of them, a new one."""

from __future__ import annotations

import uuid
from typing import Annotated, Literal

from fastapi import APIRouter, Query, Response
from pydantic import BaseModel

from sagtrace.app import kept as records
from sagtrace.app.desk import Done
from sagtrace.vehicle.job import Job
from sagtrace.web.api.answers import ChangedAnswer, JobAnswer, LineAnswer, LinesAnswer
from sagtrace.web.asking import Ask, Looked, Sent, etag
from sagtrace.web.bodies import StartBody

__all__ = ["new_job", "router", "start_with"]

router = APIRouter(tags=["jobs"])


@router.get("/jobs")
def list_jobs(
    look: Looked,
    text: Annotated[str, Query(max_length=200)] = "",
    stage: Literal["", "check", "repair", "prove", "proved"] = "",
    waits: records.Waits = "",
    limit: Annotated[int, Query(ge=1, le=200)] = 50,
    after: Annotated[str, Query(max_length=200)] = "",
) -> LinesAnswer:
    """List jobs, the newest change first."""
    query = records.Query(text=text, stage=stage, waits=waits, limit=limit, after=after)
    found = look.desk.jobs(query)
    return LinesAnswer(jobs=[LineAnswer.of(line) for line in found.lines], next=found.next)


@router.post("/jobs", status_code=201)
def start_job(ask: Sent, body: StartBody, response: Response) -> ChangedAnswer:
    """Start a job."""
    done = start_with(ask, body)
    response.headers["Location"] = f"/api/v1/jobs/{done.kept.job.id}"
    response.headers["ETag"] = etag(done.kept)
    return ChangedAnswer.of(done)


@router.get("/jobs/{job}")
def read_job(look: Looked, job: str) -> JobAnswer:
    """Return a job as it is kept."""
    return JobAnswer.of(look.open(job))


class RevisionAnswer(BaseModel):
    """The number of a job's last change."""

    revision: int


@router.get("/jobs/{job}/revision")
def read_revision(look: Looked, job: str) -> RevisionAnswer:
    """Return the number of a job's last change, for noticing that somebody changed it."""
    return RevisionAnswer(revision=look.desk.open(job).revision)


@router.get("/alive")
def alive(look: Looked) -> RevisionAnswer:
    """Answer, so that a page notices when nobody does."""
    look.desk.jobs(records.Query(limit=1))
    return RevisionAnswer(revision=0)


def start_with(ask: Ask, body: StartBody) -> Done:
    """Start the job that a request asks for."""
    asked = ask.about("start", body.model_dump_json())
    return asked.desk.start(new_job(body, ask.at), asked.mark("start", body.by))


def new_job(body: StartBody, at: str) -> Job:
    """Return the job that a request asks for, with an id of its own."""
    job = Job(
        id=f"j{uuid.uuid4().hex[:10]}", title=body.title, layout=body.layout,
        complaint=body.complaint, opened=at,
    )  # fmt: skip
    named = {
        "registration": body.registration, "odometer": body.odometer, "reference": body.reference,
    }  # fmt: skip
    return job.tell({**named, **body.vehicle}, at, body.by)
