"""Fills, vents, rests and events from heights alone agree with the commands of simulated runs."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
import pytest
from numpy.typing import NDArray

from sagtrace.signals.episode_table import tabulate
from sagtrace.signals.episodes import (
    SETTLING,
    Episode,
    find_episodes,
    find_events,
    fit_lines,
    read_heights,
)
from sagtrace.signals.trace import Trace
from virtual_recordings import LEVEL, NOISE, STEP, Recording, day, layout_of, true_spans

Array = NDArray[np.float64]
Span = tuple[float, float]
SEEDS = range(800, 830)  # ten of each layout; no threshold was chosen on them
RATE = 2.0
PER_KELVIN, PER_KELVIN_STD = 0.62e-3, 0.15e-3  # [m/K] volume / (area lever temperature), 25 %


@pytest.fixture(scope="module")
def days() -> tuple[Recording, ...]:
    return tuple(day(seed, RATE) for seed in SEEDS)


def heights_only(made: Recording, *more: str) -> Trace:
    kept = {
        role: values
        for role, values in made.run.channels.items()
        if role.startswith("height.") or role in more
    }
    return Trace(time=made.run.time, channels=kept)


def spans(episodes: Sequence[Episode], kind: str) -> list[Span]:
    return [(e.start, e.end) for e in episodes if e.kind == kind]


def near(a: Span, b: Span) -> bool:
    return a[0] < b[1] + 1.5 and b[0] < a[1] + 1.5


def rise(made: Recording, span: Span) -> float:
    truth = np.array([made.true_height(s.role) for s in made.vehicle.sensors])
    a, b = np.searchsorted(made.run.time, span)
    return float(np.max(np.abs(truth[:, min(b, truth.shape[1] - 1)] - truth[:, a])))


def test_the_recordings_hold_every_layout_and_many_fills(days: tuple[Recording, ...]) -> None:
    assert {layout_of(seed) for seed in SEEDS} == {m.vehicle.layout for m in days}
    assert sum(len(true_spans(made.run, "fill")) for made in days) > 100


def test_fills_are_found_in_the_heights_alone(days: tuple[Recording, ...]) -> None:
    large, hit, found, right = 0, 0, 0, 0
    for made in days:
        guessed = spans(find_episodes(heights_only(made)), "fill")
        true = true_spans(made.run, "fill")
        must = [span for span in true if rise(made, span) >= 4e-3]
        large += len(must)
        hit += sum(any(near(span, g) for g in guessed) for span in must)
        found += len(guessed)
        right += sum(any(near(span, g) for span in true) for g in guessed)
    assert hit >= 0.9 * large
    assert right >= 0.9 * found


def test_rests_are_found_in_the_heights_alone(days: tuple[Recording, ...]) -> None:
    true_time, found_time, both = 0.0, 0.0, 0.0
    for made in days:
        busy = sorted([*true_spans(made.run, "fill"), *true_spans(made.run, "vent")])
        ends = [0.0, *(end for _, end in busy)]
        starts = [*(start for start, _ in busy), float(made.run.time[-1])]
        rests = [
            (a + SETTLING, b) for a, b in zip(ends, starts, strict=True) if b - a > 2 * SETTLING
        ]
        guessed = spans(find_episodes(heights_only(made)), "hold")
        true_time += sum(b - a for a, b in rests)
        found_time += sum(b - a for a, b in guessed)
        both += sum(max(0.0, min(a[1], b[1]) - max(a[0], b[0])) for a in rests for b in guessed)
    assert both >= 0.9 * true_time
    assert both >= 0.95 * found_time


def test_episodes_from_heights_never_overlap(days: tuple[Recording, ...]) -> None:
    for made in days[:6]:
        for before, after in pairwise(find_episodes(heights_only(made))):
            assert before.last < after.first


def test_reading_the_heights_once_changes_nothing(days: tuple[Recording, ...]) -> None:
    trace = heights_only(days[1])
    heights = read_heights(trace)
    episodes = find_episodes(trace, heights=heights)
    assert episodes == find_episodes(trace)
    assert find_events(trace, episodes, heights=heights) == find_events(trace, episodes)


# --- events, on invented heights


def sensed(truth: Array, seed: int = 1) -> Array:
    noisy = truth + np.random.default_rng(seed).normal(0.0, NOISE, truth.shape)
    return np.asarray(np.rint(noisy / STEP) * STEP)


def axle(marks: Sequence[float], heights: Sequence[float], **more: Array) -> Trace:
    time = np.arange(0.0, 600.0, 0.5)
    values = sensed(LEVEL + np.interp(time, marks, heights))
    named = {role.replace("_", "."): v for role, v in more.items()}
    return Trace(time=time, channels={"height.rear": values, **named})


def test_a_load_and_the_answer_to_it() -> None:
    trace = axle([200.0, 203.0, 212.0, 218.0], [0.0, -0.018, -0.018, -0.002])
    episodes = find_episodes(trace)
    (fill,) = spans(episodes, "fill")
    assert near(fill, (212.0, 218.0))
    (load,) = spans(find_events(trace, episodes), "load")
    assert near(load, (200.0, 203.0))
    assert [e.kind for e in episodes] == ["hold", "fill", "hold"]


def test_a_fill_cut_off_and_taken_up_again_has_a_pause_in_it() -> None:
    # Loaded, then filled in two runs with two minutes between them.
    marks = [100.0, 104.0, 115.0, 135.0, 255.0, 275.0]
    trace = axle(marks, [0.0, -0.04, -0.04, -0.02, -0.02, -0.002])
    episodes = find_episodes(trace)
    assert len(spans(episodes, "fill")) == 2
    (pause,) = spans(find_events(trace, episodes), "pause")
    assert pause[0] == pytest.approx(135.0, abs=2.0)
    assert pause[1] == pytest.approx(255.0, abs=2.0)


def test_filling_again_after_a_leak_is_no_pause() -> None:
    marks = [100.0, 106.0, 250.0, 256.0]
    trace = axle(marks, [-0.01, -0.002, -0.01, -0.002])
    assert len(spans(find_episodes(trace), "fill")) == 2
    assert not spans(find_events(trace, find_episodes(trace)), "pause")


def test_commands_rule_where_they_are_recorded() -> None:
    time = np.arange(0.0, 600.0, 0.5)
    pump = ((time >= 212.0) & (time < 218.0)).astype(np.float64)
    marks = [200.0, 203.0, 212.0, 218.0]
    trace = axle(marks, [0.0, -0.018, -0.018, -0.002], pump_command=pump)
    episodes = find_episodes(trace)
    assert spans(episodes, "fill") == [(212.0, 217.5)]
    assert [e.kind for e in find_events(trace, episodes)] == ["load"]
    assert {line.kind for line in fit_lines(trace, episodes)} == {"hold", "fill"}


def test_an_engine_start_is_read_from_its_channel_or_the_supply() -> None:
    time = np.arange(0.0, 600.0, 0.5)
    on = (time >= 90.0).astype(np.float64)
    supply = 12.5 + 1.6 * on + np.random.default_rng(1).normal(0.0, 0.03, time.shape)
    supply -= 0.5 * ((time > 300.0) & (time < 320.0))
    for more in ({"engine": on}, {"supply": supply}):
        trace = axle([0.0, 1.0], [0.0, 0.0], **more)
        events = find_events(trace, find_episodes(trace))
        assert [e.kind for e in events] == ["engine"]
        assert events[0].start == pytest.approx(90.0, abs=1.0)


def test_a_jacked_engine_off_body_is_not_filled() -> None:
    time = np.arange(0.0, 600.0, 0.5)
    trace = axle([200.0, 230.0], [0.0, 0.03], engine=np.zeros_like(time))
    assert not spans(find_episodes(trace), "fill")
    assert spans(find_events(trace, find_episodes(trace)), "load")


# --- the table


@pytest.mark.parametrize("ambient", [("ambient",), ()])
def test_tight_springs_sink_by_nothing_within_the_interval(
    days: tuple[Recording, ...], ambient: tuple[str, ...]
) -> None:
    """Only rests in which no spring lost air: warming is all that moves them."""
    inside, total = 0, 0
    for made in days[:12]:
        trace, truth = heights_only(made, *ambient), made.run.truth
        assert truth is not None
        table = tabulate(
            trace,
            find_episodes(trace),
            per_kelvin=PER_KELVIN,
            per_kelvin_std=PER_KELVIN_STD,
        )
        for row in table.holds:
            a, b = np.searchsorted(trace.time, (row.start, row.end))
            masses = [truth.masses[corner] for corner in made.vehicle.corners]
            if max(abs(m[a] / m[b] - 1.0) for m in masses) < 1e-6:
                total += 1
                inside += row.interval[0] <= 0.0 <= row.interval[1]
    assert total > 30
    assert inside >= 0.93 * total


def test_a_leak_is_read_beside_a_night_that_cools() -> None:
    time = np.arange(0.0, 3600.0, 1.0)
    leak, cooling = 2e-6, -0.5e-3  # [m/s], [K/s]; 1.8 K in all
    height = sensed(LEVEL - leak * time + PER_KELVIN * cooling * time)
    trace = Trace(time=time, channels={"height.rear": height, "ambient": 283.15 + cooling * time})
    table = tabulate(trace, find_episodes(trace), per_kelvin=PER_KELVIN, per_kelvin_std=0.0)
    (row,) = table.holds
    assert row.slope == pytest.approx(-leak + PER_KELVIN * cooling, rel=0.02)
    assert row.sinking == pytest.approx(leak, abs=3.0 * row.sinking_std)
    assert row.warming == pytest.approx(cooling, rel=0.01)
    blind = Trace(time=time, channels={"height.rear": height})
    (wide,) = tabulate(blind, find_episodes(blind), per_kelvin=PER_KELVIN, per_kelvin_std=0.0).holds
    assert wide.sinking_std > 3.0 * row.sinking_std
    assert wide.interval[0] < leak < wide.interval[1]


def test_the_rise_of_a_fill_and_the_duty() -> None:
    time = np.arange(0.0, 600.0, 0.5)
    pump = ((time >= 200.0) & (time < 220.0)).astype(np.float64)
    trace = axle([200.0, 220.0], [-0.03, 0.0], pump_command=pump)
    table = tabulate(trace, find_episodes(trace), per_kelvin=0.0, per_kelvin_std=0.0)
    (row,) = table.fills
    assert row.rate == pytest.approx(1.5e-3, rel=0.02)
    assert row.interval[0] < 1.5e-3 < row.interval[1]
    assert row.rise == pytest.approx(0.0295, abs=1e-3)
    assert table.duty == pytest.approx(19.5 / 599.5)
    assert {r.channel for r in table.holds} == {"height.rear"}


@pytest.mark.from_memory("JCGM 100:2008 (GUM), F.2.2.1")
def test_a_short_fill_is_no_better_known_than_the_recorded_step() -> None:
    """JCGM 100:2008 (GUM) F.2.2.1: a reading in steps of d has a standard uncertainty of 0.29 d.

    Six samples exactly on a line show no noise at all; least squares of such readings gives the
    least that the slope's spread may be.
    """
    time = np.arange(0.0, 200.0, 1.0)
    pump = ((time >= 100.0) & (time < 106.0)).astype(np.float64)
    height = LEVEL + 1e-3 * np.clip(time - 100.0, 0.0, 6.0)
    trace = Trace(time=time, channels={"height.rear": height, "pump.command": pump})
    (row,) = tabulate(trace, find_episodes(trace), per_kelvin=0.0, per_kelvin_std=0.0).fills
    seen = time[(time >= row.start) & (time <= row.end)]
    least = 0.29e-3 / np.sqrt(np.sum((seen - seen.mean()) ** 2))
    assert row.rate == pytest.approx(1e-3, rel=1e-6)
    assert least <= row.rate_std < 2.0 * least
