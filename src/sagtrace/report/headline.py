"""The next thing to do, in one line: for the list of jobs and the head of a page."""

from __future__ import annotations

from sagtrace.report.assessment import Assessment
from sagtrace.report.parts import leading_beliefs, option_name
from sagtrace.report.words import listed, sentence

__all__ = ["headline"]


def headline(assessment: Assessment) -> str:
    """Return what to do next."""
    system = assessment.system
    if assessment.stage == "check":
        check = system.checks[assessment.plan.offers[0].check]
        return sentence(check.name)
    if assessment.stage == "repair":
        best = next((o for o in assessment.options if o.repairs), None)
        if best is not None:
            return sentence(f"repair: {option_name(system, best)}")
        found = [system.faults[b.fault].name for b in leading_beliefs(assessment)]
        return sentence(f"nothing to repair: {listed(found) or 'no fault is likely'}")
    if assessment.stage == "prove":
        due = [p for p in assessment.proofs if p.judged is None or p.judged.result != "passed"]
        names = [system.checks[p.proof.check].name for p in due[:1]]
        return sentence(f"prove the repair: {listed(names)}") if names else "Prove the repair."
    return "Proved: print the papers."
