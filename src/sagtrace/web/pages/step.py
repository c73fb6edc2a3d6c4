"""The next step of a job."""

from __future__ import annotations

from collections.abc import Mapping

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from sagtrace.app.desk import Newest
from sagtrace.app.kept import Kept
from sagtrace.errors import SagtraceError
from sagtrace.report.moved import Moved, moved
from sagtrace.web.asking import Ask, Asked
from sagtrace.web.pages.page import Frame, show
from sagtrace.web.told import told
from sagtrace.web.views.next_step import step_page, troubled_page
from sagtrace.web.views.people import Person
from sagtrace.web.words import _

__all__ = ["router"]

router = APIRouter()

# Changes after which the page says what moved, by the first word of what was done, and where they
# put something.
_PUTS: Mapping[str, Newest] = {
    "answer": "entries", "practise": "entries", "withdraw": "entries", "recording": "recordings",
    "vehicle": "vehicle",
}  # fmt: skip


@router.get("/jobs/{job}")
def step(request: Request, ask: Asked, job: str) -> HTMLResponse:
    """Show the next thing to do."""
    kept, person = ask.desk.open(job), Person.of(request)
    frame = Frame.of(kept, _("Next step"), "next")
    try:
        found = ask.desk.assessed(kept)
    except SagtraceError as err:
        system = ask.desk.workshop.system(kept.job.layout)
        page = troubled_page(kept.job, system, told(err, ask.desk, job).text, person, ask.at)
    else:
        began = ask.desk.changes(job)[-1].mark.what.startswith("begin ")
        page = step_page(found, _moved(ask, kept), person, ask.at, began=began)
    return show(request, "step.html", frame, page)


def _moved(ask: Ask, kept: Kept) -> Moved | None:
    last = ask.desk.changes(kept.job.id)[-1].mark.what
    newest = _PUTS.get(last.partition(" ")[0])
    before = ask.desk.judged_before(kept, newest) if newest else None
    return moved(before, ask.desk.judged(kept)) if before else None
