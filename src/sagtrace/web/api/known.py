"""What is known of the layouts: checks, faults, repairs and proofs, each with its source."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Literal

from fastapi import APIRouter
from pydantic import Field

from sagtrace.errors import UnknownIdError
from sagtrace.report.parts import by_gravity
from sagtrace.vehicle.checks import Access, Check
from sagtrace.vehicle.layouts import Layout
from sagtrace.vehicle.nodes import Fault
from sagtrace.vehicle.repairs import Proof, Repair
from sagtrace.vehicle.system import System
from sagtrace.web.api.answers import Answer
from sagtrace.web.api.paging import After, Limit, cut
from sagtrace.web.asking import Look, Looked

__all__ = [
    "access_answer",
    "AccessAnswer",
    "CautionAnswer",
    "cautions_of",
    "check_fields",
    "CheckAnswer",
    "router",
]

router = APIRouter(prefix="/layouts", tags=["layouts"])


class CautionAnswer(Answer):
    """What can hurt somebody or break something. Shown before the steps."""

    level: Literal["danger", "warning", "notice"]
    text: str
    id: str


class CornerAnswer(Answer):
    """One air spring's place on the vehicle."""

    id: str
    name: str
    axle: str


class FactAnswer(Answer):
    """A number about the vehicle that is assumed until its manual is read."""

    id: str
    name: str
    kind: str = Field(description="The quantity, such as pressure")
    unit: str = Field(description="Of value and std; taken for a bare number")
    value: float = Field(description="Assumed, in `unit`")
    std: float = Field(description="One standard deviation, in `unit`")
    source: str


class AccessAnswer(Answer):
    """A state of the vehicle in the bay that some checks and repairs need."""

    cautions: list[CautionAnswer]
    id: str
    name: str
    minutes_on: float = Field(description="To reach it [min]")
    minutes_off: float = Field(description="To put it back [min]")
    back: str = Field(description="What a person does to end it")
    after: list[str] = Field(description="Access states that must hold first")


class OutcomeAnswer(Answer):
    """One answer on a check's list."""

    id: str
    text: str


class InputAnswer(Answer):
    """A number that a check asks for."""

    name: str
    ask: str = Field(description="What to measure, for the person")
    kind: str = Field(description="The quantity, such as pressure")
    unit: str = Field(description="Taken for a bare number; of the limits and the error")
    required: bool
    at_least: float | None = Field(description="Below it is a slip, in `unit`")
    at_most: float | None = Field(description="Above it is a slip, in `unit`")
    error: float = Field(description="Standard deviation of the usual way of measuring, in `unit`")


class CheckAnswer(Answer):
    """Something a person can do to find out; either `outcomes` or `inputs` is not empty."""

    cautions: list[CautionAnswer] = Field(description="The gravest first; shown before the steps")
    id: str
    name: str
    kind: str = Field(description="ask, look, listen, measure, try or read")
    why: str
    minutes: float = Field(description="Of the work alone, without getting there [min]")
    wait_minutes: float = Field(description="Nobody has to stand there [min]")
    needs: list[str] = Field(description="Access states that it needs")
    without: list[str] = Field(description="Access states that must be undone first")
    tools: list[str]
    steps: list[str]
    expect: str = Field(description="What a healthy vehicle shows")
    outcomes: list[OutcomeAnswer]
    inputs: list[InputAnswer]
    yields_to: list[str] = Field(description="Checks after which it says nothing new")
    source: str


class QuantityAnswer(Answer):
    """The number that shows the state of a fault."""

    name: str
    unit: str


class FaultAnswer(Answer):
    """One way in which a part fails, or a reason that needs no part."""

    id: str
    name: str
    kind: Literal["part", "no-part", "other"]
    component: str
    plain: str = Field(description="For the customer")
    states: list[OutcomeAnswer] = Field(description="The healthy one first")
    quantity: QuantityAnswer | None
    prior: float = Field(description="Probability before any evidence [-]")
    returns: float = Field(description="Chance of a come-back if it is left alone [-]")
    source: str


class PartAnswer(Answer):
    """A part that a repair uses."""

    id: str
    name: str
    quantity: int
    price: float = Field(description="Of one, without tax, in `currency`")
    spread: float = Field(description="Factor of one standard deviation of the price [-]")
    currency: str


class RepairAnswer(Answer):
    """A piece of work that removes faults."""

    cautions: list[CautionAnswer] = Field(description="The gravest first; shown before the work")
    id: str
    name: str
    plain: str = Field(description="For the customer")
    fixes: list[str]
    parts: list[PartAnswer]
    minutes: float = Field(description="Of the work alone [min]")
    needs: list[str] = Field(description="Access states that it needs")
    holds: float = Field(description="Chance that it still holds after the tariff's period [-]")
    source: str


class ProofAnswer(Answer):
    """The test that must pass before a repair of `faults` counts as proved."""

    id: str
    faults: list[str]
    check: str
    outcome: str = Field(description="The outcome that is wanted; empty: a number is")
    also: list[str] = Field(description="Other outcomes that pass too")
    whole: bool = Field(description="Of the whole vehicle: it must pass after every repair")
    at_most: float | None = Field(description="In the unit of the check's quantity")
    at_least: float | None = Field(description="In the unit of the check's quantity")
    unit: str = Field(description="Of the limits")
    text: str
    source: str


class LayoutLine(Answer):
    """A layout in the list."""

    id: str
    name: str
    description: str
    corners: list[CornerAnswer]
    features: list[str]


class LayoutAnswer(LayoutLine):
    """One kind of system, and what is assumed of it."""

    facts: list[FactAnswer]
    access: list[AccessAnswer]
    edition: str = Field(description="Of the knowledge")
    currency: str
    labour_per_hour: float = Field(description="In `currency`, without tax")
    tax: float = Field(description="Share added for the customer [-]")
    period_months: int = Field(description="Within which a vehicle counts as come back [months]")
    source: str


class ChecksAnswer(Answer):
    """A page of the checks of a layout."""

    checks: list[CheckAnswer]
    next: str = Field(description="Pass it as `after` for the next page; empty on the last")


@router.get("")
def list_layouts(look: Looked) -> list[LayoutLine]:
    """List the layouts that are known."""
    knowledge = look.desk.workshop.knowledge
    look.tag(f'"{knowledge.digest[:16]}"')
    return [LayoutLine.model_validate(layout) for layout in knowledge.layouts]


@router.get("/{layout}")
def read_layout(look: Looked, layout: str) -> LayoutAnswer:
    """Return a layout with its corners, assumed facts and access states."""
    system = _system(look, layout)
    kind = system.layout
    return LayoutAnswer(
        id=kind.id, name=kind.name, description=kind.description,
        corners=[CornerAnswer.model_validate(corner) for corner in kind.corners],
        features=list(kind.features),
        facts=_facts(system, kind),
        access=[access_answer(system, state) for state in system.access.values()],
        edition=system.edition, currency=system.tariff.currency,
        labour_per_hour=system.tariff.labour_per_hour, tax=system.tariff.tax,
        period_months=system.tariff.period_months,
        source=system.sources[kind.basis].text,
    )  # fmt: skip


@router.get("/{layout}/checks")
def list_checks(look: Looked, layout: str, limit: Limit = 50, after: After = "") -> ChecksAnswer:
    """List the checks of a layout."""
    system = _system(look, layout)
    page, following = cut(list(system.checks.values()), lambda c: c.id, limit, after)
    found = [CheckAnswer.model_validate(check_fields(system, check)) for check in page]
    return ChecksAnswer(checks=found, next=following)


@router.get("/{layout}/checks/{check}")
def read_check(look: Looked, layout: str, check: str) -> CheckAnswer:
    """Return a check of a layout."""
    system = _system(look, layout)
    return CheckAnswer.model_validate(check_fields(system, system.check(check)))


@router.get("/{layout}/faults")
def list_faults(look: Looked, layout: str) -> list[FaultAnswer]:
    """List the faults of a layout, with how probable each is before any evidence."""
    system = _system(look, layout)
    priors = look.desk.workshop.reasoner(layout).priors
    return [_fault(system, f, 1.0 - float(priors[f.id][0])) for f in system.faults.values()]


@router.get("/{layout}/repairs")
def list_repairs(look: Looked, layout: str) -> list[RepairAnswer]:
    """List the repairs of a layout."""
    system = _system(look, layout)
    return [_repair(system, repair) for repair in system.repairs.values()]


@router.get("/{layout}/proofs")
def list_proofs(look: Looked, layout: str) -> list[ProofAnswer]:
    """List the proof tests of a layout."""
    system = _system(look, layout)
    return [_proof(system, proof) for proof in system.proofs.values()]


@router.get("/{layout}/cautions")
def list_cautions(look: Looked, layout: str) -> list[CautionAnswer]:
    """List every caution, the gravest first."""
    system = _system(look, layout)
    return cautions_of(system, system.cautions)


def _system(look: Look, layout: str) -> System:
    knowledge = look.desk.workshop.knowledge
    known = [one.id for one in knowledge.layouts]
    if layout not in known:
        raise UnknownIdError("layout", layout, known)
    look.tag(f'"{knowledge.digest[:16]}"')
    return look.desk.workshop.system(layout)


def _facts(system: System, layout: Layout) -> list[FactAnswer]:
    return [
        FactAnswer(
            id=fact.id, name=fact.name, kind=fact.kind, unit=fact.unit, value=fact.value,
            std=fact.std, source=system.sources[fact.basis].text,
        )
        for fact in layout.facts
    ]  # fmt: skip


def cautions_of(system: System, names: Iterable[str]) -> list[CautionAnswer]:
    """Return cautions, each once, the gravest first."""
    found = by_gravity(system, dict.fromkeys(names))
    return [CautionAnswer.model_validate(caution) for caution in found]


def access_answer(system: System, state: Access) -> AccessAnswer:
    """Return an access state with the cautions of reaching it."""
    return AccessAnswer(
        cautions=cautions_of(system, state.cautions), id=state.id, name=state.name,
        minutes_on=state.minutes_on, minutes_off=state.minutes_off, back=state.back,
        after=list(state.after),
    )  # fmt: skip


def check_fields(system: System, check: Check, also: Iterable[str] = ()) -> dict[str, object]:
    """Return the fields of a check; `also` are cautions of getting there."""
    inputs = check.measure.inputs if check.measure else ()
    return {
        "cautions": cautions_of(system, [*also, *check.cautions]),
        **{name: getattr(check, name) for name in ("id", "name", "kind", "why", "minutes")},
        **{name: getattr(check, name) for name in ("wait_minutes", "needs", "without", "tools")},
        **{name: getattr(check, name) for name in ("steps", "expect", "yields_to")},
        "outcomes": [OutcomeAnswer.model_validate(o) for o in check.outcomes],
        "inputs": [InputAnswer.model_validate(slot) for slot in inputs],
        "source": system.sources[check.basis].text,
    }


def _fault(system: System, fault: Fault, prior: float) -> FaultAnswer:
    return FaultAnswer(
        id=fault.id, name=fault.name, kind=fault.kind,
        component=system.components[fault.component].name, plain=fault.plain,
        states=[OutcomeAnswer.model_validate(state) for state in fault.states],
        quantity=QuantityAnswer.model_validate(fault.quantity) if fault.quantity else None,
        prior=prior, returns=fault.returns, source=system.sources[fault.basis].text,
    )  # fmt: skip


def _repair(system: System, repair: Repair) -> RepairAnswer:
    prices = {part.id: part for part in system.tariff.parts}
    ways = [system.access[need] for need in repair.needs]
    return RepairAnswer(
        cautions=cautions_of(system, [*(c for w in ways for c in w.cautions), *repair.cautions]),
        id=repair.id, name=repair.name, plain=repair.plain, fixes=list(repair.fixes),
        parts=[
            PartAnswer(
                id=use.part, name=prices[use.part].name, quantity=use.quantity,
                price=prices[use.part].price, spread=prices[use.part].spread,
                currency=system.tariff.currency,
            )
            for use in repair.parts
        ],
        minutes=repair.minutes, needs=list(repair.needs), holds=repair.holds,
        source=system.sources[repair.basis].text,
    )  # fmt: skip


def _proof(system: System, proof: Proof) -> ProofAnswer:
    measure = system.checks[proof.check].measure
    quantity = system.nodes[measure.node].quantity if measure else None
    return ProofAnswer(
        id=proof.id, faults=list(proof.faults), check=proof.check, outcome=proof.outcome,
        also=list(proof.also), whole=proof.whole,
        at_most=proof.at_most, at_least=proof.at_least, unit=quantity.unit if quantity else "",
        text=proof.text, source=system.sources[proof.basis].text,
    )  # fmt: skip
