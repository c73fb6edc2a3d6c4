"""A recording in memory: one time axis and its channels, each with a role and in SI.

Channels that were sampled at different rates share the union of their times; where one was not
measured it is NaN. Limits: a place is an axle, a side, or both; a role outside the list below has
no meaning here.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from sagtrace.errors import InputError
from sagtrace.signals.timebase import held

__all__ = ["PLACES", "ROLES", "Trace"]

Array = NDArray[np.float64]

_AXLES = ("front", "middle", "rear")
_SIDES = ("left", "right")
PLACES: tuple[str, ...] = (
    *_AXLES,
    *_SIDES,
    *(f"{axle}-{side}" for axle in _AXLES for side in _SIDES),
)
_FIXED: Mapping[str, str] = {
    "pump.command": "count",
    "pump.voltage": "voltage",
    "pump.current": "current",
    "pump.temperature": "temperature",
    "supply": "voltage",
    "vent.command": "count",
    "valve.reservoir": "count",
    "pressure.reservoir": "pressure_gauge",
    "pressure.gallery": "pressure_gauge",
    "ambient": "temperature",
    "engine": "count",
    "door": "count",
    "speed": "speed",
}
_PLACED: Mapping[str, str] = {"height": "length", "target": "length", "valve": "count"}


class _Roles(Mapping[str, str]):
    """Role -> quantity kind. A placed role such as height.rear-left is known for every place."""

    def __getitem__(self, role: str) -> str:
        if role in _FIXED:
            return _FIXED[role]
        what, _, place = role.partition(".")
        if what in _PLACED and place in PLACES:
            return _PLACED[what]
        raise KeyError(role)

    def __iter__(self) -> Iterator[str]:
        yield "height.rear"  # first, because it is what most recordings are read for
        yield from _FIXED
        for what in _PLACED:
            yield from (r for p in PLACES if (r := f"{what}.{p}") != "height.rear")

    def __len__(self) -> int:
        return len(_FIXED) + len(_PLACED) * len(PLACES)


ROLES: Mapping[str, str] = _Roles()


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

    @cached_property
    def usual_step(self) -> float:
        """Median time between samples [s]."""
        return float(np.median(np.diff(self.time)))

    @cached_property
    def rows(self) -> NDArray[np.int64]:
        """The place of every sample; one array for all channels that miss none."""
        return np.arange(self.time.size)

    def held(self, role: str) -> Array:
        """Return a command at every time of the axis, holding from its sample to its next.

        A sample that is missing at the channel's own rate stays NaN.
        """
        return held(self.time, self.channels[role])
