"""The line of a signal against a tape: certified values, worked examples, and laws."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from printed import printed
from sagtrace.errors import DomainError, InputError
from sagtrace.signals.calibration import Tape, calibrate, fit_calibration
from sagtrace.signals.trace import Trace

NORRIS_X = [
    0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4, 0.6, 775.5,
    666.9, 338.0, 447.5, 11.6, 556.0, 228.1, 995.8, 887.6, 120.2, 0.3, 0.3, 556.8, 339.1, 887.2,
    999.0, 779.0, 11.1, 118.3, 229.2, 669.1, 448.9, 0.5,
]  # fmt: skip
NORRIS_Y = [
    0.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3, 0.1, 778.1,
    668.8, 339.3, 448.9, 10.8, 557.7, 228.3, 998.0, 888.8, 119.6, 0.3, 0.6, 557.6, 339.3, 888.0,
    998.5, 778.9, 10.2, 117.6, 228.9, 668.4, 449.2, 0.2,
]  # fmt: skip
H3_T = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
H3_B = [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160]
PEARSON_X = [0.0, 0.9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4]
PEARSON_Y = [5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5]
YORK_WX = [1000.0, 1000.0, 500.0, 800.0, 200.0, 80.0, 60.0, 20.0, 1.8, 1.0]
YORK_WY = [1.0, 1.8, 4.0, 8.0, 20.0, 20.0, 70.0, 70.0, 100.0, 500.0]


@pytest.mark.from_memory("NIST StRD, linear regression, Norris, certified values")
def test_norris_is_the_certified_line() -> None:
    line = fit_calibration(NORRIS_X, NORRIS_Y, x_std=0.0, y_std=None)
    assert line.gain == pytest.approx(1.00211681802045, rel=1e-12)
    assert line.offset == pytest.approx(-0.262323073774029, rel=1e-10)
    assert line.gain_std == pytest.approx(0.429796848199937e-3, rel=1e-11)
    assert line.offset_std == pytest.approx(0.232818234301152, rel=1e-11)
    assert line.scatter == pytest.approx(0.884796396144373, rel=1e-11)


@pytest.mark.published("JCGM 100:2008, H.3, thermometer calibration, as worked in a GUM library")
def test_gum_h3_calibration_of_a_thermometer() -> None:
    line = fit_calibration(H3_T, H3_B, x_std=0.0, y_std=None, about=20.0)
    assert line.offset == printed("-0.1712")
    assert line.offset_std == printed("0.0029")
    assert line.gain == printed("0.00218")
    assert line.gain_std == printed("0.00067")
    assert line.correlation == printed("-0.930")
    assert line.scatter == printed("0.0035")
    value, std = line.at(30.0)
    assert value == printed("-0.1494")
    assert std == printed("0.0041")
    assert line.n == 11


@pytest.mark.from_memory("York, Can. J. Phys. 44 (1966) 1079, Pearson's data with York's weights")
def test_errors_in_both_are_weighed_as_york_does() -> None:
    x_std, y_std = np.array(YORK_WX) ** -0.5, np.array(YORK_WY) ** -0.5
    line = fit_calibration(PEARSON_X, PEARSON_Y, x_std=x_std, y_std=y_std)
    assert line.gain == printed("-0.4805")
    assert line.offset == printed("5.4799")
    assert line.gain_std == printed("0.0580")
    assert line.offset_std == printed("0.295")
    assert line.scatter**2 == printed("1.483")


@settings(deadline=None, max_examples=50)
@given(gain=st.floats(0.3, 3.0), offset=st.floats(-0.5, 0.5), about=st.floats(-1.0, 1.0))
def test_an_exact_line_is_found_wherever_it_is_told_about(
    gain: float, offset: float, about: float
) -> None:
    x = np.array([0.35, 0.38, 0.42, 0.45])
    line = fit_calibration(x, offset + gain * x, x_std=1e-3, y_std=5e-4, about=about)
    assert line.gain == pytest.approx(gain, rel=1e-7)
    assert line.at(0.4)[0] == pytest.approx(offset + 0.4 * gain, abs=1e-9)
    plain = fit_calibration(x, offset + gain * x, x_std=1e-3, y_std=5e-4)
    assert line.at(0.4)[1] == pytest.approx(plain.at(0.4)[1], rel=1e-6)


@settings(deadline=None, max_examples=50)
@given(seed=st.integers(0, 500))
def test_swapping_the_axes_turns_the_line_over(seed: int) -> None:
    rng = np.random.default_rng(seed)
    x = np.linspace(0.3, 0.5, 8)
    y = 0.02 + 0.9 * x + rng.normal(0.0, 1e-3, 8)
    there = fit_calibration(x, y, x_std=1e-3, y_std=2e-3)
    back = fit_calibration(y, x, x_std=2e-3, y_std=1e-3)
    assert back.gain == pytest.approx(1.0 / there.gain, rel=1e-6)


def test_intervals_hold_the_truth_as_often_as_they_say() -> None:
    rng, inside = np.random.default_rng(1), 0
    for _ in range(400):
        x = np.array([0.36, 0.44])
        y = 0.01 + 1.05 * x
        line = fit_calibration(
            x + rng.normal(0.0, 1.5e-3, 2), y + rng.normal(0.0, 5e-4, 2), x_std=1.5e-3, y_std=5e-4
        )
        inside += abs(line.gain - 1.05) < 1.96 * line.gain_std
    assert 0.93 < inside / 400 < 0.97


def test_a_signal_is_read_beside_its_tape() -> None:
    time = np.arange(0.0, 200.0)
    rng = np.random.default_rng(2)
    true = np.where(time < 100.0, 0.38, 0.42)
    signal = 0.012 + true + rng.normal(0.0, 3e-4, time.size)
    signal[50] = np.nan
    trace = Trace(time=time, channels={"height.rear": signal})
    tapes = [
        Tape(channel="height.rear", time=50.0, height=0.38, std=1.5e-3),
        Tape(channel="height.rear", time=150.0, height=0.42, std=1.5e-3),
        Tape(channel="height.front-left", time=150.0, height=0.1, std=1.5e-3),
    ]
    line = calibrate(trace, "height.rear", tapes)
    assert line is not None
    assert line.n == 2
    assert line.about == pytest.approx(0.40)
    assert line.offset - 0.40 == pytest.approx(0.012, abs=3e-4)
    assert line.offset_std == pytest.approx(1.5e-3 / np.sqrt(2.0), rel=0.05)
    assert line.gain_std == pytest.approx(1.5e-3 * np.sqrt(2.0) / 0.04, rel=0.05)
    assert abs(line.correlation) < 0.1
    assert calibrate(trace, "height.rear", tapes[:1]) is None


def test_what_cannot_be_a_line_is_refused() -> None:
    with pytest.raises(DomainError, match="two heights"):
        fit_calibration([0.4, 0.4], [0.1, 0.2], x_std=0.0, y_std=1.0)
    with pytest.raises(InputError, match="two of each"):
        fit_calibration([0.4], [0.1], x_std=0.0, y_std=1.0)
    with pytest.raises(InputError, match="three points"):
        fit_calibration([0.4, 0.5], [0.1, 0.2], x_std=0.0, y_std=None)
    with pytest.raises(InputError, match="finite"):
        fit_calibration([0.4, 0.5], [0.1, np.nan], x_std=0.0, y_std=1.0)
