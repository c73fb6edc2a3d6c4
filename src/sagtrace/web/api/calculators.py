"""Calculators: single kernels without a job. Values are typed texts in the address."""

from __future__ import annotations

from fastapi import APIRouter, Request
from pydantic import BaseModel, Field

from sagtrace.app.calculators.records import Calculated, Calculator, ask
from sagtrace.app.desk import Desk
from sagtrace.errors import InputError, UnknownIdError
from sagtrace.units import Reader
from sagtrace.web.asking import Looked
from sagtrace.web.views.people import with_unit

__all__ = ["calculator", "router", "typed_in"]

router = APIRouter(tags=["calculators"])

_NOT_FIELDS = ("go", "units")


class FieldAnswer(BaseModel):
    """One thing that a calculator asks."""

    id: str
    ask: str
    kind: str
    unit: str = Field(description="Taken for a bare number")
    default: str = Field(description="As typed; taken if nothing is said")
    required: bool
    basis: str
    choices: dict[str, str]


class CalculatorAnswer(BaseModel):
    """One calculator."""

    id: str
    name: str
    group: str
    about: str
    formula: str
    source: str
    assumes: str
    fields: list[FieldAnswer]

    @classmethod
    def of(cls, calculator: Calculator) -> CalculatorAnswer:
        """Return the answer for a calculator."""
        texts = ("id", "name", "group", "about", "formula", "source", "assumes")
        fields = [
            FieldAnswer(
                id=f.id, ask=f.ask, kind=f.kind, unit=f.unit, default=f.default,
                required=f.required and not f.default, basis=f.basis, choices=dict(f.choices),
            )
            for f in calculator.fields
        ]  # fmt: skip
        return cls(fields=fields, **{name: getattr(calculator, name) for name in texts})


class ResultAnswer(BaseModel):
    """One result; between `low` and `high` lies the true value with 95 %."""

    name: str
    value: float | None
    low: float | None
    high: float | None
    unit: str
    text: str
    caveats: list[str]


class CalculatedAnswer(BaseModel):
    """What a calculator makes of what was typed."""

    calculator: str
    results: list[ResultAnswer]
    assumed: list[str] = Field(description="Fields whose default was taken")


def calculator(desk: Desk, name: str) -> Calculator:
    """Return a calculator; raise UnknownIdError if there is none."""
    known = desk.calculators
    if name not in known:
        raise UnknownIdError("calculator", name, known)
    return known[name]


def typed_in(request: Request, found: Calculator) -> dict[str, str]:
    """Return what the address says of the fields.

    With `units=imperial` in it a bare number is in the unit that people read who think in inches.
    """
    said = {name: text for name, text in request.query_params.items() if name not in _NOT_FIELDS}
    reader = Reader(imperial=request.query_params.get("units") == "imperial")
    units = {f.id: f.unit for f in found.fields if reader.unit(f.unit) != f.unit}
    return {
        name: with_unit(text, reader.unit(units[name])) if name in units else text
        for name, text in said.items()
    }


@router.get("/calculators")
def list_calculators(look: Looked) -> list[CalculatorAnswer]:
    """List every calculator with what it asks."""
    return [CalculatorAnswer.of(found) for found in look.desk.calculators.values()]


@router.get("/calculators/{name}")
def read_calculator(look: Looked, name: str) -> CalculatorAnswer:
    """Return what a calculator asks."""
    return CalculatorAnswer.of(calculator(look.desk, name))


@router.get("/calculators/{name}/result")
def calculate(look: Looked, name: str, request: Request) -> CalculatedAnswer:
    """Return what a calculator makes of the fields in the address."""
    found = calculator(look.desk, name)
    return _answer(_ask(found, typed_in(request, found)))


def _ask(found: Calculator, typed: dict[str, str]) -> Calculated:
    done = ask(found, typed)
    if done.problems:
        raise InputError(" ".join(done.problems.values()))
    return done


def _answer(done: Calculated) -> CalculatedAnswer:
    results = [
        ResultAnswer(
            name=a.name, value=a.value, low=a.low, high=a.high, unit=a.unit, text=a.text,
            caveats=list(a.caveats),
        )
        for a in done.answers
    ]  # fmt: skip
    return CalculatedAnswer(
        calculator=done.calculator.id, results=results, assumed=list(done.assumed)
    )
