"""Forms sent without a script: the actions of the API, answered by going back to the page."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any
from urllib.parse import urlsplit

from fastapi import APIRouter, Request, Response
from fastapi.concurrency import run_in_threadpool
from fastapi.exceptions import RequestValidationError
from fastapi.responses import RedirectResponse
from pydantic import TypeAdapter, ValidationError

from sagtrace.errors import DocumentError, EvidenceError, InputError, StoreError, UnknownIdError
from sagtrace.web.acts import ACTS
from sagtrace.web.api.heading import keep_heading
from sagtrace.web.api.jobs import start_with
from sagtrace.web.asking import Asked
from sagtrace.web.bodies import HeadingBody, Line, StartBody
from sagtrace.web.pages.page import Frame, show
from sagtrace.web.pages.settings import keep_name
from sagtrace.web.told import question_of, told
from sagtrace.web.views.people import Person, with_unit
from sagtrace.web.words import _

__all__ = ["again", "body_of", "last_of", "read_fields", "router", "TYPED_WRONG"]

router = APIRouter()

_OWN = ("key", "next", "item")  # fields of the form that are no part of the body
_LINE: TypeAdapter[str] = TypeAdapter(Line)
_HIDDEN = ("by", "check", "supersedes", "ends", "proof", "access", "repairs", "layout", *_OWN)
_UNIT = "unit:"  # before a field's name: the unit that stands beside it
TYPED_WRONG = (InputError, EvidenceError, DocumentError, StoreError, RequestValidationError)

Fields = Mapping[str, list[str]]


@dataclass(frozen=True, slots=True, kw_only=True)
class AgainField:
    """A field of a form that was refused."""

    name: str
    label: str
    value: str
    wrong: bool = False  # the problem is about this one
    unit: str = ""  # that a bare number is taken in


@dataclass(frozen=True, slots=True, kw_only=True)
class AgainPage:
    """Everything that again.html may use: what was typed, to be put right."""

    problem: str
    action: str
    back: str
    fields: tuple[AgainField, ...]
    hidden: tuple[AgainField, ...]
    file: str = ""  # the field of a file, which has to be chosen again


@router.post("/new")
async def start(request: Request, ask: Asked) -> Response:
    """Start a job."""
    fields = await read_fields(request)
    try:
        if not last_of(fields, "layout"):
            raise InputError(_("Say which springs are air springs."))
        body = body_of(StartBody, fields)
        asked = replace(ask, key=last_of(fields, "key"))
        done = await run_in_threadpool(start_with, asked, body)
    except TYPED_WRONG as err:
        return again(request, err, fields, "/new")
    return RedirectResponse(f"/jobs/{done.kept.job.id}", status_code=303)


@router.post("/settings/heading")
async def heading(request: Request, ask: Asked) -> Response:
    """Keep the workshop's own heading."""
    fields = await read_fields(request)
    try:
        body = body_of(HeadingBody, fields)
        await run_in_threadpool(keep_heading, ask, body)
    except TYPED_WRONG as err:
        return again(request, err, fields, "/settings")
    return RedirectResponse("/settings?heading=1#heading", status_code=303)


@router.post("/jobs/{job}/do/{action}")
async def act(request: Request, ask: Asked, job: str, action: str) -> Response:
    """Carry out an action on a job."""
    if action not in ACTS:
        raise UnknownIdError("action", action, ACTS)
    await run_in_threadpool(ask.desk.open, job)  # because an unknown job is no slip of the pen
    found, fields = ACTS[action], await read_fields(request)
    target = last_of(fields, "next")
    back = target if target.startswith((f"/jobs/{job}/", f"/jobs/{job}?")) else f"/jobs/{job}"
    try:
        body, item = body_of(found.body, fields), last_of(fields, "item")
        asked = replace(ask, key=last_of(fields, "key"))
        await run_in_threadpool(found.carry_out, asked, job, item, body)
    except TYPED_WRONG as err:
        return again(request, err, fields, back)
    answer = RedirectResponse(back, 303)
    if body.by.strip() and not Person.of(request).by:
        keep_name(answer, body.by)
    return answer


def again(request: Request, err: Exception, fields: Fields, back: str, file: str = "") -> Response:
    """Return the page with what was typed, because a refused form must lose nothing."""
    desk, job = request.app.state.desk, str(request.path_params.get("job", ""))
    said = told(err, desk, job)
    problem = said.text
    if isinstance(err, RequestValidationError):
        problem = "; ".join(f"{e['loc'][-1]}: {e['msg']}" for e in err.errors())
    check = fields.get("check", [""])[-1]
    every = [
        AgainField(
            name=name, value=value, wrong=name == said.field,
            unit=last_of(fields, f"{_UNIT}{name}"),
            label=question_of(name, desk, job, check) or name.rpartition(".")[2].replace("-", " "),
        )
        for name, values in fields.items()
        for value in values
        if name != "key"
    ]  # fmt: skip
    hidden = [f for f in every if f.name in _HIDDEN or f.name.startswith(_UNIT)]
    if back == "/new" and not fields.get("layout"):
        ids = ", ".join(layout.id for layout in desk.workshop.knowledge.layouts)
        label = _("Air springs: %(ids)s", ids=ids)
        every.append(AgainField(name="layout", label=label, value="", wrong=True))
    page = AgainPage(
        problem=problem, action=urlsplit(str(request.url)).path, back=back,
        fields=tuple(f for f in every if f not in hidden), hidden=tuple(hidden),
        file=file,
    )  # fmt: skip
    status = 503 if isinstance(err, StoreError) else 422
    return show(request, "again.html", Frame(title=_("Not kept")), page, status)


async def read_fields(request: Request) -> Fields:
    """Return the texts of a form by name."""
    form = await request.form(max_fields=400)
    found: dict[str, list[str]] = {}
    for name, value in form.multi_items():
        if isinstance(value, str):
            found.setdefault(name, []).append(value)
    return found


def body_of(kind: type[Any], fields: Fields) -> Any:
    """Return the body that form fields mean: `values.time` is a part, `repairs` may repeat.

    `unit:values.time` is the unit that stood beside the field; a number that names none gets it.
    Raises RequestValidationError for fields that no such body has.
    """
    data: dict[str, Any] = {}
    for name, values in fields.items():
        if name in _OWN or name.startswith(_UNIT):
            continue
        whole, dot, part = name.partition(".")
        if dot:
            parts = data.get(whole)
            typed = with_unit(values[-1], last_of(fields, f"{_UNIT}{name}"))
            data[whole] = {**(parts if isinstance(parts, dict) else {}), part: typed}
        elif whole in ("repairs", "access"):
            data[whole] = [v for v in values if v]
        else:
            data[whole] = with_unit(values[-1], last_of(fields, f"{_UNIT}{name}"))
    for name in ("repairs", "access"):  # because a list with nothing ticked is not sent at all
        if name in kind.model_fields:
            data.setdefault(name, [])
    try:
        return kind.model_validate(data)
    except ValidationError as err:
        raise RequestValidationError(err.errors()) from None


def last_of(fields: Fields, name: str) -> str:
    """Return the last text of that name, or an empty one."""
    try:
        return _LINE.validate_python(fields.get(name, [""])[-1])
    except ValidationError as err:
        raise RequestValidationError([{**e, "loc": (name,)} for e in err.errors()]) from None
