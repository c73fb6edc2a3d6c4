"""What can be repaired, at what price and risk, what proves it, and the papers about it."""

from __future__ import annotations

from typing import Annotated, Literal

from fastapi import APIRouter, Path, Response
from pydantic import Field

from sagtrace.app.kept import Kept
from sagtrace.errors import UnknownIdError
from sagtrace.repair.options import Option
from sagtrace.repair.proofs import DueProof
from sagtrace.report.after_repair import proof_cautions
from sagtrace.report.assessment import Assessment
from sagtrace.report.parts import option_name, repair_cautions
from sagtrace.vehicle.checks import Check
from sagtrace.web.api.answers import Answer
from sagtrace.web.api.known import CautionAnswer, CheckAnswer, check_fields
from sagtrace.web.api.verdict import EstimateAnswer
from sagtrace.web.asking import Look, Looked, Reading

__all__ = ["router"]

router = APIRouter(prefix="/jobs/{job}", tags=["repair"])

PAPERS = ("customer.pdf", "technical.pdf")


class PriceAnswer(Answer):
    """What a set of repairs costs, without tax."""

    labour_minutes: float = Field(description="With getting there and putting back [min]")
    labour: float = Field(description="In `currency`")
    parts: float = Field(description="In `currency`")
    total: float = Field(description="In `currency`")
    std: float = Field(description="One standard deviation of the total, in `currency`")
    currency: str


class ReasonAnswer(Answer):
    """One way in which the vehicle may come back."""

    fault: str
    chance: float = Field(description="[-]")
    text: str


class OptionAnswer(Answer):
    """A set of repairs; an empty one does nothing."""

    cautions: list[CautionAnswer] = Field(description="The gravest first; shown before the work")
    name: str
    repairs: list[str]
    fixes: list[str]
    recommended: bool
    price: PriceAnswer
    cure: float = Field(description="Probability that no part left unrepaired is at fault [-]")
    come_back: float = Field(description="Probability of a come-back within the period [-]")
    period_months: int = Field(description="That come-backs are counted for [months]")
    expected_total: float = Field(description="Price and expected come-backs, in the currency")
    reasons: list[ReasonAnswer] = Field(description="Of coming back, most likely first")


class OptionsAnswer(Answer):
    """The options, the lowest expected total cost first."""

    job: str
    revision: int
    tax: float = Field(description="Share added for the customer [-]")
    options: list[OptionAnswer]


class JudgedAnswer(Answer):
    """How a proof test came out."""

    result: Literal["passed", "undecided", "failed"]
    text: str


class DueAnswer(Answer):
    """A proof test that the repair needs."""

    test: CheckAnswer = Field(description="What to do, its cautions first")
    proof: str
    text: str
    faults: list[str] = Field(description="Repaired faults that it proves")
    limit: str = Field(description="What must come out, in words with the unit")
    shortest_hold: float | None = Field(description="That resolves the limit, for a hold [s]")
    fall: float | None = Field(description="At the wheel arch in 12 h at the limit [m]")
    judged: JudgedAnswer | None = Field(description="None: not done yet")
    estimate: EstimateAnswer | None = Field(description="What was measured")


class DuesAnswer(Answer):
    """The proofs of what was repaired, or of the recommended option."""

    job: str
    revision: int
    stage: str = Field(description="check, repair, prove or proved")
    repaired: list[str]
    proofs: list[DueAnswer]


@router.get("/options")
def read_options(look: Looked, job: str) -> OptionsAnswer:
    """Return what can be repaired, with price, cure and risk."""
    kept, a = _assessed(look, job)
    return OptionsAnswer(
        job=kept.job.id, revision=kept.revision, tax=a.system.tariff.tax,
        options=[_option(a, option) for option in a.options],
    )  # fmt: skip


@router.get("/proofs")
def read_proofs(look: Looked, job: str) -> DuesAnswer:
    """Return the tests that must pass before the repair counts as proved."""
    kept, a = _assessed(look, job)
    return DuesAnswer(
        job=kept.job.id, revision=kept.revision, stage=a.stage, repaired=list(kept.job.repaired),
        proofs=[_due(a, due) for due in a.proofs],
    )  # fmt: skip


@router.get(
    "/papers/{paper}",
    response_class=Response,
    responses={200: {"content": {"application/pdf": {}}, "description": "The paper"}},
)
def read_paper(
    look: Looked,
    reader: Reading,
    job: str,
    paper: Annotated[str, Path(json_schema_extra={"enum": list(PAPERS)})],
) -> Response:
    """Return the customer page or the technical record as PDF."""
    if paper not in PAPERS:
        raise UnknownIdError("paper", paper, PAPERS)
    kept = look.open(job, derived=True, also=repr(look.desk.workshop.heading()))
    data = look.desk.papers(kept, reader)[paper]
    headers = {**look.response.headers, "content-disposition": f'inline; filename="{paper}"'}
    return Response(data, media_type="application/pdf", headers=headers)


def _assessed(look: Look, job: str) -> tuple[Kept, Assessment]:
    kept = look.open(job, derived=True)
    return kept, look.desk.assessed(kept)


def _option(a: Assessment, option: Option) -> OptionAnswer:
    return OptionAnswer(
        cautions=[CautionAnswer.model_validate(c) for c in repair_cautions(a, option.repairs)],
        name=option_name(a.system, option), repairs=list(option.repairs),
        fixes=list(option.fixes), recommended=option.recommended,
        price=PriceAnswer.model_validate(option.price), cure=option.cure,
        come_back=option.come_back, period_months=a.system.tariff.period_months,
        expected_total=option.expected_total,
        reasons=[ReasonAnswer.model_validate(reason) for reason in option.reasons],
    )  # fmt: skip


def _due(a: Assessment, due: DueProof) -> DueAnswer:
    system, check = a.system, a.system.checks[due.proof.check]
    return DueAnswer(
        test=CheckAnswer.model_validate(check_fields(system, check, _way(a, check))),
        proof=due.proof.id, text=due.proof.text, faults=list(due.faults), limit=due.limit,
        shortest_hold=due.hold, fall=due.fall,
        judged=JudgedAnswer.model_validate(due.judged) if due.judged else None,
        estimate=EstimateAnswer.of(due.finding.estimate if due.finding else None),
    )  # fmt: skip


def _way(a: Assessment, check: Check) -> list[str]:
    return [caution.id for caution in proof_cautions(a.system, a.job, check)]
