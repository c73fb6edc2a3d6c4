"""What is said where the customer's approval does not reach over the work."""

from __future__ import annotations

from sagtrace.repair.approved import Cover
from sagtrace.report.history import repairs_named, when
from sagtrace.report.words import money
from sagtrace.vehicle.job import Approval
from sagtrace.vehicle.system import System

__all__ = ["ask_again", "price_told"]


def price_told(approval: Approval) -> str:
    """Return the price as it was told."""
    if approval.offered or not approval.currency:
        return approval.offered or "price not noted"
    return f"{money(approval.price, approval.currency)} with tax"


def ask_again(system: System, cover: Cover) -> str:
    """Return why the customer has to be asked again; empty if the approval fits or there is none.

    Without any approval there is nothing to compare with, and the caller says so.
    """
    if cover.fits or not cover.approvals:
        return ""
    given = "; and that ".join(
        f"of {when(a.at)} was for {repairs_named(system, a.repairs)}, {price_told(a)}"
        for a in cover.approvals
    )
    more = [f"also {repairs_named(system, cover.missing)}"] if cover.missing else []
    if cover.dearer:
        more.append(f"now {money(cover.now, system.tariff.currency)} with tax")
    return f"The approval {given}; this is more ({'; '.join(more)}): ask again."
