"""A client of the workbench in this process, seen by it as a program of this machine."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from fastapi.testclient import TestClient
from starlette.types import ASGIApp, Receive, Scope, Send

from sagtrace.app.desk import Desk
from sagtrace.app.kept import Mark
from sagtrace.web.app import build_app
from sagtrace.web.words import Words
from workbench import fresh_desk

__all__ = ["client_of", "FromHere", "small_desk"]


STAND_IN = (b"host", b"testserver")  # what a test tool calls an app that it has no address of


class FromHere:
    """An app whose every request comes from this machine."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        headers = [(k, v) for k, v in scope.get("headers", ()) if (k, v) != STAND_IN]
        if len(headers) < len(scope.get("headers", ())):
            headers.append((b"host", b"127.0.0.1"))
        here = {**scope, "client": ("127.0.0.1", 5000), "headers": headers}
        await self.app(here, receive, send)


def client_of(desk: Desk, languages: Mapping[str, Words] | None = None) -> TestClient:
    """Return a client that gets 500 as any other would, and no traceback."""
    app = FromHere(build_app(desk, languages=languages))
    return TestClient(app, base_url="http://127.0.0.1", raise_server_exceptions=False)


def small_desk() -> Desk:
    """Return a desk with the demonstration job and `small`, the same with two entries alone."""
    desk = fresh_desk()
    demo = desk.open("demo").job
    job = replace(demo, id="small", recordings=(), entries=demo.entries[:2], access=(), practice=3)
    desk.store.add(job, Mark(what="start", at="2026-11-24T08:00:00+00:00", by="technician 2"), {})
    return desk
