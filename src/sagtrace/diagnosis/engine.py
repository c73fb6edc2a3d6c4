"""Exact inference, behind a typed face. The only module that knows pyAgrum.

pyAgrum traps that are handled here (see docs/adr): an unnormalised table is renormalised in
silence, so every table is checked first; evidence must be plain Python numbers; evidence
that nothing explains raises deep inside; engines do not pickle, so they are made on demand.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pyagrum
from numpy.typing import NDArray

from sagtrace.diagnosis.network import Network
from sagtrace.errors import ContradictionError, InputError

__all__ = ["Engine", "Posterior", "Solver"]

Array = NDArray[np.float64]
Evidence = Mapping[str, Array]  # variable -> likelihood of each of its states


@dataclass(frozen=True, kw_only=True)
class Posterior:
    """What follows from some evidence: its probability, and a distribution for each target."""

    log_evidence: float
    marginals: Mapping[str, Array]


class Engine:
    """Exact posteriors of one network."""

    def __init__(self, network: Network) -> None:
        self.network = network
        self._states = network.states()
        # The library reads some characters in a name as syntax, so variables go by number.
        self._names = {variable: f"v{i}" for i, variable in enumerate(self._states)}
        self._net = self._build()

    def _build(self) -> Any:
        net = pyagrum.BayesNet()
        for table in self.network.tables:
            if not np.allclose(table.values.sum(axis=-1), 1.0, rtol=0.0, atol=1e-9):
                raise InputError(f"the table of {table.child} does not add up to 1.")
            name = self._names[table.child]
            net.add(pyagrum.LabelizedVariable(name, name, len(table.states)))
        for table in self.network.tables:
            child = self._names[table.child]
            parents = [self._names[parent] for parent in table.parents]
            for parent in parents:
                net.addArc(parent, child)
            axes = {name: axis for axis, name in enumerate((*parents, child))}
            cpt = net.cpt(child)
            order = [axes[name] for name in reversed(cpt.names)]
            cpt[:] = np.ascontiguousarray(np.transpose(table.values, order))
        return net

    def solver(self, targets: Iterable[str]) -> Solver:
        """Return a solver for the marginals of these variables."""
        return Solver(self, tuple(targets))

    def posterior(self, evidence: Evidence, targets: Iterable[str]) -> Posterior:
        """Return the exact posterior of the targets.

        Raises ContradictionError if the evidence has probability zero.
        """
        return self.solver(targets).posterior(evidence)


class Solver:
    """Repeated questions about the same targets; keeps what the library can reuse."""

    def __init__(self, engine: Engine, targets: tuple[str, ...]) -> None:
        self._names, self._states = engine._names, engine._states
        self._targets = targets
        self._engine = pyagrum.LazyPropagation(engine._net)
        self._engine.setTargets({self._names[target] for target in targets})

    def posterior(self, evidence: Evidence) -> Posterior:
        """Return the exact posterior of the targets under this evidence."""
        given = {
            self._names[variable]: self._finding(variable, likelihood)
            for variable, likelihood in evidence.items()
        }
        try:
            self._engine.setEvidence(given)
            self._engine.makeInference()
            log_evidence = math.log(self._engine.evidenceProbability()) if given else 0.0
        except (pyagrum.IncompatibleEvidence, ValueError) as err:
            names = ", ".join(evidence)
            text = f"nothing explains these findings together: {names}."
            raise ContradictionError(text) from err
        return Posterior(
            log_evidence=log_evidence,
            marginals={t: self._engine.posterior(self._names[t]).toarray() for t in self._targets},
        )

    def _finding(self, variable: str, likelihood: Array) -> int | list[float]:
        if len(likelihood) != len(self._states[variable]):
            states = len(self._states[variable])
            raise InputError(f"{variable}: {len(likelihood)} likelihoods for {states} states.")
        (possible,) = np.nonzero(likelihood)
        if not len(possible):
            raise ContradictionError(f"no state of {variable} explains what was found there.")
        if len(possible) == 1 and likelihood[possible[0]] == 1.0:
            return int(possible[0])  # hard evidence cuts the graph, which soft evidence does not
        return [float(value) for value in likelihood]
