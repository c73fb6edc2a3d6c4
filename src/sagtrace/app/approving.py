"""What the customer was offered and said, and work that it does not cover."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from sagtrace.errors import InputError
from sagtrace.repair.approved import covered, with_price
from sagtrace.report.approved import ask_again
from sagtrace.vehicle.job import Approval, Job, Note
from sagtrace.vehicle.system import System

__all__ = ["allowed", "offered"]


def offered(system: System, job: Job, approval: Approval, at: str, by: str) -> Job:
    """Return the job with what the customer was offered or said, and the price that it is for."""
    if not approval.repairs:
        raise InputError("an offer needs at least one repair; choose an option first.")
    price, currency = with_price(system, job, approval)
    new = replace(
        approval, id=job.next_id("a"), at=approval.at or at, by=by, price=round(price, 2),
        currency=currency,
    )  # fmt: skip
    return replace(job, approvals=(*job.approvals, new))


def allowed(system: System, job: Job, repairs: Sequence[str], reason: str, at: str, by: str) -> Job:
    """Return the job, with the reason as a note if the customer's approval does not cover the work.

    Raises InputError if a reason is needed and missing.
    """
    if covered(system, job, repairs).fits:
        return job
    if not reason.strip():
        raise InputError(f"{_why(system, job, repairs)} {_WAY_OUT}")
    text = f"Repaired without the customer's approval: {reason.strip()}"
    note = Note(id=job.next_id("n"), text=text, at=at, by=by)
    return replace(job, notes=(*job.notes, note))


_WAY_OUT = (
    "Keep the approval first, or say why the work was done without it (without_approval); the "
    "reason is kept as a note."
)


def _why(system: System, job: Job, repairs: Sequence[str]) -> str:
    if said := ask_again(system, covered(system, job, repairs)):
        return said[0].lower() + said[1:]
    answer = job.approvals[-1].answer if job.approvals else ""
    about = {"": "was not asked", "asked": "has not answered", "declined": "declined"}
    return f"the customer {about[answer]}."
