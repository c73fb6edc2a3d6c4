"""All calculators, by id."""

from __future__ import annotations

from collections.abc import Mapping

from sagtrace.app.calculators.air import air_calculators
from sagtrace.app.calculators.converting import converters
from sagtrace.app.calculators.electric import ELECTRIC
from sagtrace.app.calculators.records import Calculator
from sagtrace.vehicle.layouts import Layout

__all__ = ["all_calculators"]


def all_calculators(layout: Layout, tight: str) -> Mapping[str, Calculator]:
    """Return every calculator; what is assumed of a vehicle is that of `layout`.

    `tight` is the leak that a repaired spring must stay below, as typed.
    """
    found = (*air_calculators(layout, tight), *ELECTRIC, *converters())
    return {calculator.id: calculator for calculator in found}
