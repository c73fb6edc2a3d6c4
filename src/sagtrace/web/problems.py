"""Errors as RFC 9457 problem details for programs, and as a page for people."""

from __future__ import annotations

import logging
from collections.abc import Callable, Mapping
from http import HTTPStatus
from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, Response
from starlette.exceptions import HTTPException
from starlette.routing import Match
from starlette.types import Scope

from sagtrace.errors import (
    ChangedError,
    ContradictionError,
    DocumentError,
    EvidenceError,
    InputError,
    MissingPartError,
    SagtraceError,
    StoreError,
    UnknownIdError,
)
from sagtrace.report.words import listed
from sagtrace.web.clash import clashing
from sagtrace.web.disks import disk_words
from sagtrace.web.told import told
from sagtrace.web.views.people import Person
from sagtrace.web.words import _, later

__all__ = ["add_problems", "is_api", "KINDS", "MEDIA", "problem", "TYPES"]

MEDIA = "application/problem+json"
TYPES = "/api/v1/problems/"  # with the kind behind it: what the `type` of a problem is
LOG = logging.getLogger("sagtrace.web")
# What the framework says too shortly.
_WORDS = {
    "Not Found": later("There is nothing at this address."),
    "There was an error parsing the body": later(
        "The content cannot be read; is it JSON in UTF-8, and no deeper or longer than a request "
        "needs?"
    ),
}
# Titles of the answers that people see, by the standard's own phrase.
_TITLES = {
    "Not Found": later("Not Found"),
    "Method Not Allowed": later("Method Not Allowed"),
}
METHODS = ("GET", "HEAD", "POST", "PUT", "PATCH", "DELETE")

Show = Callable[[Request, int, str, str], Response]  # status, title, text -> a page

_STATUS: tuple[tuple[type[SagtraceError], HTTPStatus, str], ...] = (
    (ChangedError, HTTPStatus.PRECONDITION_FAILED, later("Changed meanwhile")),
    (StoreError, HTTPStatus.SERVICE_UNAVAILABLE, later("Cannot be kept now")),
    (MissingPartError, HTTPStatus.NOT_IMPLEMENTED, later("A part is not installed")),
    (ContradictionError, HTTPStatus.CONFLICT, later("Nothing explains the evidence together")),
    (EvidenceError, HTTPStatus.UNPROCESSABLE_ENTITY, later("Cannot be used as evidence")),
    (DocumentError, HTTPStatus.UNPROCESSABLE_ENTITY, later("The file cannot be right")),
    (UnknownIdError, HTTPStatus.UNPROCESSABLE_ENTITY, later("Nothing has this id")),
    (InputError, HTTPStatus.UNPROCESSABLE_ENTITY, later("Cannot be right")),
)

# What a parameter of an address may name, as the errors call it.
_NAMED: Mapping[str, tuple[str, ...]] = {
    "job": ("job",),
    "item": ("entry", "begun check that waits"),
    "layout": ("layout",),
    "check": ("check",),
    "sha256": ("file of this job", "content"),
}


def _kind(cls: type[SagtraceError]) -> str:
    return cls.__name__.removesuffix("Error").lower()


KINDS: Mapping[str, tuple[int, str, str]] = {
    _kind(cls): (status, title, (cls.__doc__ or "").partition("\n")[0])
    for cls, status, title in _STATUS
} | {
    "defect": (500, "Defect", "A defect of the program; what was shown as saved is saved."),
}


def is_api(path: str) -> bool:
    """Return whether a program asks, which gets problem details and no page."""
    return path.startswith("/api/")


def _writable(value: Any) -> Any:
    """Return a text that UTF-8 can carry: what was sent may hold half a character."""
    if isinstance(value, str):
        return value.encode("utf-8", "backslashreplace").decode()
    if isinstance(value, Mapping):
        return {key: _writable(item) for key, item in value.items()}
    return [_writable(item) for item in value] if isinstance(value, list) else value


def problem(
    path: str, status: int, title: str, detail: str, *, kind: str = "", **more: Any
) -> Response:
    """Return problem details."""
    body = {
        "type": f"{TYPES}{kind}" if kind else "about:blank",
        "title": title,
        "status": int(status),
        "detail": detail,
        "instance": path,
        **more,
    }
    return JSONResponse(_writable(body), status_code=status, media_type=MEDIA)


def add_problems(app: FastAPI, show: Show) -> None:
    """Let the app answer errors; `show` makes the page for a browser."""

    def answer(request: Request, status: int, title: str, detail: str, **more: Any) -> Response:
        if not is_api(request.url.path):
            return show(request, status, title, _writable(more.get("said") or detail))
        if request.cookies:  # a page asks, and shows it to a person
            reader = Person.of(request).reader
            detail = reader.text(detail)
            more |= {"said": reader.text(more["said"])} if "said" in more else {}
        return problem(request.url.path, status, title, detail, **more)

    def ours(request: Request, err: Exception) -> Response:
        assert isinstance(err, SagtraceError)
        more: dict[str, Any] = {}
        if isinstance(err, UnknownIdError):
            more["nearest"] = list(err.nearest)
            if _names_the_resource(request, err):
                status = HTTPStatus.NOT_FOUND
                return answer(request, status, _("Not found"), str(err), kind="unknownid", **more)
        said, job = str(err), str(request.path_params.get("job", ""))
        page = told(err, app.state.desk, job)
        if page.text != said:
            more["said"] = page.text
        if page.field:
            more["field"] = page.field
        if isinstance(err, ContradictionError) and job:
            more["entries"] = list(clashing(app.state.desk, job))
            if more["entries"]:
                way = _(
                    "One of these must be withdrawn or corrected: %(entries)s.",
                    entries=listed(more["entries"]),
                )
                said, more["said"] = f"{said} {way}", f"{page.text} {way}"
        cls, status, title = next(row for row in _STATUS if isinstance(err, row[0]))
        return answer(request, status, _(title), said, kind=_kind(cls), **more)

    def unfit(request: Request, err: Exception) -> Response:
        assert isinstance(err, RequestValidationError)
        wrong = [_fault(e) for e in err.errors()[:20]]
        detail = "; ".join(f"{w['at']}: {w['problem']}" for w in wrong[:5])
        return answer(
            request, HTTPStatus.UNPROCESSABLE_ENTITY, _("Cannot be right"), detail, kind="input",
            errors=wrong,
        )  # fmt: skip

    def disk(request: Request, err: Exception) -> Response:
        if not (said := disk_words(err)):
            return defect(request, err)
        LOG.warning("%s at %s %s", err, request.method, request.url.path)
        status = HTTPStatus.SERVICE_UNAVAILABLE
        return answer(request, status, _("Cannot be kept now"), said, kind=_kind(StoreError))

    def http(request: Request, err: Exception) -> Response:
        assert isinstance(err, HTTPException)
        if disk_words(err.__cause__):  # the framework takes it for a mistake of the sender's
            assert isinstance(err.__cause__, OSError)
            return disk(request, err.__cause__)
        headers = dict(err.headers or {})
        if err.status_code == HTTPStatus.METHOD_NOT_ALLOWED:
            allowed = _allowed(app, request.scope)
            headers["Allow"] = ", ".join(allowed)
            if request.method == "OPTIONS":
                return Response(status_code=HTTPStatus.NO_CONTENT, headers=headers)
            err.detail = _(
                "%(method)s does nothing here; allowed: %(allowed)s.",
                method=request.method,
                allowed=headers["Allow"],
            )
        if err.status_code in (HTTPStatus.NO_CONTENT, HTTPStatus.NOT_MODIFIED):
            return Response(status_code=err.status_code, headers=headers)
        title = HTTPStatus(err.status_code).phrase
        title = _(_TITLES.get(title, title))
        detail = _(_WORDS[err.detail]) if err.detail in _WORDS else str(err.detail)
        found = answer(request, err.status_code, title, detail)
        found.headers.update(headers)
        return found

    def defect(request: Request, err: Exception) -> Response:
        LOG.error("defect at %s %s", request.method, request.url.path, exc_info=err)
        detail = _(
            "This is a defect of the program, not of what you entered. What was shown as saved is "
            "saved. The program's log says where it happened."
        )
        return answer(request, HTTPStatus.INTERNAL_SERVER_ERROR, _("Defect"), detail, kind="defect")

    app.add_exception_handler(SagtraceError, ours)
    app.add_exception_handler(RequestValidationError, unfit)
    app.add_exception_handler(HTTPException, http)
    app.add_exception_handler(OSError, disk)
    app.add_exception_handler(Exception, defect)


def _fault(e: Mapping[str, Any]) -> dict[str, str]:
    if e["type"] == "json_invalid":
        return {
            "at": "body",
            "problem": f"the body is no JSON: {e['ctx']['error']} (character {e['loc'][-1]})",
        }
    return {"at": ".".join(str(part) for part in e["loc"]), "problem": str(e["msg"])}


def _allowed(app: FastAPI, scope: Scope) -> list[str]:
    """Return the methods that some route has for the address."""
    found = [
        method
        for method in METHODS
        if any(r.matches({**scope, "method": method})[0] is Match.FULL for r in app.routes)
    ]
    if "GET" in found:  # because the guard answers HEAD as GET without the content
        found.insert(found.index("GET") + 1, "HEAD")
    return [*dict.fromkeys(found), "OPTIONS"]


def _names_the_resource(request: Request, err: UnknownIdError) -> bool:
    """Return whether what is unknown is part of the address, so that the answer is 404."""
    return any(
        str(err.given) == value and (name not in _NAMED or err.kind in _NAMED[name])
        for name, value in request.path_params.items()
    )
