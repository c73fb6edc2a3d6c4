"""All checks of a job's system, and one of them."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from sagtrace.errors import UnknownIdError
from sagtrace.web.asking import Asked
from sagtrace.web.pages.page import Frame, show
from sagtrace.web.views.cards import Card, Wait, card, waits
from sagtrace.web.views.check_list import checks_page
from sagtrace.web.views.people import Person
from sagtrace.web.words import _

__all__ = ["router"]

router = APIRouter(prefix="/jobs/{job}/checks")


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckPage:
    """Everything that check.html may use."""

    job: str
    card: Card
    waits: tuple[Wait, ...]  # of this check


@router.get("")
def checks(
    request: Request, ask: Asked, job: str, text: str = "", component: str = "", kind: str = ""
) -> HTMLResponse:
    """Show all checks, or those that fit."""
    kept = ask.desk.open(job)
    system = ask.desk.workshop.system(kept.job.layout)
    page = checks_page(system, kept.job, text.strip()[:200], component, kind)
    return show(request, "checks.html", Frame.of(kept, _("All checks"), "next"), page)


@router.get("/{check}")
def check(
    request: Request, ask: Asked, job: str, check: str, corrects: str = "", proof: bool = False
) -> HTMLResponse:
    """Show the card of any check; `corrects` is the entry that a new answer takes the place of."""
    kept, person = ask.desk.open(job), Person.of(request)
    system = ask.desk.workshop.system(kept.job.layout)
    record = system.check(check)
    proof = proof and bool(kept.job.repaired)
    given = kept.job.valid_proofs() if proof else kept.job.entries
    entries = {e.id: e for e in given if e.check == check}
    if corrects and corrects not in entries:
        raise UnknownIdError("answer to this check", corrects, entries)
    shown = card(
        system, kept.job, record, person, proof=proof,
        corrects=entries.get(corrects), now=ask.at,
    )  # fmt: skip
    proofs = [check] if proof else []
    waiting = waits(system, kept.job, person, ask.at, proofs)
    mine = tuple(w for w in waiting if w.card.check == check)
    page = CheckPage(job=job, card=shown, waits=mine)
    return show(request, "check.html", Frame.of(kept, shown.name, "next"), page)
