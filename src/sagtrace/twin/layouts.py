"""From what is known of a layout to a virtual vehicle.

The numbers are those of the knowledge's folder `virtual`, the facts those of the layout's data file
or of the workshop manual, all in SI. What a fact says is said by nothing else: see `FROM_FACTS`.
The pump's motor is sized so that the pump gives the stated free air and draws the stated current
at the springs' pressure.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import Any

from sagtrace.physics.constants import COPPER_RHO20
from sagtrace.twin.parameters import (
    Block,
    Control,
    Dryer,
    Electrics,
    Pump,
    Reservoir,
    Sensor,
    Spring,
    Surroundings,
    Valves,
    VehicleParameters,
)
from sagtrace.units import to_si
from sagtrace.vehicle.layouts import Layout

__all__ = [
    "DELIVERY_VOLTS",
    "FROM_FACTS",
    "needed",
    "parameters_from_facts",
    "parameters_from_layout",
    "vehicle_of",
]

FEED_AREA = 4e-6  # [m^2] chosen: cross-section of the pump's feed wire
DELIVERY_VOLTS = 12.5  # [V] at the pump, where the fact `pump-delivery` is told
FIRST_GUESS = 2.0  # [-] chosen: a pump's torque over its friction, where its sizing starts
ROUNDS = 60  # [-] chosen: the sizing below converges in about ten

# Group and name of a number, and the fact that says it, alone or together with others.
FROM_FACTS: Mapping[tuple[str, str], str] = MappingProxyType(
    {
        ("spring", "area"): "spring-area",
        ("spring", "volume"): "spring-volume",
        ("spring", "load"): "spring-pressure",
        ("spring", "bump_at"): "bump-travel",
        ("body", "lever"): "lever-ratio",
        ("pump", "swept_volume"): "pump-delivery",
        ("pump", "emf_constant"): "pump-current",
        ("pump", "clearance"): "pump-clearance",
        ("pump", "armature"): "armature",
        ("surroundings", "barometer"): "barometer",
    }
)

Numbers = Mapping[str, Mapping[str, float]]


def needed(layout: Layout) -> tuple[str, ...]:
    """Return the groups of numbers that the layout's vehicle has."""
    rest = ("spring", "block", "valves", "dryer", "pump", "electrics", "sensor", "control")
    has_reservoir = "reservoir" in layout.features
    return (*rest, "surroundings", "body", *(("reservoir",) if has_reservoir else ()))


def vehicle_of(layout: Layout, numbers: Numbers) -> VehicleParameters:
    """Return the vehicle of a layout from its facts and the numbers that no fact says, in SI."""
    facts = _facts(layout)
    area, current = facts["spring-area"], facts["pump-current"]
    spring: dict[str, Any] = {**numbers["spring"], "area": area, "volume": facts["spring-volume"]}
    pump: dict[str, Any] = {
        **numbers["pump"],
        "clearance": facts["pump-clearance"],
        "armature": facts["armature"],
        # The sizing sets both.
        "emf_constant": FIRST_GUESS * numbers["pump"]["friction_torque"] / current,
        "swept_volume": 0.0,
    }
    surroundings: dict[str, Any] = {**numbers["surroundings"], "barometer": facts["barometer"]}
    body: dict[str, Any] = {**numbers["body"], "lever": facts["lever-ratio"]}
    corners = [corner.id for corner in layout.corners]
    base = VehicleParameters(
        layout=layout.id,
        springs=tuple(Spring(corner=c, load=0.0, bump_at=0.0, **spring) for c in corners),
        sensors=_sensors(layout, numbers["sensor"]),
        block=Block(**numbers["block"]),
        reservoir=Reservoir(**numbers["reservoir"]) if "reservoir" in needed(layout) else None,
        valves=Valves(**numbers["valves"]),
        dryer=Dryer(**numbers["dryer"]),
        pump=Pump(**pump),
        electrics=Electrics(**numbers["electrics"]),
        control=Control(**numbers["control"]),
        surroundings=Surroundings(**surroundings),
        **body,
    )
    return parameters_from_facts(base, facts)


def parameters_from_layout(
    base: VehicleParameters, layout: Layout, typed: Mapping[str, float] | None = None
) -> VehicleParameters:
    """Return the vehicle that a layout's facts describe; `typed` replaces facts, in SI."""
    return parameters_from_facts(base, _facts(layout) | dict(typed or {}))


def parameters_from_facts(
    base: VehicleParameters, values: Mapping[str, float]
) -> VehicleParameters:
    """Return the vehicle with these facts (SI; `spring-pressure` gauge) in place of its own."""
    lever = values.get("lever-ratio", base.lever)
    baro = values.get("barometer", base.surroundings.barometer)
    springs = tuple(_spring(spring, values, lever, lever / base.lever) for spring in base.springs)
    electrics = base.electrics
    if length := values.get("feed-length"):
        electrics = replace(electrics, feed=COPPER_RHO20 * length / FEED_AREA)
    most = max(spring.load / spring.area for spring in springs)
    return replace(
        base,
        springs=springs,
        lever=lever,
        pump=_pump(base.pump, values, values.get("spring-pressure", most) + baro, baro),
        electrics=electrics,
        surroundings=replace(base.surroundings, barometer=baro),
    )


def _facts(layout: Layout) -> dict[str, float]:
    return {fact.id: to_si(fact.value, fact.unit) for fact in layout.facts}


def _spring(spring: Spring, values: Mapping[str, float], lever: float, stretched: float) -> Spring:
    area = values.get("spring-area", spring.area)
    gauge = values.get("spring-pressure", spring.load / spring.area)
    bump = values.get("bump-travel")
    return replace(
        spring,
        load=gauge * area,
        area=area,
        # The same share of its area for each metre, whatever its size.
        area_slope=spring.area_slope * area / spring.area,
        volume=values.get("spring-volume", spring.volume),
        # Where no fact says it, the travel at the wheel arch stays.
        bump_at=spring.bump_at * stretched if bump is None else -bump * lever,
    )


def _sensors(layout: Layout, numbers: Mapping[str, float]) -> tuple[Sensor, ...]:
    corners = tuple(corner.id for corner in layout.corners)
    if "axle-sensor" in layout.features:
        return (Sensor(role="height.rear", corners=corners, **numbers),)
    return tuple(Sensor(role=f"height.{c}", corners=(c,), **numbers) for c in corners)


def _pump(pump: Pump, values: Mapping[str, float], pressure: float, baro: float) -> Pump:
    """Return the pump with the stated free air and current, by successive substitution."""
    delivery, current = values.get("pump-delivery"), values.get("pump-current")
    clearance = values.get("pump-clearance", pump.clearance)
    armature = values.get("armature", pump.armature)
    ke, swept, n = pump.emf_constant, pump.swept_volume, pump.polytropic
    ratio = pressure / baro
    efficiency = max(1.0 - clearance * (ratio ** (1.0 / n) - 1.0), 0.0)
    for _ in range(ROUNDS):
        turns = (DELIVERY_VOLTS - pump.friction_torque / ke * armature) / (2.0 * math.pi * ke)
        if delivery is not None:
            swept = delivery / turns
        work = n / (n - 1.0) * baro * efficiency * swept * (ratio ** ((n - 1.0) / n) - 1.0)
        if current is not None:
            ke += 0.5 * ((pump.friction_torque + work / (2.0 * math.pi)) / current - ke)
    return replace(
        pump, clearance=clearance, armature=armature, emf_constant=ke, swept_volume=swept
    )
