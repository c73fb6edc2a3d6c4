"""Pictures into a job, and recordings and pictures out of it as they came."""

from __future__ import annotations

import hashlib
from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, File, Form, Response, UploadFile

from sagtrace.app.desk import Done
from sagtrace.app.kept import Content
from sagtrace.app.moving import media_of
from sagtrace.errors import InputError
from sagtrace.vehicle.job import Job, Note
from sagtrace.web.api.answers import ChangedAnswer
from sagtrace.web.asking import Ask, Looked, Uploaded, etag
from sagtrace.web.bodies import Id, Line, Moment, Text
from sagtrace.web.words import _

__all__ = ["keep_picture", "router"]

router = APIRouter(prefix="/jobs/{job}", tags=["files"])

_PICTURES = {"image/jpeg": "jpg", "image/png": "png", "image/webp": "webp"}
_OTHER = "application/octet-stream"
_AS_IT_CAME = (*_PICTURES, "text/csv", _OTHER)


@router.post("/photos", status_code=201)
def add_photo(
    ask: Uploaded,
    job: str,
    response: Response,
    file: Annotated[UploadFile, File(description="JPEG, PNG or WebP, up to 12 MB")],
    text: Annotated[Text, Form()] = "",
    check: Annotated[Id, Form(description="The check that it was seen at")] = "",
    by: Annotated[Line, Form(description="Who makes the change")] = "",
    at: Annotated[Moment, Form(description="RFC 3339; empty: now")] = "",
) -> ChangedAnswer:
    """Keep a picture with a note about it."""
    note = Note(id="", text=text, check=check, at=at)
    done = keep_picture(ask, job, file.file.read(), note, by)
    response.headers["ETag"] = etag(done.kept)
    return ChangedAnswer.of(done)


def keep_picture(ask: Ask, job: str, data: bytes, note: Note, by: str) -> Done:
    """Keep a picture; what it is follows from its content, whatever its sender calls it."""
    media = _media(data)
    digest = hashlib.sha256(data).hexdigest()
    # A name of its own, because the sender's may lead anywhere when the job is unpacked.
    named = Note(
        id="", text=note.text, check=note.check, at=note.at,
        photo=f"{digest[:16]}.{_PICTURES[media]}",
    )  # fmt: skip
    asked = ask.about("photo", job, note.text, note.check, note.at, by, data)
    mark = asked.mark(f"photo {note.check}".strip(), by)
    return asked.desk.note(job, named, Content(data=data, media=media), mark, asked.base)


def _media(data: bytes) -> str:
    if media := media_of(data):
        return media
    if not data:
        raise InputError(
            _("the picture is empty: JPEG, PNG or WebP is kept. Take it again, or save it as one.")
        )
    raise InputError(
        _(
            "the file is no picture that is known: JPEG, PNG or WebP is kept. Take it again, or "
            "save it as one."
        )
    )


@router.get(
    "/files/{sha256}",
    response_class=Response,
    responses={200: {"content": {media: {} for media in _AS_IT_CAME}, "description": "As it came"}},
)
def read_file(look: Looked, job: str, sha256: str) -> Response:
    """Return a recording or picture of the job as it came."""
    kept = look.desk.open(job)
    content = look.desk.content(kept, sha256)
    look.tag(f'"{sha256}"')
    media = content.media if content.media in _AS_IT_CAME else _OTHER
    how = "inline" if media in _PICTURES else "attachment"
    name = quote(_name(kept.job, sha256), "", errors="replace")
    headers = {
        **look.response.headers,
        "content-type": media,  # without a charset, because the file may be in any
        "content-disposition": f"{how}; filename*=UTF-8''{name}",
        "cache-control": "private, max-age=31536000, immutable",
    }
    return Response(content.data, headers=headers)


def _name(job: Job, sha256: str) -> str:
    names = {note.sha256: note.photo for note in job.notes}
    names |= {recording.sha256: recording.file for recording in job.recordings}
    return names[sha256] or sha256
