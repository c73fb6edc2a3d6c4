"""What leaves through the leaks: the plant's own ledger and the leak tester's unit agree."""

from __future__ import annotations

import numpy as np
import pytest

from sagtrace.bootstrap import fault_book, open_workshop
from sagtrace.errors import DomainError
from sagtrace.twin.faults import CornerFault, FaultParameters, TimedFault
from sagtrace.twin.leaks import leak_flows
from sagtrace.twin.parameters import VehicleParameters
from sagtrace.twin.script import Engine, Load, Script
from sagtrace.twin.simulate import Simulation, simulate

# Dry air at 20 °C and 101.325 kPa: p/(R T), with R = 287.05 J/(kg K).
DENSITY = 101_325.0 / (287.05 * 293.15)


def vehicle(layout: str) -> VehicleParameters:
    known = {each.id: each for each in open_workshop().knowledge.layouts}
    return fault_book().vehicle(known[layout], {})


def leaks(**corners: float) -> TimedFault:
    change = FaultParameters(corners={c: CornerFault(leak=k) for c, k in corners.items()})
    return TimedFault(name="leak", change=change)


def escaped(flow: np.ndarray, run: Simulation) -> float:
    """Return the mass that a leak lost in the run [kg]."""
    return float(np.trapezoid(flow, run.time)) * DENSITY


MEANING = "mass = integral of volume flow x p/(R T) at 20 degC and 101.325 kPa"
# Samples lie on straight lines between steps, so the steps must be short; then what is left is
# that molar mass and gas constant are given to six digits.
FINE, CLOSE = 1e-10, 1e-6


@pytest.mark.arithmetic(MEANING)
def test_springs_leaks_are_what_left_the_vehicle() -> None:
    rear, faults = vehicle("rear-pair"), (leaks(left=2e-12, right=5e-13),)
    run = simulate(rear, Script(duration=900.0), faults=faults, rtol=FINE)
    flows = leak_flows(rear, faults, run)
    assert list(flows) == ["left", "right", "gallery"]
    total = sum(escaped(flow, run) for flow in flows.values())
    assert total == pytest.approx(run.balance.mass_out, rel=CLOSE)
    assert np.all(flows["gallery"] == 0.0)


@pytest.mark.arithmetic(MEANING)
def test_a_reservoirs_leak_is_what_left_the_vehicle() -> None:
    four, faults = (
        vehicle("four-corner-reservoir"),
        (TimedFault(name="leak", change=FaultParameters(reservoir_leak=3e-12)),),
    )
    run = simulate(four, Script(duration=600.0), faults=faults, rtol=FINE)
    flows = leak_flows(four, faults, run)
    assert escaped(flows["reservoir"], run) == pytest.approx(run.balance.mass_out, rel=CLOSE)
    assert [name for name, flow in flows.items() if flow.any()] == ["reservoir"]


def test_a_leak_sets_in_with_its_fault_and_adds_up() -> None:
    rear = vehicle("rear-pair")
    later = TimedFault(name="x", change=leaks(right=1e-12).change, onset=300.0, severity=2.0)
    faults = (leaks(right=5e-13), later)
    run = simulate(rear, Script(duration=400.0), faults=faults)
    flow = leak_flows(rear, faults, run)["right"]
    assert flow[3000] / flow[2999] == pytest.approx(5.0, rel=1e-4)


def test_the_non_return_valve_holds_while_the_pump_runs() -> None:
    rear = vehicle("rear-pair")
    faults = (TimedFault(name="leak", change=FaultParameters(check_valve_leak=1e-11)),)
    load = Load(at=20.0, kilograms={"left": 150.0, "right": 150.0})
    run = simulate(rear, Script(duration=120.0, events=(Engine(at=5.0, on=True), load)),
                   faults=faults, rate=10.0)  # fmt: skip
    flow = leak_flows(rear, faults, run)["gallery"]
    pumping = run.channels["pump.current"] > 0.0
    assert pumping.any()
    assert np.all(flow[pumping] == 0.0)
    assert flow[~pumping].max() > 0.0


def test_without_the_truth_there_is_nothing_to_tell() -> None:
    rear = vehicle("rear-pair")
    run = simulate(rear, Script(duration=10.0), rate=1.0, truth=False)
    with pytest.raises(DomainError, match="truth=True"):
        leak_flows(rear, (), run)
