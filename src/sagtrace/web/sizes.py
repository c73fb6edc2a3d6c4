"""How much a request may carry: counted as it comes, whatever its headers say."""

from __future__ import annotations

from starlette.exceptions import HTTPException
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from sagtrace.web.problems import is_api
from sagtrace.web.words import _

__all__ = ["largest", "Sizes"]

MB = 1_000_000
_BODY = 2 * MB  # chosen: a job of thousands of entries is smaller
_PICTURE = 15 * MB  # chosen: the largest picture that is kept, and the parts around it
_FILE = 2_000 * MB  # chosen: as the import of recordings
_DRAINED = 64 * MB  # chosen: so much is read beyond, so that the sender hears why


def largest(path: str) -> int:
    """Return how many bytes a request to this address may carry.

    >>> largest("/api/v1/jobs/j1/entries"), largest("/api/v1/jobs/j1/photos")
    (2000000, 15000000)
    """
    parts = path.strip("/").split("/")
    if parts[-1] == "import" or "recordings" in parts:
        return _FILE
    # A form without a script may bring a picture to any action.
    return _PICTURE if parts[-1] == "photos" or not is_api(path) else _BODY


class Sizes:
    """Refuses requests that are too large, before they fill the memory."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        most, count = largest(scope["path"]), 0

        async def counted() -> Message:
            nonlocal count
            message = await receive()
            if message["type"] != "http.request":
                return message
            count += len(message.get("body", b""))
            if count <= most:
                return message
            while message.get("more_body") and count <= most + _DRAINED:
                message = await receive()
                count += len(message.get("body", b""))
            detail = _("more than %(most)s MB was sent; so much is taken here.", most=most // MB)
            raise HTTPException(413, detail)

        await self.app(scope, counted, send)
