"""One check performed on a vehicle in the bay, with the errors that people and signs have.

A check that asks for a number is read off the plant with instruments (`readings`, `instruments`).
An observation is drawn from the row of the knowledge that fits what is true. Where the plant shows
the outcome itself (`seen`) and the fitting row mostly says another one, the plant wins: the answer
is drawn from the first row that mostly says what is there to be seen, and the answer tells of the
disagreement. A story, a sight or a film of soap follows its row.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TypeAlias

import numpy as np

from sagtrace.twin.bay.hidden import pick
from sagtrace.twin.bay.instruments import USUAL, Person, typed
from sagtrace.twin.bay.readings import READINGS
from sagtrace.twin.bay.seen import SEEN
from sagtrace.twin.bay.vehicle import BayVehicle
from sagtrace.vehicle.checks import Check, Row
from sagtrace.vehicle.system import base_id, corner_of

__all__ = ["Answer", "fitting_row", "perform", "shown_by_plant", "usual_outcome"]

Generator: TypeAlias = np.random.Generator

# A person whose pump stays silent for want of voltage says so, and does not call it weak.
NEEDS_FEED = (
    "dryer.compare", "intake.off", "outlet.running", "pressure-sensor.gauge", "pump.back-flow",
    "pump.bare-fill", "reservoir-valve.flow", "soap.supply-line",
)  # fmt: skip
NO_FEED = "no voltage reaches the pump"


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What a person enters for a check: an outcome, or values as typed; or why there is nothing.

    What is behind the answer is for whoever compares, not for the person.
    """

    check: str
    outcome: str = ""
    values: Mapping[str, str] = field(default_factory=dict)
    nothing: str = ""  # why the vehicle gives this check nothing to answer
    slipped: bool = False  # a number is simply wrong
    shown: str = ""  # what a perfect observer would answer, where the plant tells
    row: int = -1  # the row that fits what is true

    @property
    def is_given(self) -> bool:
        """Whether there is something to enter."""
        return not self.nothing


def fitting_row(vehicle: BayVehicle, check: Check) -> int:
    """Return the place of the first row that fits the true states."""
    for i, row in enumerate(check.rows):
        if all(_fits(wanted, vehicle.true(node)) for node, wanted in row.when.items()):
            return i
    raise AssertionError(
        f"{check.id}: no row fits"
    )  # the audit asks for a last one that always does


def _fits(wanted: str | tuple[str, ...], state: str) -> bool:
    return state == wanted if isinstance(wanted, str) else state in wanted


def shown_by_plant(vehicle: BayVehicle, check: Check) -> str:
    """Return what a perfect observer would answer; empty where the plant does not tell.

    It does not tell of a node whose state comes from beside the plant.
    """
    see = SEEN.get(base_id(check.id))
    nodes = {node for row in check.rows for node in row.when}
    if see is None or any(vehicle.is_beside(node) for node in nodes):
        return ""
    return vehicle.runs.keep(("seen", check.id), lambda: see(vehicle.runs, corner_of(check.id)))


def _is_fed(vehicle: BayVehicle) -> bool:
    return vehicle.runs.bench.fed and vehicle.runs.bench.obeys


def usual_outcome(row: Row) -> str:
    """Return the outcome that a row mostly shows."""
    return max(row.shows, key=lambda outcome: row.shows[outcome])


def perform(
    vehicle: BayVehicle, check_id: str, rng: Generator, *, person: Person = USUAL
) -> Answer:
    """Return a person's answer to a check. Raises UnknownIdError for a check that is none."""
    check = vehicle.system.check(check_id)
    if check.measure is not None:
        true = READINGS[base_id(check_id)](vehicle.runs, corner_of(check_id), rng)
        if isinstance(true, str):
            return Answer(check=check_id, nothing=true)
        values, slipped = typed(check.measure, true, rng, person)
        return Answer(check=check_id, values=values, slipped=slipped)
    if base_id(check_id) in NEEDS_FEED and not _is_fed(vehicle):
        return Answer(check=check_id, nothing=NO_FEED)
    at = fitting_row(vehicle, check)
    shown = shown_by_plant(vehicle, check)
    row = check.rows[at]
    if shown and shown != usual_outcome(row):
        # Nobody errs towards the truth: the row of what is there to be seen says how people err.
        others = (r for r in check.rows if usual_outcome(r) == shown)
        row = next(others, Row(when={}, shows={shown: 1.0}, basis=row.basis))
    outcome = pick(row.shows, rng)
    return Answer(check=check_id, outcome=outcome, shown=shown, row=at)
