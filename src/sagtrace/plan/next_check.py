"""Which check next, or whether to stop: the one that lowers the expected total cost most.

Every check competes with stopping (repair now, prove it, live with what was missed). A check
is worth doing if the choice that it makes possible saves more than it costs; access that is
already reached makes it cheaper, and putting things back counts.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sagtrace.diagnosis.network import outcome_ids
from sagtrace.diagnosis.outlook import Outlook
from sagtrace.plan.losses import Course, Losses, expected_cost, losses_of
from sagtrace.plan.sequence import best_sequence
from sagtrace.repair.costs import check_cost, way_to_check
from sagtrace.vehicle.system import System

__all__ = ["Answer", "choose", "Offer", "Plan"]

Array = NDArray[np.float64]

_LIKELY = 0.5  # more likely present than not
_WORTH = 1.0  # [min] chosen: a saving below a minute of labour is within the error of the minutes
_BITS = 6  # digits of what a check tells that are no rounding
_NOTHING = 0.02  # [bit] chosen: who could be told no more than this by any check may stop
_TELLING = 0.5  # chosen: share of what the most telling check tells; less is no step forward
_LATE = 0.25  # chosen: what finding a fault only in the proof costs, as a share of a come-back
_TOGETHER = 6  # chosen: suspects whose order of looking is worked out exactly


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """One thing that a check may show, and what it would do."""

    outcome: str
    probability: float
    fault: str  # the fault that it moves most
    before: float
    after: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Offer:
    """A check that could be done next."""

    check: str
    minutes: float  # with access and putting back
    wait_minutes: float
    cost: float
    undo: tuple[str, ...]  # access states to be undone first
    reach: tuple[str, ...]  # access states still to be reached, in order
    saving: float  # expected, after its own cost; negative: not worth it
    answers: tuple[Answer, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """What to do next."""

    action: str  # "check": do the first offer; "repair": stop looking and repair
    offers: tuple[Offer, ...]  # best first
    faults: tuple[str, ...]  # what is sure enough to be repaired without another look
    undecided: bool = False  # nothing is sure enough, and no check left could tell more
    pursuing: bool = False  # no check pays; it goes on only because nothing is sure enough
    expected_cost: float  # of finishing the job from here
    currency: str


def choose(system: System, outlook: Outlook, held: Iterable[str]) -> Plan:
    """Return the plan from these predictions, with the access states that hold now."""
    held = tuple(held)
    losses = losses_of(system, outlook, held)
    course = expected_cost(losses, outlook.now[None])
    now = float(course.cost[0])
    offers = sorted(
        (_offer(system, outlook, losses, check, now, held) for check in outlook.chance),
        key=lambda offer: (-offer.saving, offer.cost, offer.check),
    )
    sure = _sure(course, outlook)
    first_look = _first_look(system, course, losses, outlook, held)
    worth = _WORTH * system.tariff.labour_per_hour / 60.0
    pays = bool(offers) and offers[0].saving > worth
    if not pays and first_look:
        # No check beats the plain way of working, so its own next step is the next step.
        offers.sort(key=lambda offer: offer.check != first_look)
    elif not pays and not sure:
        offers = _most_telling(outlook, offers)
    told = max((outlook.told(check) for check in outlook.chance), default=0.0)
    open_ = not sure and told > _NOTHING
    looking = bool(offers) and (pays or bool(first_look) or open_)
    return Plan(
        action="check" if looking else "repair",
        offers=tuple(offers),
        faults=sure,
        undecided=not looking and not sure,
        pursuing=looking and not pays and not first_look,
        expected_cost=now,
        currency=system.tariff.currency,
    )


def _most_telling(outlook: Outlook, offers: list[Offer]) -> list[Offer]:
    """Return the offers in the order in which a complaint that nothing explains is pursued.

    The saving ranks no longer: none saves anything, and what tells nothing costs least. So those
    that tell most come first, among them the one that tells most for its price.
    """
    told = {check: round(outlook.told(check), _BITS) for check in outlook.chance}
    enough = _TELLING * max(told.values(), default=0.0)

    def rank(offer: Offer) -> tuple[bool, float, float]:
        bits = told[offer.check]
        return bits < enough, -bits / max(offer.cost, _WORTH), offer.cost

    return sorted(offers, key=rank)


def _first_look(
    system: System, course: Course, losses: Losses, outlook: Outlook, held: tuple[str, ...]
) -> str:
    """Return the check with which the plain way goes on; empty if it only repairs.

    What is sure enough waits: the customer is to hear one price for everything. Among the
    suspects to be looked at, shared access decides who comes first.
    """
    looks = _worth_a_look_now(system, course, losses, outlook)[:_TOGETHER]
    if not looks:
        return ""
    checks = [system.checks[losses.look_by[f]] for f in looks]

    def cost_after(i: int, seen: frozenset[int]) -> float:
        if any(checks[j].id == checks[i].id for j in seen):
            return 0.0  # one look may stand for several suspects
        have = held
        for j in sorted(seen):
            have = way_to_check(system, checks[j], have).held_after(have)
        return check_cost(system, checks[i], have)

    first = best_sequence([float(outlook.now[f]) for f in looks], cost_after).order[0]
    return checks[first].id


def _worth_a_look_now(
    system: System, course: Course, losses: Losses, outlook: Outlook
) -> list[int]:
    """Return the suspects to look at before anything is repaired, in the order of the course.

    With nothing sure, all of them. Otherwise the proof of the sure repairs will tell whether
    anything is left, and a look can wait for that, unless finding the suspect late (a second
    estimate, a second time in the bay) is dearer than looking now in vain.
    """
    sure = _sure(course, outlook)
    done = [int(f) for f in course.order[0, : course.steps[0]]]
    looks = [f for f in done if outlook.faults[f] not in sure and losses.look_by[f]]
    if not sure:
        return looks
    left = min(1.0, float(sum(outlook.now[f] for f in looks)))
    late = _LATE * system.tariff.come_back
    return [
        f
        for f in looks
        if system.faults[outlook.faults[f]].kind == "part"
        and outlook.now[f] * late > (1.0 - left) * losses.look[f]
    ]


def _sure(course: Course, outlook: Outlook) -> tuple[str, ...]:
    """Return the faults to repair without another look.

    The course also repairs outright what is cheap or comes last, once a proof has shown that
    something is left; before that only what is more likely present than not.
    """
    done = course.order[0, : course.steps[0]]
    return tuple(
        outlook.faults[f]
        for f, outright in zip(done, course.outright[0], strict=False)
        if outright and outlook.now[f] > _LIKELY
    )


def _offer(
    system: System,
    outlook: Outlook,
    losses: Losses,
    check_id: str,
    now: float,
    held: tuple[str, ...],
) -> Offer:
    check = system.checks[check_id]
    chance, after = outlook.chance[check_id], outlook.after[check_id]
    way = way_to_check(system, check, held)
    cost = check_cost(system, check, held)
    return Offer(
        check=check_id,
        minutes=check.minutes + way.minutes,
        wait_minutes=check.wait_minutes,
        cost=cost,
        undo=way.undo,
        reach=way.reach,
        saving=now - cost - float(chance @ expected_cost(losses, after).cost),
        answers=tuple(
            _answer(outlook, outcome, float(p), after[o])
            for o, (outcome, p) in enumerate(zip(outcome_ids(system, check), chance, strict=True))
        ),
    )


def _answer(outlook: Outlook, outcome: str, p: float, after: Array) -> Answer:
    most = int(np.argmax(np.abs(after - outlook.now)))
    return Answer(
        outcome=outcome,
        probability=p,
        fault=outlook.faults[most],
        before=float(outlook.now[most]),
        after=float(after[most]),
    )
