"""The solver of the fit against certified regressions, and its posterior against SciPy."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.stats import truncnorm

from sagtrace.errors import EvidenceError, InputError
from sagtrace.twin.identify.posterior import draws
from sagtrace.twin.identify.solve import Prior, Solution, minimise

Array = NDArray[np.float64]

MISRA_X = [77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1,
           760.0]  # fmt: skip
MISRA_Y = [10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.40,
           75.47, 81.78]  # fmt: skip


def wide(start: list[float], low: float = -np.inf) -> Prior:
    """Return a prior that says next to nothing."""
    p = np.array(start)
    return Prior(mean=p, std=1e5 * np.abs(p), step=1e-6 * np.abs(p), low=np.full(len(p), low))


def regression(x: Array, y: Array, start: list[float], saturating: bool) -> tuple[Solution, Prior]:
    def residual(p: Array) -> Array:
        curve = p[0] * (1.0 - np.exp(-p[1] * x)) if saturating else p[0] * x ** p[1]
        return np.asarray(y - curve)

    prior = wide(start)
    found = minimise(residual, prior, np.array(start), clip=1e9, enough=1e-18, rounds=60)
    return found, prior


def errors(found: Solution, prior: Prior) -> Array:
    """Return the standard errors of a regression whose noise is judged by its own residuals."""
    n, k = found.slope.shape
    rss = float(np.sum(found.residual**2))
    return np.sqrt(np.diag(found.covariance(prior, rss / (n - k))))


@pytest.mark.published("NIST StRD, nonlinear regression, Misra1a, certified values")
def test_misra1a() -> None:
    found, prior = regression(np.array(MISRA_X), np.array(MISRA_Y), [250.0, 0.0005], True)
    assert found.parameters == pytest.approx([2.3894212918e2, 5.5015643181e-4], rel=1e-6)
    assert float(np.sum(found.residual**2)) == pytest.approx(1.2455138894e-1, rel=1e-8)
    assert errors(found, prior) == pytest.approx([2.7070075241, 7.2668688436e-6], rel=1e-4)


@pytest.mark.from_memory("NIST StRD, nonlinear regression, BoxBOD, certified values")
def test_box_bod() -> None:
    x, y = np.array([1, 2, 3, 5, 7, 10.0]), np.array([109, 149, 149, 191, 213, 224.0])
    found, prior = regression(x, y, [100.0, 0.75], True)
    assert found.parameters == pytest.approx([2.1380940889e2, 5.4723748542e-1], rel=1e-6)
    assert float(np.sum(found.residual**2)) == pytest.approx(1.1680088766e3, rel=1e-8)
    assert errors(found, prior) == pytest.approx([1.2354515176e1, 1.0455993237e-1], rel=1e-4)


@pytest.mark.from_memory("NIST StRD, nonlinear regression, DanWood, certified values")
def test_dan_wood() -> None:
    x = np.array([1.309, 1.471, 1.490, 1.565, 1.611, 1.680])
    y = np.array([2.138, 3.421, 3.597, 4.340, 4.882, 5.660])
    found, prior = regression(x, y, [1.0, 5.0], False)
    assert found.parameters == pytest.approx([7.6886226176e-1, 3.8604055871], rel=1e-6)
    assert errors(found, prior) == pytest.approx([1.8281973860e-2, 5.1726610913e-2], rel=1e-4)


@pytest.mark.arithmetic("a straight line with a Gaussian prior: the normal equations by numpy")
def test_a_prior_counts_as_a_reading() -> None:
    rng = np.random.default_rng(0)
    a = rng.standard_normal((12, 3))
    y = a @ np.array([1.0, -2.0, 0.5]) + rng.standard_normal(12)
    prior = Prior(
        mean=np.array([0.5, 0.0, 0.0]), std=np.array([0.1, 1.0, 10.0]), step=np.full(3, 1e-3),
        low=np.full(3, -np.inf),
    )  # fmt: skip
    found = minimise(lambda p: y - a @ p, prior, prior.mean, clip=1e9, enough=1e-12)
    weight = np.diag(prior.std**-2)
    exact = np.linalg.solve(a.T @ a + weight, a.T @ y + weight @ prior.mean)
    assert found.parameters == pytest.approx(exact, rel=1e-6)
    assert found.covariance(prior) == pytest.approx(np.linalg.inv(a.T @ a + weight), rel=1e-5)


def test_a_bound_holds_and_an_outlier_hardly_counts() -> None:
    x = np.linspace(0.0, 1.0, 40)
    y = -0.5 + 0.2 * x
    y[7] += 100.0
    prior = Prior(
        mean=np.zeros(2), std=np.full(2, 100.0), step=np.full(2, 1e-4), low=np.array([0.0, -np.inf])
    )
    found = minimise(lambda p: 50.0 * (y - p[0] - p[1] * x), prior, np.array([1.0, 0.0]))
    assert found.parameters[0] == 0.0
    free = Prior(mean=prior.mean, std=prior.std, step=prior.step, low=np.full(2, -np.inf))
    found = minimise(lambda p: 50.0 * (y - p[0] - p[1] * x), free, np.array([1.0, 0.0]))
    assert found.parameters == pytest.approx([-0.5, 0.2], abs=0.01)
    assert found.weights[7] < 0.01


def test_where_the_model_cannot_run_the_step_is_shortened() -> None:
    def residual(p: Array) -> Array:
        if p[0] > 4.0:
            raise EvidenceError("cannot run there")
        return np.array([10.0 * (3.0 - p[0] ** 2 / 3.0)])

    found = minimise(residual, wide([1.0]), np.array([1.0]), clip=1e9, enough=1e-6)
    assert found.parameters[0] == pytest.approx(3.0, abs=1e-3)
    with pytest.raises(InputError, match="one number for each parameter"):
        minimise(residual, wide([1.0]), np.zeros(2))


@pytest.mark.arithmetic("scipy.stats.truncnorm")
def test_draws_of_a_cut_normal() -> None:
    got = draws(
        np.array([-3.0, 50.0]), np.diag([4.0, 9.0]), np.array([0.0, -np.inf]),
        np.random.default_rng(1), chains=20_000,
    )  # fmt: skip
    levels = [0.05, 0.5, 0.95]
    exact = truncnorm(1.5, np.inf, loc=-3.0, scale=2.0).ppf(levels)
    assert np.quantile(got[:, 0], levels) == pytest.approx(exact, abs=0.06)
    assert [got[:, 1].mean(), got[:, 1].std()] == pytest.approx([50.0, 3.0], rel=0.02)


@pytest.mark.arithmetic("two numbers with a known sum are uniform between nothing and it")
def test_draws_of_two_that_only_their_sum_ties() -> None:
    wide_one, tight = 1e4, 1.0
    precision = np.full((2, 2), tight**-2) + np.eye(2) * wide_one**-2
    spread = np.asarray(np.linalg.inv(precision), dtype=np.float64)
    rng = np.random.default_rng(2)
    got = draws(np.array([50.0, 50.0]), spread, np.zeros(2), rng, chains=20_000)
    levels = [0.1, 0.25, 0.5, 0.75, 0.9]
    assert np.quantile(got[:, 0], levels) == pytest.approx(100.0 * np.array(levels), abs=1.5)
    assert got.sum(axis=1).std() == pytest.approx(1.0, rel=0.05)
    assert got.min() >= 0.0
