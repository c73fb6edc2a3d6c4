"""The resistance between battery and pump, from voltages and current recorded while it runs."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from sagtrace.signals.trace import Trace

__all__ = ["feed_resistance"]

Array = NDArray[np.float64]

LIVE = 3.0  # [A] chosen: below it the pump does not run
LEAST = 5  # [-] chosen: samples
VOLTMETERS = 0.1  # [V] chosen: what two recorded voltages may be apart without a current
AMMETER = 0.05  # [-] chosen: of a recorded current
MAD_TO_STD = 1.482602218505602  # [-] exact for normal noise


def feed_resistance(trace: Trace) -> tuple[float, float] | None:
    """Return wires, relay, joints and ground together with one standard deviation [ohm].

    None if supply, pump voltage and current were not all recorded while the pump ran.
    """
    try:
        supply, pump, current = (
            trace.channels[role] for role in ("supply", "pump.voltage", "pump.current")
        )
    except KeyError:
        return None
    live = np.isfinite(supply) & np.isfinite(pump) & (np.nan_to_num(current) > LIVE)
    # The first sample of a run may be of the moment before.
    live &= np.concatenate([[False], live[:-1]])
    if np.count_nonzero(live) < LEAST:
        return None
    ohms = (supply[live] - pump[live]) / current[live]
    value = float(np.median(ohms))
    scatter = MAD_TO_STD * float(np.median(np.abs(ohms - value))) / math.sqrt(ohms.size)
    shared = VOLTMETERS / float(np.median(current[live]))
    return value, math.hypot(scatter, shared, AMMETER * value)
