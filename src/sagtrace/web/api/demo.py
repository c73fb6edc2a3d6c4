"""The invented demonstration job, for trying the program out."""

from __future__ import annotations

from fastapi import APIRouter, Response

from sagtrace.app.desk import Done
from sagtrace.app.kept import Content
from sagtrace.bootstrap import demo_folder, job_place
from sagtrace.errors import UnknownIdError
from sagtrace.web.api.answers import ChangedAnswer
from sagtrace.web.asking import Ask, Sent, etag
from sagtrace.web.bodies import ChangeBody

__all__ = ["open_demo", "router"]

router = APIRouter(tags=["jobs"])


@router.post("/demo", status_code=201)
def add_demo(ask: Sent, body: ChangeBody, response: Response) -> ChangedAnswer:
    """Keep the demonstration job, unless it is there; `again` says that it was."""
    done = open_demo(ask, body.by)
    response.headers["Location"] = f"/api/v1/jobs/{done.kept.job.id}"
    response.headers["ETag"] = etag(done.kept)
    return ChangedAnswer.of(done)


def open_demo(ask: Ask, by: str) -> Done:
    """Keep the demonstration job with its recording, unless it is there."""
    place = job_place(demo_folder() / "demo.yaml")
    job = place.load()
    try:
        return Done(kept=ask.desk.open(job.id), result={"job": job.id}, again=True)
    except UnknownIdError:
        for recording in job.recordings:
            data = place.recording(recording.file)
            ask.desk.store.keep(Content(data=data, media="text/csv"))
        return ask.desk.start(job, ask.about("demo").mark("open the demonstration", by))
