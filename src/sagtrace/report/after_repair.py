"""What follows from a repair that was done: its proofs, and what is left to put back."""

from __future__ import annotations

from dataclasses import dataclass

from sagtrace.plan.next_check import Offer
from sagtrace.repair.costs import access_steps, undone_first, way_cautions
from sagtrace.repair.options import Option
from sagtrace.repair.proofs import DueProof
from sagtrace.report.assessment import Assessment
from sagtrace.report.parts import by_gravity, leading_beliefs, open_offers
from sagtrace.report.words import listed, percent, sentence
from sagtrace.vehicle.checks import Caution, Check
from sagtrace.vehicle.job import Job
from sagtrace.vehicle.system import System

__all__ = [
    "approved_work",
    "checks_after_failure",
    "declined",
    "failed_proofs",
    "Handover",
    "handover",
    "how_things_stand",
    "open_proofs",
    "proof_cautions",
    "repair_after_failure",
    "still_there",
    "suspects",
    "unproved",
]

_SUSPECTED = 0.1  # chosen: a suspect that is less likely is not named
_OFTEN = 2  # chosen: times that a proof is done before more is looked for
_FEW = 4  # chosen: more names than this nobody keeps in mind


@dataclass(frozen=True, slots=True, kw_only=True)
class Handover:
    """What is still undone on a vehicle before its owner gets it back."""

    cautions: tuple[Caution, ...]  # the gravest first
    back: tuple[str, ...]  # the access states to undo, in order


def declined(job: Job) -> bool:
    """Return whether the customer declined what was offered last, and nothing was repaired."""
    return bool(job.approvals) and job.approvals[-1].answer == "declined" and not job.repaired


def approved_work(job: Job) -> tuple[str, ...]:
    """Return the repairs that the customer approved last and that are still to be done."""
    if not job.approvals or job.approvals[-1].answer != "approved":
        return ()
    return tuple(r for r in job.approvals[-1].repairs if r not in job.repaired)


def still_there(assessment: Assessment) -> str:
    """Return the faults that are more likely present than not now, in a phrase; empty if none."""
    names = assessment.system.faults
    return listed(
        [f"{names[b.fault].name} ({percent(b.probability)})" for b in leading_beliefs(assessment)]
    )


def failed_proofs(assessment: Assessment) -> tuple[DueProof, ...]:
    """Return the proofs that refute the repair."""
    if not assessment.job.repaired:
        return ()
    return tuple(p for p in assessment.proofs if p.judged and p.judged.result == "failed")


def open_proofs(assessment: Assessment) -> tuple[DueProof, ...]:
    """Return the proofs that leave it open, and did so often enough that once more is in vain."""
    tried = _tried(assessment.job)
    return tuple(
        p
        for p in assessment.proofs
        if p.judged and p.judged.result == "undecided" and tried.count(p.proof.check) >= _OFTEN
    )


def unproved(assessment: Assessment) -> tuple[DueProof, ...]:
    """Return the proofs after which more is to be looked for: failed ones, and those still open."""
    return failed_proofs(assessment) + open_proofs(assessment)


def _first_again(assessment: Assessment) -> bool:
    """Return whether to do the failed proof once more before anything else.

    Where no check pays, no fault is likely enough to be looked for, and a slip is likelier.
    """
    failed, plan = failed_proofs(assessment), assessment.plan
    tried = _tried(assessment.job)
    once = any(tried.count(p.proof.check) < _OFTEN for p in failed)
    return once and (plan.pursuing or plan.undecided)


def _tried(job: Job) -> list[str]:
    """Return the checks done as proofs since the last repair, as often as they were done."""
    since = job.proofs[job.proofs_from :]
    return [p.check for p in since if not p.withdrawn and not p.supersedes]


def repair_after_failure(assessment: Assessment) -> Option | None:
    """Return what to repair next after a proof failed or stays open.

    None if it pays to go on checking, or if the proof is better done again first.
    """
    if not unproved(assessment) or _first_again(assessment) or assessment.plan.action != "repair":
        return None
    return next((o for o in assessment.options[:1] if o.repairs), None)


def checks_after_failure(assessment: Assessment) -> tuple[Offer, ...]:
    """Return the checks to go on with after a proof failed or stays open, best first.

    There are none if enough is known to repair, or if the proof is better done again. A proof that
    is due is not among them: it is done as a proof.
    """
    if not unproved(assessment) or _first_again(assessment) or repair_after_failure(assessment):
        return ()
    due = {p.proof.check for p in assessment.proofs}
    return tuple(o for o in open_offers(assessment) if o.check not in due)


def how_things_stand(assessment: Assessment) -> str:
    """Return the verdict in a sentence; after a repair, what it was before.

    After a failed proof, what is suspected now as well.
    """
    names = assessment.system.faults
    found = [
        f"{names[b.fault].name} ({percent(b.probability)})"
        for b in leading_beliefs(assessment.as_found())
    ]
    if not assessment.job.repaired:
        if not found:
            return "No fault stands out yet."
        return sentence(f"more likely present than not: {listed(found)}")
    now = "repaired and proved" if assessment.stage == "proved" else "repaired, not proved"
    before = listed(found) or "no fault was more likely present than not"
    if not failed_proofs(assessment):
        return sentence(f"{now}; before the repair: {before}")
    told = sentence(f"repaired, but a proof failed; before the repair: {before}")
    return f"{told} {sentence(f'suspected now: {suspects(assessment)}')}"


def suspects(assessment: Assessment) -> str:
    """Return the faults that are suspected now, most probable first, in a phrase."""
    names = assessment.system.faults
    beliefs = (b for b in assessment.verdict.beliefs if b.probability >= _SUSPECTED)
    named = [f"{names[b.fault].name} ({percent(b.probability)})" for b in beliefs]
    return listed(named[:_FEW]) or "nothing on the list more than the rest"


def handover(assessment: Assessment) -> Handover | None:
    """Return what to put back before a proved vehicle is handed over; None if nothing is off."""
    access, held = assessment.system.access, assessment.job.access
    if assessment.stage != "proved" or not held:
        return None
    back = undone_first(access, reversed(held), held)  # the last that was taken off comes first
    cautions = dict.fromkeys(c for name in back for c in access[name].cautions_off)
    return Handover(cautions=by_gravity(assessment.system, cautions), back=back)


def proof_cautions(system: System, job: Job, check: Check) -> tuple[Caution, ...]:
    """Return the cautions of a proof and of the way there, the gravest first.

    What the repair took off counts as off, whatever is entered about the vehicle now: nobody
    must lower it onto an empty spring because somebody ticked too much.
    """
    needs = [need for repair in job.repaired for need in system.repairs[repair].needs]
    taken_off = (*job.access, *access_steps(system.access, needs, job.access))
    used = dict.fromkeys(
        (
            *way_cautions(system, check.needs, check.without, taken_off),
            *way_cautions(system, check.needs, check.without, job.access),
            *check.cautions,
        )
    )
    return by_gravity(system, used)
