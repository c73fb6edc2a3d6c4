"""Measures how often the plan finds what is hidden in the virtual vehicles of practice jobs.

Each job is worked as the plan proposes: its first check, answered by the vehicle, until it says
repair; what the vehicle gives no answer to is left out of the plan. Prints for each layout how
often that comes to an end and is right, and of every job that went wrong which answers spoke
against the truth. Several faults may be hidden; what is left after a repair shows in its proof,
which is not played here. Deterministic.

Run: PYTHONPATH=src python tools/measure_practice.py [FIRST [COUNT [LAYOUT ...]]]
(seeds FIRST to FIRST + COUNT - 1, all layouts if left out)
"""

from __future__ import annotations

import sys
from collections.abc import Container, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import cache
from itertools import pairwise
from multiprocessing import get_context

import numpy as np
from numpy.typing import NDArray

from sagtrace.app.practice import Trainer
from sagtrace.app.workshop import COMPLAINT
from sagtrace.bootstrap import open_workshop, virtual
from sagtrace.diagnosis.faultsets import restrict
from sagtrace.diagnosis.outlook import look_ahead
from sagtrace.diagnosis.verdict import Reasoner
from sagtrace.errors import InputError
from sagtrace.evidence.findings import Finding
from sagtrace.plan.next_check import Offer, Plan, choose
from sagtrace.vehicle.job import Job

Array = NDArray[np.float64]

MOST = 25  # checks after which a job is given up
BINS = (0.0, 0.05, 0.2, 0.5, 0.8, 0.95, 1.0)
AGAINST = 1.0  # natural log: an answer that is less against the truth is not listed
LAYOUTS = ("rear-pair", "four-corner", "four-corner-reservoir")


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """One answer, and how far it spoke for the truth rather than for what was believed."""

    check: str
    text: str
    towards_truth: float  # ln P(answer | truth) - ln P(answer | believed), the earlier ones given
    ln_truth: float  # ln of the first of these


@dataclass(frozen=True, slots=True, kw_only=True)
class Worked:
    """One job as the plan worked it.

    `covered` asks for every hidden part at once, the hardest reading of "found".
    """

    layout: str
    seed: int
    hidden: tuple[str, ...]  # "fault=state"
    parts: frozenset[str]  # the hidden faults that are parts
    ended: bool
    believed: tuple[str, ...]  # the leading set
    leading: float
    truth: float  # probability of exactly the hidden faults
    repaired: frozenset[str]  # what the recommended option repairs
    said: tuple[Said, ...]
    minutes: float
    prior: tuple[float, ...]  # of each fault, given only that the vehicle was brought in
    beliefs: tuple[float, ...]
    present: tuple[bool, ...]

    @property
    def faults(self) -> frozenset[str]:
        """The hidden faults."""
        return frozenset(h.partition("=")[0] for h in self.hidden)

    @property
    def first(self) -> bool:
        """Whether the hidden faults are the leading set."""
        return self.faults == frozenset(self.believed)

    @property
    def covered(self) -> bool:
        """Whether the option repairs all that is hidden, as far as it is a part."""
        return (self.parts or self.faults) <= self.repaired

    @property
    def begun(self) -> bool:
        """Whether what is believed is all hidden, so that its proof can show what is left."""
        return bool(self.believed) and self.faults.issuperset(self.believed)

    @property
    def checks(self) -> int:
        """How many answers there were."""
        return len(self.said) - 1  # the complaint is none


@cache
def trainer() -> Trainer:
    return Trainer(known=virtual)


def step(job: Job, given_up: Container[str] = ()) -> Plan:
    """Return the plan for a job, as `Workshop.assess` makes it; without what cannot be done."""
    workshop = open_workshop()
    judged = workshop.judge(job)
    done = judged.answered
    open_checks = [c for c in judged.system.checks if c not in done and c not in given_up]
    reasoner = workshop.reasoner(job.layout)
    return choose(
        judged.system, look_ahead(reasoner, judged.verdict.findings, open_checks), job.access
    )


def followed(job: Job) -> tuple[Job, bool, float]:
    """Return the job as the plan would have worked it, whether that ended, and its minutes."""
    given_up, minutes = set[str](), 0.0
    while len(job.entries) < MOST:
        plan = step(job, given_up)
        if plan.action != "check":
            return job, True, minutes
        entry = _answered(job, plan.offers[0])
        if isinstance(entry, str):
            given_up.add(entry)
            continue
        job, minutes = entry, minutes + plan.offers[0].minutes
    return job, step(job, given_up).action != "check", minutes


def _answered(job: Job, offer: Offer) -> Job | str:
    """Return the job with the answer, or the check if there is nothing to find out there."""
    workshop = open_workshop()
    try:
        shown = trainer().answer(workshop.system(job.layout), job, offer.check)
    except InputError:
        return offer.check
    return workshop.answer(job, replace(shown, id=job.next_id()))[0]


def work(layout: str, seed: int) -> Worked:
    """Return what became of one practice job."""
    workshop = open_workshop()
    system, reasoner = workshop.system(layout), workshop.reasoner(layout)
    job = Job(id=f"s{seed}", title="", layout=layout, complaint=COMPLAINT, practice=seed)
    first = workshop.judge(job).verdict
    hidden = {h.fault: h.state for h in trainer().hidden(system, job)}
    job, ended, minutes = followed(job)
    made = workshop.assess(job)
    verdict = made.verdict
    here = evidence(reasoner, verdict.findings, frozenset(hidden))
    leading = evidence(reasoner, verdict.findings, frozenset(verdict.leading.faults))
    faults = tuple(system.faults)
    return Worked(
        layout=layout,
        seed=seed,
        hidden=tuple(f"{fault}={state}" for fault, state in hidden.items()),
        parts=frozenset(f for f in hidden if system.faults[f].kind == "part"),
        ended=ended,
        believed=verdict.leading.faults,
        leading=verdict.leading.probability,
        truth=float(np.exp(here.sum() - verdict.log_evidence)),
        repaired=frozenset(made.options[0].fixes),
        said=tuple(
            Said(check=f.source, text=f.text, towards_truth=float(a - b), ln_truth=float(a))
            for f, a, b in zip(verdict.findings, here[1:], leading[1:], strict=True)
        ),
        minutes=minutes,
        prior=tuple(first.belief(f).probability for f in faults),
        beliefs=tuple(verdict.belief(f).probability for f in faults),
        present=tuple(f in hidden for f in faults),
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


def share(flags: Sequence[bool]) -> str:
    if not flags:
        return "none"
    return f"{sum(flags)}/{len(flags)} ({100.0 * sum(flags) / len(flags):.0f} %)"


def brier(worked: Sequence[Worked], prior: bool = False) -> float:
    """Return the mean over jobs of the squared error summed over the faults."""
    apart = (
        np.array(w.prior if prior else w.beliefs) - np.array(w.present, dtype=np.float64)
        for w in worked
    )
    return float(np.mean([np.sum(a**2) for a in apart]))


def calibration(worked: Sequence[Worked]) -> Iterator[str]:
    """Yield by range of probability what was believed and how often it was so."""
    p = np.concatenate([w.beliefs for w in worked])
    true = np.concatenate([w.present for w in worked])
    place = np.clip(np.digitize(p, BINS) - 1, 0, len(BINS) - 2)
    for i, (low, high) in enumerate(pairwise(BINS)):
        if (mine := place == i).any():
            yield (
                f"  {low:4.2f}-{high:4.2f}: {mine.sum():5d} faults, believed {p[mine].mean():.3f}, "
                f"true {true[mine].mean():.3f}"
            )


def summary(name: str, worked: Sequence[Worked]) -> Iterator[str]:
    """Yield the figures of a layout."""
    yield f"{name}: {len(worked)} jobs"
    yield f"  came to an end              {share([w.ended for w in worked])}"
    yield f"  option repairs every part   {share([w.covered for w in worked])}"
    yield f"  both                        {share([w.ended and w.covered for w in worked])}"
    one = [w for w in worked if len(w.faults) == 1]
    yield f"  both, of one hidden fault   {share([w.ended and w.covered for w in one])}"
    yield f"  ended, believed is all true {share([w.ended and w.begun for w in worked])}"
    yield f"  true set is the leading one {share([w.first for w in worked])}"
    yield f"  true set has more than half {share([w.truth > 0.5 for w in worked])}"
    yield f"  median checks, minutes      {np.median([w.checks for w in worked]):.0f}, " + (
        f"{np.median([w.minutes for w in worked]):.0f}"
    )
    yield f"  Brier score, of the prior   {brier(worked):.3f}, {brier(worked, prior=True):.3f}"


def failure(w: Worked) -> Iterator[str]:
    """Yield what is to be known of a job that went wrong."""
    how = [] if w.ended else ["no end"]
    how += [] if w.covered else ["a part is not repaired"]
    how += [] if w.first else ["another set leads"]
    yield f"{w.layout} {w.seed}: {', '.join(how)} after {w.checks} checks"
    yield f"  hidden   {', '.join(w.hidden)} (p {w.truth:.3g})"
    yield f"  believed {', '.join(w.believed) or 'nothing'} (p {w.leading:.3g})"
    if not w.covered:
        yield f"  repairs  {', '.join(sorted(w.repaired)) or 'nothing'}"
    against = sorted(w.said, key=lambda s: s.towards_truth)
    for s in against[:5]:
        if s.towards_truth < -AGAINST:
            yield f"  {s.towards_truth:6.2f} (ln p {s.ln_truth:6.2f}) {s.check}: {s.text[:90]}"


def main() -> None:
    first, count = (int(a) for a in (*sys.argv[1:3], *("2000", "20")[len(sys.argv[1:3]) :]))
    layouts = tuple(sys.argv[3:]) or LAYOUTS
    jobs = [(layout, seed) for seed in range(first, first + count) for layout in layouts]
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        worked = list(pool.map(work, *zip(*jobs, strict=True)))
    for layout in layouts:
        print(*summary(layout, [w for w in worked if w.layout == layout]), sep="\n")
    print(*summary("all", worked), *calibration(worked), sep="\n")
    for w in worked:
        if not (w.ended and w.covered and w.first):
            print(*failure(w), sep="\n")


if __name__ == "__main__":
    main()
