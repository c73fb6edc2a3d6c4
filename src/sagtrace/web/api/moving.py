"""Jobs out of the workbench and into it, as the archives that the command line reads too."""

from __future__ import annotations

from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, File, Form, Response, UploadFile

from sagtrace.app.desk import Done
from sagtrace.web.api.answers import ChangedAnswer
from sagtrace.web.asking import Ask, Looked, Uploaded, etag
from sagtrace.web.bodies import Line

__all__ = ["import_with", "router"]

router = APIRouter(tags=["moving"])

ZIP = "application/zip"


@router.get(
    "/jobs/{job}/export",
    response_class=Response,
    responses={200: {"content": {ZIP: {}}, "description": "job.yaml with its files beside it"}},
)
def export_job(look: Looked, job: str) -> Response:
    """Return a job as an archive: the job file, its recordings and its pictures."""
    kept = look.open(job)
    headers = {
        **look.response.headers,
        "content-disposition": f"attachment; filename*=UTF-8''{quote(job, '')}.zip",
    }
    return Response(look.desk.export(kept), media_type=ZIP, headers=headers)


@router.post("/import", status_code=201)
def import_job(
    ask: Uploaded,
    response: Response,
    file: Annotated[UploadFile, File(description="An archive, or a job file without recordings")],
    by: Annotated[Line, Form(description="Who makes the change")] = "",
) -> ChangedAnswer:
    """Keep a job that comes as an archive or a job file; one whose id is taken gets another."""
    done = import_with(ask, file.file.read(), by)
    response.headers["Location"] = f"/api/v1/jobs/{done.kept.job.id}"
    response.headers["ETag"] = etag(done.kept)
    return ChangedAnswer.of(done)


def import_with(ask: Ask, data: bytes, by: str) -> Done:
    """Keep the job that a file holds."""
    asked = ask.about("import", data)
    return asked.desk.import_(data, asked.mark("import", by))
