"""The plant's bare formulas are those of the physics kernels, and those give the printed values."""

from __future__ import annotations

from collections.abc import Callable

import numba
import numpy as np
import pytest

from printed import printed
from sagtrace.physics import airflow, atmosphere, fuse, pump
from sagtrace.physics.constants import R_GAS
from sagtrace.twin import formulas

N = 300
CLOSE = 1e-12


def over(function: Callable[..., float]) -> Callable[..., np.ndarray]:
    """Return the compiled function over arrays: it has no entrance for Python of its own."""

    @numba.njit  # type: ignore[untyped-decorator]
    def one(args: tuple[float, ...]) -> float:
        return function(*args)

    def many(*arrays: np.ndarray) -> np.ndarray:
        rows = np.broadcast_arrays(*(np.asarray(a, float) for a in arrays))
        return np.array([one(tuple(float(v) for v in row)) for row in zip(*rows, strict=True)])

    return many


@pytest.fixture
def rng() -> np.random.Generator:
    return np.random.default_rng(7)


def test_valve_flow_is_the_kernels(rng: np.random.Generator) -> None:
    pa, pb = 10 ** rng.uniform(4.8, 6.3, N), 10 ** rng.uniform(4.8, 6.3, N)
    pb[:60] = pa[:60] * rng.uniform(0.99, 1.01, 60)  # the straight line near equality
    ta, tb = rng.uniform(240, 400, N), rng.uniform(240, 400, N)
    c, b = 10 ** rng.uniform(-13, -7, N), rng.uniform(0.0, 0.6, N)
    ours = over(formulas.iso_flow)(pa, ta, pb, tb, c, b, np.full(N, 0.995))
    up = np.where(pa >= pb, ta, tb)
    theirs = airflow.iso6358_mass_flow(
        pa, pb, up, conductance=c, critical_ratio=b, laminar_ratio=0.995
    )
    assert ours == pytest.approx(theirs, rel=CLOSE, abs=1e-300)


def test_pump_formulas_are_the_kernels(rng: np.random.Generator) -> None:
    r, c, n = rng.uniform(1, 30, N), rng.uniform(0, 0.15, N), rng.uniform(1.05, 1.4, N)
    eta = over(formulas.volumetric_efficiency)(r, c, n)
    assert eta == pytest.approx(
        pump.volumetric_efficiency(r, clearance=c, polytropic=n), rel=CLOSE, abs=1e-300
    )
    v, turns, p = rng.uniform(1e-6, 1e-4, N), rng.uniform(0, 80, N), rng.uniform(5e4, 1.1e5, N)
    t = rng.uniform(240, 330, N)
    ours = over(formulas.pump_delivery)(eta, v, turns, p, t, np.full(N, R_GAS))
    assert ours == pytest.approx(
        pump.delivery(v, turns, p, t, r, clearance=c, polytropic=n), rel=CLOSE, abs=1e-300
    )
    work = over(formulas.stroke_work)(p, v, r, n)
    assert work == pytest.approx(
        pump.polytropic_power(p, p * r, v, polytropic=n), rel=1e-11, abs=1e-12
    )
    hot = over(formulas.compression_temperature)(t, r, n)
    assert hot == pytest.approx(pump.compression_temperature(t, r, polytropic=n), rel=CLOSE)


def test_moisture_is_the_kernels(rng: np.random.Generator) -> None:
    t, p, rh = rng.uniform(274, 320, N), rng.uniform(7e4, 1.05e5, N), rng.uniform(0, 1, N)
    ours = over(formulas.humidity_ratio)(t, p, rh)
    assert ours == pytest.approx(
        atmosphere.humidity_ratio(t, p, relative_humidity=rh), rel=CLOSE, abs=1e-300
    )


@pytest.mark.parametrize("place", [0.0, 1.0])
def test_fuse_lies_at_the_edge_of_the_kernels_band(rng: np.random.Generator, place: float) -> None:
    ratio = rng.uniform(1.35, 6.0, N)
    band = fuse.operating_band(ratio, fuse.BLADE_TYPE_C)
    ours = over(formulas.fuse_time)(ratio, np.full(N, place))
    assert ours == pytest.approx(band[int(place)], rel=1e-11)
    assert np.isinf(over(formulas.fuse_time)(np.array([0.5, 1.0, 1.09]), np.full(3, place))).all()


@pytest.mark.arithmetic("Eastop & McConkey inputs: 14 m3/min, 1.013 to 7 bar, c = 0.05, n = 1.3")
def test_worked_example_of_a_compressor() -> None:
    ratio, p = 7 / 1.013, 1.013e5
    eta = over(formulas.volumetric_efficiency)([ratio], [0.05], [1.3])[0]
    assert eta == printed("0.828828")
    strokes = 2 * 300 / 60  # double-acting
    flow = over(formulas.pump_delivery)([eta], [0.0281522], [strokes], [p], [288.0], [287.0])[0]
    assert flow == printed("0.285964")
    assert over(formulas.compression_temperature)([288.0], [ratio], [1.3])[0] == printed("449.905")
    watts = over(formulas.stroke_work)([p], [14 / 60], [ratio], [1.3])[0]
    assert watts / 1e3 == printed("57.5805")


def test_two_restrictions_in_a_row_let_through_less_than_either() -> None:
    both = over(formulas.series_conductance)([3e-9, 3e-9], [4e-9, 0.0])
    assert both[0] == pytest.approx(2.4e-9, rel=1e-12)
    assert both[1] == 0.0
