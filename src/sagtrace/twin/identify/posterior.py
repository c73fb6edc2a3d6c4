"""A normal distribution with lower bounds, and what is asked of it, by samples.

A leak cannot be negative, so where the data allow none the spread is not normal. Samples come from
hit-and-run along the covariance's own axes, so that left and right of one axle, which only
their sum ties together, mix at once.
Source: Smith, Operations Research 32 (1984) 1296 (from memory).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

__all__ = ["draws"]

Array = NDArray[np.float64]

CHAINS, SWEEPS = 2000, 12  # [-] chosen: one draw of each chain; each axis is visited in every sweep
EDGE = 1e-12  # [-] chosen: keeps the inverse normal finite


def draws(
    mean: Array, covariance: Array, low: Array, rng: np.random.Generator, *, chains: int = CHAINS
) -> Array:
    """Return samples, shape (chains, n), of the normal distribution cut off below `low`."""
    n = len(mean)
    scale = np.sqrt(np.diag(covariance))
    values, axes = np.linalg.eigh(covariance / np.outer(scale, scale))
    root = np.sqrt(np.maximum(values, 0.0))
    bounded = np.flatnonzero(np.isfinite(low))
    z = rng.standard_normal((chains, n)) @ (axes * root).T
    floor = (low - mean) / scale
    if not bounded.size:
        return np.asarray(mean + z * scale)
    # A start inside: the bounded ones at least at their floor; the rest follows in the sweeps.
    z[:, bounded] = np.maximum(z[:, bounded], floor[bounded] + 1e-9)
    inverse = (axes / np.maximum(values, 1e-15)) @ axes.T
    directions = np.vstack([axes.T * np.maximum(root, 1e-9)[:, None], np.eye(n)[bounded]])
    for _ in range(SWEEPS):
        for d in directions[rng.permutation(len(directions))]:
            precision = float(d @ inverse @ d)
            centre = -(z @ inverse @ d) / precision
            std = precision**-0.5
            along = d[bounded]
            room = (floor[bounded] - z[:, bounded]) / np.where(along == 0.0, np.nan, along)
            up, down = along > 1e-12, along < -1e-12
            least = np.max(room[:, up], axis=1) if up.any() else np.full(chains, -np.inf)
            most = np.min(room[:, down], axis=1) if down.any() else np.full(chains, np.inf)
            z += np.outer(_between(centre, std, least, most, rng), d)
    return np.asarray(mean + z * scale)


def _between(
    centre: Array, std: float, least: Array, most: Array, rng: np.random.Generator
) -> Array:
    """Return one draw each of normal numbers that must lie between two others."""
    # Measured from the nearer tail, where the normal's probabilities are still apart.
    flip = least > centre
    a = np.where(flip, centre - most, least - centre) / std
    b = np.where(flip, centre - least, most - centre) / std
    low, high = ndtr(a), ndtr(b)
    u = low + (high - low) * rng.uniform(EDGE, 1.0 - EDGE, len(centre))
    x = np.clip(np.where(high - low > 1e-300, ndtri(u), b), a, b)
    return np.asarray(centre + np.where(flip, -x, x) * std)
