"""The classes of codes that the virtual control unit can set, and their status.

A code says what the control unit saw. Names are common words, not any maker's. The status byte
is that of ISO 14229-1, so that it decodes with `vehicle.codes.StatusByte`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from sagtrace.vehicle.codes import StatusByte

__all__ = ["CODE_CLASSES", "SetCode", "set_codes"]

CODE_CLASSES: Final = (
    "height signal out of range",
    "level not reached in time",
    "pump relay circuit open",
    "pump over temperature",
    "supply voltage low",
    "spring valve circuit open",
    "run budget used up",
    "pressure not reached",
    "reservoir valve circuit open",
    "pressure signal out of range",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class SetCode:
    """One class with its status at the end of a run, if it was ever set."""

    name: str
    status: StatusByte
    first_seen: float  # [s] when it first matured


def set_codes(status: NDArray[np.float64], first: NDArray[np.float64]) -> tuple[SetCode, ...]:
    """Return the codes whose test failed since the memory was cleared, oldest first."""
    found = [
        SetCode(name=name, status=StatusByte.from_byte(int(bits)), first_seen=float(seen))
        for name, bits, seen in zip(CODE_CLASSES, status, first, strict=True)
        if int(bits) & 0x20
    ]
    return tuple(sorted(found, key=lambda code: code.first_seen))
