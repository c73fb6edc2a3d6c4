"""What a request says beside its body: who, when, with which key and from which revision."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Annotated, Literal

from fastapi import Depends, Header, HTTPException, Query, Request, Response

from sagtrace.app.desk import NO_REVISION, Desk
from sagtrace.app.kept import Kept, Mark
from sagtrace.errors import InputError
from sagtrace.units import Reader
from sagtrace.web.bodies import unwritable
from sagtrace.web.words import _, spoken

__all__ = ["Ask", "Asked", "etag", "Look", "Looked", "Reading", "Sent", "Uploaded"]

_TAG = re.compile(r'\s*((?:W/)?"[\x21\x23-\x7e\x80-\xff]*")\s*')  # RFC 9110, 8.8.3
_OURS = re.compile(r'"(\d{1,9})(?:-[0-9a-f]+)?"')
_LONGEST = 200  # chosen: characters of an id in an address


@dataclass(frozen=True, slots=True, kw_only=True)
class Ask:
    """One request for a change."""

    desk: Desk
    at: str
    key: str
    request: str  # digest of what is asked for
    base: int | None  # the revision that the sender saw, if it says so

    def mark(self, what: str, by: str) -> Mark:
        """Return the mark of a change."""
        return Mark(what=what, at=self.at, by=by, key=self.key, request=self.request)

    def about(self, *parts: str | bytes) -> Ask:
        """Return the same with a digest of what is asked for, whatever way it was written.

        A form's own digest covers its address alone, so whoever reads its parts says them here.
        """
        digest = hashlib.sha256()
        for part in parts:
            data = part.encode() if isinstance(part, str) else part
            digest.update(f"{len(data)}:".encode() + data)
        return replace(self, request=digest.hexdigest())


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """One request that changes nothing. What the sender has already is not sent again."""

    desk: Desk
    at: str
    response: Response
    seen: tuple[str, ...]  # ETags that the sender has

    def open(self, job: str, *, derived: bool = False, also: str = "") -> Kept:
        """Return a job, or end with 304; `derived`: what is shown follows from the knowledge.

        `also` is what else the answer is made of.
        """
        kept = self.desk.open(job)
        workshop = self.desk.workshop
        made = f"{workshop.knowledge.digest}{workshop.version}{spoken().language}{also}"
        self.tag(etag(kept, made if derived else ""))
        return kept

    def tag(self, tag: str) -> None:
        """Give the answer this ETag, or end with 304 if the sender has it."""
        if "*" in self.seen or tag in self.seen:
            raise HTTPException(304, headers={"ETag": tag})
        self.response.headers["ETag"] = tag


async def _ask(
    request: Request,
    idempotency_key: Annotated[
        str,
        Header(
            max_length=200,
            pattern=r"^[ -~]*$",
            description="The same key is carried out once; with other content it is refused.",
        ),
    ] = "",
    if_match: Annotated[
        str,
        Header(max_length=400, description="The job's ETag that the change is made from."),
    ] = "",
) -> Ask:
    _check_address(request)
    form = request.headers.get("content-type", "").startswith(("multipart/", "application/x-www"))
    body = b"" if form else await request.body()
    said = f"{request.method} {request.url.path}".encode() + b"\n" + body
    desk: Desk = request.app.state.desk
    if len(request.headers.getlist("if-match")) > 1:
        if_match = ",".join(request.headers.getlist("if-match"))
    return Ask(
        desk=desk,
        at=request.app.state.now(),
        key=idempotency_key,
        request=hashlib.sha256(said).hexdigest(),
        base=_base(desk, request.path_params.get("job", ""), if_match),
    )


async def _json(request: Request, ask: Annotated[Ask, Depends(_ask)]) -> Ask:
    _check_media(request, "application/json")
    if request.headers.get("content-encoding", "identity") != "identity":
        raise HTTPException(415, "send the content as it is, without a Content-Encoding.")
    return ask


async def _parts(request: Request, ask: Annotated[Ask, Depends(_ask)]) -> Ask:
    _check_media(request, "multipart/form-data")
    return ask


def _check_media(request: Request, wanted: str) -> None:
    media = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if media != wanted:
        detail = f"the content has {f'the type {media!r}' if media else 'no type'}; send {wanted}."
        raise HTTPException(415, detail, {"Accept": wanted})


async def _look(
    request: Request,
    response: Response,
    if_none_match: Annotated[
        str, Header(max_length=400, description="ETags that the sender has: 304 if one fits.")
    ] = "",
) -> Look:
    _check_address(request)
    said = ",".join(request.headers.getlist("if-none-match")) or if_none_match
    try:
        seen = tuple(tag.removeprefix("W/") for tag in _tags("If-None-Match", said))
    except InputError:  # what is no ETag fits nothing, and the answer is sent
        seen = ()
    response.headers["Cache-Control"] = "no-cache"  # asked for each time, by its ETag
    state = request.app.state
    return Look(desk=state.desk, at=state.now(), response=response, seen=seen)


def _check_address(request: Request) -> None:
    """Refuse what cannot be an id before anything looks for it."""
    for value in request.path_params.values():
        if unwritable(str(value)) or len(str(value)) > _LONGEST:
            raise HTTPException(404, _("the address names nothing that can exist."))
    for name, value in request.query_params.multi_items():
        if found := unwritable(value):
            raise InputError(f"{name}: {found}")


def _tags(header: str, said: str) -> Sequence[str]:
    """Return the entity tags of a list; `*` stands alone."""
    if said.strip() in ("", "*"):
        return (said.strip(),) if said.strip() else ()
    parts = [part for part in re.split(r',(?=\s*(?:W/)?"|\s*$)', said) if part.strip()]
    found = [_TAG.fullmatch(part) for part in parts]
    if not parts or None in found:
        raise InputError(f'{header} = {said!r}: expected ETags such as "3", or *.')
    return [match[1] for match in found if match is not None]


def _base(desk: Desk, job: str, if_match: str) -> int | None:
    """Return the revision that must still be the newest; 0, which none is, if no tag is ours.

    A weak tag fits nothing (RFC 9110, 13.1.1).
    """
    tags = _tags("If-Match", if_match)
    if not tags or "*" in tags:
        return None
    said = [int(found[1]) for tag in tags if (found := _OURS.fullmatch(tag))]
    if len(said) > 1 and job:
        now = desk.open(job).revision
        return now if now in said else NO_REVISION
    return said[0] if said else NO_REVISION


def etag(kept: Kept, by: str = "") -> str:
    """Return the ETag of a job: its revision, and what else the answer was made by."""
    made = f"-{hashlib.sha256(by.encode()).hexdigest()[:8]}" if by else ""
    return f'"{kept.revision}{made}"'


def _reading(
    units: Annotated[
        Literal["metric", "imperial"], Query(description="Units of texts and drawn numbers")
    ] = "metric",
    numbers: Annotated[Literal["point", "comma"], Query(description="Decimal sign")] = "point",
) -> Reader:
    return Reader(imperial=units == "imperial", comma=numbers == "comma")


Asked = Annotated[Ask, Depends(_ask)]
Sent = Annotated[Ask, Depends(_json)]
Uploaded = Annotated[Ask, Depends(_parts)]
Looked = Annotated[Look, Depends(_look)]
Reading = Annotated[Reader, Depends(_reading)]
