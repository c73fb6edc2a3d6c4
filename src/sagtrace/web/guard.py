"""Only this machine: other hosts and pages of other sites are refused, and nothing is loaded from
elsewhere.

A page of another site could otherwise send a form to the program, and a name server could make
its name mean this machine.
"""

from __future__ import annotations

import ipaddress
from urllib.parse import urlsplit

from starlette.datastructures import Headers
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

__all__ = ["Guard", "is_loopback"]

_SAFE = {"GET", "HEAD", "OPTIONS"}
_HEADERS = (
    (
        b"content-security-policy",
        b"default-src 'self'; img-src 'self' data: blob:; object-src 'none'; base-uri 'none'; "
        b"form-action 'self'; frame-ancestors 'none'",
    ),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-opener-policy", b"same-origin"),
)


class Guard:
    """Refuses what does not come from this machine's own pages and programs."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        problem = _problem(scope, headers)
        if problem:
            await PlainTextResponse(problem, status_code=403)(scope, receive, send)
            return

        async def guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                message["headers"] = [*message["headers"], *_HEADERS]
            await send(message)

        await self.app(scope, receive, guarded)


def _problem(scope: Scope, headers: Headers) -> str:
    client = scope.get("client")
    if client and not is_loopback(client[0]):
        return "The workbench answers this machine only."
    host = urlsplit(f"//{headers.get('host', '')}").hostname or ""
    if not is_loopback(host):
        return "The workbench answers this machine only; open it as http://127.0.0.1."
    if scope["method"] in _SAFE:
        return ""
    origin = headers.get("origin")
    if origin is not None and urlsplit(origin).netloc != headers.get("host"):
        return "A page of another site cannot change jobs."
    if headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
        return "A page of another site cannot change jobs."
    return ""


def is_loopback(host: str) -> bool:
    """Return whether a host name or address means this machine and nothing else."""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False
