"""The next thing to do, in one line: for the list of jobs and the head of a page."""

from __future__ import annotations

from sagtrace.report.after_repair import (
    approved_work,
    checks_after_failure,
    declined,
    failed_proofs,
    repair_after_failure,
)
from sagtrace.report.assessment import Assessment
from sagtrace.report.parts import leading_beliefs, no_part, open_offers, option_name
from sagtrace.report.words import listed, sentence

__all__ = ["DECLINED", "headline"]

DECLINED = "The customer declined: offer another choice, or close the job."


def headline(assessment: Assessment) -> str:
    """Return what to do next."""
    system = assessment.system
    if assessment.stage == "check":
        if offers := open_offers(assessment):
            return sentence(system.checks[offers[0].check].name)
        names = [system.checks[b.check].name for b in assessment.job.waiting()]
        return sentence(f"wait for what was begun: {listed(names)}")
    if no_part(assessment):
        found = [system.faults[b.fault].name for b in leading_beliefs(assessment)]
        return sentence(
            "no part is to be repaired: "
            + (listed(found) or "no fault is more likely present than not")
        )
    if assessment.stage == "repair" and declined(assessment.job):
        return DECLINED
    if assessment.stage == "repair" and (work := approved_work(assessment.job)):
        return sentence(f"repair as approved: {listed([system.repairs[r].name for r in work])}")
    if assessment.stage == "repair":
        what = "undecided, repair and prove" if assessment.plan.undecided else "repair"
        return sentence(f"{what}: {option_name(system, assessment.options[0])}")
    if assessment.stage == "prove":
        how = "a proof failed" if failed_proofs(assessment) else "a proof stays open"
        if option := repair_after_failure(assessment):
            return sentence(f"{how}, repair: {option_name(system, option)}")
        if offers := checks_after_failure(assessment):
            return sentence(f"{how}, go on: {system.checks[offers[0].check].name}")
        due = [p for p in assessment.proofs if p.judged is None or p.judged.result != "passed"]
        names = [system.checks[p.proof.check].name for p in due[:1]]
        return sentence(f"prove the repair: {listed(names)}") if names else "Prove the repair."
    if assessment.job.access:
        return "Proved: put back what is still off, then print the papers."
    return "Proved: print the papers."
