"""How a page is made: one frozen record of what it may show, put into its template."""

from __future__ import annotations

import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fastapi import Request
from fastapi.responses import HTMLResponse, Response
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup, escape

from sagtrace.app.kept import Kept
from sagtrace.units import Own
from sagtrace.web.rewriting import page_as_read
from sagtrace.web.views.people import Person
from sagtrace.web.words import lookup, lookup_many, spoken

__all__ = ["Frame", "show", "show_problem"]

TEMPLATES = Path(__file__).resolve().parents[1] / "templates"

_OWN = '<span translate="no">'


def _own(text: str) -> str:
    """Return somebody's own words, marked so that nothing rewrites them."""
    return Markup(f"{_OWN}{escape(str(text))}</span>") if text else ""


def _finished(value: Any) -> Any:
    return _own(value) if isinstance(value, Own) else value


_env = Environment(
    finalize=_finished,
    loader=FileSystemLoader(TEMPLATES),
    autoescape=True,
    undefined=StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
    extensions=["jinja2.ext.i18n"],
)
_env.filters["own"] = _own
_env.install_gettext_callables(  # type: ignore[attr-defined]
    lookup, lookup_many, newstyle=True
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """What stands around every page's own content."""

    title: str
    here: str = ""  # which place of the navigation this is
    job: str = ""  # id of the job that the page belongs to
    job_title: str = ""
    revision: int = 0  # of the job, for noticing changes made elsewhere
    invented: bool = False

    @classmethod
    def of(cls, kept: Kept, title: str, here: str) -> Frame:
        """Return the frame of a page that belongs to a job."""
        return cls(
            title=title, here=here, job=kept.job.id, job_title=kept.job.title,
            revision=kept.revision, invented=kept.job.invented,
        )  # fmt: skip


def show(
    request: Request, template: str, frame: Frame, page: Any = None, status: int = 200,
    headers: Mapping[str, str] | None = None,
) -> HTMLResponse:  # fmt: skip
    """Return a page.

    Templates see `frame`, `page`, `person`, `by`, `theme`, `decimal`, `words` and `new_key()`.

    A request that names a part (header X-Part: main) gets the content alone, for a page that is
    there already.
    """
    part, person = request.headers.get("x-part") == "main", Person.of(request)
    reader = person.reader
    text = _env.get_template(template).render(
        frame=frame, page=page, part=part, new_key=_new_key, person=person, by=person.by,
        theme=person.theme, decimal="," if reader.comma else ".", words=spoken(),
    )  # fmt: skip
    held = {"Cache-Control": "no-store", "Vary": "X-Part", "X-Revision": str(frame.revision)}
    held |= headers or {}
    return HTMLResponse(page_as_read(text, reader), status_code=status, headers=held)


def show_problem(request: Request, status: int, title: str, text: str) -> Response:
    """Return the page that tells a person what went wrong and the way out."""
    return show(request, "problem.html", Frame(title=title), page=text, status=status)


def _new_key() -> str:
    # Made here, because a browser cannot make one on every address.
    return secrets.token_urlsafe(12)
