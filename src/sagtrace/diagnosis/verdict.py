"""From findings to a verdict: how probable each fault and each set of faults is, and why.

The probabilities are exact, by elimination; `engine` is the other way to them, and slower by
far where checks tie many causes together. The explanation asks again with each finding alone
and with each left out. What a finding does first and what it still does last differ where
findings say the same thing twice, so their mean is told: two that say the same share what
they did.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from sagtrace.diagnosis.elimination import Elimination
from sagtrace.diagnosis.faultsets import FaultSet, most_probable_sets
from sagtrace.diagnosis.network import Network, build_network
from sagtrace.errors import ContradictionError
from sagtrace.evidence.findings import Finding, combined
from sagtrace.vehicle.renewal import Renewal
from sagtrace.vehicle.system import System

if TYPE_CHECKING:
    from sagtrace.diagnosis.engine import Engine

__all__ = ["Belief", "Conflict", "Move", "Reasoner", "Verdict"]

Array = NDArray[np.float64]

_TOLD = 0.25  # chosen: log-odds below which a finding is not worth a line about a fault
_SUSPECT = 0.02  # chosen: above this probability a fault is not excluded
_SURPRISE = 0.02  # chosen: a finding that the others leave less than this is pointed out


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """How far one finding moved one fault, in log-odds; positive speaks for the fault.

    The mean of what it does alone and of what it still does after all others.
    """

    finding: str
    fault: str
    log_odds: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Belief:
    """How probable one fault is, and in which state."""

    fault: str
    probability: float
    prior: float
    states: Mapping[str, float]

    @property
    def likely_state(self) -> str:
        """The most probable of the states in which the fault is present."""
        return max(list(self.states)[1:], key=lambda state: self.states[state])


@dataclass(frozen=True, slots=True, kw_only=True)
class Conflict:
    """A finding that the rest of the evidence hardly allows: look at it again."""

    finding: str
    expected: float  # how probable the others make it, beside what they expect most
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """What the evidence says, all of it weighed together."""

    findings: tuple[Finding, ...]
    beliefs: tuple[Belief, ...]  # most probable first
    sets: tuple[FaultSet, ...]  # most probable first
    conditions: Mapping[str, Mapping[str, float]]
    moves: tuple[Move, ...]
    conflicts: tuple[Conflict, ...]
    log_evidence: float

    def belief(self, fault: str) -> Belief:
        """Return what is believed of one fault."""
        return next(b for b in self.beliefs if b.fault == fault)

    @property
    def leading(self) -> FaultSet:
        """The most probable set of faults (which may be empty)."""
        return self.sets[0] if self.sets else FaultSet(faults=(), probability=0.0)

    @property
    def not_excluded(self) -> tuple[Belief, ...]:
        """Faults outside the leading set that are still too probable to forget."""
        leading = self.leading.faults
        return tuple(
            b for b in self.beliefs if b.fault not in leading and b.probability >= _SUSPECT
        )

    def why(self, fault: str) -> tuple[Move, ...]:
        """Return what moved this fault, strongest first."""
        mine = (m for m in self.moves if m.fault == fault)
        return tuple(sorted(mine, key=lambda m: -abs(m.log_odds)))


class Reasoner:
    """One system and the repairs of one job, compiled once and asked often.

    Everything that is asked of it is about the vehicle as it is now.

    What people see comes from `elimination`; `engine` is a second exact way to the same
    numbers, made when it is first asked for.
    """

    def __init__(self, system: System, works: Sequence[Sequence[str]] = ()) -> None:
        self.system = system
        self.renewal = Renewal(system, works)
        self.elimination = Elimination(self.renewal)
        self.sizes = {fault: len(node.state_ids) for fault, node in system.faults.items()}
        self.conditions = tuple(node for node in system.nodes if node not in self.sizes)
        prior = self.elimination.ask({}, self.sizes)
        self.priors = {fault: prior.marginal(fault)[0] for fault in self.sizes}

    @cached_property
    def network(self) -> Network:
        """The system as plain tables."""
        return build_network(self.renewal)

    @cached_property
    def engine(self) -> Engine:
        """The second way to the posterior."""
        from sagtrace.diagnosis.engine import Engine  # slow to import, and only a cross-check

        return Engine(self.network)

    def links(self, cause: str, effect: str) -> bool:
        """Return whether the one as it is now may have brought about the other as it is now."""
        return any(arc.parent == cause for arc in self.renewal.nodes[effect].causes)

    def judge(self, findings: Sequence[Finding]) -> Verdict:
        """Return the verdict on these findings.

        Raises ContradictionError if nothing explains them together.
        """
        kept = tuple(findings)
        evidence = combined(kept)
        marginals, log_evidence = self._posterior(evidence)
        alone, without, others = self._one_by_one(kept)
        return Verdict(
            findings=kept,
            beliefs=self._beliefs(marginals),
            sets=most_probable_sets(self.elimination, evidence, self.sizes),
            conditions={
                id_: dict(
                    zip(self.system.nodes[id_].state_ids, map(float, marginals[id_]), strict=True)
                )
                for id_ in self.conditions
            },
            moves=self._moves(kept, marginals, alone, without),
            conflicts=self._conflicts(kept, others),
            log_evidence=log_evidence,
        )

    def _posterior(self, evidence: Mapping[str, Array]) -> tuple[Mapping[str, Array], float]:
        given = {variable: likelihood[None] for variable, likelihood in evidence.items()}
        batch = self.elimination.ask(given, self.system.nodes)
        total = float(batch.evidence[0])
        if not total > 0.0:
            text = f"nothing explains these findings together: {', '.join(evidence)}."
            raise ContradictionError(text)
        # Rounding leaves a state that is ruled out a hair below zero.
        marginals = {id_: np.maximum(batch.marginal(id_)[0], 0.0) for id_ in self.system.nodes}
        return marginals, math.log(total)

    def _beliefs(self, marginals: Mapping[str, Array]) -> tuple[Belief, ...]:
        beliefs = [
            Belief(
                fault=fault,
                probability=min(1.0, float(marginals[fault][1:].sum())),
                prior=float(1.0 - self.priors[fault][0]),
                states=dict(zip(node.state_ids, map(float, marginals[fault]), strict=True)),
            )
            for fault, node in self.system.faults.items()
        ]
        return tuple(sorted(beliefs, key=lambda b: (-b.probability, b.fault)))

    def _one_by_one(
        self, findings: Sequence[Finding]
    ) -> tuple[Mapping[str, Array], Mapping[str, Array], list[Array]]:
        """Return every fault's chance with each finding alone, and with each left out.

        Third: what the others expect of the variable that each finding bears on.
        """
        if not findings:
            return {}, {}, []
        n = len(findings)
        given: dict[str, Array] = {}
        for k, finding in enumerate(findings):
            size = len(finding.likelihood)
            product = given.setdefault(finding.variable, np.ones((2 * n, size)))
            counts = np.concatenate([np.arange(n) == k, np.arange(n) != k])
            product[counts] *= np.array(finding.likelihood)
        targets = dict.fromkeys([*self.sizes, *(f.variable for f in findings)])
        batch = self.elimination.ask(given, targets, 2 * n)
        present = {fault: 1.0 - batch.marginal(fault)[:, 0] for fault in self.sizes}
        alone = {fault: p[:n] for fault, p in present.items()}
        without = {fault: p[n:] for fault, p in present.items()}
        return alone, without, [batch.marginal(f.variable)[n + k] for k, f in enumerate(findings)]

    def _moves(
        self,
        findings: Sequence[Finding],
        marginals: Mapping[str, Array],
        alone: Mapping[str, Array],
        without: Mapping[str, Array],
    ) -> tuple[Move, ...]:
        moves = []
        for fault in without:
            now = _log_odds(float(1.0 - marginals[fault][0]))
            before = _log_odds(float(1.0 - self.priors[fault][0]))
            for k, finding in enumerate(findings):
                first = _log_odds(float(alone[fault][k])) - before
                last = now - _log_odds(float(without[fault][k]))
                if abs(moved := (first + last) / 2.0) >= _TOLD:
                    moves.append(Move(finding=finding.id, fault=fault, log_odds=moved))
        return tuple(moves)

    def _conflicts(
        self, findings: Sequence[Finding], expected: Sequence[Array]
    ) -> tuple[Conflict, ...]:
        conflicts = []
        for finding, states in zip(findings, expected, strict=True):
            # P(finding | the others) beside the same for the state that they expect most.
            fits = float(states @ np.array(finding.likelihood)) / float(states.max())
            if min(fits, finding.fit) >= _SURPRISE:
                continue
            text = (
                "fits no state that is known"
                if finding.fit < fits
                else "hardly fits the rest of the evidence; look at it again or repeat it"
            )
            conflicts.append(
                Conflict(finding=finding.id, expected=min(fits, finding.fit), text=text)
            )
        return tuple(sorted(conflicts, key=lambda c: c.expected))


def _log_odds(p: float) -> float:
    p = min(max(p, 1e-12), 1.0 - 1e-12)
    return math.log(p / (1.0 - p))
