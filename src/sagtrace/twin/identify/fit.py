"""The virtual vehicle fitted to one recording: leak, pump and sensors at once, with their spread.

The plant is replayed through the recorded commands and compared with the heights; geometry, load
and the moments of the commands are unknown too, within what is known of them beforehand. The
result is a distribution, told as median, standard deviation and the interval that holds 95 %.
Assumes that nothing but the listed unknowns differs from the assumed vehicle. What does shows as
misfit: it widens every interval, and beyond `REFUSED` nothing is reported.
Limits: a leak between pump and spring valves, a choked dryer and a worn pump all mean less air
at the springs, so `pump` is what reaches them; a valve that leaks past its seat shows as a
leak of its corner.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from sagtrace.errors import EvidenceError
from sagtrace.signals.trace import Trace
from sagtrace.twin.identify.problem import Problem
from sagtrace.twin.identify.result import Fit, Tape
from sagtrace.twin.identify.solve import Solution, minimise
from sagtrace.twin.identify.told import told_by
from sagtrace.twin.identify.unknowns import Spreads
from sagtrace.twin.parameters import VehicleParameters

__all__ = ["fit", "search"]

Array = NDArray[np.float64]

REFUSED = 4.0  # [-] chosen: mean square misfit beyond which the model does not describe the vehicle
DOUBTFUL = 1.5  # [-] chosen: misfit beyond which other starts are tried
ENOUGH = 0.05  # [-] chosen: gain in the sum of squares; a tenth of it moves nothing by 0.2 std
OTHER_PUMPS = (-0.9, 0.0)  # [-] chosen: logarithms of the pump's share that other starts begin with


def fit(
    base: VehicleParameters,
    trace: Trace,
    rng: np.random.Generator,
    *,
    spreads: Spreads | None = None,
    tapes: Sequence[Tape] = (),
) -> Fit:
    """Return the fit of a vehicle to a recording.

    `base` is the vehicle as assumed, `spreads` how well that is known. Raises EvidenceError if
    the recording lacks what a fit needs or the model does not describe it.
    """
    problem = Problem(base, trace, spreads or Spreads(), tapes)
    solution = search(problem, problem.guess())
    if solution.misfit > REFUSED:
        raise EvidenceError(
            f"the virtual vehicle does not describe this recording (mean square misfit "
            f"{solution.misfit:.1f}; up to {REFUSED:g} is accepted), so no leak and no pump is "
            "read from it. Check the layout, the roles of the channels and the vehicle's data."
        )
    return told_by(problem, solution, rng)


def search(problem: Problem, start: Array) -> Solution:
    """Return the best solution found from this start, and from others if that one is doubtful."""
    prior = problem.unknowns.prior
    best = minimise(problem.residual, prior, start, enough=ENOUGH)
    if problem.leave_out(best.parameters):
        best = minimise(problem.residual, prior, best.parameters, enough=ENOUGH)
    if best.settled and best.misfit < DOUBTFUL:
        return best
    for pump in OTHER_PUMPS:
        other = problem.guess()
        other[problem.unknowns.at("pump")] = pump
        try:
            found = minimise(problem.residual, prior, other, enough=ENOUGH)
        except EvidenceError:  # the model cannot be run there
            continue
        if found.cost < best.cost:
            best = found
    return best
