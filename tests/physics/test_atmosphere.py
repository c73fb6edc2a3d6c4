"""Standard pressure by altitude, and water in air."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from printed import printed
from sagtrace.errors import DomainError
from sagtrace.physics.atmosphere import (
    condensed_fraction,
    geopotential_altitude,
    humidity_ratio,
    saturation_pressure,
    standard_pressure,
    standard_temperature,
)
from sagtrace.physics.constants import R_AIR
from sagtrace.physics.gas import density_ideal

laws = settings(deadline=None, max_examples=60)
COMPRESSED = 1_101_325.0


@pytest.mark.arithmetic("fluids 1.3.1, US Standard Atmosphere 1976")
@pytest.mark.parametrize(
    ("metres", "geometric", "geopotential"),
    [
        (0, "101325", "101325"),
        (500, "95461.29", "95460.84"),
        (1000, "89876.29", "89874.56"),
        (1500, "84559.68", "84555.99"),
        (2000, "79501.42", "79495.20"),
        (2500, "74691.76", "74682.52"),
        (3000, "70121.16", "70108.53"),
    ],
)
def test_standard_pressure(metres: float, geometric: str, geopotential: str) -> None:
    assert standard_pressure(geopotential_altitude(metres)) == printed(geometric)
    # To 1e-6, because this column was made with the exponent rounded to 5.25588.
    assert standard_pressure(metres) == pytest.approx(float(geopotential), rel=1e-6)


@laws
@given(h=st.floats(-4000.0, 10_000.0))
def test_pressure_carries_the_air_above(h: float) -> None:
    """dp/dh = -rho g, with the density of the perfect gas at the standard temperature."""
    slope = float(standard_pressure(h + 1.0) - standard_pressure(h - 1.0)) / 2.0
    density = density_ideal(standard_pressure(h), standard_temperature(h), r_gas=R_AIR)
    assert slope == pytest.approx(-9.80665 * float(density), rel=1e-4)


MOIST = [
    (5, 0.90, 872.575, 4.87793, 0.51235, 89.50),
    (20, 0.65, 2339.318, 9.51528, 1.36978, 85.60),
    (25, 0.60, 3169.929, 11.94903, 1.85553, 84.47),
    (30, 0.80, 4246.971, 21.67577, 2.48606, 88.53),
]


@pytest.mark.arithmetic("CoolProp 8.0.0, humid air")
@pytest.mark.parametrize(("celsius", "rh", "p_sat", "carried", "left", "condensed"), MOIST)
def test_moisture(
    celsius: float, rh: float, p_sat: float, carried: float, left: float, condensed: float
) -> None:
    temp = celsius + 273.15
    # To what the module claims: 0.1 %; 0.5 % near 1 bar; some 4 % at 11 bar, both too low.
    assert saturation_pressure(temp) == pytest.approx(p_sat, rel=1e-3)
    near_1_bar = 1e3 * humidity_ratio(temp, 101_325, relative_humidity=rh) / carried
    at_11_bar = 1e3 * humidity_ratio(temp, COMPRESSED, relative_humidity=1.0) / left
    assert 0.995 < near_1_bar < 1.0
    assert 0.955 < at_11_bar < 1.0
    share = condensed_fraction(temp, 101_325, COMPRESSED, relative_humidity=rh)
    assert 100 * share == pytest.approx(condensed, abs=0.6)


@pytest.mark.arithmetic("87.633 g of air at 25 C and 60 %: 1047 mg of water (CoolProp)")
def test_water_carried_into_a_reservoir() -> None:
    air = float(density_ideal(15e5, 298.15)) * 5e-3
    assert 1e3 * air == pytest.approx(87.633, rel=1e-3)
    water = air * float(humidity_ratio(298.15, 101_325, relative_humidity=0.60))
    assert 1e6 * water == pytest.approx(1047, rel=6e-3)


@pytest.mark.from_memory(
    "IAPWS: water boils at 99.974 C at one atmosphere; triple point 611.657 Pa"
)
def test_saturation_at_two_fixed_points() -> None:
    assert saturation_pressure(99.974 + 273.15) == pytest.approx(101_325, rel=1e-3)
    assert saturation_pressure(273.16) == pytest.approx(611.657, rel=1e-3)


@laws
@given(t=st.floats(274.0, 640.0))
def test_warmer_water_boils_at_more(t: float) -> None:
    assert saturation_pressure(t + 1.0) > saturation_pressure(t)


def test_dry_enough_air_loses_nothing() -> None:
    assert condensed_fraction(293.15, 1e5, 2e5, relative_humidity=0.1) == 0.0


def test_refusals() -> None:
    with pytest.raises(DomainError, match=r"^altitude = 12000 m: must be -5000 to 11000\.$"):
        standard_pressure(12_000.0)
    with pytest.raises(DomainError, match=r"^relative_humidity = 65: must be 0 to 1\. Per cent\?"):
        humidity_ratio(293.15, 1e5, relative_humidity=65.0)
    with pytest.raises(DomainError, match=r"^relative_humidity = 0: must be above zero\. Dry air"):
        condensed_fraction(293.15, 1e5, 8e5, relative_humidity=0.0)
    with pytest.raises(DomainError, match=r"^temp = 263.15 K: must be 273.16 to 647.096\. Over li"):
        saturation_pressure(263.15)
    with pytest.raises(DomainError, match=r"^pressure = 1000 Pa: must be above the vapour's own"):
        humidity_ratio(303.15, 1000.0, relative_humidity=1.0)
