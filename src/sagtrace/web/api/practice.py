"""Practice jobs: starting one, and what was hidden in it."""

from __future__ import annotations

import secrets
import uuid

from fastapi import APIRouter, Response
from pydantic import BaseModel

from sagtrace.app.desk import Done
from sagtrace.app.practice import practice_job
from sagtrace.web.api.answers import ChangedAnswer
from sagtrace.web.asking import Ask, Looked, Sent, etag
from sagtrace.web.bodies import StartPracticeBody

__all__ = ["practise_with", "router"]

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
    job = practice_job(
        asked.desk.workshop.system(body.layout).layout, name=f"p{uuid.uuid4().hex[:10]}",
        seed=body.seed or 1 + secrets.randbelow(LARGEST), opened=ask.at,
    )  # fmt: skip
    return asked.desk.start(job, asked.mark("start practice", body.by))
