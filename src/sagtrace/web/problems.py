"""Errors as RFC 9457 problem details for programs, and as a page for people."""

from __future__ import annotations

import logging
from collections.abc import Callable
from http import HTTPStatus
from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, Response
from starlette.exceptions import HTTPException

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

__all__ = ["add_problems", "MEDIA"]

MEDIA = "application/problem+json"
LOG = logging.getLogger("sagtrace.web")

Show = Callable[[Request, int, str, str], Response]  # status, title, text -> a page

_STATUS: tuple[tuple[type[SagtraceError], HTTPStatus, str], ...] = (
    (ChangedError, HTTPStatus.PRECONDITION_FAILED, "Changed meanwhile"),
    (StoreError, HTTPStatus.SERVICE_UNAVAILABLE, "Cannot be kept now"),
    (MissingPartError, HTTPStatus.NOT_IMPLEMENTED, "A part is not installed"),
    (ContradictionError, HTTPStatus.CONFLICT, "Nothing explains the evidence together"),
    (EvidenceError, HTTPStatus.UNPROCESSABLE_ENTITY, "Cannot be used as evidence"),
    (DocumentError, HTTPStatus.UNPROCESSABLE_ENTITY, "The file cannot be right"),
    (InputError, HTTPStatus.UNPROCESSABLE_ENTITY, "Cannot be right"),
)


def add_problems(app: FastAPI, show: Show) -> None:
    """Let the app answer errors; `show` makes the page for a browser."""

    def answer(request: Request, status: int, title: str, detail: str, **more: Any) -> Response:
        if not request.url.path.startswith("/api/"):
            return show(request, status, title, detail)
        body = {
            "type": "about:blank" if not more.get("kind") else f"urn:sagtrace:{more.pop('kind')}",
            "title": title,
            "status": status,
            "detail": detail,
            "instance": request.url.path,
            **more,
        }
        return JSONResponse(body, status_code=status, media_type=MEDIA)

    def ours(request: Request, err: Exception) -> Response:
        assert isinstance(err, SagtraceError)
        kind = type(err).__name__.removesuffix("Error").lower()
        if isinstance(err, UnknownIdError) and _names_the_resource(request, err):
            more = {"nearest": list(err.nearest)}
            return answer(request, HTTPStatus.NOT_FOUND, "Not found", str(err), kind=kind, **more)
        status, title = next((s, t) for cls, s, t in _STATUS if isinstance(err, cls))
        return answer(request, status, title, str(err), kind=kind)

    def unfit(request: Request, err: Exception) -> Response:
        assert isinstance(err, RequestValidationError)
        wrong = [
            {"at": ".".join(str(part) for part in e["loc"]), "problem": str(e["msg"])}
            for e in err.errors()
        ]
        detail = "; ".join(f"{w['at']}: {w['problem']}" for w in wrong[:5])
        return answer(
            request, HTTPStatus.UNPROCESSABLE_ENTITY, "Cannot be right", detail, kind="input",
            errors=wrong,
        )  # fmt: skip

    def http(request: Request, err: Exception) -> Response:
        assert isinstance(err, HTTPException)
        title = HTTPStatus(err.status_code).phrase
        found = answer(request, err.status_code, title, str(err.detail))
        found.headers.update(err.headers or {})
        return found

    def defect(request: Request, err: Exception) -> Response:
        LOG.error("defect at %s %s", request.method, request.url.path, exc_info=err)
        detail = (
            "This is a defect of the program, not of what you entered. What was shown as saved is "
            "saved. The program's log says where it happened."
        )
        return answer(request, HTTPStatus.INTERNAL_SERVER_ERROR, "Defect", detail, kind="defect")

    app.add_exception_handler(SagtraceError, ours)
    app.add_exception_handler(RequestValidationError, unfit)
    app.add_exception_handler(HTTPException, http)
    app.add_exception_handler(Exception, defect)


def _names_the_resource(request: Request, err: UnknownIdError) -> bool:
    """Return whether what is unknown is part of the address, so that the answer is 404."""
    return str(err.given) in request.path_params.values()
