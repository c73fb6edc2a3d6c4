"""How long a fuse carries an overload. Points of low confidence are not asserted."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sagtrace.errors import DomainError, InputError
from sagtrace.physics.fuse import (
    BLADE_TYPE_C,
    BLADE_TYPE_E,
    BLADE_TYPE_F,
    FuseCurve,
    operating_band,
)

laws = settings(deadline=None, max_examples=60)
CURVES = [BLADE_TYPE_C, BLADE_TYPE_E, BLADE_TYPE_F]
ISO_8820 = "ISO 8820-3, operating times of blade fuses"
WORK_DAY = 8 * 3600.0


@pytest.mark.from_memory(ISO_8820)
@pytest.mark.parametrize("curve", CURVES)
@pytest.mark.parametrize("ratio", [0.0, 0.7, 1.0, 1.1])
def test_never_opens_in_a_work_day_at_110_percent(curve: FuseCurve, ratio: float) -> None:
    least, most = operating_band(ratio, curve)
    assert least == pytest.approx(100 * 3600.0)
    assert least > WORK_DAY
    assert most == math.inf


@pytest.mark.from_memory(ISO_8820)
@pytest.mark.parametrize("curve", [BLADE_TYPE_C, BLADE_TYPE_F])
@pytest.mark.parametrize(("ratio", "within"), [(1.35, 600.0), (2.0, 5.0)])
def test_has_opened_by_the_rated_time(curve: FuseCurve, ratio: float, within: float) -> None:
    assert operating_band(ratio, curve)[1] == pytest.approx(within)


@pytest.mark.parametrize("curve", CURVES)
def test_rated_points_come_back(curve: FuseCurve) -> None:
    ratios, least, most = (np.array(column) for column in zip(*curve.points, strict=True))
    low, high = operating_band(ratios, curve)
    assert low == pytest.approx(least)
    assert high == pytest.approx(most)


def test_log_log_between_two_points() -> None:
    """Halfway on a log axis between 1 and 4 times In lies 2, between 100 and 1 s lies 10."""
    curve = FuseCurve(
        name="x", points=((1.0, 100.0, 400.0), (4.0, 1.0, 4.0)), source="x", confidence="x"
    )
    least, most = operating_band(2.0, curve)
    assert least == pytest.approx(10.0)
    assert most == pytest.approx(40.0)


def test_it_may_never_open_below_the_first_rated_upper_bound() -> None:
    _, most = operating_band([1.2, 1.3499, 1.35], BLADE_TYPE_C)
    assert most.tolist() == [math.inf, math.inf, pytest.approx(600.0)]


def test_beyond_the_last_point_only_the_upper_bound_is_known() -> None:
    least, most = operating_band(20.0, BLADE_TYPE_C)
    assert least == 0.0
    assert most == pytest.approx(BLADE_TYPE_C.points[-1][2])


def test_a_curve_that_never_has_to_open() -> None:
    curve = FuseCurve(
        name="x", points=((1.0, 9.0, math.inf), (2.0, 3.0, math.inf)), source="x", confidence="x"
    )
    assert operating_band(5.0, curve)[1] == math.inf


@laws
@given(ratio=st.floats(0.0, 12.0), more=st.floats(1.0, 3.0), index=st.integers(0, 2))
def test_more_current_never_takes_longer(ratio: float, more: float, index: int) -> None:
    least, most = operating_band(ratio, CURVES[index])
    sooner, latest = operating_band(ratio * more, CURVES[index])
    assert 0.0 <= least <= most
    assert sooner <= least * (1 + 1e-12)
    assert latest <= most * (1 + 1e-12)


def test_every_curve_says_that_it_is_from_memory() -> None:
    assert all("from memory" in curve.source for curve in CURVES)
    assert all("low" in curve.confidence.lower() for curve in CURVES)


def test_missing_and_impossible_currents() -> None:
    least, most = operating_band([math.nan, 2.0], BLADE_TYPE_C)
    assert np.isnan([least[0], most[0]]).all()
    assert np.isfinite([least[1], most[1]]).all()
    with pytest.raises(DomainError, match=r"^ratio = -1: must be zero or above\. Per cent\?"):
        operating_band(-1.0, BLADE_TYPE_C)


@pytest.mark.parametrize(
    ("points", "message"),
    [
        (((1.0, 1.0, 2.0),), "at least two rated points"),
        (((1.0, 3.0, 2.0), (2.0, 1.0, 2.0)), "0 < least <= most"),
        (((1.0, 0.0, 2.0), (2.0, 1.0, 2.0)), "0 < least <= most"),
        (((1.0, 1.0, 2.0), (2.0, 1.5, 2.0)), "must not rise with current"),
        (((2.0, 1.0, 2.0), (1.0, 1.0, 2.0)), "must not rise with current"),
    ],
)
def test_a_curve_that_cannot_be_is_refused(
    points: tuple[tuple[float, float, float], ...], message: str
) -> None:
    with pytest.raises(InputError, match=message):
        FuseCurve(name="x", points=points, source="x", confidence="x")
