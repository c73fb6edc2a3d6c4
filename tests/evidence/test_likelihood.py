"""How well a number fits a state, against quadrature and against drawn readings."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import integrate, stats

from sagtrace.errors import DomainError
from sagtrace.evidence.likelihood import (
    at_least_likelihoods,
    fit_of_best_state,
    reads_like,
    state_densities,
    state_likelihoods,
)
from sagtrace.vehicle.nodes import Quantity, Spread
from sagtrace.vehicle.system import System

Array = NDArray[np.float64]

LEAK = Quantity(
    name="leak",
    unit="mL/min",
    states={
        "tight": Spread(shape="lognormal", centre=0.12, width=2.5),
        "slow": Spread(shape="lognormal", centre=4.0, width=2.8),
        "fast": Spread(shape="lognormal", centre=60.0, width=2.5),
        "heavy": Spread(shape="lognormal", centre=900.0, width=2.2),
    },
    basis="invented",
)
HEALTH = Quantity(
    name="health",
    unit="%",
    states={
        "full": Spread(shape="normal", centre=98.0, width=10.0),
        "weak": Spread(shape="normal", centre=48.0, width=15.0),
        "none": Spread(shape="normal", centre=4.0, width=6.0),
    },
    basis="invented",
)
JOINT = Quantity(
    name="joint",
    unit="mΩ",
    states={
        "sound": Spread(shape="lognormal", centre=3.0, width=1.5),
        "open": Spread(shape="lognormal", centre=1e5, width=8.0),
        "none": Spread(shape="normal", centre=0.0, width=0.2),
    },
    basis="invented",
)


def frozen(spread: Spread) -> Any:
    if spread.shape == "normal":
        return stats.norm(spread.centre, spread.width)
    return stats.lognorm(s=math.log(spread.width), scale=spread.centre)


def blurred_density(spread: Spread, value: float, std: float) -> float:
    """∫ p(true) N(value; true, std) d(true) by adaptive quadrature, piece by piece."""
    if spread.shape == "normal":
        return float(stats.norm(spread.centre, math.hypot(spread.width, std)).pdf(value))
    s = math.log(spread.width)

    def integrand(true: float) -> float:
        z, apart = math.log(true / spread.centre) / s, (value - true) / std
        return math.exp(-0.5 * (z * z + apart * apart)) / (2.0 * math.pi * true * s * std)

    of_state = [spread.centre * spread.width**k for k in np.arange(-9.0, 9.5, 0.5)]
    of_reading = [value + k * std for k in np.arange(-9.0, 9.5, 0.5)]
    low, high = min(of_state), max(of_state)
    cuts = sorted({low, high, *of_state, *(x for x in of_reading if low < x < high)})
    return math.fsum(
        integrate.quad(integrand, a, b, epsabs=1e-25, epsrel=1e-8)[0] for a, b in pairwise(cuts)
    )


def share_above(spread: Spread, value: float, std: float) -> float:
    """P(reading > value), by quadrature over the measurement's error."""
    if spread.shape == "normal":
        return float(stats.norm(spread.centre, math.hypot(spread.width, std)).sf(value))
    s = math.log(spread.width)

    def integrand(e: float) -> float:
        true = value - std * e
        above = (
            1.0
            if true <= 0.0
            else 0.5 * math.erfc(math.log(true / spread.centre) / s / math.sqrt(2.0))
        )
        return above * math.exp(-0.5 * e * e) / math.sqrt(2.0 * math.pi)

    inside = [(value - spread.centre * spread.width**k) / std for k in np.arange(-6.0, 6.5, 0.5)]
    cuts = sorted({-9.0, 9.0, *np.arange(-8.5, 9.0, 0.5), *(e for e in inside if -9.0 < e < 9.0)})
    return math.fsum(
        integrate.quad(integrand, a, b, epsabs=1e-13, epsrel=1e-9)[0] for a, b in pairwise(cuts)
    )


class TestStateDensities:
    @pytest.mark.arithmetic("scipy.integrate.quad of the blurred density, scipy.stats for normal")
    @pytest.mark.parametrize("quantity", [LEAK, HEALTH, JOINT], ids=lambda q: q.name)
    @pytest.mark.parametrize("relative", [0.003, 0.1, 0.125, 0.3, 3.0])
    def test_sharp_and_dull_readings(self, quantity: Quantity, relative: float) -> None:
        for spread in quantity.states.values():
            for z in (-2.0, 0.0, 1.5):
                value = float(frozen(spread).ppf(stats.norm.cdf(z)))
                std = relative * max(abs(value), 0.1)
                expected = [blurred_density(s, value, std) for s in quantity.states.values()]
                got = state_densities(quantity, value, std)
                # Beyond eight deviations of a state nothing is claimed, and nothing matters.
                close = np.array(expected) > 1e-9 * max(expected)
                assert got[close] == pytest.approx(np.array(expected)[close], rel=1e-5)
                assert np.all(got[~close] < 1e-8 * max(expected))

    @pytest.mark.arithmetic("scipy.stats.lognorm.pdf: a perfect instrument")
    def test_a_very_sharp_reading_shows_the_state_itself(self) -> None:
        for spread in LEAK.states.values():
            value = 1.7 * spread.centre
            (density,) = state_densities(
                Quantity(name="", unit="", states={"it": spread}, basis=""), value, 1e-5 * value
            )
            assert density == pytest.approx(float(frozen(spread).pdf(value)), rel=1e-6)

    @pytest.mark.arithmetic("scipy.stats.norm.pdf about the mean: a useless instrument")
    def test_a_very_dull_reading_shows_the_measurement_itself(self) -> None:
        tight = LEAK.states["tight"]
        std = 1e4
        (density, *_) = state_densities(LEAK, 5e3, std)
        mean = float(frozen(tight).mean())
        assert density == pytest.approx(float(stats.norm(mean, std).pdf(5e3)), rel=1e-6)

    def test_a_reading_below_zero_is_noise_about_little(self) -> None:
        got = state_densities(LEAK, -1.5, 0.8)
        expected = [blurred_density(s, -1.5, 0.8) for s in LEAK.states.values()]
        assert got[:2] == pytest.approx(expected[:2], rel=1e-5)
        assert got[0] == max(got)

    def test_a_reading_far_below_zero_fits_no_leak(self) -> None:
        assert state_densities(LEAK, -50.0, 1.0) == pytest.approx([0.0] * 4, abs=1e-30)

    def test_the_shape_follows_the_readings(self) -> None:
        values, stds = np.array([[1.0, 2.0, 3.0], [4.0, 5.0, 6.0]]), np.full((2, 3), 0.5)
        got = state_densities(LEAK, values, stds)
        assert got.shape == (4, 2, 3)
        assert got[:, 1, 2] == pytest.approx(state_densities(LEAK, 6.0, 0.5), rel=1e-12)

    @pytest.mark.parametrize("std", [0.0, -1.0, math.nan])
    def test_an_exact_instrument_is_refused(self, std: float) -> None:
        with pytest.raises(DomainError, match=r"mL/min: must be above zero\. No instrument"):
            state_densities(LEAK, [1.0, 1.0], [0.5, std])

    @pytest.mark.arithmetic("a density adds up to 1")
    @pytest.mark.parametrize("std", [0.05, 2.0])
    def test_each_state_is_a_density(self, std: float) -> None:
        grid = np.concatenate([np.linspace(-16.0, 2.0, 1800), np.geomspace(2.01, 4000.0, 1500)])
        densities = state_densities(LEAK, grid, np.full(grid.shape, std))
        for name in ("tight", "slow", "fast"):
            row = densities[list(LEAK.states).index(name)]
            area = float(np.sum(0.5 * (row[1:] + row[:-1]) * np.diff(grid)))
            assert area == pytest.approx(1.0, abs=1e-3), name


def scaled(quantity: Quantity, k: float) -> Quantity:
    """The same quantity in a unit k times smaller."""
    states = {
        name: Spread(
            shape=s.shape,
            centre=k * s.centre,
            width=s.width if s.shape == "lognormal" else k * s.width,
        )
        for name, s in quantity.states.items()
    }
    return Quantity(name="", unit="", states=states, basis="")


near = st.floats(1e-2, 300.0)  # farther out, every density is rounded to nothing
errors = st.floats(1e-3, 1e3)
slips = st.floats(1e-3, 0.5)


class TestStateLikelihoods:
    @settings(max_examples=40, deadline=None)
    @given(value=near, std=errors, k=st.floats(1e-3, 1e3))
    def test_the_unit_does_not_matter(self, value: float, std: float, k: float) -> None:
        for quantity in (LEAK, HEALTH, JOINT):
            here = state_likelihoods(quantity, value, std, 0.03)
            there = state_likelihoods(scaled(quantity, k), k * value, k * std, 0.03)
            assert there == pytest.approx(here, rel=1e-6)

    @settings(max_examples=40, deadline=None)
    @given(value=near, std=errors, slip=slips)
    def test_a_slip_bounds_what_one_number_can_say(
        self, value: float, std: float, slip: float
    ) -> None:
        """Least over most is at least (g/n) / (1 - g + g/n): one state has all the density."""
        for quantity in (LEAK, HEALTH, JOINT):
            n = len(quantity.states)
            got = state_likelihoods(quantity, value, std, slip)
            assert got.max() == pytest.approx(1.0)
            assert got.min() >= (slip / n) / (1.0 - slip + slip / n) * (1.0 - 1e-9)

    def test_the_bound_is_reached(self) -> None:
        got = state_likelihoods(JOINT, 3.0, 0.001, 0.03)
        assert got[0] == 1.0
        assert got[2] == pytest.approx((0.03 / 3) / (0.97 + 0.03 / 3), rel=1e-5)

    @settings(max_examples=40, deadline=None)
    @given(value=near, std=errors)
    def test_more_slips_say_less(self, value: float, std: float) -> None:
        careful = state_likelihoods(LEAK, value, std, 0.01)
        careless = state_likelihoods(LEAK, value, std, 0.3)
        assert np.all(careless >= careful - 1e-12)

    def test_what_no_state_explains_tells_nothing(self) -> None:
        assert state_likelihoods(HEALTH, 1e6, 1.0, 0.03).tolist() == [1.0, 1.0, 1.0]

    @pytest.mark.arithmetic("Bayes by hand on two normal states, densities from tables")
    def test_two_states_by_hand(self) -> None:
        """0.4 against 0.3989 φ-units: at the centre of one and two deviations off the other."""
        both = {
            "a": Spread(shape="normal", centre=0.0, width=0.8),
            "b": Spread(shape="normal", centre=2.0, width=0.8),
        }
        got = state_likelihoods(Quantity(name="", unit="", states=both, basis=""), 0.0, 0.6, 0.1)
        # std is hypot(0.8, 0.6) = 1; phi(0) = 0.3989, phi(2) = 0.0540, their mean 0.2265
        a, b = 0.9 * 0.39894 + 0.1 * 0.22647, 0.9 * 0.05399 + 0.1 * 0.22647
        assert got.tolist() == pytest.approx([1.0, b / a], rel=1e-4)


class TestAtLeast:
    @pytest.mark.arithmetic("scipy.integrate.quad of the survival function")
    @pytest.mark.parametrize(
        ("value", "std"), [(5.0, 1.5), (60.0, 0.5), (0.3, 0.6), (2000.0, 300.0)]
    )
    def test_against_quadrature(self, value: float, std: float) -> None:
        above = np.array([share_above(s, value, std) for s in LEAK.states.values()])
        mixed = 0.96 * above + 0.04 * above.mean()
        got = at_least_likelihoods(LEAK, value, std, 0.04)
        assert got == pytest.approx(mixed / mixed.max(), rel=1e-6, abs=1e-9)

    @settings(max_examples=40, deadline=None)
    @given(value=st.floats(0.1, 1e4), std=st.floats(1e-2, 1e2))
    def test_more_can_only_speak_for_the_worse(self, value: float, std: float) -> None:
        got = at_least_likelihoods(LEAK, value, std, 0.04)
        assert np.all(np.diff(got) >= -1e-9)

    def test_at_least_next_to_nothing_says_nothing(self) -> None:
        got = at_least_likelihoods(LEAK, -10.0, 0.5, 0.04)
        assert got == pytest.approx([1.0] * 4, abs=1e-9)

    def test_it_keeps_the_worst_open_where_a_plain_number_would_not(self) -> None:
        plain = state_likelihoods(LEAK, 8.0, 1.0, 0.02)
        ended = at_least_likelihoods(LEAK, 8.0, 1.0, 0.02)
        assert plain[3] < 0.02
        assert ended[3] == 1.0


class TestFit:
    @pytest.mark.arithmetic("200 000 drawn readings of each state, seeded")
    @pytest.mark.parametrize("value", [0.02, 0.9, 18.0, 5000.0, -0.4])
    @pytest.mark.parametrize("std", [0.02, 0.5])
    def test_against_drawn_readings(self, value: float, std: float) -> None:
        rng = np.random.default_rng(20)
        n = 200_000
        tails = []
        for spread in LEAK.states.values():
            true = spread.centre * spread.width ** rng.standard_normal(n)
            below = float(np.mean(true + std * rng.standard_normal(n) <= value))
            tails.append(2.0 * min(below, 1.0 - below))
        expected = max(tails)
        noise = 4.0 * math.sqrt(max(expected, 1.0 / n) / n) * 2.0
        assert fit_of_best_state(LEAK, value, std) == pytest.approx(expected, abs=noise)

    @pytest.mark.arithmetic("scipy.stats.norm.sf: 2 (1 - Φ(3)) = 0.0027")
    @pytest.mark.parametrize("quantity", [LEAK, HEALTH], ids=lambda q: q.name)
    def test_three_deviations_out_are_rare_but_not_impossible(self, quantity: Quantity) -> None:
        last = list(quantity.states.values())[-1 if quantity is LEAK else 0]
        value = float(frozen(last).ppf(stats.norm.cdf(3.0)))
        fit = fit_of_best_state(quantity, value, 1e-6 * value)
        assert fit == pytest.approx(2.0 * stats.norm.sf(3.0), rel=1e-3)

    @settings(max_examples=40, deadline=None)
    @given(value=st.floats(-1e5, 1e5), std=errors)
    def test_it_is_a_probability(self, value: float, std: float) -> None:
        for quantity in (LEAK, HEALTH, JOINT):
            assert 0.0 <= fit_of_best_state(quantity, value, std) <= 1.0

    def test_the_middle_of_a_state_fits_fully(self) -> None:
        assert fit_of_best_state(LEAK, 60.0, 1e-3) == pytest.approx(1.0, abs=1e-6)
        assert fit_of_best_state(HEALTH, 48.0, 5.0) == 1.0


class TestReadsLike:
    @pytest.mark.arithmetic("4000 drawn readings of each state, stratified and seeded")
    @pytest.mark.parametrize(
        ("quantity", "std", "relative"),
        [(LEAK, 0.2, 0.28), (LEAK, 3.0, 0.28), (HEALTH, 7.0, 0.28), (HEALTH, 3.0, 0.0)],
        ids=["leak overnight", "leak in half an hour", "rise", "vessel"],
    )
    def test_against_drawn_readings(self, quantity: Quantity, std: float, relative: float) -> None:
        rng = np.random.default_rng(5)
        slip, n = 0.04, 4000
        got = reads_like(quantity, std, relative, slip)
        strata = np.arange(n)
        for i, spread in enumerate(quantity.states.values()):
            true = np.asarray(frozen(spread).ppf((strata + rng.random(n)) / n))
            noise = stats.norm.ppf((rng.permutation(strata) + rng.random(n)) / n)
            u = np.hypot(std, relative * np.abs(true))
            reading = true + u * noise
            best = np.argmax(state_densities(quantity, reading, u), axis=0)
            share = np.bincount(best, minlength=len(quantity.states)) / n
            expected = (1.0 - slip) * share + slip / len(quantity.states)
            assert got[i] == pytest.approx(expected, abs=0.03)  # what its docstring promises

    def test_rows_add_up_to_one_in_all_that_is_shipped(self, system: System) -> None:
        seen = 0
        for check in system.checks.values():
            if measure := check.measure:
                quantity = system.nodes[measure.node].quantity
                assert quantity is not None
                table = reads_like(
                    quantity, measure.typical_std, measure.typical_relative, measure.gross_error
                )
                seen += 1
                assert table.sum(axis=1) == pytest.approx(np.ones(len(table)), abs=1e-12)
                assert table.min() >= measure.gross_error / len(table) - 1e-15
                # A check that a state never reads like itself would be planned for nothing.
                assert np.all(np.diag(table) > 0.4), check.id
        assert seen > 10

    @settings(max_examples=40, deadline=None)
    @given(std=st.floats(0.01, 100.0), slip=slips)
    def test_rows_add_up_to_one(self, std: float, slip: float) -> None:
        assert reads_like(HEALTH, std, 0.1, slip).sum(axis=1) == pytest.approx(np.ones(3))

    def test_a_better_instrument_tells_more(self) -> None:
        sharp, dull = reads_like(HEALTH, 1.0, 0.0, 0.01), reads_like(HEALTH, 40.0, 0.0, 0.01)
        assert np.trace(sharp) > np.trace(dull)
