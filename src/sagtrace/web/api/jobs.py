"""Jobs: the list, one of them, a new one."""

from __future__ import annotations

import uuid
from typing import Annotated, Literal

from fastapi import APIRouter, Header, Query, Response
from pydantic import BaseModel

from sagtrace.app import kept as records
from sagtrace.vehicle.job import Job
from sagtrace.web.api.answers import ChangedAnswer, JobAnswer, LineAnswer, LinesAnswer
from sagtrace.web.asking import Asked, etag
from sagtrace.web.bodies import StartBody
from sagtrace.web.plain import plain_job

__all__ = ["new_job", "router"]

router = APIRouter(tags=["jobs"])


@router.get("/jobs")
def list_jobs(
    ask: Asked,
    text: Annotated[str, Query(max_length=200)] = "",
    stage: Literal["", "check", "repair", "prove", "proved"] = "",
    waits: records.Waits = "",
    limit: Annotated[int, Query(ge=1, le=200)] = 50,
    after: Annotated[str, Query(max_length=200)] = "",
) -> LinesAnswer:
    """List jobs, the newest change first."""
    query = records.Query(text=text, stage=stage, waits=waits, limit=limit, after=after)
    found = ask.desk.jobs(query)
    return LinesAnswer(jobs=[LineAnswer.of(line) for line in found.lines], next=found.next)


@router.post("/jobs", status_code=201)
def start_job(ask: Asked, body: StartBody, response: Response) -> ChangedAnswer:
    """Start a job."""
    done = ask.desk.start(new_job(body, ask.at), ask.mark("start", body.by))
    response.headers["Location"] = f"/api/v1/jobs/{done.kept.job.id}"
    response.headers["ETag"] = etag(done.kept)
    return ChangedAnswer.of(done)


@router.get("/jobs/{job}", responses={304: {"description": "It is what the sender has"}})
def read_job(
    ask: Asked, job: str, response: Response, if_none_match: Annotated[str, Header()] = ""
) -> JobAnswer:
    """Return a job as it is kept."""
    kept = ask.desk.open(job)
    if if_none_match == etag(kept):
        return Response(status_code=304, headers={"ETag": etag(kept)})  # type: ignore[return-value]
    response.headers["ETag"] = etag(kept)
    return JobAnswer.of(kept, plain_job(kept.job))


class RevisionAnswer(BaseModel):
    """The number of a job's last change."""

    revision: int


@router.get("/jobs/{job}/revision")
def read_revision(ask: Asked, job: str) -> RevisionAnswer:
    """Return the number of a job's last change, for noticing that somebody changed it."""
    return RevisionAnswer(revision=ask.desk.open(job).revision)


@router.get("/alive")
def alive(ask: Asked) -> RevisionAnswer:
    """Answer, so that a page notices when nobody does."""
    ask.desk.jobs(records.Query(limit=1))
    return RevisionAnswer(revision=0)


def new_job(body: StartBody, at: str) -> Job:
    """Return the job that a request asks for, with an id of its own."""
    return Job(
        id=f"j{uuid.uuid4().hex[:10]}", title=body.title, layout=body.layout,
        complaint=body.complaint, vehicle={k: v for k, v in body.vehicle.items() if v}, opened=at,
    )  # fmt: skip
