"""What a calculator asks, and what it answers.

Texts come in as a person types them and are read by `units.parse_quantity`; what is left out is
either assumed, with a spread that the answer shows, or asked for.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sagtrace.errors import DomainError, InputError, SagtraceError, UnknownIdError
from sagtrace.evidence.facts import spread_to_si
from sagtrace.physics.estimate import Estimate, propagate
from sagtrace.report.words import between
from sagtrace.units import KINDS, format_quantity, from_si, parse_quantity

__all__ = ["Answer", "ask", "Calculated", "Calculator", "Field", "Given", "shown", "through"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """One thing that a calculator asks: a number of a kind, or one of `choices`."""

    id: str
    ask: str
    kind: str = ""  # of units.KINDS; empty for a choice
    unit: str = ""  # taken for a bare number
    default: str = ""  # as typed; taken if nothing is said
    required: bool = True  # asked for if there is no default
    error: float = 0.0  # one standard deviation of the usual way of measuring, in `unit`
    basis: str = ""  # where the default comes from
    hint: str = ""  # the default as people read it, where that differs from how it is typed
    choices: tuple[tuple[str, str], ...] = ()  # id and what it means


@dataclass(frozen=True, slots=True, kw_only=True)
class Given:
    """What was said, in SI."""

    numbers: Mapping[str, Estimate]
    choices: Mapping[str, str]
    assumed: tuple[str, ...]  # fields whose default was taken


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """One result. `low` and `high` hold the true value with 95 %, unless `text` says otherwise."""

    name: str
    value: float | None  # in `unit`; None where only the interval is known
    low: float | None  # in `unit`; None: no lower limit
    high: float | None  # in `unit`; None: no upper limit
    unit: str
    text: str  # finished, with unit and spread
    caveats: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Calculator:
    """One small question."""

    id: str
    name: str
    group: str
    about: str  # when it helps
    formula: str
    source: str
    assumes: str
    fields: tuple[Field, ...]
    work: Callable[[Given], tuple[Answer, ...]]
    converts: bool = False  # its answers are in units that it names itself


@dataclass(frozen=True, slots=True, kw_only=True)
class Calculated:
    """The answers, or what is wrong with what was typed, by field; "" for all together."""

    calculator: Calculator
    typed: Mapping[str, str]
    answers: tuple[Answer, ...] = ()
    problems: Mapping[str, str] = field(default_factory=dict)
    assumed: tuple[str, ...] = ()


def ask(calculator: Calculator, typed: Mapping[str, str]) -> Calculated:
    """Return the answers to what was typed; never raises for what a person may type."""
    known = {f.id: f for f in calculator.fields}
    numbers: dict[str, Estimate] = {}
    choices: dict[str, str] = {}
    problems: dict[str, str] = {}
    assumed = []
    for name in typed:
        if name not in known:
            problems[""] = str(UnknownIdError(f"field of {calculator.id},", name, known))
    barometer = _barometer(known, typed)
    for f in calculator.fields:
        said = typed.get(f.id, "").strip()
        if not said and f.default:
            said = f.default
            assumed.append(f.id)
        try:
            if f.choices:
                choices[f.id] = _chosen(f, said)
            elif said:
                numbers[f.id] = _read(f, said, barometer)
            elif f.required:
                raise InputError(f"{f.ask}: needed, in {f.unit or KINDS[f.kind].expected}.")
        except InputError as err:
            problems[f.id] = str(err)
    if problems:
        return Calculated(calculator=calculator, typed=dict(typed), problems=problems)
    given = Given(numbers=numbers, choices=choices, assumed=tuple(assumed))
    try:
        answers = calculator.work(given)
    except SagtraceError as err:
        where = err.name if isinstance(err, DomainError) and err.name in known else ""
        problems[where] = str(err)
        return Calculated(calculator=calculator, typed=dict(typed), problems=problems)
    return Calculated(
        calculator=calculator, typed=dict(typed), answers=answers, assumed=given.assumed
    )


def _barometer(known: Mapping[str, Field], typed: Mapping[str, str]) -> float | None:
    """Return the air pressure outside, with which a gauge pressure may be typed as absolute."""
    if "barometer" not in known:
        return None
    said = typed.get("barometer", "").strip() or known["barometer"].default
    try:
        return _read(known["barometer"], said, None).value
    except InputError:
        return None  # said where the field itself is read


def _chosen(f: Field, said: str) -> str:
    ids = [choice for choice, _ in f.choices]
    if said not in ids:
        raise UnknownIdError(f.ask, said, ids)
    return said


def _read(f: Field, said: str, barometer: float | None) -> Estimate:
    q = parse_quantity(said, f.kind, name=f.ask, default_unit=f.unit or None, barometer=barometer)
    by_hand = spread_to_si(f.error, f.unit) if f.error else 0.0
    return Estimate(value=q.value, std=math.hypot(q.std, by_hand), unit=KINDS[f.kind].si_unit)


def shown(name: str, estimate: Estimate, unit: str, *, at_least: bool = False) -> Answer:
    """Return an estimate as an answer in `unit`, with its 95 % interval."""
    low, high = (from_si(end, unit) for end in estimate.interval())
    exact = estimate.std == 0.0
    text = f"{from_si(estimate.value, unit):.6g} {unit}".rstrip()
    if not exact:
        text = f"{format_quantity(estimate.value, estimate.std, unit)}"
        text += f" (95 %: {between(low, high, unit).rstrip()})"
    return Answer(
        name=name,
        value=from_si(estimate.value, unit),
        low=low,
        high=None if at_least else high,
        unit=unit,
        text=f"at least {text}" if at_least else text,
        caveats=tuple(c.text for c in estimate.caveats),
    )


def through(
    given: Given, names: Sequence[str], function: Callable[[Array], Any], unit: str
) -> Estimate:
    """Return what a formula makes of these numbers, with the spread that they give it."""
    inputs = [given.numbers[name] for name in names]
    value, std = propagate(function, [e.value for e in inputs], [e.std**2 for e in inputs])
    return Estimate(value=value, std=std, unit=unit)
