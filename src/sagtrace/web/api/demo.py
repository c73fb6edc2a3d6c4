"""The invented demonstration job, for trying the program out."""

from __future__ import annotations

from fastapi import APIRouter, Response

from sagtrace.app.desk import Done
from sagtrace.app.seeding import DEMO
from sagtrace.bootstrap import seed_demo
from sagtrace.web.api.answers import ChangedAnswer
from sagtrace.web.asking import Ask, Sent, etag
from sagtrace.web.bodies import ChangeBody

__all__ = ["open_demo", "router"]

router = APIRouter(tags=["jobs"])


@router.post("/demo", status_code=201)
def add_demo(ask: Sent, body: ChangeBody, response: Response) -> ChangedAnswer:
    """Keep the demonstration job, unless it is there; `again` says that it was."""
    done = open_demo(ask)
    response.headers["Location"] = f"/api/v1/jobs/{done.kept.job.id}"
    response.headers["ETag"] = etag(done.kept)
    return ChangedAnswer.of(done)


def open_demo(ask: Ask) -> Done:
    """Keep the demonstration job with its recording, unless it is there."""
    new = seed_demo(ask.desk, ask.at)
    return Done(kept=ask.desk.open(DEMO), result={"job": DEMO}, again=not new)
