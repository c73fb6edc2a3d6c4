"""The papers: for the customer and for the next technician, on the page and as PDF; the export."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter, Request, Response
from fastapi.responses import HTMLResponse

from sagtrace.errors import UnknownIdError
from sagtrace.report.assessment import Assessment
from sagtrace.report.customer import customer_paper
from sagtrace.report.technical import technical_paper
from sagtrace.report.tree import Paper, Section
from sagtrace.units import as_read
from sagtrace.web.asking import Asked
from sagtrace.web.pages.page import Frame, show
from sagtrace.web.views.opened import open_job
from sagtrace.web.views.paper import PaperView, view_paper
from sagtrace.web.views.people import Person
from sagtrace.web.words import _, later

__all__ = ["router"]

router = APIRouter()

MAKERS = {"customer": customer_paper, "technical": technical_paper}


@dataclass(frozen=True, slots=True, kw_only=True)
class PaperLine:
    """One paper with what it contains."""

    kind: str
    name: str
    title: str
    sections: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PapersPage:
    """Everything that papers.html may use."""

    job: str
    problem: str  # why there is no paper
    proved: bool
    papers: tuple[PaperLine, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PaperPage:
    """Everything that paper.html may use."""

    job: str
    kind: str
    problem: str
    paper: PaperView | None


@router.get("/jobs/{job}/papers")
def papers(request: Request, ask: Asked, job: str) -> HTMLResponse:
    """Show which papers there are."""
    opened = open_job(ask.desk, job)
    a = opened.assessment
    page = PapersPage(
        job=job, problem=opened.problem, proved=a is not None and a.stage == "proved",
        papers=tuple(_line(kind, a) for kind in MAKERS) if a else (),
    )  # fmt: skip
    return show(request, "papers.html", Frame.of(opened.kept, _("Papers"), "papers"), page)


@router.get("/jobs/{job}/papers/{file}.pdf")
def pdf(request: Request, ask: Asked, job: str, file: str, download: bool = False) -> Response:
    """Return a paper as PDF."""
    if file not in MAKERS:
        raise UnknownIdError("paper", file, MAKERS)
    reader = Person.of(request).reader
    content = ask.desk.papers(ask.desk.open(job), reader)[f"{file}.pdf"]
    how = "attachment" if download else "inline"
    named = {"Content-Disposition": f'{how}; filename="{job}-{file}.pdf"'}
    return Response(content, media_type="application/pdf", headers=named | _FRESH)


@router.get("/jobs/{job}/papers/{kind}")
def on_page(request: Request, ask: Asked, job: str, kind: str) -> HTMLResponse:
    """Show a paper, to be read or printed."""
    if kind not in MAKERS:
        raise UnknownIdError("paper", kind, MAKERS)
    opened = open_job(ask.desk, job)
    a = opened.assessment
    made = MAKERS[kind](a, ask.desk.workshop.heading()) if a else None
    page = PaperPage(
        job=job, kind=kind, problem=opened.problem,
        paper=view_paper(as_read(made, Person.of(request).reader)) if made else None,
    )  # fmt: skip
    return show(request, "paper.html", Frame.of(opened.kept, _(_NAMES[kind]), "papers"), page)


_FRESH = {"Cache-Control": "no-store"}
_NAMES = {"customer": later("For the customer"), "technical": later("Technical record")}


def _line(kind: str, a: Assessment) -> PaperLine:
    paper: Paper = MAKERS[kind](a)
    return PaperLine(
        kind=kind, name=_(_NAMES[kind]), title=paper.title,
        sections=tuple(block.title for block in paper.body if isinstance(block, Section)),
    )  # fmt: skip
