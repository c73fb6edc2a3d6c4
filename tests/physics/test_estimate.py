"""Spread of a number, and how it passes through a formula."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from printed import printed
from sagtrace.errors import DomainError, InputError
from sagtrace.physics._checks import Array
from sagtrace.physics.estimate import (
    Caveat,
    Estimate,
    covariance_from_correlation,
    propagate,
    propagate_vector,
)

laws = settings(deadline=None, max_examples=60)

VOLTS = [5.007, 4.994, 5.005, 4.990, 4.999]
AMPS = [19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3]
PHASE = [1.0456, 1.0438, 1.0468, 1.0428, 1.0433]


def _impedance(x: Array) -> list[float]:
    volts, amps, phase = x
    magnitude = volts / amps
    return [magnitude * math.cos(phase), magnitude * math.sin(phase), magnitude]


def _h2_inputs() -> tuple[Array, Array]:
    readings = np.array([VOLTS, AMPS, PHASE])
    return readings.mean(axis=1), np.cov(readings) / len(VOLTS)


@pytest.mark.from_memory("JCGM 100:2008, H.2: the readings; results computed from them")
def test_gum_h2_resistance_reactance_impedance() -> None:
    values, covariance = propagate_vector(_impedance, *_h2_inputs())
    std = np.sqrt(np.diag(covariance))
    assert list(values) == [printed("127.73217"), printed("219.84651"), printed("254.25970")]
    assert list(std) == [printed("0.071071"), printed("0.295582"), printed("0.236336")]
    r = covariance / np.outer(std, std)
    assert r[0, 1] == printed("-0.588430")
    assert r[0, 2] == printed("-0.485259")
    assert r[1, 2] == printed("0.992512")


@pytest.mark.published("JCGM 100:2008, H.2, means, spreads and correlations of the inputs")
def test_gum_h2_inputs_from_spreads_and_correlations() -> None:
    """The inputs as a reproduction of H.2 prints them give the same matrix as the readings."""
    _, expected = _h2_inputs()
    r_vi, r_vp, r_ip = -0.355311, 0.857624, -0.645111
    correlation = [[1, r_vi, r_vp], [r_vi, 1, r_ip], [r_vp, r_ip, 1]]
    covariance = covariance_from_correlation([3.209e-3, 9.471e-6, 7.521e-4], correlation)
    assert covariance == pytest.approx(expected, rel=5e-4)


H3_TEMPERATURE = [
    *(21.521, 22.012, 22.512, 23.003, 23.507, 23.999),
    *(24.513, 25.002, 25.503, 26.010, 26.511),
]
H3_CORRECTION = [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161]
H3_CORRECTION.append(-0.160)


@pytest.mark.arithmetic("JCGM 100:2008, H.3: data as printed, straight line by least squares")
def test_gum_h3_thermometer_calibration() -> None:
    t, b = np.array(H3_TEMPERATURE) - 20.0, np.array(H3_CORRECTION)
    design = np.column_stack([np.ones_like(t), t])
    y, (residual,), *_ = np.linalg.lstsq(design, b)
    variance = residual / (len(t) - 2)
    covariance = variance * np.linalg.inv(design.T @ design)
    assert math.sqrt(variance) == printed("0.00349756")
    assert list(y) == [printed("-0.1712038"), printed("0.00218270")]
    std = np.sqrt(np.diag(covariance))
    assert list(std) == [printed("0.0028776"), printed("0.00066794")]
    assert covariance[0, 1] / std[0] / std[1] == printed("-0.930430")

    def correction_at_30(x: Array) -> float:
        return float(x[0] + x[1] * 10.0)

    value, spread = propagate(correction_at_30, y, covariance)
    assert value == printed("-0.1493768")
    assert spread == printed("0.0041386")
    _, without_correlation = propagate(correction_at_30, y, np.square(std))
    assert without_correlation == printed("0.0072729")


@pytest.mark.arithmetic("V +-5 %, dp 20 +-0.5 kPa, t 3600 +-5 s")
def test_relative_spread_of_a_leak() -> None:
    variances = np.square([0.05 * 2.5e-3, 500.0, 5.0])
    value, std = propagate(lambda x: x[0] * x[1] / x[2], [2.5e-3, 20e3, 3600.0], variances)
    assert std / value == printed("0.0559190")


@laws
@given(
    a=st.floats(-5, 5), b=st.floats(-5, 5), u=st.floats(0.01, 3), v=st.floats(0.01, 3),
    r=st.floats(-1, 1), x=st.floats(-1e3, 1e3),
)  # fmt: skip
def test_a_straight_formula_is_exact(
    a: float, b: float, u: float, v: float, r: float, x: float
) -> None:
    covariance = covariance_from_correlation([u, v], [[1.0, r], [r, 1.0]])
    value, std = propagate(lambda z: a * z[0] + b * z[1] + 1.0, [x, 2.0], covariance)
    expected = (a * u) ** 2 + (b * v) ** 2 + 2 * r * a * b * u * v
    assert value == pytest.approx(a * x + 2 * b + 1)
    assert std**2 == pytest.approx(max(expected, 0.0), rel=1e-6, abs=1e-8)


@laws
@given(x=st.floats(1e-6, 1e6), share=st.floats(1e-6, 0.01))
def test_a_power_multiplies_the_relative_spread(x: float, share: float) -> None:
    value, std = propagate(lambda z: z[0] ** 3, [x], [(share * x) ** 2])
    assert std / value == pytest.approx(3 * share, rel=1e-6)


def test_against_sampling() -> None:
    rng = np.random.default_rng(20240501)
    covariance = covariance_from_correlation([0.05, 0.02], [[1.0, 0.6], [0.6, 1.0]])
    sample = rng.multivariate_normal([2.0, 1.0], covariance, size=200_000)
    drawn = np.std(sample[:, 0] * np.exp(sample[:, 1]))
    _, std = propagate(lambda x: x[0] * math.exp(x[1]), [2.0, 1.0], covariance)
    assert std == pytest.approx(drawn, rel=0.01)


def test_an_input_without_spread_is_not_moved() -> None:
    def only_at_one(x: Array) -> float:
        assert x[1] == 1.0
        return float(x[0] * x[1])

    value, std = propagate(only_at_one, [2.0, 1.0], [0.04, 0.0])
    assert value == 2.0
    assert std == pytest.approx(0.2)


def test_a_missing_input_gives_a_missing_result() -> None:
    value, std = propagate(lambda x: x[0] + x[1], [math.nan, 1.0], [1.0, 1.0])
    assert math.isnan(value)
    assert math.isnan(std)
    value, std = propagate(lambda x: x[0] + x[1], [1.0, 1.0], [math.nan, 1.0])
    assert value == 2.0
    assert math.isnan(std)


IMPOSSIBLE = [
    ([[1.0, 0.5], [0.4, 1.0]], "not symmetric"),
    ([[1.0, 2.0], [2.0, 1.0]], "not possible"),
    ([[0.0, 0.5], [0.5, 1.0]], "not possible"),
    ([1.0, 1.0, 1.0], r"2 values need \(2, 2\)"),
    ([-1.0, 1.0], "variance = -1: must be zero or above. Standard deviations"),
]


@pytest.mark.parametrize(("covariance", "message"), IMPOSSIBLE)
def test_an_impossible_covariance_is_refused(covariance: list[float], message: str) -> None:
    with pytest.raises(InputError, match=message):
        propagate(lambda x: x[0] + x[1], [1.0, 2.0], covariance)


def test_shapes_are_checked() -> None:
    with pytest.raises(InputError, match="expected one row of numbers"):
        propagate(lambda x: x[0], 1.0, [1.0])
    with pytest.raises(InputError, match="gave 2 numbers; use propagate_vector"):
        propagate(lambda x: x, [1.0, 2.0], [1.0, 1.0])
    with pytest.raises(InputError, match="do not fit a correlation"):
        covariance_from_correlation([1.0, 2.0], [[1.0]])


@pytest.mark.arithmetic("normal distribution by SciPy")
@pytest.mark.parametrize("coverage", [0.5, 0.6827, 0.9, 0.95, 0.99])
def test_interval(coverage: float) -> None:
    interval = Estimate(value=3.0, std=2.0, unit="Pa").interval(coverage)
    assert interval == pytest.approx(stats.norm(3.0, 2.0).interval(coverage))


@laws
@given(value=st.floats(-1e6, 1e6), std=st.floats(0, 1e6), c=st.floats(0.01, 0.98))
def test_more_coverage_is_wider(value: float, std: float, c: float) -> None:
    estimate = Estimate(value=value, std=std, unit="Pa")
    low, high = estimate.interval(c)
    lower, higher = estimate.interval(c + 0.01)
    assert lower <= low <= value <= high <= higher


def test_caveats_are_kept_in_order_and_once() -> None:
    warm = Caveat(code="no-end-temperature", text="The end temperature is missing.")
    short = Caveat(code="short-test", text="The test was short.")
    estimate = Estimate(value=1.0, std=0.1, unit="mol/s", caveats=(warm,))
    assert estimate.with_caveats(short, warm).caveats == (warm, short)
    assert estimate.caveats == (warm,)


def test_an_estimate_is_frozen_and_refuses_nonsense() -> None:
    estimate = Estimate(value=1.0, std=0.1, unit="Pa")
    with pytest.raises(dataclasses.FrozenInstanceError):
        estimate.value = 2.0  # type: ignore[misc]
    with pytest.raises(DomainError, match=r"^value = nan Pa: must be finite\. Leave"):
        Estimate(value=math.nan, std=0.1, unit="Pa")
    for std in (-0.1, math.nan, math.inf):
        with pytest.raises(DomainError, match=r"^std = .* Pa: must be finite and zero or above"):
            Estimate(value=1.0, std=std, unit="Pa")
    with pytest.raises(DomainError, match=r"^coverage = 95: must be between 0 and 1\. Per cent"):
        estimate.interval(95)
