"""How the numbers of a check become the quantity that shows the state of a node.

A model takes readings and facts of the vehicle, both in SI with their spread, and returns
an estimate in SI. Spread passes through by the first-order law of the GUM. A model never
guesses in silence: what was assumed is a caveat of the estimate.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sagtrace.errors import DomainError
from sagtrace.physics import circuit, gas, leak, pump
from sagtrace.physics.estimate import Caveat, Estimate, propagate

__all__ = ["duty_of_leak", "Measured", "Model", "MODELS", "POLYTROPIC"]

Given = Mapping[str, Estimate]
Vector = NDArray[np.float64]

# chosen: what a night does to an unheated place if nobody wrote the temperatures down. The
# drift grows with the time stood and levels off; a wider value widens every untimed leak.
_UNKNOWN_TEMP = Estimate(value=288.15, std=8.0, unit="K")
_NIGHT_SWING, _NIGHT, _LEAST_DRIFT = 8.0, 8 * 3600.0, 0.7  # [K], [s], [K]

_NEAR_STOP = 0.85  # chosen: share of the bump travel beyond which the stop may carry the load
_MOST_RISE = 0.03  # [m] chosen: half as much again as a warming by 40 K can lift
_EMPTY = 0.3e5  # [Pa] chosen: gauge; less than this is no pressure to hold
_LIVE = 1.0  # [A] chosen: below this the circuit counts as carrying no current
_OPEN = 6.0  # [V] chosen: half the supply; so much across a joint without current is an open joint
POLYTROPIC = 1.3  # [-] chosen: between isothermal and adiabatic; see the pump kernel's notes
_RUNNING = 12.5  # [V] the voltage at which the fact `pump-delivery` is stated


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """The outcome of a model. `at_least`: the true value is this or more (the scale ended)."""

    estimate: Estimate
    at_least: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Model:
    """A named way from readings to a quantity.

    `gives` is the kind of the quantity (of units.KINDS), empty if it is that of the input.
    """

    required: tuple[str, ...]
    optional: tuple[str, ...] = ()
    facts: tuple[str, ...] = ()  # of the vehicle, without which it cannot work
    gives: str
    compute: Callable[[Given, Given], Measured]

    @property
    def inputs(self) -> tuple[str, ...]:
        """Names of everything that the model takes."""
        return self.required + self.optional


def _through(
    function: Callable[[Vector], Any], unit: str, inputs: Sequence[Estimate], *caveats: Caveat
) -> Estimate:
    value, std = propagate(function, [e.value for e in inputs], [e.std**2 for e in inputs])
    return Estimate(value=value, std=std, unit=unit, caveats=caveats)


def _temperatures(given: Given, duration: float) -> tuple[Estimate, Estimate, list[Caveat]]:
    """Return the first temperature and the change since, with what had to be assumed."""
    first, last = given.get("temperature-start"), given.get("temperature-end")
    if first and last:
        change = Estimate(
            value=last.value - first.value, std=math.hypot(first.std, last.std), unit="K"
        )
        return first, change, []
    drift = _LEAST_DRIFT + _NIGHT_SWING * min(1.0, duration / _NIGHT)
    caveat = Caveat(
        code="no-temperature",
        text=f"Not both temperatures are known, so a change of ± {drift:.0f} K is allowed for. "
        "Note both and the answer gets narrower.",
    )
    return first or last or _UNKNOWN_TEMP, Estimate(value=0.0, std=drift, unit="K"), [caveat]


def _height_decay(given: Given, facts: Given) -> Measured:
    drop = given["height-start"].value - given["height-end"].value
    first, change, caveats = _temperatures(given, given["time"].value)
    travel = facts["bump-travel"].value
    on_stop = drop > _NEAR_STOP * travel
    if on_stop:
        caveats.append(
            Caveat(
                code="bump-stop",
                text=f"The drop comes near the bump stop ({1e3 * travel:.0f} mm): the leak is at "
                "least this, and a shorter hold would tell how much more.",
            )
        )
    if drop > 1.6 * travel:
        hint = "Check both heights; correct the bump travel in the vehicle data if it is larger."
        raise DomainError("drop", 1e3 * drop, "mm", f"no more than {1600 * travel:.0f} mm", hint)

    if drop < -_MOST_RISE:
        hint = "A parked spring gains no air: are the two heights swapped, or did the pump run?"
        least = -1e3 * _MOST_RISE
        raise DomainError("drop", 1e3 * drop, "mm", f"no less than {least:.0f} mm", hint)

    def flow(x: Vector) -> Any:
        h0, h1, time, t0, dt, area, volume, gauge, outside, lever = x
        # The stop ends the fall: a longer drop in the numbers is slack in the assumed travel.
        fall = min(lever * (h0 - h1), 0.98 * volume / area)
        rate = leak.leak_from_height_decay(
            area, gauge + outside, fall, time, volume_start=volume, temp_start=t0, temp_end=t0 + dt
        )
        return gas.molar_flow_to_standard(rate, gas.REF_20C_1ATM)

    inputs = [given["height-start"], given["height-end"], given["time"], first, change]
    inputs += [facts[f] for f in _SPRING]
    return Measured(estimate=_through(flow, "m³/s", inputs, *caveats), at_least=on_stop)


_SPRING = ("spring-area", "spring-volume", "spring-pressure", "barometer", "lever-ratio")


def _pressure_decay(given: Given, facts: Given) -> Measured:
    if abs(start := given["pressure-start"].value) < _EMPTY:
        raise DomainError(
            "pressure-start",
            start / 1e5,
            "bar",
            f"at least {_EMPTY / 1e5:g} bar",
            "An empty part loses nothing, so this would prove nothing. If the pressure is gone at "
            "once, read it sooner; if none builds up, test what the pump gives, and enter this "
            "check as not done.",
        )
    first, change, caveats = _temperatures(given, given["time"].value)

    def flow(x: Vector) -> Any:
        p0, p1, time, volume, t0, dt, outside = x
        rate = leak.leak_from_pressure_decay(
            volume, p0 + outside, p1 + outside, time, temp_start=t0, temp_end=t0 + dt
        )
        return gas.molar_flow_to_standard(rate, gas.REF_20C_1ATM)

    names = ("pressure-start", "pressure-end", "time", "volume")
    inputs = [*(given[n] for n in names), first, change, facts["barometer"]]
    return Measured(estimate=_through(flow, "m³/s", inputs, *caveats))


def _assumed(
    given: Given, name: str, instead: Estimate, text: str
) -> tuple[Estimate, list[Caveat]]:
    if name in given:
        return given[name], []
    return instead, [Caveat(code=f"no-{name}", text=text)]


def _pump_inputs(given: Given) -> tuple[Estimate, Estimate, list[Caveat]]:
    supply, c1 = _assumed(
        given,
        "supply",
        Estimate(value=12.3, std=0.6, unit="V"),
        "The voltage at the pump was not measured; 12.3 ± 0.6 V is allowed for.",
    )
    air, c2 = _assumed(
        given,
        "temperature",
        _UNKNOWN_TEMP,
        "The air temperature was not noted; 15 ± 8 °C is allowed for.",
    )
    return supply, air, [*c1, *c2]


def _healthy(pump_facts: Vector, supply: float, air: float, outside: float, back: float) -> Any:
    """Return the molar flow [mol/s] of a healthy pump against the absolute pressure `back`."""
    delivery, clearance, current, armature = pump_facts
    return pump.reference_delivery(
        delivery,
        nominal_voltage=_RUNNING,
        nominal_current=current,
        voltage=supply,
        current=current,
        armature_resistance=armature,
        p_intake=outside,
        temp_intake=air,
        p_delivery=back,
        clearance=clearance,
        polytropic=POLYTROPIC,
    )


def _share(filled: Any, healthy: Any) -> Any:
    if not healthy > 0.0:
        hint = "Check voltage and pressure, and the pump in the vehicle data."
        rule = "above zero; here even a healthy pump gives nothing"
        raise DomainError("delivery of a healthy pump", float(healthy), "mol/s", rule, hint)
    # An axle that sinks while the pump runs is a reading too, so the sign is kept.
    return np.sign(filled) * pump.pump_health(np.abs(filled), reference_flow=healthy)


_LIFTED = ("barometer", "spring-area", "spring-pressure", "lever-ratio", "springs-filled")
_PUMP = ("pump-delivery", "pump-clearance", "pump-current", "armature")


def _rise_rate(given: Given, facts: Given) -> Measured:
    supply, air, caveats = _pump_inputs(given)
    _above_zero("time", given["time"])

    def health(x: Vector) -> Any:
        h0, h1, time, volts, temp, outside, area, gauge, lever, springs, *facts_of_pump = x
        p = gauge + outside
        lifted = springs * leak.leak_flow_pv(p, area, lever * (h1 - h0) / time)
        # leak_flow_pv counts outward as positive; a rise is gas going in.
        filled = -gas.pv_to_molar_flow(lifted, temp)
        return _share(filled, _healthy(np.array(facts_of_pump), volts, temp, outside, p))

    names = ("height-start", "height-end", "time")
    inputs = [*(given[n] for n in names), supply, air]
    inputs += [facts[f] for f in (*_LIFTED, *_PUMP)]
    return Measured(estimate=_through(health, "", inputs, *caveats))


def _fill_pressure(given: Given, facts: Given) -> Measured:
    supply, air, caveats = _pump_inputs(given)

    def health(x: Vector) -> Any:
        p0, p1, time, volume, volts, temp, outside, *facts_of_pump = x
        filled = -leak.leak_from_pressure_decay(
            volume, p0 + outside, p1 + outside, time, temp_start=temp, temp_end=temp
        )
        # A gauge that rests a hair below zero must not stop the test of a dead pump.
        back = outside + np.maximum((p0 + p1) / 2.0, 0.0)
        return _share(filled, _healthy(np.array(facts_of_pump), volts, temp, outside, back))

    names = ("pressure-start", "pressure-end", "time", "volume")
    inputs = [*(given[n] for n in names), supply, air]
    inputs += [facts[f] for f in ("barometer", *_PUMP)]
    return Measured(estimate=_through(health, "", inputs, *caveats))


def _voltage_loss(given: Given, facts: Given) -> Measured:
    battery, at_pump, current = given["battery"], given["pump"], given.get("current")
    if current is not None and current.value > _LIVE:
        # No more can be lost than the battery has, however far the scaling reaches.
        estimate = _through(
            lambda x: np.minimum((x[0] - x[1]) * x[3] / x[2], x[0]),
            "V",
            [battery, at_pump, current, facts["pump-current"]],
        )
        return Measured(estimate=estimate)
    if current is not None:
        _refuse_idle(battery.value - at_pump.value, current.value)
    caveats = []
    if current is None:
        text = "The current was not measured, so the loss is not scaled to the pump's usual one."
        caveats.append(Caveat(code="no-current", text=text))
    return Measured(estimate=_through(lambda x: x[0] - x[1], "V", [battery, at_pump], *caveats))


def _refuse_idle(loss: float, current: float) -> None:
    """Refuse a loss without current, unless everything is lost: then the circuit is open."""
    if current <= -_LIVE:
        hint = "Turn the clamp round, or leave the sign out."
        raise DomainError("current", current, "A", "above zero", hint)
    if abs(loss) <= _OPEN:
        hint = "Without current every feed looks sound: command the pump and measure again."
        raise DomainError("current", current, "A", f"above {_LIVE:g} A", hint)


def _joint_drop(given: Given, facts: Given) -> Measured:
    if given["current"].value < _LIVE:
        hint = _no_current(given["drop"].value, given["current"].value)
        raise DomainError("current", given["current"].value, "A", f"above {_LIVE:g} A", hint)
    estimate = _through(
        lambda x: circuit.joint_resistance(x[0], x[1]), "Ω", [given["drop"], given["current"]]
    )
    return Measured(estimate=estimate)


def _no_current(drop: float, current: float) -> str:
    if current <= -_LIVE:
        return "Turn the clamp round, or leave the sign out."
    if abs(drop) > _OPEN:
        return (
            "The supply stands across this joint and nothing flows: it is open. Record that with "
            "the loss on the way to the pump (feed.loss) or the lamp at its plug (pump.plug-lamp)."
        )
    return "Measure the drop while the pump runs; without current every joint looks sound."


def _sensor_difference(given: Given, facts: Given) -> Measured:
    names = ("signal-low", "tape-low", "signal-high", "tape-high")
    low, low_tape, high, high_tape = (given[n].value for n in names)
    apart = max(
        abs(low - low_tape), abs(high - high_tape), abs((high - low) - (high_tape - low_tape))
    )
    std = math.sqrt(sum(given[n].std ** 2 for n in names) / 2.0)
    caveats = []
    if abs(high_tape - low_tape) < 0.02:
        text = "The heights lie less than 20 mm apart: a stuck signal could pass for a good one."
        caveats.append(Caveat(code="short-sweep", text=text))
    return Measured(estimate=Estimate(value=apart, std=std, unit="m", caveats=tuple(caveats)))


def _above_zero(name: str, time: Estimate) -> None:
    if not time.value > 0.0:
        raise DomainError(name, time.value, "s", "above zero", "Is the watch's reading missing?")


def _duty(given: Given, facts: Given) -> Measured:
    _above_zero("watched", given["watched"])
    if given["running"].value > given["watched"].value:
        hint = "Are the two times swapped?"
        raise DomainError(
            "running", given["running"].value, "s", "no longer than the time watched", hint
        )
    estimate = _through(lambda x: x[0] / x[1], "", [given["running"], given["watched"]])
    return Measured(estimate=estimate)


def _direct(given: Given, facts: Given) -> Measured:
    return Measured(estimate=given["value"])


def duty_of_leak(x: Vector) -> float:
    """Return the share of the time that a healthy pump runs to make up for a leak [-].

    `x`: leak and delivery [m³/s] at 20 °C and 1 atm, the pump's clearance [-], the gauge pressure
    in the spring and the pressure outside [Pa].
    """
    leaks, delivery, clearance, pressure, outside = x
    eta = pump.volumetric_efficiency(
        (pressure + outside) / outside, clearance=clearance, polytropic=POLYTROPIC
    )
    lost = gas.standard_to_molar_flow(max(leaks, 0.0), gas.REF_20C_1ATM)
    given = gas.standard_to_molar_flow(delivery * eta, gas.REF_20C_1ATM)
    return float(pump.duty(lost, given))


_TEMPERATURES = ("temperature-start", "temperature-end")

MODELS: Mapping[str, Model] = MappingProxyType(
    {
        "direct": Model(required=("value",), gives="", compute=_direct),
        "height-decay": Model(
            required=("height-start", "height-end", "time"),
            optional=_TEMPERATURES,
            facts=(*_SPRING, "bump-travel"),
            gives="volume_flow",
            compute=_height_decay,
        ),
        "pressure-decay": Model(
            required=("pressure-start", "pressure-end", "time", "volume"),
            optional=_TEMPERATURES,
            facts=("barometer",),
            gives="volume_flow",
            compute=_pressure_decay,
        ),
        "rise-rate": Model(
            required=("height-start", "height-end", "time"),
            optional=("supply", "temperature"),
            facts=(*_LIFTED, *_PUMP),
            gives="ratio",
            compute=_rise_rate,
        ),
        "fill-pressure": Model(
            required=("pressure-start", "pressure-end", "time", "volume"),
            optional=("supply", "temperature"),
            facts=("barometer", *_PUMP),
            gives="ratio",
            compute=_fill_pressure,
        ),
        "voltage-loss": Model(
            required=("battery", "pump"),
            optional=("current",),
            facts=("pump-current",),
            gives="voltage",
            compute=_voltage_loss,
        ),
        "joint-drop": Model(required=("drop", "current"), gives="resistance", compute=_joint_drop),
        "sensor-difference": Model(
            required=("signal-low", "tape-low", "signal-high", "tape-high"),
            gives="length",
            compute=_sensor_difference,
        ),
        "duty": Model(required=("running", "watched"), gives="ratio", compute=_duty),
    }
)
