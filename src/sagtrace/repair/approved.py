"""What the customer approved, and whether it reaches over the work that is to be done.

An approval was given for its repairs at its price. The last answer to a repair counts for it. Work
is covered if every repair of it was approved and the whole costs no more than was told.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from sagtrace.repair.costs import price_of
from sagtrace.vehicle.job import Approval, Job
from sagtrace.vehicle.system import System

__all__ = ["Cover", "covered", "price_with_tax", "with_price"]

_ROUNDING = 1.0  # [currency] prices are told in whole units


@dataclass(frozen=True, slots=True, kw_only=True)
class Cover:
    """How far the customer's approval reaches over some repairs."""

    repairs: tuple[str, ...]  # the work
    missing: tuple[str, ...]  # of it, what the customer did not approve
    approvals: tuple[Approval, ...]  # for the rest of it; if there is none, the last for anything
    now: float  # price of what was approved of the work and done before, with tax
    dearer: bool  # it costs more than was told

    @property
    def fits(self) -> bool:
        """Whether the approval reaches over all of the work."""
        return not self.missing and not self.dearer


def covered(system: System, job: Job, repairs: Iterable[str]) -> Cover:
    """Return how far the customer's approval reaches over these repairs.

    Repairs that were done and approved share the price that was told. A price that nobody worked
    out, or in another currency, cannot be compared. Nobody owns the vehicle of a practice job, so
    nobody has to approve anything.
    """
    work = tuple(dict.fromkeys(repairs))
    if job.practice:
        now = price_with_tax(system, job, work)
        return Cover(repairs=work, missing=(), approvals=(), now=now, dearer=False)
    answers = {r: a for a in job.approvals if a.answer != "asked" for r in a.repairs}
    approved = {r: a for r, a in answers.items() if a.answer == "approved"}
    reached = [r for r in (*job.repaired, *work) if r in approved]
    used = [approved[r] for r in reached]
    counting = tuple(a for a in job.approvals if a in used)
    now = price_with_tax(system, job, dict.fromkeys(reached))
    comparable = counting and all(a.currency == system.tariff.currency for a in counting)
    told = sum(a.price for a in counting)
    more = set(work) - set(job.repaired)  # what is done is done at its price
    others = tuple(a for a in job.approvals if a in approved.values())[-1:]
    return Cover(
        repairs=work,
        missing=tuple(r for r in work if r not in approved),
        approvals=counting or others,
        now=now,
        dearer=bool(comparable and more) and now > told + _ROUNDING,
    )


def price_with_tax(system: System, job: Job, repairs: Iterable[str]) -> float:
    """Return what the customer pays for the repairs as the vehicle stands now."""
    chosen = [system.repair(r) for r in repairs]
    return (1.0 + system.tariff.tax) * price_of(system, chosen, job.access).total


def with_price(system: System, job: Job, approval: Approval) -> tuple[float, str]:
    """Return price and currency that an answer is for: of the offer that it answers, or of now.

    The offer is the last for the same repairs with the same price as told. If none was told, it is
    the last that waits for its answer.
    """
    alike = [a for a in job.approvals if set(a.repairs) == set(approval.repairs)]
    if approval.offered:
        alike = [a for a in alike if a.offered == approval.offered]
    elif approval.answer == "asked" or (
        alike and (alike[-1].offered or alike[-1].answer != "asked")
    ):
        alike = []
    if alike and alike[-1].currency:
        return alike[-1].price, alike[-1].currency
    return price_with_tax(system, job, approval.repairs), system.tariff.currency
