"""Calculators: a small form each, whose address holds everything that was typed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from sagtrace.app.calculators.records import Answer, Calculator, Field, ask
from sagtrace.units import Own, Reader
from sagtrace.web.api.calculators import calculator, typed_in
from sagtrace.web.asking import Asked
from sagtrace.web.pages.page import Frame, show
from sagtrace.web.views.people import Person, with_unit
from sagtrace.web.words import _

__all__ = ["router"]

router = APIRouter()


@dataclass(frozen=True, slots=True, kw_only=True)
class ShelfPage:
    """Everything that calculators.html may use."""

    groups: tuple[tuple[str, tuple[Calculator, ...]], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldRow:
    """One field of the form, with what was typed and what is wrong with it."""

    id: str
    ask: str
    unit: str
    typed: str
    placeholder: str
    note: str
    required: bool
    problem: str
    choices: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class CalculatorPage:
    """Everything that calculator.html may use."""

    calculator: Calculator
    about: str  # when it helps
    imperial: bool  # a bare number is in inches, psi, °F
    measured: tuple[FieldRow, ...]  # what has to be typed
    assumed: tuple[FieldRow, ...]  # what is taken as assumed if nothing is typed
    open: bool  # whether something of the assumed was typed
    answers: tuple[Answer, ...]
    caveats: tuple[str, ...]
    problem: str  # of all fields together
    address: str  # of this result; empty if there is none


@router.get("/calculators")
def shelf(request: Request, ask: Asked) -> HTMLResponse:
    """Show all calculators."""
    groups: dict[str, list[Calculator]] = {}
    for found in ask.desk.calculators.values():
        groups.setdefault(found.group, []).append(found)
    page = ShelfPage(groups=tuple((name, tuple(some)) for name, some in groups.items()))
    return show(
        request, "calculators.html", Frame(title=_("Calculators"), here="calculators"), page
    )


@router.get("/calculators/{name}")
def one(request: Request, asked: Asked, name: str) -> HTMLResponse:
    """Show a calculator, with its answer if the address holds what it needs."""
    found = calculator(asked.desk, name)
    person, typed = Person.of(request), typed_in(request, found)
    # A converter shows all units, and an address says in which its bare numbers were typed.
    imperial = not found.converts and (
        request.query_params.get("units") == "imperial" if typed else person.imperial
    )
    reader = Reader(imperial=imperial)
    sent = bool(typed) or "go" in request.query_params
    done = ask(found, typed)
    problems = done.problems if sent else {}
    rows = [_row(f, typed, problems, reader) for f in found.fields]
    ready = [bool(f.default) and not f.choices for f in found.fields]
    page = CalculatorPage(
        calculator=found,
        measured=tuple(r for r, later in zip(rows, ready, strict=True) if not later),
        assumed=tuple(r for r, later in zip(rows, ready, strict=True) if later),
        open=any(r.typed or r.problem for r, later in zip(rows, ready, strict=True) if later),
        answers=tuple(
            replace(a, text=Own(person.number(a.text))) if found.converts else a
            for a in done.answers
        ),
        about=Own(found.about) if found.converts else found.about,
        imperial=imperial,
        caveats=tuple(dict.fromkeys(c for a in done.answers for c in a.caveats)),
        problem=problems.get("", ""),
        address=str(request.url) if done.answers and sent else "",
    )
    frame = Frame(title=found.name, here="calculators")
    return show(request, "calculator.html", frame, page)


def _row(
    f: Field, typed: Mapping[str, str], problems: Mapping[str, str], reader: Reader
) -> FieldRow:
    return FieldRow(
        id=f.id,
        ask=f.ask,
        unit=reader.unit(f.unit),
        typed=typed.get(f.id, f.default if f.choices else ""),
        placeholder=f.hint or (f.default if f.choices else with_unit(f.default, f.unit)),
        note=f.basis,
        required=f.required and not f.default,
        problem=problems.get(f.id, ""),
        choices=f.choices,
    )
