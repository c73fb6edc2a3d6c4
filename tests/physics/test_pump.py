"""The pump: clearance, power, motor, health and duty."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from printed import printed
from sagtrace.errors import DomainError
from sagtrace.physics.constants import P_ATM, R_AIR, R_GAS
from sagtrace.physics.gas import mass_from_molar
from sagtrace.physics.pump import (
    allowed_duty,
    charge_temperature,
    compression_temperature,
    delivery,
    duty,
    duty_minutes_per_day,
    fill_time_isothermal,
    free_air_between,
    free_air_to_raise,
    full_credit_time,
    isothermal_power,
    motor_speed,
    motor_speed_ratio,
    polytropic_power,
    pump_health,
    reference_delivery,
    volumetric_efficiency,
    zero_delivery_ratio,
)

laws = settings(deadline=None, max_examples=60)
FAD = 20e-3 / 60  # 20 L/min
BOOKLET = "a car maker's training booklet of the 2000s, run-time model of the compressor"


@pytest.mark.arithmetic("(1 + 1/c)^1.3")
@pytest.mark.parametrize(
    ("c", "ratio"),
    [(0.02, "165.898"), (0.04, "69.098"), (0.06, "41.812"), (0.08, "29.474"), (0.10, "22.585")],
)
def test_zero_delivery_ratio(c: float, ratio: str) -> None:
    limit = zero_delivery_ratio(clearance=c, polytropic=1.3)
    assert limit == printed(ratio)
    assert volumetric_efficiency(limit, clearance=c, polytropic=1.3) == pytest.approx(0, abs=1e-12)


@pytest.mark.arithmetic("1 - c (r^(1/1.3) - 1)")
@pytest.mark.parametrize(
    ("c", "row"),
    [
        (0.02, ["0.97344", "0.94064", "0.92098", "0.89350", "0.84318"]),
        (0.04, ["0.94687", "0.88128", "0.84196", "0.78699", "0.68636"]),
        (0.08, ["0.89375", "0.76256", "0.68393", "0.57399", "0.37272"]),
        (0.10, ["0.86718", "0.70319", "0.60491", "0.46748", "0.21590"]),
    ],
)
def test_volumetric_efficiency(c: float, row: list[str]) -> None:
    values = volumetric_efficiency([3, 6, 8, 11, 17], clearance=c, polytropic=1.3)
    assert [float(value) for value in values] == [printed(text) for text in row]


@pytest.mark.arithmetic("c = 0.04, r = 11")
@pytest.mark.parametrize(("n", "eta"), [(1.4, "0.818225"), (1.3, "0.786994"), (1.0, "0.600000")])
def test_volumetric_efficiency_by_exponent(n: float, eta: str) -> None:
    assert volumetric_efficiency(11, clearance=0.04, polytropic=n) == printed(eta)


@pytest.mark.from_memory("Eastop & McConkey, Applied Thermodynamics: inputs of a worked example")
def test_double_acting_compressor() -> None:
    """14 m^3/min at 1.013 bar and 288 K to 7 bar, 300 rev/min, 5 % clearance, n = 1.3, R = 287."""
    ratio, flow = 7 / 1.013, 14 / 60
    eta = volumetric_efficiency(ratio, clearance=0.05, polytropic=1.3)
    swept = flow / (2 * 300 / 60) / eta
    mass = flow * 1.013e5 / (287 * 288)
    power = polytropic_power(1.013e5, 7e5, flow, polytropic=1.3)
    isothermal = isothermal_power(1.013e5, 7e5, flow)
    assert eta == printed("0.828828")
    assert swept == printed("0.0281522")
    assert compression_temperature(288, ratio, polytropic=1.3) == printed("449.905")
    assert mass == printed("0.285964")
    assert power / 1e3 == printed("57.5805")
    assert isothermal / 1e3 == printed("45.6895")
    assert isothermal / power == printed("0.793489")
    molar = delivery(2 * swept, 5, 1.013e5, 288, ratio, clearance=0.05, polytropic=1.3)
    assert mass_from_molar(molar) * R_AIR / 287 == pytest.approx(mass, rel=2e-5)


@pytest.mark.arithmetic("20 L/min free air at 101 325 Pa and 293.15 K")
@pytest.mark.parametrize(
    ("bar", "isothermal", "polytropic", "isentropic", "t_polytropic", "t_isentropic"),
    [
        (5, "60.1466", "74.3876", "78.4098", "442.145", "487.595"),
        (8, "73.8164", "95.9986", "102.5134", "485.431", "547.369"),
        (10, "80.5850", "107.4701", "115.5206", "508.408", "579.624"),
        (15, "93.2276", "130.3709", "141.9035", "554.278", "645.050"),
    ],
)
def test_power_and_temperature(
    bar: float,
    isothermal: str,
    polytropic: str,
    isentropic: str,
    t_polytropic: str,
    t_isentropic: str,
) -> None:
    p = bar * 1e5 + P_ATM
    assert isothermal_power(P_ATM, p, FAD) == printed(isothermal)
    assert polytropic_power(P_ATM, p, FAD, polytropic=1.3) == printed(polytropic)
    assert polytropic_power(P_ATM, p, FAD, polytropic=1.4) == printed(isentropic)
    ratio = p / P_ATM
    assert compression_temperature(293.15, ratio, polytropic=1.3) == printed(t_polytropic)
    assert compression_temperature(293.15, ratio) == printed(t_isentropic)


@pytest.mark.arithmetic("V dp/(p_atm Q), p A h/p_atm, gamma T")
def test_fills() -> None:
    whole = fill_time_isothermal(5e-3, P_ATM, P_ATM + 10e5, free_air_delivery=FAD)
    half = fill_time_isothermal(5e-3, P_ATM + 5e5, P_ATM + 10e5, free_air_delivery=FAD)
    assert (whole, half) == (printed("148.0385"), printed("74.0192"))
    corner = free_air_to_raise(0.01, 542_624.25, 0.025)
    # Printed from 542.624 kPa or from its unrounded value: both fit to 1e-6.
    assert 1e3 * corner == pytest.approx(1.338821, rel=1e-6)
    assert corner / FAD == printed("4.016")
    assert 1e3 * free_air_between(5e-3, 742_600, 1_101_325) == printed("17.7017")
    assert charge_temperature(293.15) == printed("410.41")


@pytest.mark.arithmetic("leak over delivery, 1440 min a day")
def test_duty() -> None:
    assert 100 * duty(500, 20_000) == printed("2.5")
    assert duty_minutes_per_day(duty(500, 20_000)) == printed("36")
    assert duty_minutes_per_day(duty(1.386, 20_000)) == printed("0.0998")


@pytest.mark.published(BOOKLET)
def test_full_credit_after_48_minutes() -> None:
    assert full_credit_time(120, 15, 6 * 60) / 60 == printed("48")


@pytest.mark.arithmetic("15/375")
def test_allowed_duty() -> None:
    assert 100 * allowed_duty(15, 360) == printed("4.0")


@pytest.mark.arithmetic("permanent-magnet motor, 12 V, 20 A, Ra 0.15 ohm, +0.1 ohm in the feed")
def test_bad_feed_costs_speed() -> None:
    def speed(feed: float) -> float:
        return float(
            motor_speed(
                12, 20, armature_resistance=0.15, back_emf_constant=0.03, feed_resistance=feed
            )
        )

    assert speed(0.1) / speed(0.0) == printed("0.777778")
    ratio = motor_speed_ratio(
        10, 20, nominal_voltage=12, nominal_current=20, armature_resistance=0.15
    )
    assert ratio == printed("0.777778")


def test_a_motor_that_cannot_turn_stands_still() -> None:
    speed = motor_speed(12, [10, 80, 90], armature_resistance=0.15, back_emf_constant=0.03)
    assert speed.tolist() == [pytest.approx(350.0), 0.0, 0.0]


REFERENCE = {
    "nominal_voltage": 13.5,
    "nominal_current": 18.0,
    "voltage": 13.5,
    "current": 18.0,
    "armature_resistance": 0.12,
    "p_intake": P_ATM,
    "temp_intake": 293.15,
    "p_delivery": P_ATM,
    "clearance": 0.06,
    "polytropic": 1.3,
}


def _reference(**changes: float) -> float:
    return float(reference_delivery(FAD, **(REFERENCE | changes)))


def test_reference_delivery_at_its_own_point_is_the_free_air_delivery() -> None:
    assert _reference() == pytest.approx(FAD * P_ATM / (R_GAS * 293.15))


def test_reference_delivery_is_displacement_times_speed_times_efficiency() -> None:
    """The same pump told by displacement: 50 rev/s at the nominal point, 40 with a weak supply."""
    ratio, swept = 8e5 / P_ATM, FAD / 50
    weak = 0.8 * (13.5 - 18 * 0.12) + 18 * 0.12
    expected = delivery(swept, 40, P_ATM, 293.15, ratio, clearance=0.06, polytropic=1.3)
    assert _reference(voltage=weak, p_delivery=8e5) == pytest.approx(float(expected))


@laws
@given(
    voltage=st.floats(9.0, 15.0),
    barometer=st.floats(7e4, 1.05e5),
    temp=st.floats(250.0, 330.0),
    against=st.floats(2e5, 1.2e6),
)
def test_reference_delivery_falls_with_every_hardship(
    voltage: float, barometer: float, temp: float, against: float
) -> None:
    here = _reference(voltage=voltage, p_intake=barometer, temp_intake=temp, p_delivery=against)
    for name, factor in (("voltage", 0.9), ("p_intake", 0.9), ("temp_intake", 1.1)):
        values = {"voltage": voltage, "p_intake": barometer, "temp_intake": temp}
        worse = _reference(p_delivery=against, **(values | {name: values[name] * factor}))
        assert worse < here
    higher = _reference(
        voltage=voltage, p_intake=barometer, temp_intake=temp, p_delivery=1.1 * against
    )
    assert higher < here
    assert pump_health(here / 2, reference_flow=here) == pytest.approx(0.5)


@laws
@given(r=st.floats(1.0, 30.0), c=st.floats(0.0, 0.2), n=st.floats(1.0, 1.4))
def test_efficiency_stays_between_none_and_all(r: float, c: float, n: float) -> None:
    eta = volumetric_efficiency(r, clearance=c, polytropic=n)
    assert 0.0 <= eta <= 1.0
    assert volumetric_efficiency(r + 1, clearance=c, polytropic=n) <= eta


@laws
@given(p=st.floats(1.1e5, 2e6), n=st.floats(1.01, 1.39))
def test_power_lies_between_isothermal_and_isentropic(p: float, n: float) -> None:
    power = polytropic_power(1e5, p, FAD, polytropic=n)
    assert isothermal_power(1e5, p, FAD) < power < polytropic_power(1e5, p, FAD, polytropic=1.4)


@laws
@given(low=st.floats(1e5, 1e6), step1=st.floats(0.0, 5e5), step2=st.floats(0.0, 5e5))
def test_fill_times_add_up(low: float, step1: float, step2: float) -> None:
    def time(start: float, end: float) -> float:
        return float(fill_time_isothermal(5e-3, start, end, free_air_delivery=FAD))

    middle, high = low + step1, low + step1 + step2
    assert time(low, middle) + time(middle, high) == pytest.approx(time(low, high), abs=1e-6)


def test_a_leak_beyond_the_pump_runs_it_all_day() -> None:
    share = duty([1.0, 3.0], 2.0)
    assert share.tolist() == [0.5, 1.5]
    assert duty_minutes_per_day(share).tolist() == [720.0, 1440.0]


def test_refusals_name_the_usual_mistake() -> None:
    with pytest.raises(DomainError, match=r"^delivery = 0 mol/s: must be above zero\. A pump that"):
        duty(1e-6, 0.0)
    with pytest.raises(DomainError, match=r"^p_delivery = 80000 Pa: must be at least the intake"):
        _reference(p_delivery=8e4)
    with pytest.raises(DomainError, match=r"^armature_resistance = 120 ohm: must be low enough"):
        _reference(armature_resistance=120.0)
    with pytest.raises(DomainError, match=r"^polytropic = 1: must be above 1\. For exactly 1 use"):
        polytropic_power(1e5, 8e5, FAD, polytropic=1.0)
    with pytest.raises(DomainError, match=r"^p_high = 100000 Pa: must be at least the lower"):
        free_air_between(5e-3, 2e5, 1e5)
