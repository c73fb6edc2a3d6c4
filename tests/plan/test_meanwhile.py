"""While a hold waits, nothing is proposed that would spoil it."""

from __future__ import annotations

import pytest

from sagtrace.bootstrap import open_workshop
from sagtrace.plan.meanwhile import leaves_alone
from sagtrace.vehicle.system import System

HOLD = "hold.overnight@left"


@pytest.fixture(scope="module")
def system() -> System:
    return open_workshop().system("rear-pair")


# Source: common practice, as the hold's own steps and cautions say it: the vehicle stays closed on
# the same spot, on its wheels, with levelling off.
@pytest.mark.parametrize(
    ("check", "alone"),
    [
        ("story.when-low@left", True),  # asking moves nothing
        ("hold.overnight@right", True),  # the other corner in the same night
        ("height.arrival@right", True),
        ("try.lift", False),  # runs the pump and lifts the body
        ("soap.fold-normal@left", False),  # needs the vehicle on stands
        ("soap.fold-normal@right", False),  # lifting the other corner moves this one
        ("wait.pause", False),  # levels once the engine starts
    ],
)
def test_a_hold_is_left_alone(system: System, check: str, *, alone: bool) -> None:
    hold = system.checks[HOLD]
    assert leaves_alone(system, [hold], system.checks[check], ()) is alone
    assert leaves_alone(system, [], system.checks[check], ())


def test_what_must_be_undone_counts_too(system: System) -> None:
    """A vehicle that is on stands must come down for the hold, and stay down."""
    held = ("levelling-off", "on-stands")
    hold, soap = system.checks[HOLD], system.checks["soap.fold-normal@left"]
    assert not leaves_alone(system, [hold], soap, held)
