"""How long a blade fuse carries an overload: always a band, never a time.

Assumes a cold fuse at 23 to 25 degrees Celsius and a constant current. A hot
fuse box opens earlier. The tables are from memory and are arguments, not law:
replace them with the fuse maker's own curve when a decision hangs on it.
Use: to judge whether a blown fuse fits the story. Never to choose another fuse:
a fuse is replaced by the rating that the vehicle maker gives.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from sagtrace.errors import InputError
from sagtrace.physics._checks import Array, flat, not_below_zero

__all__ = [
    "BLADE_TYPE_C",
    "BLADE_TYPE_E",
    "BLADE_TYPE_F",
    "FuseCurve",
    "operating_band",
]

HOURS_100: Final = 360_000.0  # [s] exact: 100 h


@dataclass(frozen=True, slots=True, kw_only=True)
class FuseCurve:
    """Rated operating times of a fuse type: (current ratio, least, most seconds)."""

    name: str
    points: tuple[tuple[float, float, float], ...]  # ([-], [s], [s]), rising ratio
    source: str
    confidence: str

    def __post_init__(self) -> None:
        if len(self.points) < 2:
            raise InputError(f"{self.name}: a fuse curve needs at least two rated points.")
        for ratio, least, most in self.points:
            if not (0.0 < ratio < math.inf and 0.0 < least < math.inf and least <= most):
                text = "needs a ratio above zero and 0 < least <= most seconds"
                raise InputError(f"{self.name}: the point at {ratio:g} times In {text}.")
        for (r1, least1, most1), (r2, least2, most2) in pairwise(self.points):
            if not (r1 < r2 and least1 >= least2 and most1 >= most2):
                text = f"between {r1:g} and {r2:g} times In the times must not rise with current"
                raise InputError(f"{self.name}: {text}.")


_SOURCE = "ISO 8820-3, from memory: the text was not read"
_CONFIDENCE = (
    "1.10, 1.35 and 2.00 times In: fair, from memory. Others: low, do not rest a decision on them."
)
BLADE_TYPE_C: Final = FuseCurve(
    name="blade fuse, type C (medium)",
    points=(
        (1.10, HOURS_100, math.inf),
        (1.35, 0.75, 600.0),
        (1.60, 0.25, 50.0),
        (2.00, 0.15, 5.0),
        # 0.04 s and not 0.08 s, because the smallest ratings may be that quick.
        (3.50, 0.04, 0.5),
        (6.00, 0.03, 0.1),
    ),
    source=_SOURCE,
    confidence=_CONFIDENCE,
)
BLADE_TYPE_F: Final = FuseCurve(
    name="blade fuse, type F (miniature)",
    points=(
        (1.10, HOURS_100, math.inf),
        (1.35, 0.75, 600.0),
        (1.60, 0.25, 50.0),
        (2.00, 0.15, 5.0),
        (3.50, 0.08, 0.25),
        (6.00, 0.03, 0.1),
    ),
    source=_SOURCE,
    confidence=_CONFIDENCE,
)
BLADE_TYPE_E: Final = FuseCurve(
    name="blade fuse, type E (high current)",
    points=(
        (1.10, HOURS_100, math.inf),
        (1.35, 60.0, 1800.0),
        (2.00, 2.0, 60.0),
        (3.50, 0.2, 7.0),
        (6.00, 0.04, 1.0),
    ),
    source=_SOURCE,
    confidence="Low at every point but 1.10 times In: do not rest a decision on it.",
)


def operating_band(ratio: ArrayLike, curve: FuseCurve) -> tuple[Array, Array]:
    """Return the least and the most time that a fuse takes to open.

    Between two rated points each bound is a straight line on log-log axes.

    Parameters
    ----------
    ratio : array_like, shape S
        Current over rated current, zero or above [-]
    curve : FuseCurve
        Rated points of the fuse type [-, s, s]

    Returns
    -------
    least : ndarray, shape S
        No such fuse opens sooner [s]
    most : ndarray, shape S
        Every such fuse has opened by then; infinite where it may never open [s]

    Raises
    ------
    DomainError
        The ratio is negative or infinite.

    Notes
    -----
    Below the first rated point: its least time, and infinity. Beyond the last
    one: zero, and its most time, because the standard says no more. NaN in
    gives NaN out.

    Sources
    -------
    The curve's own, in `curve.source`.

    Examples
    --------
    >>> least, most = operating_band(2.0, BLADE_TYPE_C)
    >>> print(f"{least:.2f} to {most:.0f} s")
    0.15 to 5 s

    """
    r = not_below_zero("ratio", ratio, "", "Per cent? Divide by 100.")
    rated, least, most = (np.array(column) for column in zip(*curve.points, strict=True))
    # A zero current has no logarithm; anything below the first point is treated alike.
    log_r = np.log(np.maximum(r, rated[0]))
    low = np.exp(np.interp(log_r, np.log(rated), np.log(least)))
    low = np.where(r > rated[-1], 0.0, low)
    closes = np.isfinite(most)
    high = np.full(r.shape, np.inf)
    if closes.any():
        bounded = np.exp(np.interp(log_r, np.log(rated[closes]), np.log(most[closes])))
        high = np.where(r >= rated[closes][0], bounded, np.inf)
    unknown = np.isnan(r)
    return flat(np.where(unknown, np.nan, low)), flat(np.where(unknown, np.nan, high))
