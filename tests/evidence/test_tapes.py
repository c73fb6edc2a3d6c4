"""Heights taped while a recording ran: read as typed, and the mean of both sides for one sensor."""

from __future__ import annotations

import math

import numpy as np
import pytest

from sagtrace.errors import DomainError, InputError, UnitError, UnknownIdError
from sagtrace.evidence.tapes import read_tapes, tapes_by_channel
from sagtrace.signals.trace import Trace
from sagtrace.vehicle.job import Taped
from sagtrace.vehicle.knowledge import Knowledge
from sagtrace.vehicle.layouts import Layout

TIME = np.arange(0.0, 1200.0, 0.5)
AXLE = Trace(time=TIME, channels={"height.rear": np.full(TIME.shape, 0.4)})


def tape(time: str, corner: str, height: str) -> Taped:
    return Taped(time=time, corner=corner, height=height)


def test_typed_heights_come_in_si(rear_pair: Layout) -> None:
    typed = [tape("12 min", "right", "385 mm"), tape("90 s", "left", "38 cm")]
    one, other = read_tapes(rear_pair, AXLE, typed)
    assert (one.time, one.corner) == (720.0, "right")
    assert one.height == pytest.approx(0.385)
    assert one.std == pytest.approx(2e-3)
    assert other.time == 90.0
    # Read to the centimetre, the reading is worse than the tape.
    assert other.std == pytest.approx(0.01 / math.sqrt(12.0))


@pytest.mark.parametrize(
    ("typed", "error", "said"),
    [
        (tape("12 min", "rigt", "385 mm"), UnknownIdError, "Did you mean 'right'"),
        (tape("12 bar", "right", "385 mm"), UnitError, "time of the tape"),
        (tape("12 min", "right", "385 V"), UnitError, "tape at right"),
        (tape("25 min", "right", "385 mm"), DomainError, "0.0 min to 20.0 min"),
    ],
)
def test_what_cannot_be_is_refused(
    rear_pair: Layout, typed: Taped, error: type[InputError], said: str
) -> None:
    with pytest.raises(error, match=said):
        read_tapes(rear_pair, AXLE, [typed])


def test_one_axle_sensor_is_held_against_the_mean_of_both_sides(rear_pair: Layout) -> None:
    typed = [
        tape("2 min", "left", "380 mm"),
        tape("2 min", "right", "400 mm"),
        tape("10 min", "left", "370 mm"),
    ]
    tapes = read_tapes(rear_pair, AXLE, typed)
    (mean,), (note,) = tapes_by_channel(rear_pair, AXLE, tapes)
    assert (mean.channel, mean.time) == ("height.rear", 120.0)
    assert mean.height == pytest.approx(0.390)
    assert mean.std == pytest.approx(2e-3 / math.sqrt(2.0))
    assert note.startswith("The tape at left after 10.0 min has none of the other side")


def test_a_sensor_at_the_corner_is_held_against_its_own_tape(knowledge: Knowledge) -> None:
    four = next(layout for layout in knowledge.layouts if layout.id == "four-corner")
    channels = {f"height.{c.id}": np.full(TIME.shape, 0.4) for c in four.corners}
    trace = Trace(time=TIME, channels=channels)
    tapes = read_tapes(four, trace, [tape("1 min", "rear-left", "402 mm")])
    (one,), notes = tapes_by_channel(four, trace, tapes)
    assert one.channel == "height.rear-left"
    assert one.height == pytest.approx(0.402)
    assert notes == ()
