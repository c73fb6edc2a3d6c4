"""A recording in memory: one time axis and its channels, each with a role and in SI."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sagtrace.errors import InputError

__all__ = ["ROLES", "Trace"]

Array = NDArray[np.float64]

ROLES: Mapping[str, str] = {
    "height.rear": "length",
    "height.front-left": "length",
    "height.front-right": "length",
    "height.rear-left": "length",
    "height.rear-right": "length",
    "pump.command": "count",
    "pump.voltage": "voltage",
    "pump.current": "current",
    "supply": "voltage",
    "vent.command": "count",
    "ambient": "temperature",
    "engine": "count",
}


@dataclass(frozen=True, kw_only=True)
class Trace:
    """A recording. `time` rises strictly [s]; channels are in SI by role (see `ROLES`).

    A missing sample is NaN. A command is 0 or 1.
    """

    time: Array
    channels: Mapping[str, Array]

    def __post_init__(self) -> None:
        if self.time.ndim != 1 or len(self.time) < 2 or not np.all(np.diff(self.time) > 0.0):
            raise InputError("the time of a recording must rise from sample to sample.")
        for role, values in self.channels.items():
            if role not in ROLES:
                raise InputError(f"there is no role {role!r}; known: {', '.join(ROLES)}.")
            if values.shape != self.time.shape:
                raise InputError(f"{role} has {values.size} samples and the time {self.time.size}.")
