"""Leaks from falling pressure and from falling height."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from printed import printed
from sagtrace.errors import DomainError
from sagtrace.physics.airflow import conductance_from_orifice, orifice_mass_flow
from sagtrace.physics.constants import M_AIR, P_ATM, R_GAS
from sagtrace.physics.gas import (
    ANR_ISO8778,
    NORMAL_0C_1ATM,
    REF_20C_1ATM,
    mass_from_molar,
    molar_flow_to_pv,
    molar_flow_to_standard,
    pv_to_molar_flow,
    standard_to_molar_flow,
)
from sagtrace.physics.leak import (
    bubble_growth_time,
    height_speed_from_conductance,
    leak_flow_pv,
    leak_from_height_decay,
    leak_from_pressure_decay,
    leak_scaling_choked,
    leak_scaling_laminar,
    nominal_hole_diameter,
)
from sagtrace.physics.spring import thermal_height_change, thermal_pressure_change

laws = settings(deadline=None, max_examples=60)
pressures, temperatures = st.floats(2e5, 2e6), st.floats(240.0, 330.0)
volumes, areas = st.floats(5e-4, 1e-2), st.floats(5e-3, 3e-2)

AREA, PRESSURE, HOUR = 0.0100, 542_624.0, 3600.0


@pytest.mark.arithmetic("40 CFR 1065.644, example inputs (read), R = 8.314472; sign reversed")
def test_vacuum_decay_example() -> None:
    rate = leak_from_pressure_decay(0.002, 25_300, 50_600, 70, temp_start=293.15, temp_end=293.15)
    # The regulation's gas constant is an older one, 1.1e-6 higher.
    assert rate == pytest.approx(-2.9657047e-4 * 8.314472 / R_GAS, rel=2e-8)


@pytest.mark.arithmetic("n = V/R (p1/T1 - p2/T2)/t, V = 2.5 L, 800 to 780 kPa in 1 h, 293.15 K")
def test_pressure_decay_at_constant_temperature() -> None:
    rate = leak_from_pressure_decay(2.5e-3, 800e3, 780e3, HOUR, temp_start=293.15, temp_end=293.15)
    assert rate == printed("5.6982752e-6")
    assert molar_flow_to_pv(rate, 293.15) == printed("1.3888889e-2")
    assert mass_from_molar(rate) == printed("1.650517e-7")
    assert 60e6 * molar_flow_to_standard(rate, NORMAL_0C_1ATM) == printed("7.663258")
    assert 60e6 * molar_flow_to_standard(rate, REF_20C_1ATM) == printed("8.224361")
    assert 60e6 * molar_flow_to_standard(rate, ANR_ISO8778) == printed("8.333333")


@pytest.mark.arithmetic("the same with 298.15 to 293.15 K, and with that ignored")
def test_pressure_decay_while_cooling() -> None:
    given_ = (2.5e-3, 800e3, 780e3, HOUR)
    rate = leak_from_pressure_decay(*given_, temp_start=298.15, temp_end=293.15)
    ignored = leak_from_pressure_decay(*given_, temp_start=298.15, temp_end=298.15)
    assert rate == printed("1.8758535e-6")
    assert 60e6 * molar_flow_to_standard(rate, NORMAL_0C_1ATM) == printed("2.522719")
    assert ignored == printed("5.6027147e-6")
    assert ignored / rate == printed("3.0")


@pytest.mark.arithmetic("p_use/p_test and (p_use^2 - p_atm^2)/(p_test^2 - p_atm^2)")
def test_scaling_with_test_pressure() -> None:
    # To 1e-6, not to the last digit, because 800/542.624 is 1.4743174.
    assert leak_scaling_choked(542_624, 800e3) == pytest.approx(1.474318, rel=1e-6)
    assert leak_scaling_laminar(542_624, 800e3) == printed("2.21601")


@pytest.mark.arithmetic("Q = p A (-dh/dt), A = 0.01 m^2, p = 542 624 Pa, 293.15 K")
@pytest.mark.parametrize(
    ("drop", "hours", "pv", "standard"),
    [
        (20e-3, 12, "2.51215e-3", "1.386"),
        (5e-3, 12, "6.28037e-4", "0.3465"),
        (50e-3, 1, "7.53644e-2", "41.58"),
    ],
)
def test_height_decay_rows(drop: float, hours: float, pv: str, standard: str) -> None:
    rate = leak_from_height_decay(
        AREA, PRESSURE, drop, hours * HOUR, volume_start=1.5e-3, temp_start=293.15, temp_end=293.15
    )
    assert molar_flow_to_pv(rate, 293.15) == printed(pv)
    assert leak_flow_pv(PRESSURE, AREA, -drop / (hours * HOUR)) == printed(pv)
    assert 60e6 * molar_flow_to_standard(rate, NORMAL_0C_1ATM) == printed(standard)


@pytest.mark.arithmetic("the same: mass, and the round hole with cd = 0.8 that is choked")
def test_height_decay_as_mass_and_hole() -> None:
    slow = pv_to_molar_flow(2.51215e-3, 293.15)
    fast = pv_to_molar_flow(7.53644e-2, 293.15)
    assert 1e6 * mass_from_molar(slow) * HOUR == printed("107.5")
    assert 1e6 * nominal_hole_diameter(slow, PRESSURE, 293.15, cd=0.8) == printed("6.1")
    assert 1e6 * nominal_hole_diameter(fast, PRESSURE, 293.15, cd=0.8) == printed("33")


@pytest.mark.arithmetic("dh/dt = -C p0/A with C = 2e-12 m^3/(s Pa), T = T0")
def test_height_speed() -> None:
    speed = height_speed_from_conductance(AREA, conductance=2e-12)
    assert 3.6e6 * speed == printed("-72.0")


def test_height_speed_agrees_with_the_hole_that_has_the_conductance() -> None:
    """Two routes to one leak, apart only by rho0 R T0 = 99 716 Pa against p0 = 100 kPa."""
    hole = 1e-10
    flow = orifice_mass_flow(hole, PRESSURE, P_ATM, 300.0, cd=0.8) / M_AIR
    by_flow = -molar_flow_to_pv(flow, 300.0) / (PRESSURE * AREA)
    c = conductance_from_orifice(hole, cd=0.8)
    by_conductance = height_speed_from_conductance(AREA, conductance=c, temp=300.0)
    assert by_conductance / by_flow == pytest.approx(100_000 / 99_716, abs=2e-4)


@pytest.mark.arithmetic("pi/6 d^3 p_atm/Q with d = 2 mm")
@pytest.mark.parametrize(
    ("leak", "seconds"), [(1e-4, "4.244"), (1e-6, "424.4"), (2.51215e-3, "0.169")]
)
def test_bubble_growth(leak: float, seconds: str) -> None:
    assert bubble_growth_time(leak, diameter=2e-3) == printed(seconds)


@pytest.mark.arithmetic("2.51215e-3 Pa m^3/s over 1e-5 standard cm^3/s (ASTM E515)")
def test_overnight_leak_is_far_above_what_soap_shows() -> None:
    limit = molar_flow_to_pv(standard_to_molar_flow(1e-11, NORMAL_0C_1ATM), 273.15)
    assert limit == printed("1.01325e-6")
    assert 2.51215e-3 / limit == printed("2479")


@laws
@given(volume=volumes, p=pressures, t1=temperatures, t2=temperatures)
def test_a_tight_vessel_that_changes_temperature_has_no_leak(
    volume: float, p: float, t1: float, t2: float
) -> None:
    p_end = p + float(thermal_pressure_change(p, t1, t2))
    rate = leak_from_pressure_decay(volume, p, p_end, HOUR, temp_start=t1, temp_end=t2)
    assert abs(rate) < 1e-12 * volume * p / (R_GAS * t1)


@laws
@given(volume=volumes, area=areas, p=pressures, t1=temperatures, t2=temperatures)
def test_a_tight_spring_that_changes_temperature_has_no_leak(
    volume: float, area: float, p: float, t1: float, t2: float
) -> None:
    drop = -float(thermal_height_change(volume, area, t1, t2))
    rate = leak_from_height_decay(
        area, p, drop, HOUR, volume_start=volume, temp_start=t1, temp_end=t2
    )
    assert abs(rate) < 1e-12 * volume * p / (R_GAS * t1)


@laws
@given(p=pressures, millimetres=st.integers(-50, 50), t=temperatures, v=st.floats(2e-3, 9e-3))
def test_volume_does_not_matter_without_a_change_of_temperature(
    p: float, millimetres: int, t: float, v: float
) -> None:
    drop = millimetres / 1000

    def rate(volume: float) -> float:
        return float(
            leak_from_height_decay(
                0.01, p, drop, HOUR, volume_start=volume, temp_start=t, temp_end=t
            )
        )

    assert rate(v) == pytest.approx(rate(1e-3), rel=1e-9, abs=1e-15)
    assert np.sign(rate(v)) == np.sign(drop)


@laws
@given(p=pressures, higher=st.floats(1.0, 3.0))
def test_a_pore_gains_more_from_pressure_than_a_hole(p: float, higher: float) -> None:
    choked, laminar = leak_scaling_choked(p, p * higher), leak_scaling_laminar(p, p * higher)
    assert laminar >= choked >= 1.0


@laws
@given(d=st.floats(1e-6, 1e-3), p=st.floats(1.2e5, 2e6), t=temperatures)
def test_nominal_hole_gives_back_the_hole(d: float, p: float, t: float) -> None:
    leak = orifice_mass_flow(np.pi / 4 * d**2, p, P_ATM, t, cd=0.7) / M_AIR
    assert nominal_hole_diameter(leak, p, t, cd=0.7) == pytest.approx(d)


def test_refusals_name_the_usual_mistake() -> None:
    text = r"^height_drop = 20 m: must be small enough to leave gas in the spring\. Millimetres\?"
    with pytest.raises(DomainError, match=text):
        leak_from_height_decay(
            AREA, PRESSURE, 20.0, HOUR, volume_start=1.5e-3, temp_start=293.0, temp_end=293.0
        )
    with pytest.raises(
        DomainError, match=r"^p_test = 90000 Pa: must be above the pressure outside"
    ):
        leak_scaling_laminar(90e3, 8e5)
    with pytest.raises(DomainError, match=r"^pressure = 90000 Pa: must be above the pressure out"):
        nominal_hole_diameter(1e-6, 90e3, 293.15, cd=0.8)
    with pytest.raises(DomainError, match=r"^temp_end = -4 K: must be above zero\. Degrees Cels"):
        leak_from_pressure_decay(2.5e-3, 8e5, 7e5, HOUR, temp_start=293.0, temp_end=-4.0)
