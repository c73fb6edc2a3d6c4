"""The audit finds defects put into simulated sweeps and ramps, and leaves sound ones alone."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import integrate, ndimage, stats

from printed import printed
from sagtrace.signals._spikes import largest_expected, scan
from sagtrace.signals.audit import KINDS, AuditResult, audit_heights, height_roles
from sagtrace.signals.trace import Trace
from virtual_recordings import (
    LEVEL,
    NOISE,
    STEP,
    Recording,
    height_of,
    loose,
    sampled,
    sticking,
    sweep,
    worn,
)

Array = NDArray[np.float64]
RATES = (1, 2, 10, 50)
SEEDS = range(6000, 6030)  # ten of each layout; no threshold was chosen on them
EFFECTIVE = float(np.hypot(NOISE, STEP / np.sqrt(12.0)))
AXLE = "height.rear"


@pytest.fixture(scope="module")
def sweeps() -> tuple[Recording, ...]:
    return tuple(sweep(seed) for seed in SEEDS)


def rng_of(*numbers: int) -> np.random.Generator:
    return np.random.default_rng(numbers)


def standing_out(trace: Trace, channel: str) -> dict[str, AuditResult]:
    return {r.kind: r for r in audit_heights(trace).of(channel) if r.stands_out}


def by_itself(trace: Trace, channel: str) -> Trace:
    """Return the trace without its other heights: what one signal shows needs none of them."""
    others = [role for role in height_roles(trace) if role != channel]
    kept = {role: v for role, v in trace.channels.items() if role not in others}
    return Trace(time=trace.time, channels=kept)


def alone(values: Array, rate: float = 10.0, **more: Array) -> Trace:
    named = {role.replace("_", "."): v for role, v in more.items()}
    return Trace(time=np.arange(values.size) / rate, channels={AXLE: values, **named})


def sensed(truth: Array, rng: np.random.Generator) -> Array:
    return np.asarray(np.rint((truth + rng.normal(0.0, NOISE, truth.shape)) / STEP) * STEP)


def resting(n: int = 3000, seed: int = 1) -> Array:
    return sensed(np.full(n, LEVEL), rng_of(seed))


# --- sound signals


def test_a_sound_sensor_hardly_ever_stands_out(sweeps: tuple[Recording, ...]) -> None:
    """1 % of a channel is the bar; 180 channels may show 5 by chance (Poisson, 98 %)."""
    found, total = [], 0
    for i, made in enumerate(sweeps):
        for rate in (RATES[i % 4], RATES[(i + 2) % 4]):
            trace = sampled(made, rate, None, rng_of(rate))
            for channel in height_roles(trace):
                total += 1
                found += list(standing_out(trace, channel))[:1]
    assert total == 180
    assert len(found) <= stats.poisson.ppf(0.98, 0.01 * total)


def test_a_sound_ramp_hardly_ever_stands_out() -> None:
    out = 0
    for seed in range(100):
        t = np.arange(0.0, 220.0, 0.1)
        truth = np.interp(t, [50.0, 90.0, 130.0, 170.0], LEVEL + np.array([0.0, 0.04, 0.04, 0.0]))
        out += bool(standing_out(alone(sensed(truth, rng_of(seed))), AXLE))
    assert out <= stats.poisson.ppf(0.98, 1.0)


@settings(deadline=None, max_examples=25)
@given(shift=st.floats(-0.3, 0.3), seed=st.integers(0, 50))
def test_the_zero_of_the_height_does_not_matter(shift: float, seed: int) -> None:
    x = resting(600, seed)
    moved = np.rint((x + 0.5) / STEP) * STEP + round(shift / STEP) * STEP
    plain = [(r.kind, r.stands_out) for r in audit_heights(alone(x + 0.5)).results]
    assert [(r.kind, r.stands_out) for r in audit_heights(alone(moved)).results] == plain


def test_steps_kinks_and_shakes_of_the_body_are_no_spikes() -> None:
    t = np.arange(3000)
    step = np.where(t > 1500, 0.012, 0.0)
    kink = 2e-4 * np.clip(t - 1000, 0, 200)
    for seed in range(10):
        out = standing_out(alone(sensed(LEVEL + step + kink, rng_of(seed))), AXLE)
        assert not out.keys() & {"spikes", "dropouts", "range"}


# --- defects


@pytest.mark.parametrize("value", [np.nan, 0.0, LEVEL - 0.084])
@pytest.mark.parametrize("rate", RATES)
def test_three_lost_samples_are_found(
    sweeps: tuple[Recording, ...], rate: int, value: float
) -> None:
    hits = 0
    for i, made in enumerate(sweeps):
        rng, channel = rng_of(i, rate), height_of(made)
        trace = sampled(made, rate, None, rng)
        at = int(rng.integers(2, trace.time.size - 5))
        values = trace.channels[channel].copy()
        values[at : at + 3] = value
        bad = Trace(time=trace.time, channels={**trace.channels, channel: values})
        out = standing_out(by_itself(bad, channel), channel)
        kind = out.get("dropouts") or out.get("range")
        hits += kind is not None and kind.when[0][0] == trace.time[at]
    assert hits == len(sweeps)


@pytest.mark.parametrize("rate", [10, 50])
def test_a_dead_band_of_two_millimetres_is_found_in_a_sweep(
    sweeps: tuple[Recording, ...], rate: int
) -> None:
    found = []
    for i, made in enumerate(sweeps):
        channel = height_of(made)
        bad = sampled(made, rate, sticking(made.true_height(channel), 2e-3), rng_of(i, rate))
        found.append(standing_out(by_itself(bad, channel), channel).get("dead-band"))
    assert sum(r is not None for r in found) >= 0.95 * len(sweeps)
    assert np.median([r.value for r in found if r is not None]) == pytest.approx(2e-3, rel=0.25)


@pytest.mark.parametrize(("rate", "share"), [(2, 0.95), (10, 0.95), (50, 0.95)])
def test_a_dead_band_is_found_on_a_slow_ramp(rate: int, share: float) -> None:
    """Millimetre a second, 40 mm up and down; at one sample a second it takes a slower one."""
    t = np.arange(0.0, 260.0, 0.02)
    truth = np.interp(t, [50.0, 90.0, 150.0, 190.0], LEVEL + np.array([0.0, 0.04, 0.04, 0.0]))
    stuck = sticking(truth, 2e-3)
    hits = 0
    for seed in range(40):
        rng = rng_of(seed, rate)
        at = slice(int(rng.integers(50 // rate)), None, 50 // rate)
        hits += "dead-band" in standing_out(alone(sensed(stuck[at], rng), rate), AXLE)
    assert hits >= share * 40


def test_two_samples_a_second_tell_a_dead_band_from_a_valve_that_closes(
    sweeps: tuple[Recording, ...],
) -> None:
    found = {True: 0, False: 0}
    for i, made in enumerate(sweeps):
        channel = height_of(made)
        truth = made.true_height(channel)
        for sound, values in ((True, truth), (False, sticking(truth, 2e-3))):
            trace = by_itself(sampled(made, 2, values, rng_of(i, 2)), channel)
            found[sound] += "dead-band" in standing_out(trace, channel)
    assert found[True] <= 1
    assert found[False] >= 0.3 * len(sweeps)


def test_without_a_sweep_nothing_is_said_of_a_dead_band() -> None:
    assert "dead-band" not in {r.kind for r in audit_heights(alone(resting())).results}


@pytest.mark.parametrize("rate", [10, 50])
def test_a_worn_spot_is_found_and_placed(sweeps: tuple[Recording, ...], rate: int) -> None:
    hits = 0
    for i, made in enumerate(sweeps):
        channel = height_of(made)
        bad = worn(made.true_height(channel), LEVEL + 1e-3, 2e-3, 3e-3)
        trace = by_itself(sampled(made, rate, bad, rng_of(i, rate)), channel)
        out = standing_out(trace, channel)
        hits += bool(out.keys() & {"track", "spikes"})
    assert hits >= 0.95 * len(sweeps)


def spiked(size: float, seed: int, n: int) -> tuple[Array, int]:
    """Return a rest with one spike so many times the noise, put in before the rounding."""
    rng = rng_of(seed, n)
    at = int(rng.integers(20, n - 20))
    truth = np.full(n, LEVEL)
    truth[at] += rng.choice([-1.0, 1.0]) * size * EFFECTIVE
    return sensed(truth, rng), at


@pytest.mark.parametrize("rate", [10, 50])
def test_a_spike_of_eight_times_the_noise_is_found(rate: int) -> None:
    hits = 0
    for seed in range(300):
        x, at = spiked(8.0, seed, 400 * rate)
        out = standing_out(alone(x, rate), AXLE).get("spikes")
        hits += out is not None and any(a <= at / rate <= b for a, b in out.when)
    assert hits >= 0.95 * 300


@pytest.mark.arithmetic("power of the best test for one normal sample in 4000 at 1 %: Q(4.71 - 5)")
def test_no_more_spikes_of_five_times_the_noise_are_found_than_can_be() -> None:
    """95 % are beyond any test: the largest of 4000 sound samples is often almost as large."""
    bound = stats.norm.sf(stats.norm.isf(0.01 / 8000) - 5.0)
    assert bound == printed("0.61")
    hits = sum(
        "spikes" in standing_out(alone(spiked(5.0, seed, 4000)[0]), AXLE) for seed in range(100)
    )
    assert 30 <= hits <= 100.0 * bound


def test_rounding_makes_large_deviations_rarer_as_the_sum_of_both_noises_says() -> None:
    """The tail of a normal plus a uniform deviation, by quadrature with SciPy."""
    share = STEP / np.sqrt(12.0) / EFFECTIVE
    limit = largest_expected(4000, 0.01, float(share)) * EFFECTIVE
    beyond = integrate.quad(lambda u: stats.norm.sf((limit - u) / NOISE), -STEP / 2.0, STEP / 2.0)
    assert beyond[0] / STEP == pytest.approx(0.01 / 8000, rel=1e-3)
    assert largest_expected(4000, 0.01) == pytest.approx(stats.norm.isf(0.01 / 8000), rel=1e-9)


def test_a_jump_beside_a_gap_is_scored_by_a_number() -> None:
    """No parabola reaches across a gap, but the three samples on each side still tell."""
    parts = np.concatenate([np.zeros(30), np.full(3, np.nan), np.zeros(30)])
    parts[26], parts[45] = 40.0, 20.0
    found = scan(parts, 1.0, sides=(4,), limit=5.0)
    assert found.at.tolist() == [26, 45]
    assert np.isfinite(found.score).all()
    assert found.score[0] == pytest.approx(40.0)


def test_several_middling_spikes_are_found_together() -> None:
    hits = 0
    for seed in range(40):
        rng = rng_of(seed)
        x = sensed(np.full(3000, LEVEL), rng)
        at = rng.choice(np.arange(20, 2980, 20), 12, replace=False)
        x[at] = np.rint((x[at] + 5.0 * EFFECTIVE) / STEP) * STEP
        hits += "spikes" in standing_out(alone(x), AXLE)
    assert hits >= 38


def test_a_lost_link_shows_where_the_vent_turns_the_body_round(
    sweeps: tuple[Recording, ...],
) -> None:
    """A rest uses up part of the play, so 8 mm are told from none and 2 mm are not."""
    made = next(m for m in sweeps if m.vehicle.layout == "rear-pair")
    truth = made.true_height(AXLE)
    results = {}
    for play in (0.0, 8e-3):
        trace = sampled(made, 10, loose(truth, play), rng_of(3))
        results[play] = {r.kind: r for r in audit_heights(trace).results}["hysteresis"]
    assert not results[0.0].stands_out
    assert results[8e-3].value > results[0.0].value + 3e-3


def test_noise_of_a_bad_sensor_is_measured() -> None:
    rng = rng_of(5)
    out = standing_out(alone(LEVEL + rng.normal(0.0, 2e-3, 4000)), AXLE)["noise"]
    assert out.value == pytest.approx(2e-3, rel=0.03)


def test_noise_is_not_moved_by_ramps_and_steps() -> None:
    t = np.arange(4000.0)
    x = sensed(LEVEL + 1e-5 * t + np.where(t > 2000, 0.02, 0.0), rng_of(2))
    by_kind = {r.kind: r for r in audit_heights(alone(x)).results}
    assert by_kind["noise"].value == pytest.approx(EFFECTIVE, rel=0.05)


def test_a_frozen_signal_is_found_and_timed() -> None:
    x = resting()
    x[1000:1200] = x[1000]
    out = standing_out(alone(x), AXLE)["stuck"]
    assert out.when[0][0] <= 100.0
    assert out.when[0][1] >= 119.9
    assert out.value == pytest.approx(200, abs=6)


def test_a_quiet_signal_may_stay_on_its_step() -> None:
    x = np.full(3000, LEVEL)
    x[1500:] += STEP
    assert "stuck" not in {r.kind for r in audit_heights(alone(x)).results}


def test_a_signal_that_is_gone_is_no_short_dropout() -> None:
    x = resting()
    x[500:1500] = np.nan
    out = standing_out(alone(x, pump_command=np.zeros_like(x)), AXLE)
    assert out["range"].value == pytest.approx(1000 / 3000, rel=0.01)
    assert "dropouts" not in out


def test_a_gap_in_everything_and_a_slow_channel_are_the_recorders() -> None:
    x = resting()
    x[500:520] = np.nan
    pump = np.where(np.isnan(x), np.nan, 0.0)
    assert not standing_out(alone(x, pump_command=pump), AXLE)
    sparse = resting()
    sparse[1::2] = np.nan
    assert not standing_out(alone(sparse, pump_command=np.zeros_like(x)), AXLE)


def test_a_side_that_does_not_follow_is_seen(sweeps: tuple[Recording, ...]) -> None:
    made = next(m for m in sweeps if m.vehicle.layout == "four-corner")
    trace = sampled(made, 10, None, rng_of(1))
    still = resting(trace.time.size, 4)
    bad = Trace(time=trace.time, channels={**trace.channels, "height.front-left": still})
    assert "follow" in standing_out(bad, "height.front-left")
    assert "follow" not in standing_out(bad, "height.front-right")


def test_an_axle_sensor_that_ignores_a_vent_is_seen(sweeps: tuple[Recording, ...]) -> None:
    made = next(m for m in sweeps if m.vehicle.layout == "rear-pair")
    trace = sampled(made, 2, None, rng_of(1))
    assert "follow" not in standing_out(trace, AXLE)
    bad = {**trace.channels, AXLE: resting(trace.time.size, 4)}
    assert "follow" in standing_out(Trace(time=trace.time, channels=bad), AXLE)


# --- what a result holds


def test_results_name_kind_channel_unit_and_time(sweeps: tuple[Recording, ...]) -> None:
    trace = sampled(sweeps[1], 10, None, rng_of(1))
    results = audit_heights(trace).results
    assert {r.kind for r in results} <= set(KINDS)
    assert len({(r.kind, r.channel) for r in results}) == len(results)
    for r in results:
        assert np.isfinite([r.value, r.std, r.threshold]).all()
        assert r.text
        assert all(trace.time[0] <= a <= b <= trace.time[-1] for a, b in r.when)
        assert r.likelihood == ()


def test_a_recording_of_nothing_is_audited_too() -> None:
    silent = standing_out(alone(np.full(500, np.nan)), AXLE)
    assert silent["range"].value == pytest.approx(1.0)
    assert len(silent) == 1
    few = alone(np.full(3, LEVEL))
    assert all(np.isfinite(r.value) for r in audit_heights(few).results)
    assert audit_heights(Trace(time=np.arange(5.0), channels={})).results == ()


def test_running_medians_agree_on_where_spikes_are() -> None:
    """A general filter marks the same samples, for spikes far above the noise."""
    x = resting(2000, 9)
    at = np.array([100, 640, 1201, 1777])
    x[at] += np.array([6e-3, -6e-3, 8e-3, -7e-3])
    out = standing_out(alone(x), AXLE)["spikes"]
    marked = np.flatnonzero(np.abs(x - ndimage.median_filter(x, 9)) > 4e-3)
    assert [round(10.0 * a) for a, _ in out.when] == marked.tolist() == at.tolist()
