"""What the evidence of a job says: probabilities, sets of faults, and what led to what."""

from __future__ import annotations

from fastapi import APIRouter
from pydantic import Field

from sagtrace.diagnosis.story import Link
from sagtrace.diagnosis.verdict import Belief
from sagtrace.evidence.findings import Finding
from sagtrace.physics.estimate import Estimate
from sagtrace.report.assessment import Judged
from sagtrace.vehicle.system import System
from sagtrace.web.api.answers import Answer
from sagtrace.web.asking import Looked

__all__ = ["EstimateAnswer", "router"]

router = APIRouter(prefix="/jobs/{job}", tags=["verdict"])


class CaveatAnswer(Answer):
    """A reason to trust a number less."""

    code: str
    text: str


class EstimateAnswer(Answer):
    """A number with its spread."""

    value: float = Field(description="In `unit`")
    std: float = Field(description="One standard deviation, in `unit`")
    low: float = Field(description="Lower end of the central interval of 95 %, in `unit`")
    high: float = Field(description="Upper end of the central interval of 95 %, in `unit`")
    unit: str
    caveats: list[CaveatAnswer]

    @classmethod
    def of(cls, estimate: Estimate | None) -> EstimateAnswer | None:
        """Return the answer for an estimate, if there is one."""
        if estimate is None:
            return None
        low, high = estimate.interval()
        return cls(
            value=estimate.value, std=estimate.std, low=low, high=high, unit=estimate.unit,
            caveats=[CaveatAnswer.model_validate(caveat) for caveat in estimate.caveats],
        )  # fmt: skip


class StateAnswer(Answer):
    """A state of a fault or condition."""

    id: str
    text: str
    probability: float = Field(description="[-]")


class BeliefAnswer(Answer):
    """How probable a fault is."""

    fault: str
    name: str
    probability: float = Field(description="That it is present, all evidence weighed together [-]")
    prior: float = Field(description="Before any evidence [-]")
    likely_state: str = Field(description="Of the states in which it is present")
    states: list[StateAnswer] = Field(description="The healthy one first")


class SetAnswer(Answer):
    """These faults are present and no other."""

    faults: list[str]
    probability: float = Field(description="[-]")


class SupportAnswer(Answer):
    """The number behind a link."""

    text: str
    estimate: EstimateAnswer
    limit: float = Field(description="In the estimate's unit")
    chance: float = Field(description="That the limit is passed [-]")


class LinkAnswer(Answer):
    """One fault brought about another."""

    cause: str
    cause_name: str
    via: str = Field(description="The condition between; empty: none")
    effect: str
    effect_name: str
    text: str
    together: float = Field(description="Probability that both are present [-]")
    share: float = Field(description="Probability that it was at work, given both [-]")
    counts: bool = Field(description="Whether the physics, as far as measured, allows it")
    support: SupportAnswer | None


class FindingAnswer(Answer):
    """What one piece of evidence says."""

    id: str = Field(description="Of the entry, or of the part of a recording")
    source: str = Field(description="The check or recording")
    name: str
    text: str
    estimate: EstimateAnswer | None
    fit: float = Field(description="Near 0: no known state explains it [-]")


class MoveAnswer(Answer):
    """How far a finding moved a fault."""

    finding: str
    fault: str
    log_odds: float = Field(description="Natural logarithm; above 0 speaks for the fault [-]")


class ConflictAnswer(Answer):
    """A finding that the rest of the evidence hardly allows: look at it again."""

    finding: str
    text: str
    expected: float = Field(description="How probable the others make it [-]")


class LeftOutAnswer(Answer):
    """An entry that is kept and does not count."""

    entry: str
    check: str
    why: str


class ConditionAnswer(Answer):
    """A physical state of the vehicle."""

    id: str
    name: str
    states: list[StateAnswer]


class VerdictAnswer(Answer):
    """What the evidence says, all of it weighed together."""

    job: str
    revision: int
    beliefs: list[BeliefAnswer] = Field(description="Most probable first")
    sets: list[SetAnswer] = Field(description="Most probable first; the rest of 1 is not listed")
    story: list[LinkAnswer]
    not_excluded: list[str] = Field(description="Faults still too probable to forget")
    conflicts: list[ConflictAnswer]
    findings: list[FindingAnswer]
    moves: list[MoveAnswer]
    left_out: list[LeftOutAnswer]
    conditions: list[ConditionAnswer]
    log_evidence: float = Field(description="Natural logarithm of P(evidence) [-]")
    edition: str = Field(description="Of the knowledge")
    version: str = Field(description="Of the program")


@router.get("/verdict")
def read_verdict(look: Looked, job: str) -> VerdictAnswer:
    """Return how probable each fault is, what led to what, and why.

    Entries that nothing explains together are answered with 409, which names them; the job, its
    evidence and its changes can still be read, and one of the entries be withdrawn.
    """
    kept = look.open(job, derived=True)
    judged = look.desk.judged(kept)
    system, verdict = judged.system, judged.verdict
    return VerdictAnswer(
        job=kept.job.id, revision=kept.revision,
        beliefs=[_belief(system, belief) for belief in verdict.beliefs],
        sets=[SetAnswer.model_validate(one) for one in verdict.sets],
        story=[_link(system, link) for link in judged.story],
        not_excluded=[belief.fault for belief in verdict.not_excluded],
        conflicts=[ConflictAnswer.model_validate(one) for one in verdict.conflicts],
        findings=[_finding(finding) for finding in verdict.findings],
        moves=[MoveAnswer.model_validate(move) for move in verdict.moves],
        left_out=[LeftOutAnswer.model_validate(one) for one in judged.left_out],
        conditions=_conditions(judged),
        log_evidence=verdict.log_evidence, edition=system.edition,
        version=look.desk.workshop.version,
    )  # fmt: skip


def _states(system: System, node: str, chances: dict[str, float]) -> list[StateAnswer]:
    return [
        StateAnswer(id=state.id, text=state.text, probability=chances[state.id])
        for state in system.nodes[node].states
    ]


def _belief(system: System, belief: Belief) -> BeliefAnswer:
    return BeliefAnswer(
        fault=belief.fault, name=system.faults[belief.fault].name,
        probability=belief.probability, prior=belief.prior, likely_state=belief.likely_state,
        states=_states(system, belief.fault, dict(belief.states)),
    )  # fmt: skip


def _link(system: System, link: Link) -> LinkAnswer:
    names = system.faults
    support = None
    if link.support is not None:
        estimate = EstimateAnswer.of(link.support.estimate)
        assert estimate is not None
        support = SupportAnswer(
            text=link.support.text, estimate=estimate, limit=link.support.limit,
            chance=link.support.chance,
        )  # fmt: skip
    return LinkAnswer(
        cause=link.cause, cause_name=names[link.cause].name, via=link.via, effect=link.effect,
        effect_name=names[link.effect].name, text=link.text, together=link.together,
        share=link.share, counts=link.counts, support=support,
    )  # fmt: skip


def _finding(finding: Finding) -> FindingAnswer:
    return FindingAnswer(
        id=finding.id, source=finding.source, name=finding.name, text=finding.text,
        estimate=EstimateAnswer.of(finding.estimate), fit=finding.fit,
    )  # fmt: skip


def _conditions(judged: Judged) -> list[ConditionAnswer]:
    system = judged.system
    return [
        ConditionAnswer(
            id=id_, name=system.nodes[id_].name, states=_states(system, id_, dict(chances))
        )
        for id_, chances in judged.verdict.conditions.items()
    ]
