"""Which further reading would tell most, worked out before anybody takes it.

Every candidate is a number that depends on the unknowns in a known way. What it would leave of
the spread of a result follows from the covariance of the fit, without knowing what it will read.
Assumes the straight model at the fit.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sagtrace.twin.identify.unknowns import Unknowns

__all__ = ["best_reading", "Reading", "readings_of"]

Array = NDArray[np.float64]

TAPE = 2.0e-3  # [m] chosen: of the difference of two taped heights at one place
GAUGE = 0.03  # [-] chosen: of a pressure gauge's reading
MANUAL = 0.02  # [-] chosen: of a value from the workshop manual
WORTH = 0.75  # [-] chosen: a reading that leaves more of the spread than this is not worth naming


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """Something to measure: what to do, and how what it shows depends on the unknowns."""

    text: str  # after "to narrow it, "
    slopes: Array  # shape (readings, unknowns)
    std: float  # of each


def readings_of(unknowns: Unknowns, sinks: Mapping[str, Array]) -> tuple[Reading, ...]:
    """Return the candidates; `sinks`: how each corner's change of height depends on them."""
    n = len(unknowns.names)
    found = []
    for sensor in unknowns.base.sensors:
        if len(sensor.corners) == 2:
            one, other = sensor.corners
            found.append(
                Reading(
                    text=f"tape the height at {one} and {other} at the beginning and at the end",
                    slopes=np.array([sinks[one], sinks[other]]),
                    std=TAPE,
                )
            )
    pressure = unknowns.load_rows()
    pressure[:, unknowns.at("area")] = -1.0
    found.append(
        Reading(text="measure the pressure in the springs as parked", slopes=pressure, std=GAUGE)
    )
    for name, text in (
        ("area", "type the effective area of the springs from the workshop manual"),
        ("lever", "type the lever ratio of the springs from the workshop manual"),
    ):
        row = np.zeros((1, n))
        row[0, unknowns.at(name)] = 1.0
        found.append(Reading(text=text, slopes=row, std=MANUAL))
    return tuple(found)


def best_reading(
    covariance: Array, result: Array, readings: tuple[Reading, ...]
) -> tuple[Reading, float] | None:
    """Return the reading that leaves least of a result's spread, and the share that it leaves.

    `result` says how the result depends on the unknowns. None if no reading is worth its trouble.
    """
    before = float(result @ covariance @ result)
    if before <= 0.0:
        return None
    left = []
    for reading in readings:
        gain = covariance @ reading.slopes.T
        inner = reading.slopes @ gain + np.eye(len(reading.slopes)) * reading.std**2
        after = before - float(result @ gain @ np.linalg.solve(inner, gain.T @ result))
        left.append((max(after, 0.0) / before) ** 0.5)
    best = int(np.argmin(left))
    return (readings[best], left[best]) if left[best] < WORTH else None
