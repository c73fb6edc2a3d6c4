"""One practice job worked to its end as the pages propose it: checks, repairs, proofs.

The plan's first check is answered by the virtual vehicle until the plan says repair; the
recommended option is done and every proof that is due is played. If one fails it goes on with
what the pages propose then. Deterministic.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from sagtrace.app.practice import Trainer, practice_job
from sagtrace.bootstrap import open_workshop, virtual
from sagtrace.diagnosis.faultsets import restrict
from sagtrace.diagnosis.verdict import Reasoner
from sagtrace.evidence.findings import Finding
from sagtrace.plan.effort import effort_of
from sagtrace.repair.costs import price_of
from sagtrace.repair.options import Option
from sagtrace.report.after_repair import (
    checks_after_failure,
    repair_after_failure,
    unproved,
)
from sagtrace.report.assessment import Assessment
from sagtrace.vehicle.job import NOT_DONE, Job

__all__ = ["follow", "Left", "NOTHING", "PROVED", "Said", "told", "Worked"]

Array = NDArray[np.float64]

PROVED, NOTHING = "proved", "nothing to repair"  # how a job ends that comes to an end
MOST_CHECKS = 40  # that were done; then a job is given up
MOST_WORKS = 3  # times that something is repaired
MOST_PROOFS = 3  # times that one proof is tried


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """One answer, and how far it spoke for the truth rather than for what was believed."""

    check: str
    text: str
    towards_truth: float  # ln P(answer | truth) - ln P(answer | believed), the earlier ones given
    ln_truth: float  # ln of the first of these


@dataclass(frozen=True, slots=True, kw_only=True)
class Left:
    """A hidden fault that is still there, and what its own proof would have shown."""

    fault: str
    is_part: bool
    believed: float  # at the end
    proof: str  # of this fault, and how it came out or would have come out


@dataclass(frozen=True, slots=True, kw_only=True)
class Worked:
    """One job. What was believed is that before the first repair, or at the end without one."""

    layout: str
    seed: int
    hidden: tuple[str, ...]  # "fault=state"
    parts: frozenset[str]  # the hidden faults that are parts
    ended: bool  # the plan said repair within the caps
    believed: tuple[str, ...]  # the leading set
    leading: float
    truth: float  # probability of exactly the hidden faults
    repaired: frozenset[str]  # what the first option repairs
    said: tuple[Said, ...]
    prior: tuple[float, ...]  # of each fault, given only that the vehicle was brought in
    beliefs: tuple[float, ...]
    present: tuple[bool, ...]
    end: str  # PROVED, NOTHING, or why it came to no end
    proofs: tuple[str, ...]  # that counted at the end
    left: tuple[Left, ...]
    low: bool  # the vehicle at the end is one that somebody would bring in
    checks: int  # that were done, before and after the repairs
    refused: int  # that could not be done
    works: tuple[tuple[str, ...], ...]
    minutes: float  # of work: checks, proofs and repairs
    price: float  # of all repairs
    wasted: float  # of those that took nothing out

    @property
    def faults(self) -> frozenset[str]:
        """The hidden faults."""
        return frozenset(h.partition("=")[0] for h in self.hidden)

    @property
    def first(self) -> bool:
        """Whether the hidden faults were the leading set."""
        return self.faults == frozenset(self.believed)

    @property
    def covered(self) -> bool:
        """Whether the first option repairs all that is hidden, as far as it is a part."""
        return (self.parts or self.faults) <= self.repaired

    @property
    def parts_left(self) -> tuple[Left, ...]:
        """The hidden parts that are still at fault."""
        return tuple(left for left in self.left if left.is_part)

    @property
    def sound(self) -> bool:
        """Whether it was proved with no faulty part left."""
        return self.end == PROVED and not self.parts_left


@cache
def trainer() -> Trainer:
    return Trainer(known=virtual)


def follow(layout: str, seed: int) -> Worked:
    """Return what became of one practice job."""
    workshop = open_workshop()
    job = practice_job(workshop.system(layout).layout, name=f"s{seed}", seed=seed)
    states = [workshop.assess(job)]
    end = ""
    while not end:
        done = _step(states[-1])
        if isinstance(done, str):
            end = done
        else:
            states.append(workshop.assess(done))
    before = next((a for a, b in pairwise(states) if b.job.works), states[-1])
    return _worked(seed, states[0], before, states[-1], end)


def _step(a: Assessment) -> Job | str:
    """Return the job after what the pages propose, or why it is over."""
    job = a.job
    if a.stage == "proved":
        return PROVED
    if _done(job) >= MOST_CHECKS:
        return f"{MOST_CHECKS} checks"
    if a.stage == "check":
        return _checked(job, a.plan.offers[0].check)
    if a.stage == "repair":
        return _repaired(job, a.options[0])
    tried = _tried(job)
    due = [p for p in a.proofs if p.judged is None or p.judged.result != "passed"]
    if unproved(a):
        if option := repair_after_failure(a):
            return _repaired(job, option)
        if offers := checks_after_failure(a):
            return _checked(job, offers[0].check)
    for proof in due:
        if tried.get(proof.proof.check, 0) < MOST_PROOFS:
            return _proved(job, proof.proof.check)
    if not due:
        return "nothing more is proposed"
    return f"undecided: {due[0].judged.text if due[0].judged else due[0].proof.check}"


def _done(job: Job) -> int:
    return sum(entry.outcome != NOT_DONE for entry in job.entries)


def _tried(job: Job) -> dict[str, int]:
    tried: dict[str, int] = {}
    for entry in job.proofs[job.proofs_from :]:
        tried[entry.check] = tried.get(entry.check, 0) + 1
    return tried


def _checked(job: Job, check: str) -> Job:
    workshop = open_workshop()
    shown = trainer().answer(workshop.system(job.layout), job, check)
    return workshop.answer(job, replace(shown, id=job.next_id()))[0]


def _proved(job: Job, check: str) -> Job | str:
    workshop = open_workshop()
    shown = trainer().answer(workshop.system(job.layout), job, check)
    if shown.outcome == NOT_DONE:
        return f"cannot be proved: {check}, {shown.note}"
    return workshop.prove(job, replace(shown, id=job.next_id()))


def _repaired(job: Job, option: Option) -> Job | str:
    if not option.repairs:
        return NOTHING
    if len(job.works) >= MOST_WORKS:
        return f"{MOST_WORKS} repairs"
    return open_workshop().repaired(job, option.repairs)


def _worked(seed: int, first: Assessment, before: Assessment, last: Assessment, end: str) -> Worked:
    workshop, job, system = open_workshop(), last.job, last.system
    hidden = trainer().hidden(system, job)
    present = frozenset(h.fault for h in hidden)
    reasoner = workshop.reasoner(job.layout)
    verdict = before.verdict
    here = evidence(reasoner, verdict.findings, present)
    leading = evidence(reasoner, verdict.findings, frozenset(verdict.leading.faults))
    repairs = [system.repairs[r] for r in job.repaired]
    vain = [r for r in repairs if not present.intersection(r.fixes)]
    effort = effort_of(system, (*job.entries, *job.proofs))
    faults = tuple(system.faults)
    return Worked(
        layout=job.layout,
        seed=seed,
        hidden=tuple(f"{h.fault}={h.state}" for h in hidden),
        parts=frozenset(f for f in present if system.faults[f].kind == "part"),
        ended=bool(job.works) or before.plan.action != "check",
        believed=verdict.leading.faults,
        leading=verdict.leading.probability,
        truth=float(np.exp(here.sum() - verdict.log_evidence)),
        repaired=frozenset(before.options[0].fixes),
        said=tuple(
            Said(check=f.source, text=f.text, towards_truth=float(a - b), ln_truth=float(a))
            for f, a, b in zip(verdict.findings, here[1:], leading[1:], strict=True)
        ),
        prior=tuple(first.verdict.belief(f).probability for f in faults),
        beliefs=tuple(verdict.belief(f).probability for f in faults),
        present=tuple(f in present for f in faults),
        end=end,
        proofs=tuple(p.proof.check for p in last.proofs),
        left=tuple(_left(last, h.fault) for h in hidden if not h.repaired),
        low=trainer().is_low(system, job),
        checks=_done(job),
        refused=len(job.entries) - _done(job),
        works=tuple(work.repairs for work in job.works),
        minutes=effort.minutes + sum(price_of(system, [r], ()).labour_minutes for r in repairs),
        price=sum(price_of(system, [r], ()).total for r in repairs),
        wasted=sum(price_of(system, [r], ()).total for r in vain),
    )


def _left(a: Assessment, fault: str) -> Left:
    """Return a fault that is left; its proof is played if it was not due."""
    told, proof = "it has none", a.system.proof_for(fault)
    played = {p.proof.id: p.judged for p in a.proofs if p.judged}
    if proof is not None and proof.id in played:
        told = f"{proof.check} was due: {played[proof.id].told}"
    elif proof is not None:
        shown = trainer().answer(a.system, a.job, proof.check)
        said = shown.outcome or ", ".join(f"{k} {v}" for k, v in shown.values.items())
        told = f"{proof.check} was not due and would have shown {said}"
    return Left(
        fault=fault,
        is_part=a.system.faults[fault].kind == "part",
        believed=a.verdict.belief(fault).probability,
        proof=told,
    )


def evidence(reasoner: Reasoner, findings: Sequence[Finding], faults: frozenset[str]) -> Array:
    """Return ln P(exactly these faults), then ln P(finding | them and the earlier findings)."""
    n = len(findings) + 1
    given: dict[str, Array] = {}
    for k, finding in enumerate(findings):
        product = given.setdefault(finding.target, np.ones((n, len(finding.likelihood))))
        product[k + 1 :] *= np.array(finding.likelihood)
    for fault, size in reasoner.sizes.items():
        given[fault] = np.repeat(restrict(size, fault in faults)[None], n, 0)
    mass = reasoner.elimination.ask(given, [], n).evidence
    with np.errstate(divide="ignore", invalid="ignore"):
        ln = np.log(mass)
        return np.concatenate([ln[:1], np.diff(ln)])


def told(w: Worked, least: float) -> Iterator[str]:
    """Yield what is to be known of a job that went wrong.

    `least` is how far an answer must speak against the truth to be listed [natural log].
    """
    yield f"{w.layout} {w.seed}: {w.end}{', still low' if w.low else ''}, {w.checks} checks"
    yield f"  hidden   {', '.join(w.hidden)} (p {w.truth:.3g} before the first repair)"
    yield f"  believed {', '.join(w.believed) or 'nothing'} (p {w.leading:.3g})"
    yield f"  repairs  {'; then '.join(_named(work) for work in w.works) or 'none'}"
    yield f"  proofs   {_named(w.proofs) or 'none'}"
    for left in w.left:
        yield f"  left     {left.fault} (p {left.believed:.3g} at the end); {left.proof}"
    if not (w.ended and w.covered and w.first):
        for s in sorted(w.said, key=lambda s: s.towards_truth)[:5]:
            if s.towards_truth < -least:
                yield f"  {s.towards_truth:6.2f} (ln p {s.ln_truth:6.2f}) {s.check}: {s.text[:90]}"


def _named(ids: Iterable[str]) -> str:
    return ", ".join(ids)
