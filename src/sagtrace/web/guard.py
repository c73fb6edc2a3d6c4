"""Only this machine: other hosts and pages of other sites are refused, and nothing is loaded from
elsewhere.

A page of another site could otherwise send a form to the program, and a name server could make
its name mean this machine. HEAD is answered here as GET without its content.
"""

from __future__ import annotations

import ipaddress
import re
from urllib.parse import urlsplit

from starlette.datastructures import Headers
from starlette.responses import PlainTextResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from sagtrace.web.problems import is_api, problem
from sagtrace.web.words import _

__all__ = ["Guard", "is_loopback"]

_SAFE = {"GET", "HEAD", "OPTIONS"}
# Said twice, two readers of the same request could take it for different ones.
_ONCE = ("host", "origin", "content-type", "content-length", "idempotency-key", "sec-fetch-site")
_HEADERS = (
    (
        b"content-security-policy",
        b"default-src 'self'; img-src 'self' data: blob:; object-src 'none'; base-uri 'none'; "
        b"form-action 'self'; frame-ancestors 'none'",
    ),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"same-origin"),
    (b"cross-origin-opener-policy", b"same-origin"),
)


_HOST = re.compile(r"(?:\[([0-9A-Fa-f:.]+)\]|([A-Za-z0-9.-]+))(?::[0-9]{1,5})?")  # RFC 9110, 7.2


class Guard:
    """Refuses what does not come from this machine's own pages and programs."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        headers, head = Headers(scope=scope), scope["method"] == "HEAD"

        async def guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                message["headers"] = [*message["headers"], *_HEADERS]
            elif head:
                message = {**message, "body": b""}
            await send(message)

        twice = [name for name in _ONCE if len(headers.getlist(name)) > 1]
        if twice:
            refused = _answer(scope["path"], 400, "Bad Request", f"{twice[0]} is said twice.")
            await refused(scope, receive, guarded)
        elif "content-length" in headers and "transfer-encoding" in headers:
            # Two readers of the same request could take its end for different ones.
            said = "Content-Length and Transfer-Encoding are said together; send one of them."
            await _answer(scope["path"], 400, "Bad Request", said)(scope, receive, guarded)
        elif wrong := _foreign(scope, headers):
            await _answer(scope["path"], 403, "Forbidden", wrong)(scope, receive, guarded)
        else:
            asked = {**scope, "method": "GET"} if head else scope
            await self.app(asked, receive, guarded)


def _answer(path: str, status: int, title: str, detail: str) -> Response:
    if is_api(path):
        return problem(path, status, title, detail)
    return PlainTextResponse(detail, status_code=status)


def _foreign(scope: Scope, headers: Headers) -> str:
    """Return why a request is refused; empty if it comes from here."""
    client = scope.get("client")
    if client and not is_loopback(client[0]):
        return _("The workbench answers this machine only.")
    if not is_loopback(_host(headers.get("host", ""))):
        return _("The workbench answers this machine only; open it as http://127.0.0.1.")
    if scope["method"] in _SAFE:
        return ""
    origin = headers.get("origin")
    if origin is not None and _net(origin) != headers.get("host"):
        return _("A page of another site cannot change jobs.")
    if headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
        return _("A page of another site cannot change jobs.")
    return ""


def _net(address: str) -> str:
    try:
        return urlsplit(address).netloc
    except ValueError:  # such as a bracket that is not closed
        return ""


def _host(said: str) -> str:
    """Return the host of a Host header, which holds nothing else but a port."""
    found = _HOST.fullmatch(said)
    return (found[1] or found[2]).lower() if found else ""


def is_loopback(host: str) -> bool:
    """Return whether a host name or address means this machine and nothing else."""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False
