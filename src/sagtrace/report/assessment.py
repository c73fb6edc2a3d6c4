"""Everything that is known about a job at one moment: what pages and papers are made of."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from sagtrace.diagnosis.story import Link
from sagtrace.diagnosis.verdict import Belief, Move, Verdict
from sagtrace.evidence.facts import Facts
from sagtrace.evidence.gather import LeftOut
from sagtrace.evidence.recording import RecordingReport
from sagtrace.plan.next_check import Plan
from sagtrace.repair.options import Option
from sagtrace.repair.proofs import DueProof
from sagtrace.signals.imported import ImportReport
from sagtrace.signals.trace import Trace
from sagtrace.vehicle.job import Job
from sagtrace.vehicle.system import System

__all__ = ["Assessment", "Before", "Judged", "Recorded"]


@dataclass(frozen=True, kw_only=True)
class Recorded:
    """A recording as read: its samples and what they say."""

    id: str
    trace: Trace
    report: RecordingReport
    imported: ImportReport | None = None  # how the file was read; None if it was not from a file


@dataclass(frozen=True, slots=True)
class Before:
    """What was known before a work, by which it was decided."""

    verdict: Verdict
    story: tuple[Link, ...]


@dataclass(frozen=True, kw_only=True)
class Judged:
    """A job with what its evidence says, before anything is planned."""

    job: Job
    system: System
    facts: Facts
    recordings: tuple[Recorded, ...]
    left_out: tuple[LeftOut, ...]
    answered: frozenset[str]  # checks that need no further answer
    verdict: Verdict
    story: tuple[Link, ...]
    earlier: tuple[Before, ...] = ()  # before each work, in their order


@dataclass(frozen=True, kw_only=True)
class Assessment:
    """A job with everything that follows from it."""

    job: Job
    system: System
    facts: Facts
    recordings: tuple[Recorded, ...]
    left_out: tuple[LeftOut, ...]
    verdict: Verdict
    story: tuple[Link, ...]
    earlier: tuple[Before, ...] = ()  # before each work, in their order
    plan: Plan
    options: tuple[Option, ...]
    proofs: tuple[DueProof, ...]  # of what was repaired, or of the recommended option
    version: str
    digest: str  # of the job and its recordings as they came

    def as_found(self) -> Assessment:
        """Return the same with what was found, which the works were decided by.

        Of several works the last one's verdict counts; each fault is as probable as it ever was
        before one of them, because a fault that was renewed is no longer what was found.
        """
        if not self.earlier:
            return self
        last = self.earlier[-1]
        best: dict[str, tuple[Belief, tuple[Move, ...]]] = {}
        for before in self.earlier:
            for belief in before.verdict.beliefs:
                known = best.get(belief.fault)
                if known is None or belief.probability >= known[0].probability:
                    best[belief.fault] = belief, before.verdict.why(belief.fault)
        beliefs = sorted((b for b, _ in best.values()), key=lambda b: (-b.probability, b.fault))
        moves = tuple(move for _, of in best.values() for move in of)
        links = {(k.cause, k.via, k.effect): k for b in self.earlier for k in b.story}
        verdict = replace(last.verdict, beliefs=tuple(beliefs), moves=moves)
        return replace(self, verdict=verdict, story=tuple(links.values()), earlier=())

    @property
    def stage(self) -> Literal["check", "repair", "prove", "proved"]:
        """What the job waits for."""
        if not self.job.repaired:
            return "check" if self.plan.action == "check" else "repair"
        results = [p.judged.result if p.judged else "not done" for p in self.proofs]
        return "proved" if set(results) == {"passed"} else "prove"
