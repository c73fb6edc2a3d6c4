"""What a fit tells, as plain records: nothing here needs the compiler."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Curve", "Fit", "Fitted", "Tape"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Tape:
    """A height taped at one wheel arch during the recording."""

    time: float  # [s] on the recording's own clock
    corner: str
    height: float  # [m] as taped
    std: float = 2e-3  # [m]


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitted:
    """One fitted quantity: median, one standard deviation, and 95 % between `low` and `high`."""

    value: float
    std: float
    low: float
    high: float
    unit: str
    told: bool  # whether the recording says more than was assumed


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """The fitted course of one height signal beside the measured one, by blocks."""

    time: Array  # [s]
    measured: Array  # [m]
    fitted: Array  # [m] with the steps that the moments of the commands explain
    std: Array  # [m] of the measured mean


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """What a recording says through the virtual vehicle."""

    leaks: Mapping[str, Fitted]  # by corner, and "axle.front", "axle.rear" or "axle": their sum
    pump: Fitted | None  # air that reaches the springs, as a share of the assumed vehicle's
    others: Mapping[str, Fitted]
    curves: Mapping[str, Curve]  # by role
    misfit: float  # [-] 1 or less where model and noise are right
    settled: bool
    runs: int
    notes: tuple[str, ...]
    wanted: str  # the further reading that would help most, as a sentence; empty if none would
