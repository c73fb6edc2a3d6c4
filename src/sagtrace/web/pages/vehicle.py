"""The drawing of the vehicle's air system, in which every part leads to its checks."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from sagtrace.bootstrap import drawing
from sagtrace.errors import DocumentError, EvidenceError, InputError
from sagtrace.web.asking import Asked
from sagtrace.web.pages.page import Frame, show
from sagtrace.web.views.people import Person
from sagtrace.web.views.vehicle import vehicle_page
from sagtrace.web.words import _

__all__ = ["router"]

router = APIRouter()


@router.get("/jobs/{job}/vehicle")
def vehicle(request: Request, ask: Asked, job: str, part: str = "") -> HTMLResponse:
    """Show the drawing, and the panel of a part if one was tapped."""
    kept = ask.desk.open(job)
    try:
        judged = ask.desk.judged(kept)
    except (EvidenceError, DocumentError, InputError) as err:
        # The job must still open, because what is wrong can only be put right on its pages.
        return show(request, "problem.html", Frame.of(kept, _("Vehicle"), "vehicle"), str(err))
    page = vehicle_page(judged, drawing(), part, Person.of(request).reader)
    title = page.panel.title if page.panel else _("Vehicle")
    return show(request, "vehicle.html", Frame.of(kept, title, "vehicle"), page)
