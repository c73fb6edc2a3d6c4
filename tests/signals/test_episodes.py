"""Episodes from commands, and straight lines that are not fooled by outliers or slow noise."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import signal, stats

from printed import printed
from sagtrace.errors import InputError
from sagtrace.signals.episodes import (
    SETTLING,
    find_episodes,
    fit_lines,
    median_step,
    pool,
    run_time,
    slope,
)
from sagtrace.signals.trace import Trace

Array = NDArray[np.float64]

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
NORRIS_SLOPE, NORRIS_STD, NORRIS_SD = 1.00211681802045, 0.429796848199937e-3, 0.884796396144373
STRD = "NIST StRD, linear regression, Norris"


def trace(command: Array, **channels: Array) -> Trace:
    time = np.arange(len(command), dtype=np.float64)
    named = {role.replace("_", "."): values for role, values in channels.items()}
    return Trace(time=time, channels={"pump.command": command, **named})


def commands(*runs: tuple[float, int]) -> Array:
    return np.concatenate([np.full(count, value) for value, count in runs])


# --- lines


@pytest.mark.from_memory(STRD)
def test_norris_by_least_squares_is_the_certified_line() -> None:
    """Proves the data above; the robust line is then compared with the same numbers."""
    fit = stats.linregress(NORRIS_X, NORRIS_Y)
    assert fit.slope == pytest.approx(NORRIS_SLOPE, rel=1e-12)
    assert fit.stderr == pytest.approx(NORRIS_STD, rel=1e-11)


@pytest.mark.from_memory(STRD)
def test_norris_robustly_is_within_the_certified_spread() -> None:
    # In order of x, because noise that drifted from run to run is no part of the certified spread.
    order = np.argsort(NORRIS_X, kind="stable")
    line = slope(np.array(NORRIS_X)[order], np.array(NORRIS_Y)[order])
    assert (line.n, line.missing) == (36, 0)
    assert abs(line.slope - NORRIS_SLOPE) < 2.0 * NORRIS_STD
    assert NORRIS_STD / 1.5 < line.std < NORRIS_STD * 1.5
    assert line.scatter == pytest.approx(NORRIS_SD, rel=0.35)
    assert line.at(500.0) == pytest.approx(-0.262323073774029 + 500 * NORRIS_SLOPE, abs=0.5)


@pytest.mark.arithmetic("Theil–Sen slope of x 0..5, y 10 9 8 7 20 5; least squares gives +0.2")
def test_one_outlier_does_not_turn_the_line() -> None:
    y = [10, 9, 8, 7, 20, 5]
    assert stats.linregress(range(6), y).slope == printed("0.2")
    line = slope(range(6), y)
    assert line.slope == printed("-1.0")
    assert line.at(0.0) == pytest.approx(10.0)


def correlated(rng: np.random.Generator, n: int, r: float) -> Array:
    white = rng.normal(0.0, np.sqrt(1.0 - r * r), n + 200)
    return np.asarray(signal.lfilter([1.0], [1.0, -r], white))[200:]


@pytest.mark.parametrize(("r", "n"), [(0.0, 20), (0.0, 120), (0.5, 120), (0.8, 300), (0.0, 1500)])
def test_the_standard_error_is_as_wide_as_the_slopes_scatter(r: float, n: int) -> None:
    rng = np.random.default_rng(7)
    t = np.arange(n) * 0.5
    lines = [slope(t, 0.3 * t + correlated(rng, n, r)) for _ in range(200)]
    z = np.array([(line.slope - 0.3) / line.std for line in lines])
    # 200 draws know a standard deviation to 5 %; the rest is what a lag-1 correction leaves.
    assert 0.75 < z.std() < 1.25
    assert abs(z.mean()) < 0.3


def test_a_correction_for_correlation_is_needed() -> None:
    """With least squares' own error the same slopes would look three times as sure as they are."""
    rng, t = np.random.default_rng(7), np.arange(300) * 0.5
    fits = [stats.linregress(t, correlated(rng, 300, 0.8)) for _ in range(100)]
    assert np.std([fit.slope / fit.stderr for fit in fits]) > 2.0


def test_a_dozen_samples_are_not_quieter_than_the_sensor() -> None:
    rng, t = np.random.default_rng(7), np.arange(12) * 0.5
    lines = [slope(t, rng.normal(0.0, 1.0, 12), least_scatter=1.0) for _ in range(200)]
    assert 0.75 < np.std([line.slope / line.std for line in lines]) < 1.25
    flat = slope(t, np.zeros(12), least_scatter=1.0)
    assert flat.std >= 1.0 / np.sqrt(np.sum((t - t.mean()) ** 2))


def test_missing_samples_are_left_out_and_counted() -> None:
    t = np.arange(40.0)
    y = 2.0 - 0.1 * t
    y[[3, 17, 18]] = np.nan
    line = slope(t, y)
    assert (line.n, line.missing) == (37, 3)
    assert line.slope == pytest.approx(-0.1)
    assert line.level == pytest.approx(2.0 - 0.1 * line.centre)


def test_a_signal_that_hides_a_slope_between_two_steps_is_not_exact() -> None:
    t = np.arange(100.0)
    assert slope(t, np.full(100, 0.4)).std == 0.0
    hidden = slope(t, np.full(100, 0.4), step=5e-4)
    assert hidden.std == pytest.approx(5e-4 / 99.0 / np.sqrt(3.0))


@settings(deadline=None, max_examples=40)
@given(rate=st.floats(-5.0, 5.0), shift=st.floats(-100.0, 100.0), factor=st.floats(0.1, 10.0))
def test_a_line_moves_and_scales_with_its_samples(rate: float, shift: float, factor: float) -> None:
    t = np.arange(30.0)
    noise = np.random.default_rng(1).normal(0.0, 1.0, 30)
    plain, moved = slope(t, noise), slope(t, factor * noise + rate * t + shift)
    assert moved.slope == pytest.approx(factor * plain.slope + rate, abs=1e-9)
    assert moved.std == pytest.approx(factor * plain.std, rel=1e-6)


def test_too_few_samples_are_refused() -> None:
    with pytest.raises(InputError, match=r"a line needs 5 samples.*there are 4"):
        slope(range(6), [1.0, np.nan, 2.0, 3.0, np.nan, 4.0])
    with pytest.raises(InputError, match="does not fit"):
        slope(range(6), [1.0])


def test_the_step_of_a_signal() -> None:
    assert median_step([1.0, 1.5, np.nan, 2.0, 1.5]) == 0.5
    assert median_step([1.0, 1.0]) == 0.0


# --- pooling


@pytest.mark.arithmetic("weights 4/5 and 1/5; chi-squared of 0 and 5 around 1 is 1 + 4 = 5")
def test_pool_by_hand() -> None:
    both = pool([0.0, 5.0], [1.0, 2.0])
    assert both.value == printed("1.0")
    assert both.weights == pytest.approx((0.8, 0.2))
    assert both.birge == pytest.approx(np.sqrt(5.0))
    assert both.std == pytest.approx(np.sqrt(0.8) * np.sqrt(5.0))


def test_agreement_never_narrows_and_one_alone_stays() -> None:
    same = pool([1.0, 1.0, 1.0, 1.0], [0.2, 0.2, 0.2, 0.2])
    assert same.std == pytest.approx(0.1)
    assert pool([3.0], [0.7]).std == pytest.approx(0.7)
    with pytest.raises(InputError, match="cannot be pooled"):
        pool([], [])


# --- episodes


def test_a_hold_begins_after_the_air_has_settled() -> None:
    found = find_episodes(trace(commands((0, 100), (1, 10), (0, 100))))
    assert [(e.kind, e.start, e.end) for e in found] == [
        ("hold", SETTLING, 99.0),
        ("fill", 100.0, 109.0),
        ("hold", 110.0 + SETTLING, 209.0),
    ]
    fill = found[1]
    assert (fill.first, fill.last, fill.duration) == (100, 109, 9.0)
    assert fill.samples == slice(100, 110)


def test_a_short_rest_is_no_hold() -> None:
    assert [e.kind for e in find_episodes(trace(commands((1, 10), (0, 55), (1, 10))))] == [
        "fill",
        "fill",
    ]


def test_a_vent_wins_over_a_fill_and_settles_too() -> None:
    pump = commands((0, 80), (1, 20), (0, 80))
    vent = commands((0, 90), (1, 10), (0, 80))
    found = find_episodes(trace(pump, vent_command=vent))
    assert [(e.kind, e.start) for e in found] == [
        ("hold", SETTLING),
        ("fill", 80.0),
        ("vent", 90.0),
        ("hold", 100.0 + SETTLING),
    ]


def test_an_unknown_command_ends_a_rest() -> None:
    found = find_episodes(trace(commands((0, 100), (np.nan, 1), (0, 100))))
    assert [(e.start, e.end) for e in found] == [(SETTLING, 99.0), (101.0 + SETTLING, 200.0)]


def test_a_gap_in_the_samples_ends_a_rest_and_is_not_watched() -> None:
    time = np.r_[np.arange(100.0), np.arange(160.0, 260.0)]
    gap = Trace(time=time, channels={"pump.command": commands((0, 180), (1, 20))})
    found = find_episodes(gap)
    assert [(e.kind, e.start, e.end) for e in found] == [
        ("hold", SETTLING, 99.0),
        ("hold", 160.0 + SETTLING, 239.0),
        ("fill", 240.0, 259.0),
    ]
    assert run_time(gap, np.ones(200, dtype=np.bool_)) == (19.0, 99.0 + 99.0)


@settings(deadline=None, max_examples=60)
@given(st.lists(st.sampled_from([0.0, 1.0, np.nan]), min_size=2, max_size=300))
def test_episodes_never_overlap_and_hold_what_they_say(values: list[float]) -> None:
    command = np.array(values)
    found = find_episodes(trace(command), settling=2.0, least_hold=3.0)
    for before, after in pairwise(found):
        assert before.last < after.first
    for e in found:
        assert np.all(command[e.samples] == (e.kind == "fill"))
    fills = sum(e.last - e.first + 1 for e in found if e.kind == "fill")
    assert fills == int(np.count_nonzero(command == 1.0))


def test_without_a_pump_command_nothing_can_be_told_apart() -> None:
    with pytest.raises(InputError, match=r"no channel pump\.command"):
        find_episodes(Trace(time=np.arange(3.0), channels={}))


def test_fitted_lines_skip_the_run_up_and_tell_a_jump() -> None:
    command = commands((0, 100), (1, 20), (0, 100))
    t = np.arange(220.0)
    height = 0.4 - 1e-4 * t + 1e-3 * np.clip(t - 100.0, 0.0, 20.0)
    height[100] += 0.01  # the valves open
    height[190:] += 0.02  # somebody gets out
    whole = trace(command, height_rear=height)
    lines = fit_lines(whole, find_episodes(whole))
    assert [(line.kind, line.start, line.steady) for line in lines] == [
        ("hold", 30.0, True),
        ("fill", 101.0, True),
        ("hold", 150.0, False),
    ]
    assert lines[0].slope == pytest.approx(-1e-4)
    assert lines[0].h1 - lines[0].h0 == pytest.approx(-1e-4 * 69.0)
    assert lines[1].slope == pytest.approx(9e-4)
