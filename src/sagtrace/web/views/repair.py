"""What the page of the repair shows: the choices, what the customer said, the work."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from sagtrace.repair.approved import covered
from sagtrace.repair.costs import way_to
from sagtrace.repair.options import Option
from sagtrace.report.after_repair import checks_after_failure, unproved
from sagtrace.report.approved import ask_again, price_told
from sagtrace.report.assessment import Assessment
from sagtrace.report.customer import shown_options, with_tax
from sagtrace.report.parts import leading_beliefs, no_part, option_name, repair_cautions
from sagtrace.report.words import duration, listed, money, percent, sentence
from sagtrace.vehicle.job import Approval, Job
from sagtrace.vehicle.repairs import Repair
from sagtrace.vehicle.system import System
from sagtrace.web.views.opened import CautionGroup, Moment, grouped, moment
from sagtrace.web.words import _, later

__all__ = [
    "ChoiceView",
    "OfferView",
    "planned",
    "RepairView",
    "said_of",
    "TariffView",
    "view_repair",
    "Work",
    "WorkView",
]

_INVENTED = "price-invented"  # the basis of the tariff that is shipped
_TOLD = 0.02  # chosen: work that fails less often than this is not pointed out
_ANSWERS = {
    "asked": later("asked, no answer yet"),
    "approved": later("approved"),
    "declined": later("declined"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Work:
    """One piece of work."""

    id: str
    name: str
    plain: str
    needs: str  # minutes and parts
    done: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class ChoiceView:
    """One option with what it costs and what it is worth."""

    number: int
    name: str
    kind: str  # recommended, half, nothing, other
    state: str  # what the customer said to it last; "more": what was approved is less than it
    told: str  # why what was approved is less than it
    repairs: tuple[str, ...]
    works: tuple[Work, ...]
    price: str  # with tax
    price_parts: str  # without tax
    minutes: str
    cure: str
    come_back: str
    why: tuple[tuple[str, str], ...]  # of coming back, with the chance of each
    expected: str


@dataclass(frozen=True, slots=True, kw_only=True)
class OfferView:
    """What the customer was offered once, and said."""

    names: str
    repairs: tuple[str, ...]
    offered: str  # the price as it was told, for the answer
    price: str  # the same to be read
    answer: str
    said: str  # the answer in words, with how and who
    when: Moment
    by: str


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkView:
    """The work to be done, or done."""

    planned: tuple[Work, ...]
    others: tuple[Work, ...]
    cautions: tuple[CautionGroup, ...]
    way: tuple[str, ...]  # access to reach first, in order
    done: tuple[str, ...]
    done_when: Moment
    done_by: str


@dataclass(frozen=True, slots=True, kw_only=True)
class TariffView:
    """Where the prices come from."""

    name: str
    invented: bool
    tax: str
    months: int


@dataclass(frozen=True, slots=True, kw_only=True)
class RepairView:
    """Everything that the page shows of a job that can be judged, apart from its proofs."""

    again: bool  # a proof failed or stays open, so more may have to be repaired
    nothing: bool  # no part is to be repaired
    nothing_why: str
    explained: str  # what is done in its place, if anything
    early: bool  # further checks pay more than a repair now
    choices: tuple[ChoiceView, ...]
    more: tuple[ChoiceView, ...]
    tariff: TariffView
    work: WorkView


def view_repair(a: Assessment) -> RepairView:
    """Return what the page shows."""
    best, tariff = a.options[0], a.system.tariff
    shown = shown_options(a)
    rest = [option for option in a.options if option not in shown]
    # With these numbers the customer's page names the choices too.
    choices = [_choice(a, option, n) for n, option in enumerate((*shown, *rest), start=1)]
    found = [a.system.faults[b.fault].name for b in leading_beliefs(a)]
    return RepairView(
        again=bool(unproved(a)),
        nothing=no_part(a),
        nothing_why=sentence(listed(found) or _("no fault is more likely present than not")),
        explained=sentence(option_name(a.system, best)) if best.repairs else "",
        early=a.stage == "check" or bool(checks_after_failure(a)),
        choices=tuple(choices[: len(shown)]),
        more=tuple(choices[len(shown) :]),
        tariff=TariffView(
            name=tariff.name, invented=tariff.basis == _INVENTED, tax=f"{100 * tariff.tax:.0f} %",
            months=tariff.period_months,
        ),
        work=_work(a),
    )  # fmt: skip


def said_of(system: System, approval: Approval) -> OfferView:
    """Return an approval in words."""
    names = [system.repairs[r].name if r in system.repairs else r for r in approval.repairs]
    who = approval.who and _("said by %(who)s", who=approval.who)
    said = [_(_ANSWERS[approval.answer]), approval.how, who]
    return OfferView(
        names=sentence("; ".join(names)).rstrip("."), repairs=approval.repairs,
        offered=approval.offered, price=price_told(approval), answer=approval.answer,
        said=sentence(", ".join(part for part in said if part)), when=moment(approval.at),
        by=approval.by,
    )  # fmt: skip


def _choice(a: Assessment, option: Option, number: int) -> ChoiceView:
    system, price = a.system, option.price
    split = _(
        "parts %(parts)s, labour %(labour)s",
        parts=money(price.parts, price.currency), labour=money(price.labour, price.currency),
    )  # fmt: skip
    done = set(option.repairs) <= set(a.job.repaired)
    state, told = ("", "") if done else _state(a, option)
    return ChoiceView(
        number=number,
        name=sentence(option_name(system, option)).rstrip("."),
        kind=_kind(a, option),
        state=state,
        told=told,
        repairs=option.repairs,
        works=tuple(_one(a, system.repairs[r]) for r in option.repairs),
        price=with_tax(a, option),
        price_parts=split if option.repairs else "",
        minutes=duration(60.0 * price.labour_minutes) if option.repairs else _("none"),
        cure=percent(option.cure),
        come_back=percent(option.come_back),
        why=_why(system, option),
        expected=money(option.expected_total, price.currency),
    )


def _state(a: Assessment, option: Option) -> tuple[str, str]:
    """Return what the customer said to an option, and why an approval is less than it."""
    said = [x for x in a.job.approvals if set(x.repairs) == set(option.repairs)]
    if said and a.job.approvals[-1] is said[-1] and said[-1].answer != "approved":
        return said[-1].answer, ""
    cover = covered(a.system, a.job, option.repairs)
    approved = bool(option.repairs) and not cover.missing and bool(cover.approvals)
    if (approved or option is a.options[0]) and (told := ask_again(a.system, cover)):
        return "more", told
    return ("approved", "") if approved and said else ("", "")


def _kind(a: Assessment, option: Option) -> str:
    best = a.options[0]
    if option is best:
        return "recommended"
    if not option.repairs:
        return "nothing"
    return "half" if set(option.repairs) < set(best.repairs) else "other"


def _why(system: System, option: Option) -> tuple[tuple[str, str], ...]:
    """Return how the vehicle may come back: what remains, and work that does not last."""
    ways = [(reason.chance, reason.text) for reason in option.reasons]
    ways += [
        (
            1.0 - system.repairs[r].holds,
            _("the work may not last: %(what)s", what=system.repairs[r].name),
        )
        for r in option.repairs
        if 1.0 - system.repairs[r].holds > _TOLD
    ]
    ordered = sorted(ways, key=lambda way: -way[0])
    return tuple((sentence(text), percent(chance)) for chance, text in ordered)


def _one(a: Assessment, repair: Repair) -> Work:
    names = {part.id: part.name for part in a.system.tariff.parts}
    used = listed([f"{use.quantity} × {names[use.part]}" for use in repair.parts]) or _("no part")
    done, again = repair.id in a.job.repaired, bool(unproved(a))
    needs = f"{repair.minutes:.0f} min; {used}"
    if done and again:
        needs = _("%(needs)s; done before this proof", needs=needs)
    return Work(
        id=repair.id, name=sentence(repair.name).rstrip("."), plain=sentence(repair.plain),
        needs=needs,
        done=done and not again,
    )  # fmt: skip


def planned(job: Job, options: Sequence[Option]) -> tuple[str, ...]:
    """Return what was offered last and neither declined nor done, or what is recommended."""
    last = job.approvals[-1] if job.approvals else None
    done = last is not None and set(last.repairs) <= set(job.repaired)
    if last is not None and last.answer != "declined" and not done:
        return last.repairs
    return options[0].repairs if options else ()


def _work(a: Assessment) -> WorkView:
    system, job = a.system, a.job
    wanted = planned(job, a.options)
    needs = dict.fromkeys(need for r in wanted for need in system.repairs[r].needs)
    way = way_to(system, needs, (), job.access)
    return WorkView(
        planned=tuple(_one(a, system.repairs[r]) for r in wanted),
        others=tuple(_one(a, r) for r in system.repairs.values() if r.id not in wanted),
        cautions=grouped(repair_cautions(a, wanted)),
        way=tuple(sentence(system.access[name].name) for name in way.reach),
        done=tuple(sentence(system.repairs[r].name) for r in job.repaired),
        done_when=moment(job.repaired_at),
        done_by=job.repaired_by,
    )
