"""Forms sent without a script: the actions of the API, answered by going back to the page."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from fastapi import APIRouter, Request, Response
from fastapi.concurrency import run_in_threadpool
from fastapi.exceptions import RequestValidationError
from fastapi.responses import RedirectResponse
from pydantic import TypeAdapter, ValidationError

from sagtrace.errors import UnknownIdError
from sagtrace.web.acts import ACTS
from sagtrace.web.api.jobs import start_with
from sagtrace.web.asking import Asked
from sagtrace.web.bodies import Line, StartBody

__all__ = ["body_of", "router"]

router = APIRouter()

_OWN = ("key", "next", "item")  # fields of the form that are no part of the body
_LINE: TypeAdapter[str] = TypeAdapter(Line)


@router.post("/new")
async def start(request: Request, ask: Asked) -> Response:
    """Start a job."""
    fields = await _fields(request)
    body = body_of(StartBody, fields)
    done = await run_in_threadpool(start_with, replace(ask, key=_last(fields, "key")), body)
    return RedirectResponse(f"/jobs/{done.kept.job.id}", status_code=303)


@router.post("/jobs/{job}/do/{action}")
async def act(request: Request, ask: Asked, job: str, action: str) -> Response:
    """Carry out an action on a job."""
    if action not in ACTS:
        raise UnknownIdError("action", action, ACTS)
    found, fields = ACTS[action], await _fields(request)
    body, item = body_of(found.body, fields), _last(fields, "item")
    asked = replace(ask, key=_last(fields, "key"))
    await run_in_threadpool(found.carry_out, asked, job, item, body)
    target = _last(fields, "next")
    return RedirectResponse(target if target.startswith(f"/jobs/{job}") else f"/jobs/{job}", 303)


async def _fields(request: Request) -> Mapping[str, list[str]]:
    form = await request.form(max_fields=400)
    found: dict[str, list[str]] = {}
    for name, value in form.multi_items():
        if isinstance(value, str):
            found.setdefault(name, []).append(value)
    return found


def body_of(kind: type[Any], fields: Mapping[str, list[str]]) -> Any:
    """Return the body that form fields mean: `values.time` is a part, `repairs` may repeat.

    Raises RequestValidationError for fields that no such body has.
    """
    data: dict[str, Any] = {}
    for name, values in fields.items():
        if name in _OWN:
            continue
        whole, dot, part = name.partition(".")
        if dot:
            parts = data.get(whole)
            data[whole] = {**(parts if isinstance(parts, dict) else {}), part: values[-1]}
        elif whole in ("repairs", "access"):
            data[whole] = [v for v in values if v]
        else:
            data[whole] = values[-1]
    try:
        return kind.model_validate(data)
    except ValidationError as err:
        raise RequestValidationError(err.errors()) from None


def _last(fields: Mapping[str, list[str]], name: str) -> str:
    try:
        return _LINE.validate_python(fields.get(name, [""])[-1])
    except ValidationError as err:
        raise RequestValidationError([{**e, "loc": (name,)} for e in err.errors()]) from None
