"""The air spring: 450 kg on 0.01 m^2 and 1.5 L."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from printed import printed
from sagtrace.errors import DomainError
from sagtrace.physics.constants import G_N, P_ATM
from sagtrace.physics.spring import (
    barometer_height_change,
    load_from_pressure,
    load_height_change,
    natural_frequency,
    pressure_from_load,
    stiffness,
    thermal_height_change,
    thermal_pressure_change,
)

laws = settings(deadline=None, max_examples=60)
MASS, AREA, VOLUME, PRESSURE = 450.0, 0.0100, 1.5e-3, 542_624.25


@pytest.mark.arithmetic("F = m g, p = F/A, p_atm = 101 325 Pa")
def test_load_and_pressure() -> None:
    gauge = pressure_from_load(MASS * G_N, AREA)
    assert gauge == printed("441299.25")
    assert gauge + P_ATM == printed("542624.25")
    assert load_from_pressure(gauge, AREA) == printed("4412.9925")


@pytest.mark.arithmetic("k = n p_abs A^2/V and f = sqrt(k/m)/(2 pi)")
@pytest.mark.parametrize(
    ("n", "k", "f"),
    [
        (1.0, "36174.95", "1.426980"),
        (1.3, "47027.44", "1.627007"),
        (1.38, "49921.43", "1.676322"),
        (1.4, "50644.93", "1.688425"),
    ],
)
def test_stiffness_and_frequency(n: float, k: str, f: str) -> None:
    value = stiffness(n, PRESSURE, AREA, VOLUME)
    assert value == printed(k)
    assert natural_frequency(value, MASS) == printed(f)


@pytest.mark.arithmetic("second term p_gauge dA/dz, dA/dz = 0.02 m")
def test_slope_of_area() -> None:
    sloped = stiffness(1.0, PRESSURE, AREA, VOLUME, area_slope=0.02)
    assert sloped == printed("45000.94")
    assert sloped - stiffness(1.0, PRESSURE, AREA, VOLUME) == printed("8825.985")


@pytest.mark.arithmetic("gauge for absolute pressure in the first term")
def test_gauge_pressure_makes_it_too_soft() -> None:
    right = stiffness(1.0, PRESSURE, AREA, VOLUME)
    wrong = stiffness(1.0, PRESSURE - P_ATM, AREA, VOLUME)
    assert 100 * (wrong / right - 1) == printed("-18.673")


@pytest.mark.arithmetic("dh = (V/A) dT/T")
@pytest.mark.parametrize(
    ("start", "end", "millimetres"),
    [
        (293.15, 294.15, "0.511683"),
        (293.15, 273.15, "-10.2337"),
        (293.15, 263.15, "-15.3505"),
        (313.15, 293.15, "-9.5801"),
    ],
)
def test_thermal_height_change(start: float, end: float, millimetres: str) -> None:
    assert 1e3 * thermal_height_change(VOLUME, AREA, start, end) == printed(millimetres)


@pytest.mark.arithmetic("dp = p dT/T")
def test_thermal_pressure_change() -> None:
    assert thermal_pressure_change(PRESSURE, 293.15, 273.15) == printed("-37020.25")
    assert thermal_pressure_change(800e3, 298.15, 293.15) == printed("-13416.07")


@pytest.mark.arithmetic("(V/A)(p/(p - 2 kPa) - 1)")
def test_barometer() -> None:
    assert 1e3 * barometer_height_change(VOLUME, AREA, PRESSURE, -2e3) == printed("0.55")


@laws
@given(p=st.floats(2e5, 2e6), v=st.floats(5e-4, 1e-2), a=st.floats(5e-3, 3e-2))
def test_stiffness_is_the_slope_of_load_over_height(p: float, v: float, a: float) -> None:
    """Squeeze the gas isothermally by a micrometre and look at the load."""
    z = 1e-6
    squeezed = p * v / (v - a * z)
    slope = (squeezed - p) * a / z
    assert stiffness(1.0, p, a, v) == pytest.approx(slope, rel=1e-3)
    assert load_height_change(v, a, p, (squeezed - p) * a) == pytest.approx(-z, rel=1e-4)


@laws
@given(n=st.floats(1.0, 1.39), p=st.floats(2e5, 2e6))
def test_a_faster_move_is_stiffer(n: float, p: float) -> None:
    assert stiffness(1.4, p, AREA, VOLUME) > stiffness(n, p, AREA, VOLUME)


@laws
@given(t1=st.floats(240.0, 330.0), t2=st.floats(240.0, 330.0))
def test_there_and_back_ends_at_the_same_height(t1: float, t2: float) -> None:
    there = float(thermal_height_change(VOLUME, AREA, t1, t2))
    back = thermal_height_change(VOLUME + AREA * there, AREA, t2, t1)
    assert there + back == pytest.approx(0.0, abs=1e-12)


@laws
@given(load=st.floats(0.0, 1e5), area=st.floats(1e-3, 1e-1))
def test_load_and_pressure_are_inverse(load: float, area: float) -> None:
    assert load_from_pressure(pressure_from_load(load, area), area) == pytest.approx(load)


def test_refusals() -> None:
    with pytest.raises(DomainError, match=r"^load = -1 N: must be zero or above\. A spring cannot"):
        pressure_from_load(-1.0, AREA)
    with pytest.raises(DomainError, match=r"^polytropic = 0.9: must be 1 or above\.$"):
        stiffness(0.9, PRESSURE, AREA, VOLUME)
    with pytest.raises(DomainError, match=r"^barometer_change = -600000 Pa: must be above minus"):
        barometer_height_change(VOLUME, AREA, PRESSURE, -6e5)
    with pytest.raises(DomainError, match=r"^load_change = -6000 N: must be less than takes all"):
        load_height_change(VOLUME, AREA, PRESSURE, -6e3)
