"""Flow through valves and holes, and how long a tank takes to empty."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from printed import printed
from sagtrace.errors import DomainError
from sagtrace.physics._checks import Array
from sagtrace.physics.airflow import (
    blowdown_temperature_adiabatic,
    blowdown_time_adiabatic,
    blowdown_time_isothermal,
    choked_flow_factor,
    conductance_from_orifice,
    critical_pressure_ratio,
    iso6358_mass_flow,
    orifice_area_from_conductance,
    orifice_mass_flow,
)
from sagtrace.physics.constants import P_ATM, R_AIR, RHO_ANR

laws = settings(deadline=None, max_examples=60)
pressures = st.floats(1e5, 2e6)
temperatures = st.floats(230.0, 400.0)
ratios = st.floats(0.0, 0.9)
MM_HOLE = math.pi / 4 * 1e-6

ISO_ROWS = [
    (7e5, 293.15, 1.0e5, 1e-8, 0.30, "8.295000", "420.0000"),
    (7e5, 293.15, 5.0e5, 1e-8, 0.30, "6.686250", "338.5443"),
    (7e5, 293.15, 6.3e5, 1e-8, 0.30, "4.272578", "216.3331"),
    (7e5, 293.15, 6.3e5, 1e-8, 0.5283, "5.107017", "258.5831"),
    (7e5, 313.15, 5.0e5, 1e-8, 0.30, "6.469212", "327.5550"),
    (11e5, 263.15, 7.0e5, 5e-9, 0.25, "5.895971", "298.5302"),
    (7e5, 293.15, 6.93e5, 1e-8, 0.30, "1.397094", "70.7390"),
]


@pytest.mark.arithmetic("ISO 6358:1989 flow equation with rho0 = 1.185 kg/m^3, T0 = 293.15 K")
@pytest.mark.parametrize(("p1", "temp", "p2", "c", "b", "grams", "litres"), ISO_ROWS)
def test_iso6358_rows(
    p1: float, temp: float, p2: float, c: float, b: float, grams: str, litres: str
) -> None:
    flow = iso6358_mass_flow(p1, p2, temp, conductance=c, critical_ratio=b)
    assert 1e3 * flow == printed(grams)
    assert 60e3 * flow / RHO_ANR == printed(litres)


@pytest.mark.arithmetic("isentropic nozzle, gamma = 1.4")
def test_critical_ratio_and_factor() -> None:
    assert critical_pressure_ratio(1.4) == printed("0.5282817877")
    assert choked_flow_factor(1.4) == printed("0.6847314564")


@pytest.mark.arithmetic("psi/sqrt(R T), psi/(rho0 sqrt(R T0)) with R = 287.05, T = 293.15 K")
def test_choked_flow_and_conductance_of_unit_area() -> None:
    assert orifice_mass_flow(1.0, 1.0e5, 1e4, 293.15, cd=1.0) / 1e5 == printed("2.360460e-3")
    assert conductance_from_orifice(1.0, cd=1.0) == printed("1.991949e-3")
    assert 1e8 * conductance_from_orifice(1e-6, cd=1.0) == printed("0.1991949")
    assert 1e6 * orifice_area_from_conductance(1e-8, cd=1.0) == printed("5.020209")
    assert 1e8 * conductance_from_orifice(MM_HOLE, cd=1.0) == printed("0.1564473")


@pytest.mark.from_memory("trade rule: effective area S in mm^2 is about 5 times C in dm^3/(s bar)")
def test_effective_area_is_about_five_times_conductance() -> None:
    assert 1e6 * orifice_area_from_conductance(1e-8, cd=1.0) == printed("5.0")


@pytest.mark.published("Gidlund's approximation C = 0.125 d^2, as given in a simulator's manual")
def test_gidlund_coefficient_is_a_discharge_coefficient_of_0_8() -> None:
    assert 1e8 * conductance_from_orifice(MM_HOLE, cd=0.798991) == printed("0.125")


@pytest.mark.arithmetic("St-Venant over choked flow against the ellipse with b = 0.52828")
@pytest.mark.parametrize(
    ("ratio", "nozzle", "ellipse"),
    [
        (0.6, "0.988585", "0.988375"),
        (0.8, "0.818804", "0.817437"),
        (0.9, "0.617148", "0.615664"),
        (0.95, "0.449287", "0.448058"),
    ],
)
def test_flow_functions(ratio: float, nozzle: str, ellipse: str) -> None:
    choked = orifice_mass_flow(1e-6, 1e6, 1e5, 293.15, cd=1.0)
    assert orifice_mass_flow(1e-6, 1e6, ratio * 1e6, 293.15, cd=1.0) / choked == printed(nozzle)
    b = 0.5282817877
    open_ = iso6358_mass_flow(1e6, 1e5, 293.15, conductance=1e-8, critical_ratio=b)
    part = iso6358_mass_flow(1e6, ratio * 1e6, 293.15, conductance=1e-8, critical_ratio=b)
    assert part / open_ == printed(ellipse)


@pytest.mark.arithmetic("largest gap between St-Venant and the ellipse with b = 0.52828")
def test_ellipse_is_never_off_by_more_than_0_304_percent() -> None:
    down = np.linspace(0.4, 0.998, 3000) * 1e6
    c = conductance_from_orifice(1e-6, cd=1.0)
    nozzle = orifice_mass_flow(1e-6, 1e6, down, 293.15, cd=1.0)
    ellipse = iso6358_mass_flow(
        1e6, down, 293.15, conductance=c, critical_ratio=critical_pressure_ratio(1.4)
    )
    assert np.max(np.abs(ellipse / nozzle - 1.0)) < 0.00304


@pytest.mark.arithmetic("choked qm = cd A p psi/sqrt(R T), 7 bar, 293.15 K")
def test_round_holes() -> None:
    flow = orifice_mass_flow(np.array([1.0, 0.01]) * MM_HOLE, 7e5, P_ATM, 293.15, cd=1.0)
    assert flow[0] == printed("1.297730e-3")
    assert flow[1] == printed("1.297730e-5")
    assert 60e3 * flow[0] / RHO_ANR == printed("65.7079")
    assert 60e3 * flow[1] / RHO_ANR == printed("0.657079")


CENGEL = "Cengel & Cimbala, Fluid Mechanics, 4th ed., Example 12-5, p. 681"


def _tyre_flow() -> float:
    area = math.pi / 4 * 4e-3**2
    return float(orifice_mass_flow(area, 314e3, 94e3, 298.0, cd=1.0, gamma=1.4, r_gas=287.0))


@pytest.mark.from_memory(f"{CENGEL}: the printed answer; its inputs were read")
def test_air_leaving_a_tyre() -> None:
    assert 60 * _tyre_flow() == printed("0.554")


@pytest.mark.arithmetic(f"{CENGEL}: rho* V* A from the inputs")
def test_air_leaving_a_tyre_to_more_digits() -> None:
    assert _tyre_flow() == printed("9.238697e-3")
    assert 2.327439 * 315.8803 * math.pi / 4 * 4e-3**2 == pytest.approx(_tyre_flow(), rel=1e-6)


@laws
@given(up=pressures, ratio=st.floats(0.53, 0.999), temp=temperatures)
def test_subsonic_flow_follows_from_energy(up: float, ratio: float, temp: float) -> None:
    """Density times velocity at the outlet, from enthalpy and an isentropic change."""
    throat = temp * ratio ** (2 / 7)
    velocity = math.sqrt(2 * 3.5 * R_AIR * (temp - throat))
    expected = ratio * up / (R_AIR * throat) * velocity
    assert orifice_mass_flow(1.0, up, ratio * up, temp, cd=1.0) == pytest.approx(expected, rel=1e-6)


def _iso(up: float, down: float, temp: float, b: float) -> float:
    return float(iso6358_mass_flow(up, down, temp, conductance=1e-8, critical_ratio=b))


@laws
@given(up=pressures, down=pressures, temp=temperatures, b=ratios)
def test_flow_changes_sign_with_direction(up: float, down: float, temp: float, b: float) -> None:
    assert _iso(up, down, temp, b) == -_iso(down, up, temp, b)
    hole = float(orifice_mass_flow(1e-6, up, down, temp, cd=0.8))
    assert hole == -orifice_mass_flow(1e-6, down, up, temp, cd=0.8)
    assert math.copysign(1.0, hole) == math.copysign(1.0, up - down) or up == down


@laws
@given(up=pressures, first=st.floats(0.05, 1.0), second=st.floats(0.05, 1.0), b=ratios)
def test_less_back_pressure_never_means_less_flow(
    up: float, first: float, second: float, b: float
) -> None:
    low, high = sorted((first, second))
    assert _iso(up, low * up, 293.15, b) >= _iso(up, high * up, 293.15, b) * (1 - 1e-12)


@laws
@given(factor=st.floats(0.5, 4.0), ratio=st.floats(0.1, 1.0), b=ratios)
def test_flow_scales_with_pressure_and_root_of_temperature(
    factor: float, ratio: float, b: float
) -> None:
    base = _iso(5e5, ratio * 5e5, 293.15, b)
    assert _iso(factor * 5e5, ratio * factor * 5e5, 293.15, b) == pytest.approx(factor * base)
    assert _iso(5e5, ratio * 5e5, 293.15 * factor**2, b) == pytest.approx(base / factor)


@laws
@given(b=ratios)
def test_slope_stays_finite_at_equal_pressures(b: float) -> None:
    """The ellipse alone has an infinite slope; the straight line has one it can be divided by."""
    at_edge = _iso(1e6, 0.999 * 1e6, 293.15, b)
    for gap in (1e-4, 1e-6, 1e-8):
        assert _iso(1e6, (1 - gap) * 1e6, 293.15, b) == pytest.approx(
            at_edge * gap / 1e-3, rel=1e-6
        )
    assert _iso(1e6, 1e6, 293.15, b) == 0.0


@laws
@given(area=st.floats(1e-12, 1e-3), cd=st.floats(0.3, 1.0))
def test_area_and_conductance_are_inverse(area: float, cd: float) -> None:
    c = conductance_from_orifice(area, cd=cd)
    assert orifice_area_from_conductance(c, cd=cd) == pytest.approx(area)


# Blow-down: 2 L through 1 mm, cd = 1, from 8 bar at 293.15 K.
BLOWDOWN = "perfect gas emptying through a choked nozzle, V = 2 L, d = 1 mm, 8 to 2 bar"
TANK = {"area": MM_HOLE, "cd": 1.0, "p_outside": P_ATM}


@pytest.mark.arithmetic(BLOWDOWN)
def test_blowdown_rows() -> None:
    isothermal = blowdown_time_isothermal(2e-3, 8e5, 2e5, 293.15, **TANK)
    assert isothermal == printed("17.772625")
    assert isothermal / math.log(4) == printed("12.820239")
    assert blowdown_time_adiabatic(2e-3, 8e5, 2e5, 293.15, **TANK) == printed("14.039037")
    assert blowdown_temperature_adiabatic(8e5, 2e5, 293.15) == printed("197.2753")


@pytest.mark.arithmetic("time constant from C and p0 in place of area: rho0 R T0 is not p0")
def test_reference_pressure_trap() -> None:
    c = float(conductance_from_orifice(MM_HOLE, cd=1.0))
    assert 2e-3 / (c * 1e5) == printed("12.78386")


Slope = Callable[[float, Array], list[float]]


def _state_at(p_end: float, slope: Slope, start: list[float]) -> tuple[float, Array]:
    """Return when the pressure, first in the state, has fallen to p_end, and the state then."""

    def reached(_: float, state: Array) -> float:
        return float(state[0]) - p_end

    reached.terminal = True  # type: ignore[attr-defined]
    run = solve_ivp(slope, (0, 60), start, events=reached, rtol=1e-10, atol=1e-8)
    return float(run.t[-1]), run.y[:, -1]


@pytest.mark.arithmetic(
    "ordinary differential equation with the St-Venant flow, p_atm = 101 325 Pa"
)
@pytest.mark.parametrize(
    ("p_end", "seconds"), [(2e5, "17.772625"), (1.5e5, "21.51023"), (1.1e5, "26.52780")]
)
def test_isothermal_emptying_including_the_tail(p_end: float, seconds: str) -> None:
    def slope(_: float, state: Array) -> list[float]:
        flow = orifice_mass_flow(MM_HOLE, state[0], P_ATM, 293.15, cd=1.0)
        return [float(-flow) * R_AIR * 293.15 / 2e-3]

    assert _state_at(p_end, slope, [8e5])[0] == printed(seconds)


@pytest.mark.arithmetic("ordinary differential equation of mass and energy")
def test_adiabatic_emptying_by_energy_balance() -> None:
    def slope(_: float, state: Array) -> list[float]:
        pressure, temp = state
        flow = float(orifice_mass_flow(MM_HOLE, pressure, P_ATM, temp, cd=1.0))
        mass = pressure * 2e-3 / (R_AIR * temp)
        return [-1.4 * R_AIR * temp * flow / 2e-3, -0.4 * temp * flow / mass]

    seconds, (_, temp) = _state_at(2e5, slope, [8e5, 293.15])
    assert seconds == printed("14.039037")
    assert temp == printed("197.2753")


def test_blowdown_refuses_what_is_not_choked_or_not_falling() -> None:
    rule = r"p_end = 150000 Pa: must be high enough for choked flow"
    with pytest.raises(DomainError, match=rule):
        blowdown_time_isothermal(2e-3, 8e5, 1.5e5, 293.15, **TANK)
    with pytest.raises(DomainError, match=r"p_end = 900000 Pa: must be not above p_start"):
        blowdown_time_adiabatic(2e-3, 8e5, 9e5, 293.15, **TANK)


def test_messages_name_the_usual_mistake() -> None:
    text = r"^temp_up = -4 K: must be above zero\. Degrees Celsius\? Add 273\.15\.$"
    with pytest.raises(DomainError, match=text):
        iso6358_mass_flow(7e5, 1e5, -4.0, conductance=1e-8, critical_ratio=0.3)
    text = r"^p_down = -70000 Pa: must be above zero\. A gauge reading\? Add the barometer\.$"
    with pytest.raises(DomainError, match=text):
        orifice_mass_flow(1e-6, 7e5, [1e5, -7e4, -8e4], 293.15, cd=1.0)
    with pytest.raises(DomainError, match=r"^gamma = 1: must be above 1\. Air has 1\.4\.$"):
        critical_pressure_ratio(1.0)
    with pytest.raises(DomainError, match=r"^laminar_ratio = 0.2: must be above b and below 1\.$"):
        iso6358_mass_flow(7e5, 1e5, 293.0, conductance=1e-8, critical_ratio=0.3, laminar_ratio=0.2)
