"""Laws of time axes: they rise, and nothing is made up."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sagtrace.signals.timebase import (
    find_gaps,
    held,
    make_rising,
    merge_rows,
    on_axis,
    spacing,
    spread_stamps,
    union,
    unwrap_clock,
    unwrap_counter,
)

TIMES = st.lists(st.integers(-50, 50).map(lambda i: i / 4.0), min_size=2, max_size=40)


@settings(deadline=None, max_examples=150)
@given(TIMES)
def test_made_to_rise_and_no_value_is_made_up(times: list[float]) -> None:
    values = np.arange(len(times), dtype=np.float64)
    rising = make_rising(np.array(times))
    assert np.all(np.diff(rising.time) > 0.0)
    kept, gone = merge_rows(values, rising)
    assert kept.size == rising.time.size
    assert set(kept) <= set(values)
    assert kept.size + gone == values.size
    assert rising.merged == values.size - kept.size


def test_of_rows_with_one_time_the_last_measured_value_counts() -> None:
    rising = make_rising(np.array([0.0, 1.0, 1.0, 1.0, 2.0]))
    kept, gone = merge_rows(np.array([1.0, 2.0, 3.0, np.nan, np.nan]), rising)
    np.testing.assert_array_equal(kept, [1.0, 3.0, np.nan])
    assert gone == 1


@settings(deadline=None, max_examples=60)
@given(st.lists(TIMES, min_size=1, max_size=4))
def test_a_union_holds_every_sample_once(groups: list[list[float]]) -> None:
    times = [np.unique(np.array(g)) for g in groups]
    axis = union(times)
    assert set(axis) == {t for g in groups for t in g}
    for time in times:
        placed = on_axis(np.arange(time.size, dtype=np.float64), time, axis)
        seen = np.isfinite(placed)
        np.testing.assert_array_equal(axis[seen], time)
        np.testing.assert_array_equal(placed[seen], np.arange(time.size))


def test_times_that_differ_by_rounding_are_one() -> None:
    coarse, fine = (np.arange(0.0, n, dtype=np.float64) * (5.0 / n) for n in (50, 500))
    axis = union([coarse, fine])
    assert axis.size == 500
    assert np.isfinite(on_axis(np.ones(50), coarse, axis)).sum() == 50


def test_a_clock_goes_on_past_midnight_and_noon() -> None:
    day = np.arange(0.0, 200000.0, 600.0)
    whole, midnights, noons = unwrap_clock(day % 86400.0, half_day=False)
    np.testing.assert_allclose(whole, day)
    assert (midnights, noons) == (2, 0)
    whole, midnights, noons = unwrap_clock(day % 43200.0, half_day=True)
    np.testing.assert_allclose(whole, day)
    assert (midnights, noons) == (0, 4)


@pytest.mark.parametrize("size", [2.0**16, 2.0**32])
def test_a_counter_goes_on_and_a_restart_is_none(size: float) -> None:
    count = np.arange(300.0) * 10.0 + size - 1000.0
    whole, wraps = unwrap_counter(count % size)
    np.testing.assert_array_equal(whole, count)
    assert wraps == 1
    restart = np.r_[np.arange(300.0), np.arange(300.0)]
    assert unwrap_counter(restart)[1] == 0


@settings(deadline=None, max_examples=60)
@given(st.integers(2, 12), st.integers(0, 11), st.integers(30, 90))
def test_coarse_stamps_are_spread_as_they_were(rows: int, phase: int, count: int) -> None:
    true = (np.arange(count) + phase % rows) / rows
    stamped = np.floor(true + 1e-9)
    spread, moved = spread_stamps(stamped)
    np.testing.assert_allclose(np.diff(spread), 1.0 / rows, atol=1e-9)
    assert np.all(np.abs(spread - true) <= 1.0)
    assert moved == count - np.unique(stamped).size


def test_a_few_repeated_stamps_are_left() -> None:
    time = np.r_[np.arange(20.0), 19.0]
    assert spread_stamps(time)[1] == 0


def test_spacing_and_gaps() -> None:
    time = np.r_[0.0:10.0:0.1, 30.0:40.0:0.1]
    assert spacing(time).median == pytest.approx(0.1)
    assert [(round(g.start, 1), g.end) for g in find_gaps(time)] == [(9.9, 30.0)]
    assert find_gaps(np.arange(100.0)) == ()


def test_a_command_holds_to_its_next_sample_only() -> None:
    time = np.arange(0.0, 100.0)
    command = np.where(np.arange(100) % 4 == 0, np.arange(100) % 8 / 4.0, np.nan)
    command[40] = np.nan  # missing at the command's own rate
    whole = held(time, command)
    np.testing.assert_array_equal(whole[:36], np.repeat([0.0, 1.0] * 4 + [0.0], 4))
    assert np.isnan(whole[37:44]).all()
    assert np.isnan(whole[97:]).all()
    regular = np.where(np.arange(100) == 50, np.nan, 1.0)
    np.testing.assert_array_equal(held(time, regular), regular)
    few = np.full(100, np.nan)
    few[[0, 50]] = 1.0
    np.testing.assert_array_equal(held(time, few), few)
