"""Starting a job: a real one, or the demonstration."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Annotated

from fastapi import APIRouter, File, Form, Request, Response, UploadFile
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import HTMLResponse, RedirectResponse

from sagtrace.report.words import listed, sentence
from sagtrace.vehicle.layouts import Layout
from sagtrace.web.api.demo import open_demo
from sagtrace.web.api.moving import import_with
from sagtrace.web.api.practice import practise_with
from sagtrace.web.asking import Asked
from sagtrace.web.bodies import Line, StartPracticeBody
from sagtrace.web.pages.forms import body_of, last_of, read_fields
from sagtrace.web.pages.page import Frame, show
from sagtrace.web.views.people import Person
from sagtrace.web.views.told_list import IdentityField, identity_fields
from sagtrace.web.views.vehicle_facts import FactField, facts_of_all
from sagtrace.web.words import _

__all__ = ["router"]

router = APIRouter()


@dataclass(frozen=True, slots=True, kw_only=True)
class LayoutChoice:
    """A layout in plain words."""

    id: str
    name: str
    description: str


@dataclass(frozen=True, slots=True, kw_only=True)
class NewPage:
    """Everything that new.html may use."""

    layouts: tuple[LayoutChoice, ...]  # the simplest first
    identity: tuple[IdentityField, ...]
    facts: tuple[FactField, ...]


@router.get("/new")
def new(request: Request, ask: Asked) -> HTMLResponse:
    """Show the form that starts a job."""
    layouts = sorted(
        ask.desk.workshop.knowledge.layouts, key=lambda o: (len(o.corners), len(o.features))
    )
    person = Person.of(request)
    page = NewPage(
        identity=identity_fields(None, person),
        layouts=tuple(_choice(layout) for layout in layouts),
        facts=facts_of_all(layouts, person),
    )
    return show(request, "new.html", Frame(title=_("New job"), here="jobs"), page)


def _choice(layout: Layout) -> LayoutChoice:
    springs = listed([corner.name for corner in layout.corners])
    return LayoutChoice(
        id=layout.id,
        name=sentence(layout.name).rstrip("."),
        description=_(
            "%(description)s. Springs: %(springs)s.",
            description=layout.description.rstrip("."), springs=springs,
        ),
    )  # fmt: skip


@router.post("/demo")
def demo(ask: Asked) -> Response:
    """Open the demonstration job; keep it first if it is not there."""
    return RedirectResponse(f"/jobs/{open_demo(ask).kept.job.id}", status_code=303)


@router.post("/import")
async def import_job(
    ask: Asked,
    file: Annotated[UploadFile, File()],
    key: Annotated[Line, Form()] = "",
    by: Annotated[Line, Form(max_length=80)] = "",
) -> Response:
    """Keep a job that comes as an archive or a job file, and open it."""
    data = await file.read()
    done = await run_in_threadpool(import_with, replace(ask, key=key), data, by)
    return RedirectResponse(f"/jobs/{done.kept.job.id}", status_code=303)


@router.post("/practice")
async def practice(request: Request, ask: Asked) -> Response:
    """Start a job on an invented vehicle with hidden faults."""
    fields = await read_fields(request)
    body = body_of(StartPracticeBody, fields)
    asked = replace(ask, key=last_of(fields, "key"))
    done = await run_in_threadpool(practise_with, asked, body)
    return RedirectResponse(f"/jobs/{done.kept.job.id}", status_code=303)
