"""A person with instruments: errors, resolution, slips, and the text that they type.

A reading is the true value with the error that the knowledge states for the input, rounded to what
the instrument shows. With the check's chance of a gross error one number of it is simply wrong:
misread, or taken at the wrong place.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final, TypeAlias

import numpy as np

from sagtrace.errors import DomainError
from sagtrace.units import from_si
from sagtrace.vehicle.checks import Input, Measure

__all__ = ["Person", "RESOLUTION", "SLIPS", "typed", "USUAL"]

Generator: TypeAlias = np.random.Generator


@dataclass(frozen=True, slots=True, kw_only=True)
class Person:
    """How well somebody works, beside what the knowledge calls usual."""

    errors: float = 1.0  # [-] scales the spread of every reading
    slips: float = 1.0  # [-] scales the chance that a number is simply wrong

    def __post_init__(self) -> None:
        for name in ("errors", "slips"):
            if not getattr(self, name) >= 0.0:
                raise DomainError(name, getattr(self, name), "", "zero or above")


USUAL: Final = Person()

# What instruments of a garage show, in the unit of the input. All chosen: a tape in millimetres, a
# gauge and a meter with their last digit, a watch in whole seconds or minutes.
RESOLUTION: Mapping[str, float] = MappingProxyType(
    {"mm": 1.0, "s": 1.0, "min": 1.0, "h": 0.1, "bar": 0.01, "V": 0.01, "mV": 1.0, "A": 0.1,
     "mL": 10.0, "L": 0.05, "°C": 0.5}
)  # fmt: skip

# For each evidence model: which input a slip spoils and by how much, added or as a factor. Chosen:
# a wrong graduation of the tape, a wrong scale of the gauge, a probe on the wrong side of a joint.
SLIPS: Mapping[str, Sequence[tuple[str, str, float]]] = MappingProxyType(
    {
        "height-decay": (("height-start", "+", 10.0), ("height-end", "+", 10.0)),
        "pressure-decay": (("pressure-end", "+", 0.5), ("pressure-end", "+", -0.5)),
        "rise-rate": (("height-end", "+", 10.0), ("height-end", "+", -10.0), ("time", "×", 2.0)),
        "fill-pressure": (("pressure-end", "×", 0.5), ("pressure-end", "×", 1.45)),
        "voltage-loss": (("pump", "+", 1.0), ("pump", "+", -1.0)),
        "joint-drop": (("drop", "×", 0.1), ("drop", "×", 4.0)),
        "sensor-difference": (("tape-low", "+", 20.0), ("tape-high", "+", -20.0)),
        "duty": (("running", "×", 0.1), ("running", "×", 3.0)),
        "direct": (("value", "×", 0.9), ("value", "×", 1.1), ("value", "×", 0.5)),
    }
)


def _text(value: float, unit: str) -> str:
    step = RESOLUTION[unit]
    digits = max(0, -math.floor(math.log10(step) + 1e-9))
    shown = round(round(value / step) * step, digits) + 0.0  # no minus before a zero
    return f"{shown:.{digits}f} {unit}"


def _shown(slot: Input, text: str) -> bool:
    value = float(text.split(" ")[0])
    low = -math.inf if slot.at_least is None else slot.at_least
    high = math.inf if slot.at_most is None else slot.at_most
    return low <= value <= high


def typed(
    measure: Measure, true: Mapping[str, float], rng: Generator, person: Person
) -> tuple[Mapping[str, str], bool]:
    """Return what somebody types for these true values (in SI), and whether a number is wrong.

    An optional input is left out where the truth has none or the form would not take it.
    """
    readings: dict[str, float] = {}
    slots = {slot.name: slot for slot in measure.inputs}
    for name, slot in slots.items():
        error = slot.error * person.errors * float(rng.standard_normal())
        if name in true:
            readings[name] = from_si(true[name], slot.unit) + error
    slipped = bool(rng.random() < measure.gross_error * person.slips)
    slips = SLIPS[measure.model]
    name, how, amount = slips[int(rng.integers(len(slips)))]
    if slipped and how == "+":
        readings[name] += amount
    elif slipped:
        readings[name] *= amount
    return {
        name: text
        for name, value in readings.items()
        if _shown(slots[name], text := _written(slots[name], value)) or slots[name].required
    }, slipped


def _written(slot: Input, value: float) -> str:
    if slot.kind in ("current", "time"):
        value = abs(value)  # nobody writes down the sign of a clamp, and no watch has one
    return _text(value, slot.unit)
