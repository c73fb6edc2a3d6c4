"""What is put into the plant for a condition that no fault of the plant brings about.

Some faults of the knowledge are no change of the plant ("something not on this list"). What they
bring about often is: a leak, a weak pump, a lost volt. So the condition gets a size drawn from the
knowledge's own spread of its state, and a change of the plant that makes it so.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from types import MappingProxyType

from sagtrace.physics.constants import P_ATM, R_AIR, RHO_ANR, T_20C
from sagtrace.twin.bay.runs import Runs
from sagtrace.twin.faults import CornerFault, FaultParameters, SensorFault, TimedFault
from sagtrace.twin.parameters import VehicleParameters

__all__ = ["stand_in", "STAND_INS"]

# Vehicle, corner, state and size (in SI; zero where the node has no number) to a change.
Make = Callable[[VehicleParameters, str, str, float], FaultParameters]

HALVINGS = 16  # [-] chosen: of six decades, so good to a thousandth
LARGEST_RING = 1e-7  # [m^3/(s Pa)] chosen: such a pump gives nothing
BENT = 0.035  # [m] the knowledge's centre for a steady but wrong height signal


def _conductance(leak: float, pressure: float) -> float:
    """Return the choked conductance that loses so much at 20 °C and 101.325 kPa [m^3/(s Pa)]."""
    return leak * P_ATM / (R_AIR * T_20C) / (RHO_ANR * pressure)


def _spring_leak(v: VehicleParameters, corner: str, state: str, size: float) -> FaultParameters:
    spring = next(x for x in v.springs if x.corner == corner)
    p = v.surroundings.barometer + spring.load / spring.area
    return FaultParameters(corners={corner: CornerFault(leak=_conductance(size, p))})


def _line_leak(v: VehicleParameters, corner: str, state: str, size: float) -> FaultParameters:
    return FaultParameters(block_leak=_conductance(size, v.surroundings.barometer + 8e5))


def _weak_pump(v: VehicleParameters, corner: str, state: str, size: float) -> FaultParameters:
    sound = Runs(parameters=v)
    p, low, high = sound.bench.highest, 1e-13, LARGEST_RING
    wanted = size * sound.working(p).flow
    for _ in range(HALVINGS):
        middle = (low * high) ** 0.5
        fault = TimedFault(name="pump", change=FaultParameters(ring_leak=middle))
        if Runs(parameters=v, faults=(fault,)).working(p).flow > wanted:
            low = middle
        else:
            high = middle
    return FaultParameters(ring_leak=high)


def _low_supply(v: VehicleParameters, corner: str, state: str, size: float) -> FaultParameters:
    usual = Runs(parameters=v).working(6e5, support=False)
    return FaultParameters(battery=max((usual.battery - size) / usual.current, 0.0))


def _poor_feed(v: VehicleParameters, corner: str, state: str, size: float) -> FaultParameters:
    if state == "open":
        return FaultParameters(fuse_blown=True)
    usual = Runs(parameters=v)
    lost = usual.bench.joints
    return FaultParameters(feed=max(size / usual.working(6e5).current - lost, 0.0))


def _signal(v: VehicleParameters, corner: str, state: str, size: float) -> FaultParameters:
    role = next(x.role for x in v.sensors if not corner or corner in x.corners)
    change = SensorFault(offset=BENT) if state == "offset" else SensorFault(open_circuit=True)
    return FaultParameters(sensors={role: change})


STAND_INS: Mapping[str, Make] = MappingProxyType(
    {
        "air.escape": _spring_leak,
        "air.supply-line": _line_leak,
        "command": lambda v, c, state, size: FaultParameters(no_command=True),
        "feed.path": _poor_feed,
        "height.signal": _signal,
        "height.signals": _signal,
        "path": lambda v, c, state, size: FaultParameters(
            corners={c: CornerFault(valve_stuck_closed=True)}
        ),
        "pump.delivery": _weak_pump,
        "supply": _low_supply,
    }
)


def stand_in(
    vehicle: VehicleParameters, node: str, corner: str, state: str, size: float
) -> TimedFault | None:
    """Return a change of the plant that brings a condition about, if there is one."""
    make = STAND_INS.get(node)
    if make is None:
        return None
    return TimedFault(name=f"{node}: {state}", change=make(vehicle, corner, state, size))
