"""Numbers become quantities: printed examples, drawn spreads, laws, and refusals with a way out.

The spread tests draw every input and put it through the formula written out once more with
NumPy alone, so that neither the kernels nor the derivatives are taken on trust.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from printed import printed
from sagtrace.errors import DomainError
from sagtrace.evidence.facts import read_facts
from sagtrace.evidence.models import MODELS, Measured
from sagtrace.physics.estimate import Estimate
from sagtrace.units import KINDS
from sagtrace.vehicle.knowledge import Knowledge
from sagtrace.vehicle.layouts import Layout

Array = NDArray[np.float64]
Numbers = Mapping[str, tuple[float, float]]  # name -> value and standard deviation, SI

ATM = 101_325.0  # [Pa]
ML_MIN = 6e7  # [mL/min per m³/s]
KELVIN_20, KELVIN_0 = 293.15, 273.15
TINY = 1e-12  # the spread of a number that a worked example takes as exact

# The spring of the worked examples in sections 1.5, 2 and 3 of the check values.
EXAMPLE: Numbers = {
    "spring-area": (0.0100, 0.0),
    "spring-volume": (1.5e-3, 0.0),
    "spring-pressure": (542_624.25 - ATM, 0.0),
    "barometer": (ATM, 0.0),
    "lever-ratio": (1.0, 0.0),
    "bump-travel": (0.085, 0.0),
    "springs-filled": (1.0, 0.0),
    "pump-delivery": (20e-3 / 60.0, 0.0),
    "pump-clearance": (0.0, 0.0),
    "pump-current": (20.0, 0.0),
    "armature": (0.15, 0.0),
}


def estimates(numbers: Numbers) -> dict[str, Estimate]:
    return {name: Estimate(value=v, std=s, unit="") for name, (v, s) in numbers.items()}


def run(model: str, given: Numbers, facts: Numbers = EXAMPLE) -> Measured:
    return MODELS[model].compute(estimates(given), estimates(facts))


def exact(**values: float) -> Numbers:
    return {name.replace("_", "-"): (value, TINY) for name, value in values.items()}


def hold(drop: float, hours: float, cooling: float = 0.0) -> Numbers:
    return exact(
        height_start=0.400,
        height_end=0.400 - drop,
        time=3600.0 * hours,
        temperature_start=KELVIN_20,
        temperature_end=KELVIN_20 - cooling,
    )


class TestPrintedExamples:
    @pytest.mark.arithmetic("check values 1.5: Q = p A (-dh/dt), told at 0 °C and 1 atm")
    @pytest.mark.parametrize(
        ("drop", "hours", "at_0_celsius"),
        [(0.020, 12.0, "1.386"), (0.005, 12.0, "0.3465"), (0.050, 1.0, "41.58")],
    )
    def test_leak_from_height(self, drop: float, hours: float, at_0_celsius: str) -> None:
        got = run("height-decay", hold(drop, hours)).estimate
        assert got.unit == "m³/s"
        assert ML_MIN * got.value * KELVIN_0 / KELVIN_20 == printed(at_0_celsius)

    @pytest.mark.arithmetic("check values 3: Δh = (V/A) ΔT/T, 10.2337 mm for 20 K, no leak at all")
    def test_a_tight_spring_in_a_cold_night_does_not_leak(self) -> None:
        drop = 1.5e-3 / 0.0100 * 20.0 / KELVIN_20
        assert 1e3 * drop == printed("10.2337")
        got = run("height-decay", hold(drop, 12.0, cooling=20.0)).estimate
        assert ML_MIN * got.value == pytest.approx(0.0, abs=1e-9)

    @pytest.mark.arithmetic("check values 3: -30 K gives -15.3505 mm")
    def test_the_printed_drop_leaves_less_than_its_last_digit(self) -> None:
        got = run("height-decay", hold(0.0153505, 12.0, cooling=30.0)).estimate
        last_digit = run("height-decay", hold(0.5e-7, 12.0)).estimate
        assert abs(got.value) <= last_digit.value

    @pytest.mark.arithmetic("check values 1.4: 2.5 L, 800 to 780 kPa in an hour, 8.224361 cm³/min")
    def test_leak_from_pressure(self) -> None:
        got = run(
            "pressure-decay",
            exact(
                pressure_start=800e3 - ATM,
                pressure_end=780e3 - ATM,
                time=3600.0,
                volume=2.5e-3,
                temperature_start=KELVIN_20,
                temperature_end=KELVIN_20,
            ),
        ).estimate
        assert ML_MIN * got.value == printed("8.224361")

    @pytest.mark.arithmetic("check values 1.4: the same with 298.15 to 293.15 K, 2.522719 at 0 °C")
    def test_leak_from_pressure_with_cooling(self) -> None:
        got = run(
            "pressure-decay",
            exact(
                pressure_start=800e3 - ATM,
                pressure_end=780e3 - ATM,
                time=3600.0,
                volume=2.5e-3,
                temperature_start=298.15,
                temperature_end=293.15,
            ),
        ).estimate
        assert ML_MIN * got.value * KELVIN_0 / KELVIN_20 == printed("2.522719")

    @pytest.mark.arithmetic("check values 1.4: 800 kPa, 25 to 20 °C, -13 416.07 Pa without a leak")
    def test_a_tight_line_that_cools_does_not_leak(self) -> None:
        numbers = exact(
            pressure_start=800e3 - ATM,
            pressure_end=800e3 - 13_416.07 - ATM,
            time=600.0,
            volume=1.5e-4,
            temperature_start=298.15,
            temperature_end=293.15,
        )
        assert ML_MIN * run("pressure-decay", numbers).estimate.value == pytest.approx(0, abs=1e-6)

    @pytest.mark.arithmetic("check values 2: 25 mm on one corner takes 4.016 s at 20 L/min")
    def test_a_healthy_pump_raises_a_corner_in_its_time(self) -> None:
        numbers = exact(
            height_start=0.375,
            height_end=0.400,
            time=4.016,
            supply=12.5,
            temperature=KELVIN_20,
        )
        got = run("rise-rate", numbers).estimate
        assert got.unit == ""
        assert got.value == pytest.approx(1.0, rel=0.0005 / 4.016)

    @pytest.mark.arithmetic("check values 2: 5 L to 10 bar gauge at 20 L/min takes 148.0385 s")
    @pytest.mark.parametrize(
        ("start", "end", "time"), [(0.0, 10e5, 148.0385), (5e5, 10e5, 74.0192)]
    )
    def test_a_healthy_pump_fills_a_vessel_in_its_time(
        self, start: float, end: float, time: float
    ) -> None:
        numbers = exact(
            pressure_start=start,
            pressure_end=end,
            time=time,
            volume=5e-3,
            supply=12.5,
            temperature=KELVIN_20,
        )
        got = run("fill-pressure", numbers).estimate.value
        assert got == pytest.approx(1.0, rel=0.5e-4 / time * 1.01)

    @pytest.mark.from_memory("volumetric efficiency 1 - c (r^(1/n) - 1), every thermodynamics text")
    @pytest.mark.parametrize(("ratio", "efficiency"), [(3.0, "0.94687"), (8.0, "0.84196")])
    def test_clearance_is_allowed_for(self, ratio: float, efficiency: str) -> None:
        """The pressure is held at the ratio, so that its mean is the ratio too."""
        numbers = exact(
            pressure_start=(ratio - 1.0) * ATM - 1e4,
            pressure_end=(ratio - 1.0) * ATM + 1e4,
            time=60.0,
            volume=5e-3,
            supply=12.5,
            temperature=KELVIN_20,
        )
        without = run("fill-pressure", numbers).estimate.value
        with_it = run("fill-pressure", numbers, {**EXAMPLE, "pump-clearance": (0.04, 0.0)})
        assert without / with_it.estimate.value == printed(efficiency)

    @pytest.mark.arithmetic("check values 5: 12 V, 20 A, 0.15 Ω; 2 V less cost speed 0.777778")
    def test_a_weak_supply_is_no_worn_pump(self) -> None:
        """Nominal is 12.5 V here, so both voltages lie half a volt higher than in the example."""
        numbers = exact(
            height_start=0.38, height_end=0.40, time=30.0, supply=12.5, temperature=KELVIN_20
        )
        weak = {**numbers, "supply": (10.5, TINY)}
        ratio = run("rise-rate", numbers).estimate.value / run("rise-rate", weak).estimate.value
        assert ratio == pytest.approx((10.5 - 3.0) / (12.5 - 3.0), rel=1e-9)
        at_12 = {**EXAMPLE, "armature": (0.175, 0.0)}  # 12.5 - 20 * 0.175 = 9, as 12 - 20 * 0.15
        ratio = (
            run("rise-rate", numbers, at_12).estimate.value
            / run("rise-rate", weak, at_12).estimate.value
        )
        assert ratio == printed("0.777778")

    @pytest.mark.arithmetic("check values 5: 5 / 10 / 25 / 50 / 100 mΩ drop 0.1 to 2 V at 20 A")
    @pytest.mark.parametrize(
        ("drop", "milliohms"), [(0.1, "5"), (0.2, "10"), (0.5, "25"), (1.0, "50"), (2.0, "100")]
    )
    def test_joint(self, drop: float, milliohms: str) -> None:
        got = run("joint-drop", exact(drop=drop, current=20.0)).estimate
        assert got.unit == "Ω"
        assert 1e3 * got.value == printed(milliohms)
        assert 1e3 * got.value == pytest.approx(float(milliohms), rel=1e-12)

    @pytest.mark.from_memory("ISO 6722-1 conductor resistance, 2.5 mm²: 4 m at 20 A drop 0.608 V")
    def test_voltage_loss_at_the_usual_current(self) -> None:
        numbers = exact(battery=12.6, pump=12.6 - 0.60800, current=20.0)
        assert run("voltage-loss", numbers).estimate.value == printed("0.60800")

    @pytest.mark.arithmetic("Ohm's law: the same wire at 15 A, told at 20 A")
    def test_voltage_loss_is_told_at_the_usual_current(self) -> None:
        numbers = exact(battery=12.6, pump=12.6 - 0.456, current=15.0)
        assert run("voltage-loss", numbers).estimate.value == printed("0.60800")

    @pytest.mark.arithmetic("check values 2: 2.5 % duty is 36 min a day")
    def test_duty(self) -> None:
        got = run("duty", exact(running=36.0 * 60.0, watched=86_400.0)).estimate
        assert got.value == pytest.approx(0.025, rel=1e-12)

    @pytest.mark.arithmetic("largest of the two differences and of the difference in travel")
    @pytest.mark.parametrize(
        ("low", "high", "apart"),
        [
            (0.0, 0.0, 0.0),
            (0.035, 0.035, 0.035),  # a bent rod: off by the same at both heights
            (-0.012, -0.012, 0.012),
            (0.004, -0.006, 0.010),  # a lever at the wrong hole: too little travel
        ],
    )
    def test_sensor_against_tape(self, low: float, high: float, apart: float) -> None:
        got = run(
            "sensor-difference",
            exact(signal_low=low, tape_low=0.0, signal_high=0.030 + high, tape_high=0.030),
        ).estimate
        assert got.value == pytest.approx(apart, abs=1e-12)
        assert got.caveats == ()

    def test_direct(self) -> None:
        got = run("direct", {"value": (11.2, 0.03)})
        assert (got.estimate.value, got.estimate.std, got.at_least) == (11.2, 0.03, False)


class TestSpread:
    """One standard deviation against 100 000 drawn values, seeded."""

    FACTS: Numbers = {  # noqa: RUF012 - a Mapping, not changed
        "spring-area": (0.0110, 0.0005),
        "spring-volume": (1.8e-3, 1.5e-4),
        "spring-pressure": (5.0e5, 0.4e5),
        "barometer": (1.0e5, 1.0e3),
        "lever-ratio": (0.9, 0.03),
        "bump-travel": (0.085, 0.015),
        "springs-filled": (2.0, 0.0),
        "pump-delivery": (26e-3 / 60.0, 1.5e-3 / 60.0),
        "pump-clearance": (0.05, 0.01),
        "pump-current": (18.0, 1.0),
        "armature": (0.15, 0.02),
    }
    N = 100_000

    def draw(self, *groups: Numbers) -> dict[str, Array]:
        rng = np.random.default_rng(7)
        return {
            name: value + std * rng.standard_normal(self.N)
            for group in groups
            for name, (value, std) in group.items()
        }

    def check(self, model: str, numbers: Numbers, drawn: Array, facts: Numbers = FACTS) -> None:
        got = run(model, numbers, facts).estimate
        spread = float(drawn.std())
        # What first order leaves out of the value is of the second order in the spread.
        assert got.value == pytest.approx(float(drawn.mean()), abs=spread**2 / abs(got.value))
        assert got.std == pytest.approx(spread, rel=0.03)

    @pytest.mark.arithmetic("perfect gas at constant load, drawn")
    @pytest.mark.parametrize("temperatures", [True, False], ids=["both", "none"])
    def test_height_decay(self, temperatures: bool) -> None:
        numbers: dict[str, tuple[float, float]] = {
            "height-start": (0.402, 8e-4),
            "height-end": (0.376, 8e-4),
            "time": (39_600.0, 180.0),
        }
        if temperatures:
            numbers |= {"temperature-start": (291.0, 1.0), "temperature-end": (281.0, 1.0)}
        x = self.draw(numbers, self.FACTS)
        if temperatures:
            t1, t2 = x["temperature-start"], x["temperature-end"]
        else:  # 15 ± 8 °C, and 0.7 + 8 K of drift after a whole night
            rng = np.random.default_rng(8)
            t1 = 288.15 + 8.0 * rng.standard_normal(self.N)
            t2 = t1 + 8.7 * rng.standard_normal(self.N)
        drop = x["lever-ratio"] * (x["height-start"] - x["height-end"])
        volume, p = x["spring-volume"], x["spring-pressure"] + x["barometer"]
        left = volume - x["spring-area"] * drop
        rate = p * (volume / t1 - left / t2) / x["time"] * KELVIN_20 / ATM
        self.check("height-decay", numbers, rate)

    @pytest.mark.arithmetic("perfect gas in a rigid volume, drawn")
    def test_pressure_decay(self) -> None:
        numbers: Numbers = {
            "pressure-start": (8.0e5, 3e3),
            "pressure-end": (7.6e5, 3e3),
            "time": (600.0, 6.0),
            "volume": (1.5e-4, 1.5e-5),
            "temperature-start": (296.0, 1.0),
            "temperature-end": (294.0, 1.0),
        }
        x = self.draw(numbers, {"barometer": self.FACTS["barometer"]})
        p1, p2 = x["pressure-start"] + x["barometer"], x["pressure-end"] + x["barometer"]
        rate = x["volume"] * (p1 / x["temperature-start"] - p2 / x["temperature-end"])
        self.check("pressure-decay", numbers, rate / x["time"] * KELVIN_20 / ATM)

    def healthy(self, x: Mapping[str, Array], back: Array) -> Array:
        """Molar flow times the gas constant of a healthy pump against `back`."""
        eta = 1.0 - x["pump-clearance"] * ((back / x["barometer"]) ** (1.0 / 1.3) - 1.0)
        loss = x["pump-current"] * x["armature"]
        speed = (x["supply"] - loss) / (12.5 - loss)
        return np.asarray(
            x["pump-delivery"] * speed * eta * x["barometer"] / x["temperature"], np.float64
        )

    @pytest.mark.arithmetic("perfect gas into loaded springs, drawn")
    def test_rise_rate(self) -> None:
        numbers: Numbers = {
            "height-start": (0.380, 8e-4),
            "height-end": (0.400, 8e-4),
            "time": (28.0, 1.0),
            "supply": (12.1, 0.05),
            "temperature": (290.0, 1.5),
        }
        x = self.draw(numbers, self.FACTS)
        p = x["spring-pressure"] + x["barometer"]
        speed = x["lever-ratio"] * (x["height-end"] - x["height-start"]) / x["time"]
        filled = 2.0 * p * x["spring-area"] * speed / x["temperature"]
        self.check("rise-rate", numbers, filled / self.healthy(x, p))

    @pytest.mark.arithmetic("perfect gas into a rigid vessel, drawn")
    @pytest.mark.parametrize("noted", [True, False], ids=["noted", "not noted"])
    def test_fill_pressure(self, noted: bool) -> None:
        numbers: dict[str, tuple[float, float]] = {
            "pressure-start": (0.0, 3e3),
            "pressure-end": (5.5e5, 3e3),
            "time": (60.0, 0.5),
            "volume": (3.0e-3, 5e-5),
        }
        assumed: Numbers = {"supply": (12.3, 0.6), "temperature": (288.15, 8.0)}
        measured: Numbers = {"supply": (12.1, 0.05), "temperature": (290.0, 1.5)}
        x = self.draw(numbers, measured if noted else assumed, self.FACTS)
        filled = x["volume"] * (x["pressure-end"] - x["pressure-start"])
        back = x["barometer"] + (x["pressure-start"] + x["pressure-end"]) / 2.0
        share = filled / x["time"] / x["temperature"] / self.healthy(x, back)
        self.check("fill-pressure", {**numbers, **(measured if noted else {})}, share)

    @pytest.mark.arithmetic("Ohm's law, drawn")
    def test_electric(self) -> None:
        loss: Numbers = {"battery": (12.5, 0.03), "pump": (10.9, 0.03), "current": (16.0, 0.6)}
        x = self.draw(loss, self.FACTS)
        at_usual = (x["battery"] - x["pump"]) * x["pump-current"] / x["current"]
        self.check("voltage-loss", loss, at_usual)
        unscaled: Numbers = {"battery": (12.5, 0.03), "pump": (10.9, 0.03)}
        self.check("voltage-loss", unscaled, x["battery"] - x["pump"])
        joint: Numbers = {"drop": (0.31, 0.005), "current": (17.0, 0.6)}
        x = self.draw(joint)
        self.check("joint-drop", joint, x["drop"] / x["current"])

    @pytest.mark.arithmetic("a quotient, drawn")
    def test_duty(self) -> None:
        numbers: Numbers = {"running": (95.0, 3.0), "watched": (3600.0, 60.0)}
        x = self.draw(numbers)
        self.check("duty", numbers, x["running"] / x["watched"])

    @pytest.mark.arithmetic("a difference of two lengths, drawn")
    def test_sensor(self) -> None:
        numbers: Numbers = {
            "signal-low": (0.035, 1e-3),
            "tape-low": (0.0, 1.5e-3),
            "signal-high": (0.060, 1e-3),
            "tape-high": (0.030, 1.5e-3),
        }
        x = self.draw(numbers)
        self.check("sensor-difference", numbers, x["signal-low"] - x["tape-low"])

    @pytest.mark.arithmetic("the wide facts of the shipped layout, drawn: half of the middle 68 %")
    def test_the_shipped_facts_are_wide_but_not_too_wide_for_first_order(
        self, rear_pair: Layout
    ) -> None:
        known = read_facts(rear_pair, {}).values
        facts = {name: (fact.value, fact.std) for name, fact in known.items()}
        numbers: Numbers = {
            "pressure-start": (0.0, 3e3),
            "pressure-end": (5.5e5, 3e3),
            "time": (60.0, 0.5),
            "volume": (3.0e-3, 5e-5),
            "supply": (12.1, 0.05),
            "temperature": (290.0, 1.5),
        }
        x = self.draw(numbers, facts)
        filled = x["volume"] * (x["pressure-end"] - x["pressure-start"])
        back = x["barometer"] + (x["pressure-start"] + x["pressure-end"]) / 2.0
        share = filled / x["time"] / x["temperature"] / self.healthy(x, back)
        low, high = np.percentile(share, [15.865, 84.135])
        got = run("fill-pressure", numbers, facts).estimate
        assert got.std == pytest.approx((high - low) / 2.0, rel=0.1)


def wide_facts() -> dict[str, tuple[float, float]]:
    return dict(TestSpread.FACTS)


lengths = st.floats(0.001, 0.06)
hours = st.floats(0.5, 20.0)


class TestLaws:
    @settings(max_examples=30, deadline=None)
    @given(drop=lengths, more=st.floats(1e-4, 0.01), time=hours)
    def test_a_longer_fall_is_a_larger_leak(self, drop: float, more: float, time: float) -> None:
        less, larger = (
            run("height-decay", hold(drop, time)),
            run("height-decay", hold(drop + more, time)),
        )
        assert larger.estimate.value > less.estimate.value

    @settings(max_examples=30, deadline=None)
    @given(drop=lengths, time=hours, longer=st.floats(1.01, 3.0))
    def test_the_same_fall_in_more_time_is_a_smaller_leak(
        self, drop: float, time: float, longer: float
    ) -> None:
        fast, slow = (
            run("height-decay", hold(drop, time)),
            run("height-decay", hold(drop, longer * time)),
        )
        assert slow.estimate.value == pytest.approx(fast.estimate.value / longer, rel=1e-9)

    @settings(max_examples=30, deadline=None)
    @given(drop=lengths, time=hours, cooling=st.floats(0.1, 30.0))
    def test_cooling_explains_a_part_of_the_fall(
        self, drop: float, time: float, cooling: float
    ) -> None:
        constant, colder = (
            run("height-decay", hold(drop, time)),
            run("height-decay", hold(drop, time, cooling)),
        )
        assert colder.estimate.value < constant.estimate.value

    @settings(max_examples=15, deadline=None)
    @given(rise=st.floats(0.001, 0.05), more=st.floats(1e-4, 0.02), volts=st.floats(9.0, 14.0))
    def test_more_rise_is_a_better_pump(self, rise: float, more: float, volts: float) -> None:
        def health(height: float, supply: float) -> float:
            numbers = exact(
                height_start=0.35,
                height_end=0.35 + height,
                time=20.0,
                supply=supply,
                temperature=KELVIN_20,
            )
            return run("rise-rate", numbers, wide_facts()).estimate.value

        assert health(rise + more, volts) > health(rise, volts)
        assert health(rise, volts) > health(rise, volts + 0.5)

    @settings(max_examples=30, deadline=None)
    @given(drop=st.floats(0.0, 3.0), current=st.floats(2.0, 60.0))
    def test_a_joint_is_what_ohm_says(self, drop: float, current: float) -> None:
        got = run("joint-drop", exact(drop=drop, current=current)).estimate
        assert got.value * current == pytest.approx(drop, rel=1e-9, abs=1e-12)

    @settings(max_examples=30, deadline=None)
    @given(running=st.floats(0.0, 600.0), watched=st.floats(600.0, 7200.0))
    def test_a_duty_is_a_share(self, running: float, watched: float) -> None:
        got = run("duty", exact(running=running, watched=watched)).estimate.value
        assert 0.0 <= got <= 1.0

    @settings(max_examples=30, deadline=None)
    @given(offset=st.floats(-0.1, 0.1), low=st.floats(-0.05, 0.0), travel=st.floats(0.02, 0.08))
    def test_swapping_signal_and_tape_changes_nothing(
        self, offset: float, low: float, travel: float
    ) -> None:
        here = exact(
            signal_low=low + offset,
            tape_low=low,
            signal_high=low + travel,
            tape_high=low + travel,
        )
        there = {
            "signal-low": here["tape-low"],
            "tape-low": here["signal-low"],
            "signal-high": here["tape-high"],
            "tape-high": here["signal-high"],
        }
        assert run("sensor-difference", here).estimate.value == pytest.approx(
            run("sensor-difference", there).estimate.value, abs=1e-15
        )

    @settings(max_examples=30, deadline=None)
    @given(loss=st.floats(0.05, 11.0), current=st.floats(1.1, 40.0))
    def test_no_more_is_lost_than_the_battery_has(self, loss: float, current: float) -> None:
        numbers = exact(battery=12.4, pump=12.4 - loss, current=current)
        got = run("voltage-loss", numbers).estimate.value
        assert 0.0 < got <= 12.4
        if loss * 20.0 / current < 12.4:
            assert got == pytest.approx(loss * 20.0 / current, rel=1e-9)

    @pytest.mark.common_practice("a hold of an empty part proves nothing")
    @pytest.mark.parametrize("start", [0.0, 0.25e5])
    def test_a_part_without_pressure_is_not_called_tight(self, start: float) -> None:
        numbers = exact(pressure_start=start, pressure_end=0.0, time=600.0, volume=1.5e-4)
        with pytest.raises(DomainError, match=r"at least 0\.3 bar.*enter this check as not done"):
            run("pressure-decay", numbers)

    @settings(max_examples=10, deadline=None)
    @given(values=st.lists(st.floats(0.5, 2.0), min_size=6, max_size=6))
    def test_every_model_gives_the_kind_that_it_says(self, values: list[float]) -> None:
        numbers = exact(
            height_start=0.4,
            height_end=0.4 + 0.01 * values[0],
            time=60.0 * values[1],
            pressure_start=2e5 * values[2],
            pressure_end=2e5 * values[3],
            volume=1e-3 * values[4],
            battery=12.0 + values[5],
            pump=11.0,
            current=18.0,
            drop=0.1,
            signal_low=0.0,
            tape_low=0.0,
            signal_high=0.03,
            tape_high=0.03,
            running=10.0,
            watched=3600.0,
        )
        for name, model in MODELS.items():
            if name != "direct":
                got = run(name, {slot: numbers[slot] for slot in model.required})
                assert KINDS[model.gives].si_unit.replace("^3", "³") == got.estimate.unit


class Watched(dict[str, Estimate]):
    """Facts that remember which of them were asked for."""

    def __init__(self, facts: Mapping[str, Estimate]) -> None:
        super().__init__(facts)
        self.asked: set[str] = set()

    def __getitem__(self, name: str) -> Estimate:
        self.asked.add(name)
        return super().__getitem__(name)


def _cases() -> Iterator[tuple[str, Numbers]]:
    yield "direct", exact(value=1.0)
    yield "height-decay", hold(0.02, 12.0)
    yield (
        "pressure-decay",
        exact(pressure_start=8e5, pressure_end=7e5, time=600.0, volume=1e-4),
    )
    yield "rise-rate", exact(height_start=0.38, height_end=0.4, time=30.0)
    yield "fill-pressure", exact(pressure_start=0.0, pressure_end=5e5, time=60.0, volume=3e-3)
    yield "voltage-loss", exact(battery=12.5, pump=12.0, current=18.0)
    yield "joint-drop", exact(drop=0.1, current=18.0)
    yield (
        "sensor-difference",
        exact(signal_low=0.0, tape_low=0.0, signal_high=0.03, tape_high=0.03),
    )
    yield "duty", exact(running=40.0, watched=3600.0)


CASES = list(_cases())


class TestWhatAModelTakes:
    def test_all_are_tried_here(self) -> None:
        assert {name for name, _ in CASES} == set(MODELS)
        assert len(MODELS) == 9

    @pytest.mark.parametrize(("name", "numbers"), CASES, ids=[name for name, _ in CASES])
    def test_it_asks_for_the_facts_that_it_names(self, name: str, numbers: Numbers) -> None:
        facts = Watched(estimates(EXAMPLE))
        MODELS[name].compute(estimates(numbers), facts)
        assert facts.asked == set(MODELS[name].facts)

    def test_its_inputs_are_the_required_then_the_optional(self) -> None:
        assert MODELS["rise-rate"].inputs == (
            "height-start",
            "height-end",
            "time",
            "supply",
            "temperature",
        )

    def test_the_models_cannot_be_changed(self) -> None:
        with pytest.raises(TypeError):
            MODELS["mine"] = MODELS["duty"]  # type: ignore[index]


def codes(measured: Measured) -> list[str]:
    return [caveat.code for caveat in measured.estimate.caveats]


def without(numbers: Numbers, *names: str) -> Numbers:
    return {name: number for name, number in numbers.items() if name not in names}


class TestCaveats:
    NIGHT: Numbers = {  # noqa: RUF012 - a Mapping, not changed
        "height-start": (0.402, 8e-4),
        "height-end": (0.386, 8e-4),
        "time": (12 * 3600.0, 180.0),
        "temperature-start": (288.15, 1.0),
        "temperature-end": (288.15, 1.0),
    }

    @pytest.mark.parametrize(
        "missing",
        [("temperature-start",), ("temperature-end",), ("temperature-start", "temperature-end")],
    )
    def test_a_missing_temperature_widens_the_answer_and_says_so(
        self, missing: tuple[str, ...]
    ) -> None:
        both = run("height-decay", self.NIGHT, wide_facts())
        fewer = run("height-decay", without(self.NIGHT, *missing), wide_facts())
        assert codes(both) == []
        assert codes(fewer) == ["no-temperature"]
        assert "± 9 K" in fewer.estimate.caveats[0].text
        assert fewer.estimate.std > 2.0 * both.estimate.std
        assert fewer.estimate.value == pytest.approx(both.estimate.value, rel=1e-9)

    def test_a_short_hold_leaves_less_room_for_drift(self) -> None:
        short = {**without(self.NIGHT, "temperature-end"), "time": (1800.0, 30.0)}
        (caveat,) = run("height-decay", short, wide_facts()).estimate.caveats
        assert "± 1 K" in caveat.text

    def test_drift_levels_off_after_a_night(self) -> None:
        """Twice the time halves the leak and its thermal spread alike: the drift is the same."""
        numbers = {
            name: (value, TINY)
            for name, (value, _) in without(self.NIGHT, "temperature-end").items()
        }
        night = run("height-decay", numbers, EXAMPLE).estimate
        two = run("height-decay", {**numbers, "time": (24 * 3600.0, TINY)}, EXAMPLE).estimate
        assert two.std == pytest.approx(night.std / 2.0, rel=1e-6)

    def test_a_line_without_temperatures(self) -> None:
        numbers: Numbers = {
            "pressure-start": (8e5, 3e3),
            "pressure-end": (7.9e5, 3e3),
            "time": (600.0, 6.0),
            "volume": (1.5e-4, 3e-5),
        }
        fewer = run("pressure-decay", numbers, wide_facts())
        known: Numbers = {
            **numbers,
            "temperature-start": (288.15, 0.3),
            "temperature-end": (288.15, 0.3),
        }
        assert codes(fewer) == ["no-temperature"]
        assert fewer.estimate.std > run("pressure-decay", known, wide_facts()).estimate.std

    def test_what_was_not_noted_about_the_pump(self) -> None:
        numbers = exact(height_start=0.38, height_end=0.4, time=30.0)
        bare = run("rise-rate", numbers, wide_facts())
        assert codes(bare) == ["no-supply", "no-temperature"]
        some = run("rise-rate", {**numbers, "supply": (12.1, 0.05)}, wide_facts())
        assert codes(some) == ["no-temperature"]
        assert some.estimate.std < bare.estimate.std

    def test_a_loss_without_its_current(self) -> None:
        numbers = exact(battery=12.5, pump=11.0)
        assert codes(run("voltage-loss", numbers)) == ["no-current"]

    def test_an_open_circuit_needs_no_scaling_and_no_caveat(self) -> None:
        numbers = exact(battery=12.5, pump=0.1, current=0.0)
        measured = run("voltage-loss", numbers)
        assert codes(measured) == []
        assert measured.estimate.value == pytest.approx(12.4)

    def test_two_heights_too_close_together(self) -> None:
        numbers = exact(signal_low=0.0, tape_low=0.0, signal_high=0.019, tape_high=0.019)
        assert codes(run("sensor-difference", numbers)) == ["short-sweep"]


class TestBumpStop:
    def test_a_fall_near_the_stop_tells_at_least(self) -> None:
        measured = run("height-decay", hold(0.073, 1.0))  # 0.85 * 85 mm is 72.25 mm
        assert measured.at_least
        assert codes(measured) == ["bump-stop"]
        assert "85 mm" in measured.estimate.caveats[0].text

    def test_a_fall_short_of_it_tells_the_leak(self) -> None:
        measured = run("height-decay", hold(0.072, 1.0))
        assert not measured.at_least
        assert codes(measured) == []

    def test_a_fall_beyond_the_spring_is_cut_at_its_gas(self) -> None:
        """The stop ended the fall before the gas did; the assumed travel is too long."""
        small: Numbers = {**EXAMPLE, "spring-volume": (0.9e-3, 0.0), "spring-area": (0.01, 0.0)}
        got = run("height-decay", hold(0.100, 1.0), small).estimate.value
        limit = run("height-decay", hold(0.98 * 0.9e-3 / 0.01, 1.0), small).estimate.value
        assert got == pytest.approx(limit, rel=1e-9)


class TestRefusals:
    def refused(self, model: str, numbers: Numbers, facts: Numbers = EXAMPLE) -> str:
        with pytest.raises(DomainError) as caught:
            run(model, numbers, facts)
        return str(caught.value)

    def test_an_absurd_drop(self) -> None:
        assert self.refused("height-decay", hold(0.150, 12.0)) == (
            "drop = 150 mm: must be no more than 136 mm. Check both heights; "
            "correct the bump travel in the vehicle data if it is larger."
        )

    def test_swapped_heights(self) -> None:
        said = self.refused("height-decay", hold(-0.060, 12.0))
        assert said.startswith("drop = -60 mm: must be no less than ")
        assert "are the two heights swapped" in said

    def test_a_little_rise_is_noise_or_warmth(self) -> None:
        assert run("height-decay", hold(-0.002, 12.0)).estimate.value < 0.0

    def test_swapped_times(self) -> None:
        assert self.refused("duty", exact(running=3600.0, watched=40.0)) == (
            "running = 3600 s: must be no longer than the time watched. Are the two times swapped?"
        )

    def test_nothing_was_watched(self) -> None:
        assert self.refused("duty", exact(running=0.0, watched=0.0)) == (
            "watched = 0 s: must be above zero. Is the watch's reading missing?"
        )

    def test_a_rise_in_no_time(self) -> None:
        numbers = exact(height_start=0.38, height_end=0.40, time=0.0)
        assert self.refused("rise-rate", numbers).startswith("time = 0 s: must be above zero.")

    @pytest.mark.parametrize("model", ["height-decay", "pressure-decay", "fill-pressure"])
    def test_no_time_at_all(self, model: str) -> None:
        numbers = {**dict(CASES)[model], "time": (0.0, 1.0)}
        assert self.refused(model, numbers).startswith("duration = 0 s: must be above zero.")

    def test_no_current(self) -> None:
        assert self.refused("joint-drop", exact(drop=0.02, current=0.0)) == (
            "current = 0 A: must be above 1 A. Measure the drop while the pump runs; "
            "without current every joint looks sound."
        )

    def test_an_open_joint(self) -> None:
        """The whole supply across it and nothing flows: it looks anything but sound."""
        said = self.refused("joint-drop", exact(drop=12.1, current=0.0))
        assert said.startswith("current = 0 A: must be above 1 A. The supply stands across")
        assert "it is open" in said
        assert "(feed.loss)" in said
        assert "(pump.plug-lamp)" in said
        assert "looks sound" not in said

    def test_the_checks_that_an_open_joint_is_sent_to_exist(self, knowledge: Knowledge) -> None:
        said = self.refused("joint-drop", exact(drop=-12.1, current=0.2))
        checks = {check.id for check in knowledge.checks}
        named = re.findall(r"\(([a-z.-]+)\)", said)
        assert len(named) == 2
        assert set(named) <= checks

    def test_a_clamp_the_wrong_way_round(self) -> None:
        said = self.refused("joint-drop", exact(drop=0.1, current=-18.0))
        assert said.endswith("Turn the clamp round, or leave the sign out.")

    @pytest.mark.parametrize("volts", [0.0, 2.0])
    def test_a_supply_at_which_no_pump_turns(self, volts: float) -> None:
        numbers = exact(
            height_start=0.38, height_end=0.40, time=30.0, supply=volts, temperature=KELVIN_20
        )
        said = self.refused("rise-rate", numbers)
        assert said.startswith("delivery of a healthy pump = 0 mol/s: must be above zero;")
        assert "Check voltage and pressure" in said


class TestDeadPump:
    """A pump that gives nothing is a reading like any other."""

    @pytest.mark.parametrize(("start", "end"), [(0.0, 0.0), (-1e3, 0.0), (-2e3, -1e3)])
    def test_a_gauge_that_stays_at_zero(self, start: float, end: float) -> None:
        numbers: Numbers = {
            "pressure-start": (start, 3e3),
            "pressure-end": (end, 3e3),
            "time": (60.0, 0.5),
            "volume": (5e-3, 5e-5),
        }
        got = run("fill-pressure", numbers, wide_facts()).estimate
        assert abs(got.value) < 0.01
        assert 0.0 < got.std < 0.1

    def test_an_axle_that_sinks_while_the_pump_runs(self) -> None:
        numbers: Numbers = {
            "height-start": (0.400, 8e-4),
            "height-end": (0.395, 8e-4),
            "time": (30.0, 1.0),
        }
        got = run("rise-rate", numbers, wide_facts()).estimate
        assert got.value < 0.0
        level = {**numbers, "height-end": (0.400, 8e-4)}
        still = run("rise-rate", level, wide_facts()).estimate
        assert still.value == 0.0
        assert still.std > 0.0
