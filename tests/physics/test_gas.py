"""Density and flow at reference conditions."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from printed import printed
from sagtrace.errors import DomainError
from sagtrace.physics.gas import (
    ANR_ISO8778,
    ANR_OLD,
    ISO_15C_1ATM,
    NORMAL_0C_1ATM,
    REF_20C_1ATM,
    REF_25C_1ATM,
    ReferenceConditions,
    anr_flow_from_mass_flow,
    density_ideal,
    mass_flow_from_anr_flow,
    mass_from_molar,
    molar_flow_to_pv,
    molar_flow_to_standard,
    molar_from_mass,
    pv_to_molar_flow,
    standard_to_molar_flow,
)

laws = settings(deadline=None, max_examples=60)
flows = st.floats(-1.0, 1.0)
CM3_PER_MIN = 1e-6 / 60
REFERENCES = [NORMAL_0C_1ATM, ISO_15C_1ATM, REF_20C_1ATM, ANR_ISO8778, ANR_OLD, REF_25C_1ATM]

ONE_CM3_PER_MIN = [
    (NORMAL_0C_1ATM, "7.4358389e-7", "1.68875e-3", "21.538056", "1.292284"),
    (ISO_15C_1ATM, "7.0487572e-7", "1.68875e-3", "20.416866", "1.225012"),
    (REF_20C_1ATM, "6.9285328e-7", "1.68875e-3", "20.068634", "1.204118"),
    (ANR_ISO8778, "6.8379302e-7", "1.666667e-3", "19.806202", "1.188372"),
    (REF_25C_1ATM, "6.8123408e-7", "1.68875e-3", "19.732081", "1.183925"),
]


@pytest.mark.arithmetic("n = p q/(R T), M = 28.9652 g/mol, rho = p/(287.05 T)")
@pytest.mark.parametrize(("reference", "molar", "pv", "micrograms", "density"), ONE_CM3_PER_MIN)
def test_one_cubic_centimetre_a_minute(
    reference: ReferenceConditions, molar: str, pv: str, micrograms: str, density: str
) -> None:
    flow = standard_to_molar_flow(CM3_PER_MIN, reference)
    assert flow == printed(molar)
    assert molar_flow_to_pv(flow, reference.temperature) == printed(pv)
    assert 1e9 * mass_from_molar(flow) == printed(micrograms)
    assert density_ideal(reference.pressure, reference.temperature) == printed(density)


@pytest.mark.arithmetic("1 cm^3/s at 0 C and 1 atm in mol/s and in Pa m^3/s")
def test_standard_cubic_centimetre_a_second() -> None:
    flow = standard_to_molar_flow(1e-6, NORMAL_0C_1ATM)
    assert flow == printed("4.4615033e-5")
    assert molar_flow_to_pv(flow, 273.15) == printed("0.101325")


@pytest.mark.published("ASTM E515-11, scope: 4.5e-10 mol/s is 1e-5 standard cm^3/s")
def test_bubble_test_limit_in_two_units() -> None:
    assert standard_to_molar_flow(1e-5 * 1e-6, NORMAL_0C_1ATM) == printed("4.5e-10")


@pytest.mark.published("DIN 1343: the normal state is 0 C and 101 325 Pa")
def test_normal_state() -> None:
    assert (NORMAL_0C_1ATM.temperature, NORMAL_0C_1ATM.pressure) == (273.15, 101_325.0)


@pytest.mark.published("older Japanese usage of ANR: 20 C, 101.3 kPa, 65 % relative humidity")
def test_old_anr_state() -> None:
    given_ = (ANR_OLD.temperature, ANR_OLD.pressure, ANR_OLD.relative_humidity)
    assert given_ == (293.15, 101_300.0, 0.65)


@pytest.mark.arithmetic("273.15/298.15 and its inverse")
def test_standard_without_a_temperature_is_ambiguous_by_nine_percent() -> None:
    cold = molar_flow_to_standard(1e-6, NORMAL_0C_1ATM)
    warm = molar_flow_to_standard(1e-6, REF_25C_1ATM)
    assert 100 * (1 - cold / warm) == printed("8.4")
    assert 100 * (warm / cold - 1) == printed("9.2")


COOLPROP = [
    (263.15, 1.1e6, 14.675046, "14.562360", 0.008),
    (273.15, 101325, 1.293066, "1.292284", 0.008),
    (293.15, 101325, 1.204575, "1.204118", 0.008),
    (293.15, 6e5, 7.145559, "7.130234", 0.008),
    (293.15, 1.7e6, 20.315141, "20.202330", 0.012),
    (313.15, 1.1e6, 12.261235, "12.237219", 0.008),
]


@pytest.mark.arithmetic("density of dry air by CoolProp 8.0.0")
@pytest.mark.parametrize(("temp", "pressure", "real", "ideal", "within"), COOLPROP)
def test_perfect_gas_is_close_enough(
    temp: float, pressure: float, real: float, ideal: str, within: float
) -> None:
    density = density_ideal(pressure, temp)
    assert density == printed(ideal)
    assert density == pytest.approx(real, rel=within)


@pytest.mark.arithmetic("1.185 kg/m^3 against dry air at the same state by CoolProp, 1.188845")
def test_anr_convention_is_not_the_same_amount() -> None:
    by_convention = anr_flow_from_mass_flow(1.0)
    by_amount = molar_flow_to_standard(molar_from_mass(1.0), ANR_ISO8778)
    assert by_convention / by_amount == pytest.approx(1.188845 / 1.185, rel=1e-3)


@laws
@given(flow=flows, index=st.integers(0, len(REFERENCES) - 1), temp=st.floats(200.0, 400.0))
def test_conversions_have_inverses(flow: float, index: int, temp: float) -> None:
    there = molar_flow_to_standard(flow, REFERENCES[index])
    assert standard_to_molar_flow(there, REFERENCES[index]) == pytest.approx(flow)
    assert pv_to_molar_flow(molar_flow_to_pv(flow, temp), temp) == pytest.approx(flow)
    assert molar_from_mass(mass_from_molar(flow)) == pytest.approx(flow)
    assert mass_flow_from_anr_flow(anr_flow_from_mass_flow(flow)) == pytest.approx(flow)


def test_every_reference_says_where_it_comes_from() -> None:
    assert len({reference.name for reference in REFERENCES}) == len(REFERENCES)
    assert all(reference.source for reference in REFERENCES)


def test_a_reference_refuses_nonsense() -> None:
    with pytest.raises(DomainError, match=r"^relative_humidity = 65: must be 0 to 1\.$"):
        ReferenceConditions(
            name="x", pressure=1e5, temperature=293.15, relative_humidity=65.0, source="x"
        )
    with pytest.raises(DomainError, match="temperature = -5 K"):
        ReferenceConditions(
            name="x", pressure=1e5, temperature=-5.0, relative_humidity=0.0, source="x"
        )
