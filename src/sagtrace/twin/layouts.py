"""From what is known of a layout to a virtual vehicle.

The facts are those of the layout's data file or of the workshop manual, in SI. What a fact does not
say stays at its chosen default. The pump's motor is sized so that the pump gives the stated free
air and draws the stated current at the springs' pressure.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from sagtrace.errors import UnknownIdError
from sagtrace.physics.constants import COPPER_RHO20
from sagtrace.twin.parameters import (
    Electrics,
    Pump,
    Reservoir,
    Sensor,
    Spring,
    Surroundings,
    VehicleParameters,
)
from sagtrace.units import to_si
from sagtrace.vehicle.layouts import Layout

__all__ = ["LAYOUTS", "parameters_from_facts", "parameters_from_layout", "standard_vehicle"]

LAYOUTS = ("rear-pair", "four-corner", "four-corner-reservoir")
FOUR = ("front-left", "front-right", "rear-left", "rear-right")
FEED_AREA = 4e-6  # [m^2] chosen: cross-section of the pump's feed wire
DELIVERY_VOLTS = 12.5  # [V] at the pump, where the fact `pump-delivery` is told
ROUNDS = 60  # [-] chosen: the sizing below converges in about ten


def parameters_from_layout(
    layout: Layout, typed: Mapping[str, float] | None = None
) -> VehicleParameters:
    """Return the vehicle that a layout's facts describe; `typed` replaces facts, in SI."""
    values = {fact.id: to_si(fact.value, fact.unit) for fact in layout.facts} | dict(typed or {})
    corners = [corner.id for corner in layout.corners]
    return parameters_from_facts(layout.id, corners, layout.features, values)


def standard_vehicle(layout: str) -> VehicleParameters:
    """Return the vehicle of one of the known layouts with nothing but defaults."""
    if layout not in LAYOUTS:
        raise UnknownIdError("layout", layout, LAYOUTS)
    if layout == "rear-pair":
        return parameters_from_facts(layout, ("left", "right"), ("axle-sensor",), {})
    features = ("reservoir",) if layout.endswith("reservoir") else ()
    return parameters_from_facts(layout, FOUR, features, {})


def parameters_from_facts(
    layout: str, corners: Sequence[str], features: Sequence[str], values: Mapping[str, float]
) -> VehicleParameters:
    """Return the vehicle with these corners, features and facts (SI; `spring-pressure` gauge)."""
    default = Spring(corner="")
    area = values.get("spring-area", default.area)
    gauge = values.get("spring-pressure", default.load / default.area)
    lever = values.get("lever-ratio", 0.9)
    bump = values.get("bump-travel")
    springs = tuple(
        Spring(
            corner=corner,
            load=gauge * area,
            area=area,
            # The same share of its area for each metre, whatever its size.
            area_slope=default.area_slope * area / default.area,
            volume=values.get("spring-volume", default.volume),
            bump_at=default.bump_at if bump is None else -bump * lever,
        )
        for corner in corners
    )
    electrics = Electrics()
    if length := values.get("feed-length"):
        electrics = Electrics(feed=COPPER_RHO20 * length / FEED_AREA)
    baro = values.get("barometer", Surroundings().barometer)
    return VehicleParameters(
        layout=layout,
        springs=springs,
        sensors=_sensors(corners, features),
        lever=lever,
        reservoir=Reservoir() if "reservoir" in features else None,
        pump=_pump(values, gauge + baro, baro),
        electrics=electrics,
        surroundings=Surroundings(barometer=baro),
    )


def _sensors(corners: Sequence[str], features: Sequence[str]) -> tuple[Sensor, ...]:
    if "axle-sensor" in features:
        return (Sensor(role="height.rear", corners=tuple(corners)),)
    return tuple(Sensor(role=f"height.{corner}", corners=(corner,)) for corner in corners)


def _pump(values: Mapping[str, float], pressure: float, baro: float) -> Pump:
    """Return a pump with the stated free air and current, by successive substitution."""
    pump = Pump()
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
    return Pump(clearance=clearance, armature=armature, emf_constant=ke, swept_volume=swept)
