"""Settings of this device: who works at it, how it looks, units and numbers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Literal

from fastapi import APIRouter, Form, Request, Response
from fastapi.responses import HTMLResponse, RedirectResponse

from sagtrace.errors import DocumentError, InputError
from sagtrace.report.heading import NO_HEADING, Heading
from sagtrace.web.asking import Asked
from sagtrace.web.bodies import Line
from sagtrace.web.pages.page import Frame, show
from sagtrace.web.views.people import Person
from sagtrace.web.words import Words, _

__all__ = ["keep_name", "router"]

router = APIRouter()

_YEAR = 366 * 24 * 3600


@dataclass(frozen=True, slots=True, kw_only=True)
class SettingsPage:
    """Everything that settings.html may use."""

    person: Person
    saved: bool
    example: str  # of a number as it will be read
    language: str
    languages: tuple[tuple[str, str], ...]  # those that have a catalogue; empty: there is no choice
    heading: Heading
    heading_saved: bool
    problem: str  # why the heading cannot be read


@router.get("/settings")
def settings(request: Request, ask: Asked, saved: str = "", heading: str = "") -> HTMLResponse:
    """Show the settings."""
    kept, problem = NO_HEADING, ""
    try:
        kept = ask.desk.workshop.heading()
    except DocumentError as err:  # a new one can be kept over it
        problem = str(err)
    person = Person.of(request)
    example = person.spread(403, 1, "mm")
    languages: Mapping[str, Words] = request.app.state.languages
    several = len(languages) > 1
    page = SettingsPage(
        person=person, saved=bool(saved), example=example,
        language=person.language if person.language in languages else "",
        languages=tuple((w.language, w.name) for w in languages.values()) if several else (),
        heading=kept, heading_saved=bool(heading), problem=problem,
    )  # fmt: skip
    return show(request, "settings.html", Frame(title=_("Settings"), here="settings"), page)


@router.post("/settings/name")
def name(by: Annotated[str, Form(max_length=80)] = "") -> Response:
    """Keep the name that somebody typed at a form, and nothing else."""
    answer = Response(status_code=204)
    keep_name(answer, by)
    return answer


def keep_name(answer: Response, by: str) -> None:
    """Let the device keep a name."""
    value = Person(by=by.strip()).cookies()["by"]
    answer.set_cookie("by", value, max_age=_YEAR, samesite="lax", httponly=True)


@router.post("/settings")
def save(
    request: Request,
    by: Annotated[Line, Form(max_length=80)] = "",
    theme: Annotated[Literal["", "light", "dark"], Form()] = "",
    units: Annotated[Literal["metric", "imperial"], Form()] = "metric",
    numbers: Annotated[Literal["", "point", "comma"], Form()] = "",
    language: Annotated[Line, Form(max_length=20)] = "",
) -> Response:
    """Keep the settings on this device."""
    if len(by.strip().splitlines()) > 1 or "\t" in by.strip():
        raise InputError(_("the name of who works here: a line end or tab is in it; take it out."))
    person = Person(
        by=by.strip(), theme=theme, imperial=units == "imperial", numbers=numbers,
        language=language if language in request.app.state.languages else "",
    )  # fmt: skip
    answer = RedirectResponse("/settings?saved=1", status_code=303)
    for name, value in person.cookies().items():
        answer.set_cookie(name, value, max_age=_YEAR, samesite="lax", httponly=True)
    return answer
