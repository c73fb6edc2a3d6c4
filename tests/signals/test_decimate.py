"""Thinned channels keep their extremes, their gaps and their order; numpy says what they are."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sagtrace.errors import DomainError, InputError
from sagtrace.signals.decimate import decimate


def walk(channels: int, samples: int, seed: int = 1) -> np.ndarray:
    steps = np.random.default_rng(seed).normal(size=(channels, samples))
    return np.asarray(steps.cumsum(axis=1))


@settings(max_examples=40, deadline=None)
@given(st.integers(1, 3), st.integers(2, 900), st.integers(1, 60), st.integers(0, 9), st.booleans())
def test_extremes_and_order_are_kept(
    channels: int, samples: int, columns: int, seed: int, holed: bool
) -> None:
    values = walk(channels, samples, seed)
    if holed:
        values[:, 1::3] = np.nan
    time = np.arange(float(samples))
    kept = decimate(time, values, columns)
    assert kept.values.shape == (channels, kept.time.size)
    assert kept.time.size <= max(samples if samples <= 2 * columns else 0, 2 * columns)
    np.testing.assert_array_equal(np.nanmax(kept.values, axis=1), np.nanmax(values, axis=1))
    np.testing.assert_array_equal(np.nanmin(kept.values, axis=1), np.nanmin(values, axis=1))
    assert np.all(np.diff(kept.time) > 0.0)
    assert (kept.time[0], kept.time[-1]) == (0.0, samples - 1.0)


def test_every_column_has_its_own_lowest_and_highest_in_their_order() -> None:
    values = walk(2, 1000)
    kept = decimate(np.arange(1000.0), values, 10)
    boxes = values.reshape(2, 10, 100)
    pairs = kept.values.reshape(2, 10, 2)
    np.testing.assert_array_equal(pairs.min(axis=2), boxes.min(axis=2))
    np.testing.assert_array_equal(pairs.max(axis=2), boxes.max(axis=2))
    falls = boxes.argmin(axis=2) > boxes.argmax(axis=2)
    np.testing.assert_array_equal(pairs[..., 0] > pairs[..., 1], falls)


def test_few_samples_stay_as_they_are() -> None:
    values = walk(1, 20)
    kept = decimate(np.arange(20.0), values, 10)
    np.testing.assert_array_equal(kept.values, values)


def test_a_gap_of_time_stays_a_gap() -> None:
    time = np.concatenate([np.arange(5000.0), np.arange(9000.0, 14000.0)])
    kept = decimate(time, walk(2, 10_000), 100, gap=5.0)
    (broken,) = np.flatnonzero(np.isnan(kept.values).all(axis=0))
    assert 4999.0 < kept.time[broken] < 9000.0
    assert (kept.time[broken - 1], kept.time[broken + 1]) == (4999.0, 9000.0)
    assert np.isnan(decimate(time, walk(2, 10_000), 100).values).sum() == 0


def test_no_more_gaps_than_can_be_seen_and_the_longest_first() -> None:
    time = np.cumsum(np.where(np.arange(4000) % 10 == 0, 50.0, 1.0))
    time[2000:] += 1e6
    kept = decimate(time, walk(1, 4000), 40, gap=5.0)
    broken = np.isnan(kept.values[0])
    assert 1 <= broken.sum() <= 10
    assert any(time[1999] < t < time[2000] for t in kept.time[broken])


def test_a_channel_without_a_value_for_long_has_a_hole() -> None:
    values = walk(2, 10_000)
    values[0, 2000:6000] = np.nan
    kept = decimate(np.arange(10_000.0), values, 100)
    hole = np.isnan(kept.values[0])
    assert kept.time[hole].min() == 2000.0
    assert kept.time[hole].max() == 5999.0
    assert not np.isnan(kept.values[1]).any()


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(DomainError, match="columns = 0"):
        decimate(np.arange(4.0), np.zeros((1, 4)), 0)
    with pytest.raises(InputError, match="a row for each channel"):
        decimate(np.arange(4.0), np.zeros((1, 5)), 3)
