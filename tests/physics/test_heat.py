"""How warm a joint gets."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from sagtrace.errors import DomainError
from sagtrace.physics.circuit import joint_power, voltage_drop
from sagtrace.physics.heat import (
    contact_temperature_rise,
    rise_at_current,
    thermal_resistance_from_rating,
    transient_rise,
)

laws = settings(deadline=None, max_examples=60)


@pytest.mark.from_memory("SAE/USCAR-2: rated current is where a terminal gets 55 K warmer")
@pytest.mark.parametrize("amps", [5.0, 20.0, 45.0])
def test_at_its_rating_a_terminal_is_55_kelvin_warmer(amps: float) -> None:
    assert rise_at_current(amps, rated_current=amps) == pytest.approx(55.0)


@laws
@given(i=st.floats(0.0, 60.0), rated=st.floats(5.0, 60.0), r=st.floats(1e-4, 0.1))
def test_both_routes_to_the_rise_agree(i: float, rated: float, r: float) -> None:
    """Once by I^2 scaling, once by power and the thermal resistance that the rating implies."""
    power = joint_power(voltage_drop(r, i), i)
    by_power = contact_temperature_rise(power, thermal_resistance_from_rating(rated, r))
    assert rise_at_current(i, rated_current=rated) == pytest.approx(float(by_power))


@laws
@given(i=st.floats(0.1, 60.0), factor=st.floats(0.1, 10.0))
def test_rise_goes_with_the_square_of_current_and_with_resistance(i: float, factor: float) -> None:
    base = float(rise_at_current(i, rated_current=20.0))
    assert rise_at_current(factor * i, rated_current=20.0) == pytest.approx(factor**2 * base)
    bad = rise_at_current(i, rated_current=20.0, resistance_ratio=factor)
    assert bad == pytest.approx(factor * base)
    assert rise_at_current(-i, rated_current=20.0) == base


@pytest.mark.arithmetic("ordinary differential equation of a lumped capacity by SciPy")
@pytest.mark.parametrize(("steady", "start"), [(80.0, 0.0), (0.0, 80.0), (30.0, 55.0)])
def test_transient_follows_the_energy_balance(steady: float, start: float) -> None:
    times = np.linspace(0.0, 300.0, 7)
    run = solve_ivp(
        lambda _, rise: (steady - rise) / 60.0,
        (0, 300),
        [start],
        t_eval=times,
        rtol=1e-9,
        atol=1e-9,
    )
    rise = transient_rise(steady, times, 60.0, rise_start=start)
    assert rise == pytest.approx(run.y[0], abs=1e-6)


@laws
@given(first=st.floats(0.0, 1e3), second=st.floats(0.0, 1e3), start=st.floats(0.0, 200.0))
def test_two_waits_are_one_long_wait(first: float, second: float, start: float) -> None:
    middle = transient_rise(80.0, first, 60.0, rise_start=start)
    end = transient_rise(80.0, second, 60.0, rise_start=middle)
    assert end == pytest.approx(float(transient_rise(80.0, first + second, 60.0, rise_start=start)))


def test_refusals() -> None:
    assert math.isnan(contact_temperature_rise(math.nan, 1.0))
    with pytest.raises(DomainError, match=r"^elapsed = -1 s: must be zero or above\.$"):
        transient_rise(80.0, -1.0, 60.0)
    with pytest.raises(
        DomainError, match=r"^healthy_resistance = 0 ohm: must be above zero\. Mill"
    ):
        thermal_resistance_from_rating(20.0, 0.0)
