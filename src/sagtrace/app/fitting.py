"""A recording of a job's vehicle fitted with the virtual vehicle of its layout.

The vehicle's facts become the assumed vehicle, their spreads what is known of it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from sagtrace.evidence.facts import Facts
from sagtrace.physics.estimate import Estimate
from sagtrace.signals.averaged import averaged
from sagtrace.signals.trace import Trace
from sagtrace.twin.identify.result import Fit, Tape
from sagtrace.twin.layouts import parameters_from_layout
from sagtrace.vehicle.layouts import Layout

if TYPE_CHECKING:  # because the compiler takes longer to import than most commands take
    from sagtrace.twin.virtual import VirtualKnowledge

__all__ = ["VirtualFitter"]

MOST_SAMPLES = 400_000  # [-] chosen: ten times a second for eleven hours; a fit averages far more
SEED = 1  # [-] any: the same recording shall give the same fit
FREE = 0.5  # [-] chosen: of a load that is known only through pressure and area
SMALLEST = 0.01  # [-] chosen: nobody knows a geometry better


@dataclass(frozen=True, slots=True, kw_only=True)
class VirtualFitter:
    """A `Fitter` over the data of the virtual vehicles.

    `known` gives the data when it is needed; `keep` returns the fit of a key, kept or worked out;
    `ready` is called before one is worked out.
    """

    known: Callable[[], VirtualKnowledge]
    keep: Callable[[str, Callable[[], Fit]], Fit]
    ready: Callable[[], None] = lambda: None

    def fit(
        self, layout: Layout, facts: Facts, trace: Trace, key: str, tapes: Sequence[Tape] = ()
    ) -> Fit:
        """Return the fit; raise EvidenceError with the reason if there can be none."""
        return self.keep(key, lambda: self._work_out(layout, facts, trace, tapes))

    def _work_out(self, layout: Layout, facts: Facts, trace: Trace, tapes: Sequence[Tape]) -> Fit:
        self.ready()
        from sagtrace.twin.identify.fit import fit
        from sagtrace.twin.identify.unknowns import Spreads

        values = {name: fact.value for name, fact in facts.values.items()}
        base = parameters_from_layout(self.known().vehicles[layout.id], layout, values)
        spreads = Spreads(
            area=_relative(facts.values, "spring-area"),
            volume=_relative(facts.values, "spring-volume"),
            lever=_relative(facts.values, "lever-ratio"),
            load=FREE,
            pressure=_relative(facts.values, "spring-pressure"),
        )
        seen = averaged(trace, MOST_SAMPLES)
        return fit(base, seen, np.random.default_rng(SEED), spreads=spreads, tapes=tapes)


def _relative(facts: Mapping[str, Estimate], name: str) -> float:
    return max(facts[name].std / facts[name].value, SMALLEST)
