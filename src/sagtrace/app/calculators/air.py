"""Calculators of leaks, springs and pumps."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping

import numpy as np
from numpy.typing import NDArray

from sagtrace.app.calculators.records import Answer, Calculator, Field, Given, shown, through
from sagtrace.evidence.models import MODELS, duty_of_leak
from sagtrace.physics import spring
from sagtrace.physics.estimate import Estimate
from sagtrace.repair.proofs import shortest_hold, sink_speed
from sagtrace.vehicle.layouts import Fact, Layout

__all__ = ["air_calculators", "fact_field"]

Array = NDArray[np.float64]

_FLOW = "Flows are of free air at 20 °C and 101.325 kPa, dry."


def fact_field(facts: Mapping[str, Fact], name: str) -> Field:
    """Return the field of a fact of the vehicle; its wide assumption is the default."""
    fact = facts[name]
    # What is typed after ± is the half-width of an even spread.
    width = fact.std * math.sqrt(3.0)
    default = f"{fact.value:g} ± {width:.3g} {fact.unit}" if width else f"{fact.value:g}"
    spread = f" ± {fact.std:g}" if width else ""
    return Field(
        id=name, ask=fact.name, kind=fact.kind, unit=fact.unit, default=default.strip(),
        required=False, hint=f"{fact.value:g}{spread} {fact.unit}".strip(),
        basis="assumed, ± one standard deviation; type your vehicle's own value",
    )  # fmt: skip


def _height(name: str, ask: str) -> Field:
    return Field(id=name, ask=ask, kind="length", unit="mm", error=1.0)


def _time(name: str, ask: str, unit: str = "min") -> Field:
    return Field(id=name, ask=ask, kind="time", unit=unit)


def _temperature(name: str, ask: str) -> Field:
    return Field(id=name, ask=ask, kind="temperature", unit="°C", required=False, error=1.0)


def _gauge(name: str, ask: str) -> Field:
    return Field(id=name, ask=ask, kind="pressure_gauge", unit="bar", error=0.05)


_TEMPERATURES = (
    _temperature("temperature-start", "temperature at the beginning"),
    _temperature("temperature-end", "temperature at the end"),
)


def air_calculators(layout: Layout, tight: str) -> tuple[Calculator, ...]:
    """Return the calculators of air, with the facts of this layout as assumptions.

    `tight` is the leak that a repaired spring must stay below, as typed.
    """
    facts = {fact.id: fact for fact in layout.facts}

    def known(*names: str) -> tuple[Field, ...]:
        return tuple(fact_field(facts, name) for name in names)

    springs = known("spring-area", "spring-pressure", "spring-volume", "lever-ratio", "barometer")
    supplied = (
        Field(id="supply", ask="voltage at the pump while it runs", kind="voltage", unit="V",
              required=False, error=0.1),
        _temperature("temperature", "temperature of the air"),
    )  # fmt: skip
    pumped = known("pump-delivery", "pump-clearance", "pump-current", "armature", "barometer")
    return (
        Calculator(
            id="leak-from-drop", name="Leak from a drop of height", group="Leak",
            about=f"A closed spring loses height, not pressure. Tight: less than {tight}.",
            formula="q = p_abs · A · i · (h₁ − h₂) / t, less what cooling explains: V · ΔT / T",
            source="balance of gas at constant load; the kernel leak_from_height_decay",
            assumes="Spring valves closed, load unchanged, spring not on its stop. " + _FLOW,
            fields=(
                _height("height-start", "height at the beginning"),
                _height("height-end", "height at the end"), _time("time", "time between"),
                *_TEMPERATURES, *springs, *known("bump-travel"),
            ),
            work=_model("height-decay", "leak", "mL/min"),
        ),
        Calculator(
            id="leak-from-pressure", name="Leak from a drop of pressure", group="Leak",
            about="For what keeps its volume: reservoir, line, valve block.",
            formula="n = V · (p₁/T₁ − p₂/T₂) / (R · t)",
            source="ideal gas law; the kernel leak_from_pressure_decay",
            assumes="A rigid volume. Never for a spring under load. " + _FLOW,
            fields=(
                _gauge("pressure-start", "pressure at the beginning"),
                _gauge("pressure-end", "pressure at the end"), _time("time", "time between"),
                Field(id="volume", ask="volume that is closed off", kind="volume", unit="L"),
                *_TEMPERATURES, *known("barometer"),
            ),
            work=_model("pressure-decay", "leak", "mL/min"),
        ),
        Calculator(
            id="hold-time", name="How long a hold test must last", group="Leak",
            about="Shorter than this, tape and temperature hide a leak of half the limit.",
            formula="t = 1.96 · √(2 s_h² + (V/A · √2 s_T / T / i)²) / v (half the limit)",
            source="JCGM 100:2008, 5.1.2 (combined spread) and the kernel of leak-from-drop",
            assumes="Both temperatures noted to 1 K. The answer's spread is that of the vehicle's "
            "data.",
            fields=(
                Field(id="limit", ask="leak that would be too much", kind="volume_flow",
                      unit="mL/min", default=tight, required=False,
                      basis="the limit of the overnight proof"),
                Field(id="height-error", ask="one standard deviation of a height reading",
                      kind="length", unit="mm", default="1 mm", required=False,
                      basis="common practice: tape on a wheel arch"),
                *springs,
            ),
            work=_hold_time,
        ),
        Calculator(
            id="cooling", name="Drop from cooling alone", group="Leak",
            about="A healthy spring sinks in a cold night. Take this off before you look further.",
            formula="Δh = (V/A) · (T₂ − T₁) / T₁ / i",
            source="ideal gas law at constant load; the kernel thermal_height_change",
            assumes="The air in the spring took the temperature of the air around it.",
            fields=(
                Field(id="temperature-start", ask="temperature at the beginning",
                      kind="temperature", unit="°C", error=1.0),
                Field(id="temperature-end", ask="temperature at the end", kind="temperature",
                      unit="°C", error=1.0),
                *known("spring-area", "spring-volume", "lever-ratio"),
            ),
            work=_cooling,
        ),
        Calculator(
            id="pump-from-rise", name="Pump from the rise of the body", group="Pump",
            about="How much of a healthy pump's air reaches the springs. Healthy: 80 % and more.",
            formula="share = p_abs · A · i · n · Δh / t over what a healthy pump gives at this "
            "voltage and pressure",
            source="balance of gas; the kernels leak_flow_pv and reference_delivery",
            assumes="Nothing leaks meanwhile; a leak or a closed valve looks like a worn pump.",
            fields=(
                _height("height-start", "height at the beginning"),
                _height("height-end", "height at the end"), _time("time", "time of lifting", "s"),
                *supplied,
                *known("springs-filled", "spring-area", "spring-pressure", "lever-ratio"), *pumped,
            ),
            work=_model("rise-rate", "air that reaches the springs", "%"),
        ),
        Calculator(
            id="pump-from-filling", name="Pump from filling a closed volume", group="Pump",
            about="“It runs” is not “it delivers”: let it fill something whose volume you know.",
            formula="share = V · (p₂ − p₁) / (R · T · t) over what a healthy pump gives",
            source="ideal gas law; the kernels leak_from_pressure_decay and reference_delivery",
            assumes="A rigid volume at the temperature of the air.",
            fields=(
                _gauge("pressure-start", "pressure at the beginning"),
                _gauge("pressure-end", "pressure at the end"),
                _time("time", "time of filling", "s"),
                Field(id="volume", ask="volume that is filled", kind="volume", unit="L"),
                *supplied, *pumped,
            ),
            work=_model("fill-pressure", "share of a healthy pump", "%"),
        ),
        Calculator(
            id="duty", name="How long a leak makes the pump run", group="Pump",
            about="A slow leak alone does not wear a healthy pump: see its share first.",
            formula="share of the time = leak / delivery against the springs' pressure",
            source="balance of gas in the steady state; the kernels duty and volumetric_efficiency",
            assumes="The pump only makes up for this leak.",
            fields=(
                Field(id="leak", ask="leak", kind="volume_flow", unit="mL/min"),
                *known("pump-delivery", "pump-clearance", "spring-pressure", "barometer",
                       "allowed-duty"),
            ),
            work=_duty,
        ),
    )  # fmt: skip


def _model(name: str, what: str, unit: str) -> Callable[[Given], tuple[Answer, ...]]:
    """Return the work of a model of the evidence, so that both give the same number."""
    model = MODELS[name]

    def work(given: Given) -> tuple[Answer, ...]:
        measured = model.compute(given.numbers, given.numbers)
        return (shown(what, measured.estimate, unit, at_least=measured.at_least),)

    return work


def _hold_time(given: Given) -> tuple[Answer, ...]:
    names = ("spring-area", "spring-pressure", "spring-volume", "lever-ratio", "barometer")
    limit, error = given.numbers["limit"].value, given.numbers["height-error"].value

    def facts(x: Array) -> Mapping[str, Estimate]:
        return {
            n: Estimate(value=float(v), std=0.0, unit="") for n, v in zip(names, x, strict=True)
        }

    hold = through(given, names, lambda x: shortest_hold(limit, facts(x), error), "s")
    fall = through(given, names, lambda x: 12 * 3600.0 * sink_speed(limit, facts(x)), "m")
    return (
        shown("hold at least", hold, "h"),
        shown("fall in 12 h with a leak of the limit, at one temperature", fall, "mm"),
    )


def _cooling(given: Given) -> tuple[Answer, ...]:
    names = ("spring-volume", "spring-area", "temperature-start", "temperature-end", "lever-ratio")
    change = through(
        given, names, lambda x: float(spring.thermal_height_change(*x[:4])) / x[4], "m"
    )
    return (shown("change of height at the wheel arch", change, "mm"),)


def _duty(given: Given) -> tuple[Answer, ...]:
    names = ("leak", "pump-delivery", "pump-clearance", "spring-pressure", "barometer")

    return (
        shown(
            "share of the time that a healthy pump runs",
            through(given, names, duty_of_leak, ""),
            "%",
        ),
        shown("what it is built for, about", given.numbers["allowed-duty"], "%"),
    )
