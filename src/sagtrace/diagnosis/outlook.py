"""What every open check would show, and what each answer would make of every fault.

One question a fault ("what if it were present?") gives the joint distribution of that fault
with every check at once, which is all that a one-step plan needs, and exact.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sagtrace.diagnosis.faultsets import restrict
from sagtrace.diagnosis.verdict import Reasoner
from sagtrace.evidence.findings import Finding, check_leaf, combined

__all__ = ["look_ahead", "Outlook"]

Array = NDArray[np.float64]

# Chosen: each check ties causes together, so that after a repair all of them at once take up to
# four times as long; before one, every further group costs the time to plan it.
_TOGETHER, _TOGETHER_RENEWED = 96, 24
_NEVER = 1e-12  # keeps a division by a fault that is certain or ruled out from failing


@dataclass(frozen=True, kw_only=True)
class Outlook:
    """Predictions for the open checks, all faults in the order of `faults`."""

    faults: tuple[str, ...]
    now: Array  # P(fault present), shape (faults,)
    chance: Mapping[str, Array]  # check -> P(outcome), shape (outcomes,)
    after: Mapping[str, Array]  # check -> P(fault present | outcome), shape (outcomes, faults)

    def shows(self, check: str) -> Array:
        """Return how clearly the check would show each fault, 0 to 1, shape (faults,).

        The total variation between what it shows with the fault and without it: the share of
        answers in which the fault shows.
        """
        chance, after = self.chance[check][:, None], self.after[check]
        with_fault = chance * after / np.maximum(self.now, _NEVER)
        without = chance * (1.0 - after) / np.maximum(1.0 - self.now, _NEVER)
        return np.asarray(0.5 * np.abs(with_fault - without).sum(axis=0))

    def told(self, check: str) -> float:
        """Return how many bits the check is expected to tell about the faults, one by one."""
        expected = self.chance[check] @ _bits(self.after[check])
        return float(np.sum(_bits(self.now) - expected))


def _bits(p: Array) -> Array:
    """Return what is unknown while something is present with probability p [bit]."""
    q = np.clip(np.stack([p, 1.0 - p]), _NEVER, 1.0)
    return np.asarray(-(q * np.log2(q)).sum(axis=0))


def look_ahead(reasoner: Reasoner, findings: Sequence[Finding], checks: Sequence[str]) -> Outlook:
    """Return what the checks would show, given the findings."""
    faults = tuple(reasoner.sizes)
    questions = 1 + len(faults)
    # What is the same in every question stays one row, so that it is worked out once.
    given = {n: v[None] for n, v in combined(tuple(findings)).items()}
    for q, fault in enumerate(faults, start=1):
        size = reasoner.sizes[fault]
        given[fault] = np.repeat(given.get(fault, np.ones((1, size))), questions, 0)
        given[fault][q] = given[fault][q] * restrict(size, present=True)
    chance, after, total = {}, {}, np.ones(questions)
    together = _TOGETHER_RENEWED if reasoner.renewal.works else _TOGETHER
    for start in range(0, max(len(checks), 1), together):
        some = checks[start : start + together]
        batch = reasoner.elimination.ask(given, [check_leaf(check) for check in some], questions)
        total = batch.evidence
        for check in some:
            joint = batch.joint[check_leaf(check)] / total[0]
            p = joint[0]
            chance[check] = p
            after[check] = (joint[1:] / np.where(p > 0.0, p, 1.0)).T
    return Outlook(faults=faults, now=total[1:] / total[0], chance=chance, after=after)
