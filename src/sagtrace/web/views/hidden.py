"""What was hidden in the vehicle of a practice job, and how well it was found and repaired."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sagtrace.app.practice import LONGEST, Hidden
from sagtrace.plan.effort import Effort, effort_of
from sagtrace.report.assessment import Assessment
from sagtrace.report.parts import SHOWN, leading_beliefs
from sagtrace.report.words import duration, listed, money, percent, sentence
from sagtrace.vehicle.job import Job
from sagtrace.vehicle.system import System
from sagtrace.web.words import _, ngettext

__all__ = ["EffortView", "FaultView", "HiddenView", "RepairedView", "view_hidden"]


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultView:
    """A fault that was hidden."""

    name: str
    state: str
    found: bool
    verdict: str  # how probable the verdict holds it; empty: there is no verdict
    repaired: str  # the repairs that took it out; empty: it is still there


@dataclass(frozen=True, slots=True, kw_only=True)
class RepairedView:
    """A repair that was done."""

    name: str
    fixed: str  # empty: nothing of what it removes was there


@dataclass(frozen=True, slots=True, kw_only=True)
class EffortView:
    """What checks took, in words."""

    count: str
    work: str
    waiting: str
    cost: str
    checks: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class HiddenView:
    """Everything that the page shows once it may show it."""

    faults: tuple[FaultView, ...]
    blamed: tuple[tuple[str, str], ...]  # more likely present than not, and not there
    repaired: tuple[RepairedView, ...]
    spent: EffortView
    planned: EffortView | None  # None: not asked for
    planned_end: str
    tariff: str


def view_hidden(
    system: System,
    job: Job,
    a: Assessment | None,
    hidden: Sequence[Hidden],
    planned: tuple[Job, bool] | None,
) -> HiddenView:
    """Return what the page shows; without an assessment there is no verdict to compare with."""
    chance = {b.fault: b.probability for b in a.verdict.beliefs} if a else {}
    there = {h.fault for h in hidden}
    leading = leading_beliefs(a) if a else ()
    return HiddenView(
        faults=tuple(_fault(system, job, h, chance) for h in hidden),
        blamed=tuple(
            (_name(system, b.fault), percent(b.probability))
            for b in leading
            if b.fault not in there
        ),
        repaired=tuple(
            RepairedView(
                name=sentence(system.repairs[r].name).rstrip("."),
                fixed=listed([_name(system, f) for f in system.repairs[r].fixes if f in there]),
            )
            for r in job.repaired
        ),
        spent=_effort(system, effort_of(system, job.entries)),
        planned=_effort(system, effort_of(system, planned[0].entries)) if planned else None,
        planned_end=_end(planned),
        tariff=system.tariff.name,
    )


def _fault(system: System, job: Job, hidden: Hidden, chance: Mapping[str, float]) -> FaultView:
    states = system.faults[hidden.fault].states
    fixing = [system.repairs[r] for r in job.repaired]
    p = chance.get(hidden.fault)
    return FaultView(
        name=_name(system, hidden.fault),
        state=sentence(next(s.text for s in states if s.id == hidden.state)),
        found=p is not None and p > SHOWN,
        verdict=percent(p) if p is not None else "",
        repaired=listed([r.name for r in fixing if hidden.fault in r.fixes]),
    )


def _name(system: System, fault: str) -> str:
    return sentence(system.faults[fault].name).rstrip(".")


def _effort(system: System, effort: Effort) -> EffortView:
    return EffortView(
        count=str(len(effort.checks)),
        work=f"{effort.minutes:.0f} min",
        waiting=duration(60.0 * effort.wait_minutes) if effort.wait_minutes else _("none"),
        cost=money(effort.cost, system.tariff.currency),
        checks=tuple(sentence(system.checks[c].name).rstrip(".") for c in effort.checks),
    )


def _end(planned: tuple[Job, bool] | None) -> str:
    if planned is None:
        return ""
    if planned[1]:
        return _("After these checks the plan says: stop looking and repair.")
    return ngettext(
        "After %(num)s check the plan would still look on; it was followed no further.",
        "After %(num)s checks the plan would still look on; it was followed no further.",
        LONGEST,
    )
