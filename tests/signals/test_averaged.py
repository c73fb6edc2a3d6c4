"""A recording at a lower rate keeps its means, its commands and its holes."""

from __future__ import annotations

import numpy as np

from sagtrace.signals.averaged import averaged
from sagtrace.signals.trace import Trace


def test_a_short_recording_stays_as_it_is() -> None:
    trace = Trace(time=np.arange(10.0), channels={"ambient": np.full(10, 280.0)})
    assert averaged(trace, 10) is trace


def test_means_leave_out_what_is_missing_and_commands_stay_commands() -> None:
    nan = np.nan
    height = np.array([0.1, nan, 0.3, nan, nan, nan, 0.4, 0.5, 0.6, 0.7])
    pump = np.array([0.0, 0, 0, 0, 1, 1, 1, 1, 1, 0])
    trace = Trace(time=np.arange(10.0), channels={"height.rear": height, "pump.command": pump})
    found = averaged(trace, 4)  # three to one; the tenth is dropped
    np.testing.assert_allclose(found.time, [1.0, 4.0, 7.0])
    np.testing.assert_allclose(found.channels["height.rear"], [0.2, nan, 0.5])
    np.testing.assert_array_equal(found.channels["pump.command"], [0.0, 1.0, 1.0])
