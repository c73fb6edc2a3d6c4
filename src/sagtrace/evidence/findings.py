"""An entry of the job becomes a finding: a likelihood for every state of what it looked at.

An outcome is evidence about the check itself (the network knows how often each state shows
it); a number is evidence about the quantity of a node, through physics.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sagtrace.errors import DomainError, InputError, UnknownIdError
from sagtrace.evidence.facts import Facts, spread_to_si
from sagtrace.evidence.likelihood import at_least_likelihoods, fit_of_best_state, state_likelihoods
from sagtrace.evidence.models import MODELS, Measured
from sagtrace.physics.estimate import Caveat, Estimate
from sagtrace.units import KINDS, format_quantity, from_si, parse_quantity, to_si
from sagtrace.vehicle.checks import Check, Input
from sagtrace.vehicle.job import NOT_DONE, Entry
from sagtrace.vehicle.nodes import Node, Quantity
from sagtrace.vehicle.readings import Reading
from sagtrace.vehicle.system import System

__all__ = [
    "check_leaf",
    "combined",
    "find",
    "Finding",
    "quantity_finding",
    "read_given",
    "read_inputs",
]

Array = NDArray[np.float64]

_LEAST_STD = 1e-9  # chosen: in the quantity's unit; far below what any instrument shows
_FITS_NOTHING = 0.001  # chosen: rarer than this in every state, the number is pointed out


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """What one piece of evidence says.

    `target` is the variable that it bears on (a node, or `check:` and the check's id) and
    `likelihood` how well each of its states explains the evidence, the best scaled to 1.
    """

    id: str  # of the entry or of the recording's part
    source: str  # id of the check, or of the recording
    name: str  # what was done, for people
    text: str  # what came out, for people
    target: str
    likelihood: tuple[float, ...]
    estimate: Estimate | None = None  # in the unit of the node's quantity
    readings: tuple[Reading, ...] = ()
    caveats: tuple[Caveat, ...] = ()
    fit: float = 1.0  # 1: some state explains it well; near 0: none does
    after: int = 0  # so many works were done before it was found
    past: str = ""  # the version of the target that it bears on, if a work has changed that since

    @property
    def variable(self) -> str:
        """The version of the target that it bears on."""
        return self.past or self.target


def check_leaf(check_id: str) -> str:
    """Return the name of the variable that holds the outcome of a check."""
    return f"check:{check_id}"


def _reading(entry: Entry, slot: Input, typed: str, barometer: float) -> Reading:
    q = parse_quantity(
        typed,
        slot.kind,
        name=f"{entry.check}, {slot.name}",
        default_unit=slot.unit,
        barometer=barometer,
    )
    shown = from_si(q.value, slot.unit)
    low = -math.inf if slot.at_least is None else slot.at_least
    high = math.inf if slot.at_most is None else slot.at_most
    if not low <= shown <= high:
        rule = f"between {low:g} and {high:g} {slot.unit}"
        hint = "Measured in another unit? Write the unit with the number."
        raise DomainError(f"{entry.check}, {slot.name}", shown, slot.unit, rule, hint)
    by_hand = spread_to_si(slot.error, slot.unit)
    return Reading(
        name=slot.name,
        kind=slot.kind,
        value=q.value,
        std=float(np.hypot(q.std, by_hand)),
        resolution=q.resolution,
        text=typed,
        instrument=entry.instrument,
        taken_at=entry.at,
        supersedes=entry.supersedes,
    )


def read_given(check: Check, entry: Entry, facts: Facts) -> tuple[Reading, ...]:
    """Return the numbers that are there so far as readings in SI.

    Raises UnknownIdError if one is given that the check does not take, InputError if it takes
    none at all, and what `units.parse_quantity` raises.
    """
    _refuse_unknown(check, entry)
    slots = {slot.name: slot for slot in check.measure.inputs} if check.measure else {}
    barometer = facts.values["barometer"].value
    return tuple(
        _reading(entry, slots[name], typed, barometer) for name, typed in entry.values.items()
    )


def _refuse_unknown(check: Check, entry: Entry) -> None:
    if check.measure is None:
        if entry.values:
            names = ", ".join(outcome.id for outcome in check.outcomes)
            raise InputError(f"{check.id} asks for one of its outcomes, not for numbers: {names}.")
        return
    names_of_slots = [slot.name for slot in check.measure.inputs]
    for name in entry.values:
        if name not in names_of_slots:
            raise UnknownIdError(f"value of {check.id},", name, names_of_slots)


def read_inputs(check: Check, entry: Entry, facts: Facts) -> tuple[Reading, ...]:
    """Return the entry's numbers as readings in SI.

    Raises InputError if a number that the check needs is missing, and what `read_given` raises.
    """
    assert check.measure is not None
    _refuse_unknown(check, entry)
    slots = check.measure.inputs
    if missing := [s for s in slots if s.required and s.name not in entry.values]:
        wanted = "; ".join(f"{slot.name} ({slot.ask}, in {slot.unit})" for slot in missing)
        raise InputError(f"{check.id} also needs: {wanted}.")
    return read_given(check, entry, facts)


def quantity_finding(
    *,
    id: str,  # noqa: A002
    source: str,
    name: str,
    node: Node,
    measured: Measured,
    gross_error: float,
    readings: tuple[Reading, ...] = (),
) -> Finding:
    """Return the finding of a number: how well each state of the node explains it."""
    quantity = node.quantity
    assert quantity is not None
    value = from_si(measured.estimate.value, quantity.unit)
    # A spread has no zero point: what °C adds to a value does not count.
    std = from_si(measured.estimate.std, quantity.unit) - from_si(0.0, quantity.unit)
    std = max(std, _LEAST_STD)
    caveats = measured.estimate.caveats
    if measured.at_least:
        density = at_least_likelihoods(quantity, value, std, gross_error)
        fit = 1.0
    else:
        density = state_likelihoods(quantity, value, std, gross_error)
        fit = fit_of_best_state(quantity, value, std)
    likelihood = dict(zip(quantity.states, density, strict=True))
    if fit < _FITS_NOTHING:
        text = "This number fits no state that is known: misread, or the vehicle data are off."
        caveats = (*caveats, Caveat(code="fits-nothing", text=text))
        # What no state explains says nothing about which one it is.
        likelihood = dict.fromkeys(likelihood, 1.0)
    best = max(likelihood, key=lambda state: likelihood[state])
    says = (
        "fits no state that is known"
        if fit < _FITS_NOTHING
        else "reads like: " + next(state.text for state in node.states if state.id == best)
    )
    return Finding(
        id=id,
        source=source,
        name=name,
        text=f"{_shown(quantity, value, std, measured.at_least)}; {says}",
        target=node.id,
        likelihood=tuple(float(likelihood[state]) for state in node.state_ids),
        estimate=Estimate(value=value, std=std, unit=quantity.unit, caveats=caveats),
        readings=readings,
        caveats=caveats,
        fit=fit,
    )


def _shown(quantity: Quantity, value: float, std: float, at_least: bool) -> str:
    shown = format_quantity(
        to_si(value, quantity.unit), spread_to_si(std, quantity.unit), quantity.unit
    )
    return f"{quantity.name} {'at least ' if at_least else ''}{shown}"


def find(system: System, entry: Entry, facts: Facts) -> Finding:
    """Return what an entry says.

    Raises UnknownIdError for a check or an outcome that does not exist, and what
    `read_inputs` and the evidence models raise.
    """
    check = system.check(entry.check)
    if entry.outcome == NOT_DONE:
        return _not_done(system, check, entry)
    if check.measure is None:
        return _outcome(check, entry)
    if entry.outcome:
        raise InputError(
            f"{check.id} asks for numbers, not for an outcome such as {entry.outcome!r}."
        )
    readings = read_inputs(check, entry, facts)
    given = {
        r.name: Estimate(value=r.value, std=r.std, unit=KINDS[r.kind].si_unit) for r in readings
    }
    measured = MODELS[check.measure.model].compute(given, facts.values)
    return quantity_finding(
        id=entry.id,
        source=check.id,
        name=check.name,
        node=system.nodes[check.measure.node],
        measured=measured,
        gross_error=check.measure.gross_error,
        readings=readings,
    )


def _not_done(system: System, check: Check, entry: Entry) -> Finding:
    """Return that a check could not be done, which says nothing about the vehicle."""
    if entry.values:
        raise InputError(f"{check.id} was either measured or not done; leave one of them out.")
    if not entry.note.strip():
        raise InputError(f"say in the note why {check.id} could not be done.")
    node = check.measure.node if check.measure else ""
    size = len(system.nodes[node].state_ids) if node else len(check.outcomes)
    return Finding(
        id=entry.id,
        source=check.id,
        name=check.name,
        text=f"could not be done: “{entry.note.strip()}”",
        target=node or check_leaf(check.id),
        likelihood=(1.0,) * size,
    )


def _outcome(check: Check, entry: Entry) -> Finding:
    outcomes = {outcome.id: outcome for outcome in check.outcomes}
    _refuse_unknown(check, entry)
    if entry.outcome not in outcomes:
        raise UnknownIdError(f"outcome of {check.id},", entry.outcome, outcomes)
    return Finding(
        id=entry.id,
        source=check.id,
        name=check.name,
        text=outcomes[entry.outcome].text,
        target=check_leaf(check.id),
        likelihood=tuple(float(name == entry.outcome) for name in outcomes),
    )


def combined(findings: tuple[Finding, ...]) -> Mapping[str, Array]:
    """Return one likelihood a variable: the product of those that bear on it."""
    result: dict[str, Array] = {}
    for finding in findings:
        new = np.array(finding.likelihood, dtype=np.float64)
        name = finding.variable
        result[name] = result[name] * new if name in result else new
    return result
