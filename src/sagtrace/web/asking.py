"""What a request says beside its body: who, when, with which key and from which revision."""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass
from typing import Annotated

from fastapi import Depends, Header, Request

from sagtrace.app.desk import Desk
from sagtrace.app.kept import Kept, Mark
from sagtrace.errors import InputError

__all__ = ["Ask", "Asked", "etag"]

_ETAG = re.compile(r'^(?:W/)?"(\d{1,9})"$')


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


async def _ask(
    request: Request,
    idempotency_key: Annotated[
        str, Header(max_length=200, description="The same key is carried out once.")
    ] = "",
    if_match: Annotated[
        str, Header(max_length=40, description="The job's ETag that the change is made from.")
    ] = "",
) -> Ask:
    form = request.headers.get("content-type", "").startswith(("multipart/", "application/x-www"))
    # A form's parts are digested by whoever reads them; its key is enough to know it by.
    body = b"" if form else await request.body()
    said = f"{request.method} {request.url.path}".encode() + b"\n" + body
    return Ask(
        desk=request.app.state.desk,
        at=request.app.state.now(),
        key=idempotency_key,
        request=hashlib.sha256(said).hexdigest(),
        base=_base(if_match),
    )


def _base(if_match: str) -> int | None:
    if not if_match or if_match == "*":
        return None
    found = _ETAG.match(if_match)
    if found is None:
        raise InputError(f'If-Match = {if_match!r}: expected the ETag of the job, such as "3".')
    return int(found[1])


def etag(kept: Kept) -> str:
    """Return the ETag of a job: its revision."""
    return f'"{kept.revision}"'


Asked = Annotated[Ask, Depends(_ask)]
