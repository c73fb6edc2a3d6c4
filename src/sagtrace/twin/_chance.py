"""Random numbers from a counter: the same for the same arguments, in any order.

The control unit draws one after another in compiled code, the recorded channels in whole arrays;
both must see the same bursts of a worn sensor. So the same lines work on numbers and on arrays.
"""

from __future__ import annotations

from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from sagtrace.twin._compiled import compiled

__all__ = ["bursts", "normal", "worn_track"]

Array = NDArray[np.float64]
Whole = TypeVar("Whole", np.uint64, NDArray[np.uint64])

BURST = 0.4  # [s] chosen: how long the wiper stays on a worn place
BURST_SHARE = 0.08  # [-] chosen: of the time
BURST_SALT = 64  # [-] apart from the noise, whose salts count sensors


def _scramble(seed: Whole, index: Whole, salt: Whole) -> Whole:
    """Return 53 random bits (the finaliser of splitmix64 over a mixed counter)."""
    z = seed * np.uint64(0x9E3779B97F4A7C15) + index
    z = z * np.uint64(0xBF58476D1CE4E5B9) + salt
    z = (z ^ (z >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    z = (z ^ (z >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return (z ^ (z >> np.uint64(31))) >> np.uint64(11)


_scrambled = compiled(_scramble)


@compiled
def _unit(seed: int, index: int, salt: int) -> float:
    """Return a number in (0, 1)."""
    bits = _scrambled(np.uint64(seed), np.uint64(index), np.uint64(salt))
    return (float(bits) + 0.5) / 9007199254740992.0


@compiled
def normal(seed: int, index: int, salt: int) -> float:
    """Return a standard normal number (Box and Muller)."""
    radius = np.sqrt(-2.0 * np.log(_unit(seed, index, 2 * salt)))
    return float(radius * np.cos(2.0 * np.pi * _unit(seed, index, 2 * salt + 1)))


@compiled
def worn_track(seed: int, sensor: int, t: float) -> float:
    """Return how far a sensor with a worn track jumps now, one standard deviation being 1."""
    place = int(t / BURST)
    if _unit(seed, place, BURST_SALT + 4 * sensor) >= BURST_SHARE:
        return 0.0
    return normal(seed, place, BURST_SALT // 2 + 2 * sensor + 1)


def bursts(seed: int, sensor: int, times: Array) -> Array:
    """Return `worn_track` at many times."""
    places, back = np.unique((times / BURST).astype(np.uint64), return_inverse=True)
    salt = BURST_SALT + 4 * sensor
    first, second, third = (_units(seed, places, salt + k) for k in (0, 2, 3))
    size = np.sqrt(-2.0 * np.log(second)) * np.cos(2.0 * np.pi * third)
    jumps: Array = np.where(first < BURST_SHARE, size, 0.0)[back]
    return jumps


def _units(seed: int, index: NDArray[np.uint64], salt: int) -> Array:
    same = np.full_like(index, 1)
    bits = _scramble(same * np.uint64(seed), index, same * np.uint64(salt))
    return (bits.astype(np.float64) + 0.5) / 9007199254740992.0
