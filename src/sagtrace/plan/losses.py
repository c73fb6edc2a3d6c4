"""What it costs to finish the job from any state of belief: the expected cost of repair.

The yardstick is a plain way of working: take the suspects in order of probability over cost,
look at each with the check that shows it best (or replace it outright where looking costs
more than it saves), repair what is found, go on while something may be left, and stop where
going on costs more than the come-back that it would prevent. For one fault and sure looks
this order is optimal (Kalagnanam and Henrion, 1990); otherwise it is an honest estimate that
moves smoothly with belief, which is what the choice of a check needs.

A reason that needs no part is explained and nothing else is done. If it was another one, the
vehicle goes out with its fault, so a wrong explanation costs a come-back.

Losses add up over faults, and the chance that something is left is taken as the sum of the
remaining probabilities, at most 1: exact for faults that exclude each other, careful otherwise.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sagtrace.diagnosis.outlook import Outlook
from sagtrace.repair.costs import check_cost, repair_cost
from sagtrace.vehicle.system import System

__all__ = ["Course", "expected_cost", "Losses", "losses_of"]

Array = NDArray[np.float64]

_FREE = 1e-9  # keeps a look or a repair that costs nothing from dividing by zero


@dataclass(frozen=True, slots=True, kw_only=True)
class Losses:
    """Costs of each fault in one currency; arrays of shape (faults,)."""

    look_by: tuple[str, ...]  # the open check that shows the fault best; empty if none is left
    look: Array  # what that check costs, infinite if none is left
    repair: Array  # of its cheapest repair, proof included, once it is found
    outright: Array  # of the same without a look, whether it is at fault or not
    missed: Array  # of leaving it, if it is present
    wrong: Array  # of repairing it outright, beyond that, if it is absent and something else is not


@dataclass(frozen=True, kw_only=True)
class Course:
    """The plain way of working for each of several beliefs; faults in their own order."""

    cost: Array  # expected, shape (beliefs,)
    order: NDArray[np.int64]  # indices of faults, shape (beliefs, faults)
    steps: NDArray[np.int64]  # how many of the order are worth doing, shape (beliefs,)
    outright: NDArray[np.bool_]  # in that order: repaired without a look


def expected_cost(losses: Losses, present: Array) -> Course:
    """Return cost and course for each row of P(fault present), shape (beliefs, faults)."""
    blind = losses.outright + (1.0 - present) * losses.wrong
    share = present / np.maximum(np.minimum(losses.look, blind), _FREE)
    order = np.argsort(-share, axis=1, kind="stable")
    p = np.take_along_axis(present, order, axis=1)
    look, repair, missed = losses.look[order], losses.repair[order], losses.missed[order]
    # What is left when a suspect's turn comes: itself and all behind it.
    left = np.minimum(1.0, np.cumsum(p[:, ::-1], axis=1)[:, ::-1])
    by_look = _spent(left, look) + p * repair
    by_repair = _spent(left, losses.outright[order]) + (left - p).clip(0.0) * losses.wrong[order]
    outright = by_repair < by_look
    done = np.cumsum(np.minimum(by_look, by_repair), axis=1)
    done = np.concatenate([np.zeros((len(p), 1)), done], axis=1)
    risk = p * missed
    rest = np.cumsum(risk[:, ::-1], axis=1)[:, ::-1]
    rest = np.concatenate([rest, np.zeros((len(p), 1))], axis=1)
    steps = np.argmin(done + rest, axis=1)
    cost = (done + rest)[np.arange(len(p)), steps]
    return Course(cost=cost, order=order, steps=steps, outright=outright)


def _spent(left: Array, cost: Array) -> Array:
    """Return what a step costs if something may be left; what never comes costs nothing."""
    return np.multiply(left, cost, out=np.zeros_like(left), where=left > 0.0)


def losses_of(system: System, outlook: Outlook, held: Iterable[str]) -> Losses:
    """Return the costs of every fault, with the open checks and the access states reached."""
    held = tuple(held)
    price = {check.id: check_cost(system, check, held) for check in system.checks.values()}
    shows = {check: outlook.shows(check) for check in outlook.chance}
    looks, repair, missed = [], [], []
    for i, fault_id in enumerate(outlook.faults):
        mend = min(
            repair_cost(system, r, held) for r in system.repairs.values() if fault_id in r.fixes
        )
        proof = system.proof_for(fault_id)
        looks.append(_clearest({check: float(s[i]) for check, s in shows.items()}, price))
        repair.append(mend + (price[proof.check] if proof else 0.0))
        missed.append(system.faults[fault_id].returns * (system.tariff.come_back + mend))
    return Losses(
        look_by=tuple(check for check, _ in looks),
        look=np.array([cost for _, cost in looks]),
        repair=np.array(repair),
        outright=np.array(repair),
        missed=np.array(missed),
        wrong=np.where(
            [system.faults[f].kind == "no-part" for f in outlook.faults],
            system.tariff.come_back,
            0.0,
        ),
    )


_CLEAR = 0.5  # chosen: a check that separates less than this does not stand for looking at a fault


def _clearest(showing: Mapping[str, float], price: Mapping[str, float]) -> tuple[str, float]:
    """Return the cheapest clear look at a fault; the clearer of two at one price."""
    offers = [(price[check] / s, check) for check, s in showing.items() if s >= _CLEAR]
    cost, check = min(offers, default=(np.inf, ""))
    return check, cost
