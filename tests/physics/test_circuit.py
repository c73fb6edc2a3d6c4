"""Wires, joints and loops."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from printed import printed
from sagtrace.errors import DomainError, InputError
from sagtrace.physics.circuit import (
    awg_area,
    awg_diameter,
    chain_drops,
    joint_power,
    joint_resistance,
    loop_current,
    resistance_temperature_factor,
    voltage_drop,
    wire_resistance,
    wire_resistance_from_table,
)
from sagtrace.physics.constants import COPPER_RHO20, COPPER_TEMPCO20, T_ICE

laws = settings(deadline=None, max_examples=60)
MM2 = 1e-6


@pytest.mark.published("IEC 60228, as repeated by a cable maker: copper 17.241 ohm mm^2/km at 20 C")
def test_copper_as_cable_makers_print_it() -> None:
    assert wire_resistance(1 * MM2, 1000.0) == printed("17.241")


@pytest.mark.from_memory("IEC 60028: 0.153272 ohm g/m^2 with 8890 kg/m^3, 0.00393/K = 1/254.5 K")
def test_copper_by_mass_and_by_inferred_zero() -> None:
    by_mass, conductivity, inferred_zero = (
        COPPER_RHO20 * 8890,
        1 / COPPER_RHO20,
        1 / COPPER_TEMPCO20,
    )
    assert 1e3 * by_mass == printed("0.153272")
    assert conductivity / 1e6 == printed("58.001")
    assert inferred_zero == printed("254.5")


@pytest.mark.arithmetic("1 + 0.00393 (t - 20)")
@pytest.mark.parametrize(
    ("celsius", "factor"),
    [(-20, "0.84280"), (0, "0.92140"), (60, "1.15720"), (85, "1.25545"), (105, "1.33405")],
)
def test_temperature_factor(celsius: float, factor: str) -> None:
    assert resistance_temperature_factor(celsius + T_ICE) == printed(factor)


@pytest.mark.published("temperature table that goes with IEC 60228: 50 C 0.893, 100 C 0.758")
@pytest.mark.parametrize(("celsius", "factor"), [(50, "0.893"), (100, "0.758")])
def test_cable_makers_temperature_table(celsius: float, factor: str) -> None:
    assert 1 / resistance_temperature_factor(celsius + T_ICE, tempco=0.004) == printed(factor)


@pytest.mark.arithmetic("1/(1 + 0.00393 (t - 20)): the IEC 60028 coefficient gives other digits")
@pytest.mark.parametrize(("celsius", "factor"), [(50, "0.89453"), (100, "0.76080")])
def test_two_coefficients_in_circulation(celsius: float, factor: str) -> None:
    assert 1 / resistance_temperature_factor(celsius + T_ICE) == printed(factor)


SIZES = [
    (0.35, "49.260", None, 54.4),
    (0.5, "34.482", 39.0, 37.1),
    (0.75, "22.988", 26.0, 24.7),
    (1.0, "17.241", 19.5, 18.5),
    (1.5, "11.494", 13.3, 12.7),
    (2.5, "6.8964", 7.98, 7.60),
    (4.0, "4.3103", 4.95, 4.71),
    (6.0, "2.8735", 3.30, 3.14),
]


@pytest.mark.arithmetic("rho20/A for annealed copper")
@pytest.mark.parametrize(("size", "ideal"), [row[:2] for row in SIZES])
def test_ideal_resistance_of_metric_sizes(size: float, ideal: str) -> None:
    assert 1e3 * wire_resistance(size * MM2, 1.0) == printed(ideal)


@pytest.mark.published("IEC 60228, class 5, plain copper: maximum resistance at 20 C")
@pytest.mark.parametrize(("size", "most"), [(row[0], row[2]) for row in SIZES if row[2]])
def test_ideal_copper_meets_the_cable_standard(size: float, most: float) -> None:
    assert 0.84 * most < 1e3 * wire_resistance(size * MM2, 1.0) < 0.90 * most


@pytest.mark.from_memory("ISO 6722-1: maximum resistance at 20 C")
@pytest.mark.parametrize(("size", "most"), [(row[0], row[3]) for row in SIZES])
def test_automotive_limit_is_7_to_11_percent_above_ideal(size: float, most: float) -> None:
    assert 1.07 < most / (1e3 * wire_resistance(size * MM2, 1.0)) < 1.11


AWG = [
    (22, "52.9622"),
    (20, "33.3083"),
    (18, "20.9478"),
    (16, "13.1742"),
    (14, "8.28533"),
    (12, "5.21069"),
    (10, "3.27704"),
    (8, "2.06095"),
]


@pytest.mark.arithmetic("rho20 over the area of d = 0.127 mm 92^((36 - n)/39)")
@pytest.mark.parametrize(("gauge", "milliohms"), AWG)
def test_gauges(gauge: int, milliohms: str) -> None:
    assert 1e3 * wire_resistance(awg_area(gauge), 1.0) == printed(milliohms)


@pytest.mark.published("UL 1581 / ASTM, solid copper: maximum resistance at 20 C, 2 % over nominal")
@pytest.mark.parametrize(("gauge", "milliohms"), [(14, "8.45"), (12, "5.31"), (10, "3.343")])
def test_gauges_against_printed_maxima(gauge: int, milliohms: str) -> None:
    assert 1.02 * 1e3 * wire_resistance(awg_area(gauge), 1.0) == printed(milliohms)


@pytest.mark.from_memory("ASTM B258: gauge 36 is 0.005 in, gauge 0000 is 0.46 in")
def test_gauge_end_points() -> None:
    assert awg_diameter(36) / 25.4e-3 == pytest.approx(0.005)
    assert awg_diameter(-3) / 25.4e-3 == pytest.approx(0.46)


@pytest.mark.arithmetic("voltage drop of wires at the ISO 6722-1 maximum")
@pytest.mark.parametrize(
    ("per_metre", "amps", "celsius", "milliohms", "volts"),
    [
        (7.60e-3, 20, 20, "30.400", "0.60800"),
        (7.60e-3, 20, 60, "35.17888", "0.70358"),
        (4.71e-3, 25, 20, "18.840", "0.47100"),
    ],
)
def test_voltage_drop(
    per_metre: float, amps: float, celsius: float, milliohms: str, volts: str
) -> None:
    resistance = wire_resistance_from_table(per_metre, 4.0, celsius + T_ICE)
    assert 1e3 * resistance == printed(milliohms)
    assert voltage_drop(resistance, amps) == printed(volts)


@pytest.mark.arithmetic("V = I R and P = V I at 20 A")
@pytest.mark.parametrize(
    ("milliohms", "volts", "watts"),
    [(5, "0.1", "2"), (10, "0.2", "4"), (25, "0.5", "10"), (50, "1", "20"), (100, "2", "40")],
)
def test_bad_joints(milliohms: float, volts: str, watts: str) -> None:
    drop = voltage_drop(milliohms / 1e3, 20)
    assert drop == printed(volts)
    assert joint_power(drop, 20) == printed(watts)
    assert 1e3 * joint_resistance(drop, 20) == pytest.approx(milliohms)


@pytest.mark.arithmetic("12.6 V over 0.30 ohm, and over 0.60 ohm")
def test_a_bad_joint_lowers_the_current_of_a_stalled_motor() -> None:
    assert loop_current(12.6, 0.30) == printed("42.0")
    assert loop_current(12.6, 0.30, added_resistance=0.30) == printed("21.0")


@laws
@given(st.lists(st.integers(0, 200), min_size=1, max_size=6), st.floats(1.0, 60.0))
def test_a_chain_gives_back_its_joints(milliohms: list[int], amps: float) -> None:
    joints = np.array(milliohms) / 1e3
    potentials = 12.6 - amps * np.concatenate([[0.0], np.cumsum(joints)])
    chain = chain_drops(potentials, amps)
    assert chain.resistance == pytest.approx(joints, abs=1e-12)
    assert chain.power.sum() == pytest.approx((potentials[0] - potentials[-1]) * amps, abs=1e-9)


def test_many_chains_at_once_and_a_missing_point() -> None:
    chain = chain_drops([[12.0, 11.0, 10.0], [12.0, np.nan, 11.0]], [10.0, 20.0])
    assert chain.resistance[0].tolist() == [0.1, 0.1]
    assert np.isnan(chain.drop[1]).all()


@laws
@given(v=st.floats(0.0, 30.0), r=st.floats(1e-3, 10.0), extra=st.floats(0.0, 10.0))
def test_added_resistance_never_raises_the_current(v: float, r: float, extra: float) -> None:
    assert loop_current(v, r, added_resistance=extra) <= loop_current(v, r)


def test_refusals_name_the_usual_mistake() -> None:
    text = r"^current = 0 A: must be above zero\. A voltage drop tells something only while"
    with pytest.raises(DomainError, match=text):
        joint_resistance(0.1, 0.0)
    with pytest.raises(DomainError, match=r"^temp = 20 K: must be where the straight line holds"):
        resistance_temperature_factor(20.0)
    with pytest.raises(InputError, match="expected at least two points"):
        chain_drops([12.0], 10.0)
    with pytest.raises(InputError, match="expected at least two points"):
        chain_drops(12.0, 10.0)
    with pytest.raises(DomainError, match=r"^gauge = 44: must be -3 to 40\.$"):
        awg_area(44)
