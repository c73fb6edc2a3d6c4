"""The list of jobs, and starting one."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from sagtrace.app.kept import JobLine, Query
from sagtrace.web.asking import Asked
from sagtrace.web.pages.page import Frame, show

__all__ = ["router"]

router = APIRouter()


@dataclass(frozen=True, slots=True, kw_only=True)
class JobsPage:
    """Everything that jobs.html may use."""

    text: str
    lines: tuple[JobLine, ...]
    next: str


@router.get("/")
def jobs(request: Request, ask: Asked, text: str = "", after: str = "") -> HTMLResponse:
    """Show the list of jobs."""
    found = ask.desk.jobs(Query(text=text, after=after))
    page = JobsPage(text=text, lines=found.lines, next=found.next)
    return show(request, "jobs.html", Frame(title="Jobs", here="jobs"), page)
