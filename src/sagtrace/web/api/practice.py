"""Practice jobs: starting one, and what was hidden in it."""

from __future__ import annotations

import secrets
import uuid

from fastapi import APIRouter, Response
from pydantic import BaseModel

from sagtrace.app.desk import Done
from sagtrace.vehicle.job import Job
from sagtrace.web.api.answers import ChangedAnswer
from sagtrace.web.asking import Ask, Looked, Sent, etag
from sagtrace.web.bodies import StartPracticeBody

__all__ = ["practice_job", "practise_with", "router"]

router = APIRouter(tags=["practice"])

LARGEST = 999_999_999


class HiddenAnswer(BaseModel):
    """A fault of the invented vehicle."""

    fault: str
    name: str
    state: str
    text: str
    repaired: bool


@router.post("/practice", status_code=201)
def start_practice(ask: Sent, body: StartPracticeBody, response: Response) -> ChangedAnswer:
    """Start a job on an invented vehicle with hidden faults."""
    done = practise_with(ask, body)
    response.headers["Location"] = f"/api/v1/jobs/{done.kept.job.id}"
    response.headers["ETag"] = etag(done.kept)
    return ChangedAnswer.of(done)


@router.get("/jobs/{job}/hidden")
def read_hidden(look: Looked, job: str) -> list[HiddenAnswer]:
    """Return what was hidden in the vehicle of a practice job."""
    kept = look.open(job, derived=True)
    system = look.desk.workshop.system(kept.job.layout)
    return [
        HiddenAnswer(
            fault=h.fault, name=system.faults[h.fault].name, state=h.state, repaired=h.repaired,
            text=next(s.text for s in system.faults[h.fault].states if s.id == h.state),
        )
        for h in look.desk.hidden(kept)
    ]  # fmt: skip


def practise_with(ask: Ask, body: StartPracticeBody) -> Done:
    """Start the practice job that a request asks for."""
    asked = ask.about("practice", body.model_dump_json())
    return asked.desk.start(practice_job(body, ask.at), asked.mark("start practice", body.by))


def practice_job(body: StartPracticeBody, at: str) -> Job:
    """Return the practice job that a request asks for."""
    seed = body.seed or 1 + secrets.randbelow(LARGEST)
    return Job(
        id=f"p{uuid.uuid4().hex[:10]}", title=f"Practice {seed}", layout=body.layout, opened=at,
        invented=True, practice=seed, complaint="The vehicle rides low.",
    )  # fmt: skip
