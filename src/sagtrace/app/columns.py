"""What a virtual run is written as: named columns with the unit that people read.

The recording holds what a recorder would, under the names that `signals.trace.ROLES` knows where
it knows them; the truth is what no recorder sees. Heights are at the wheel arch from the ground,
pressures are absolute, leaks are at 20 °C and 1 atm. Values stay in SI here.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from sagtrace.app.virtual import VirtualRun, VirtualWeeks
from sagtrace.errors import DomainError
from sagtrace.physics.constants import M_AIR
from sagtrace.physics.gas import REF_20C_1ATM, molar_flow_to_standard

__all__ = ["Column", "recording_columns", "truth_columns", "week_columns"]

Array: TypeAlias = NDArray[np.float64]

SWITCHES = ("pump.command", "vent.command", "engine", "valve")
UNITS = {
    "height": "mm", "pressure": "kPa", "pump.current": "A", "pump.voltage": "V", "supply": "V",
    "ambient": "°C", "pump.temperature": "°C",
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One column of a file."""

    name: str
    unit: str  # a shown symbol of `units`; empty for a whole number without one
    values: Array  # SI

    @property
    def title(self) -> str:
        """What stands above it.

        >>> Column(name="height.rear", unit="mm", values=np.zeros(1)).title
        'height.rear [mm]'
        """
        shown = "kPa abs" if self.unit == "kPa" else self.unit or "-"
        return f"{self.name} [{shown}]"


def recording_columns(run: VirtualRun) -> tuple[Column, ...]:
    """Return the time and every channel that a recorder would have."""
    channels = [
        Column(name=role, unit=_unit(role), values=values)
        for role, values in run.result.channels.items()
    ]
    return (Column(name="time", unit="s", values=run.result.time), *channels)


def _unit(role: str) -> str:
    kind = role.partition(".")[0]
    if role in SWITCHES or kind in SWITCHES:
        return ""
    return UNITS[role] if role in UNITS else UNITS[kind]


def truth_columns(run: VirtualRun) -> tuple[Column, ...]:
    """Return the time and everything that is true of the vehicle. The run must hold its truth."""
    truth = run.result.truth
    if truth is None:
        raise DomainError("truth", 0.0, "", "kept", "Simulate with truth=True.")
    level = run.scene.vehicle.level
    tables: tuple[tuple[str, str, Mapping[str, Array]], ...] = (
        ("height", "mm", {corner: level + h for corner, h in truth.heights.items()}),
        ("mass", "g", truth.masses),
        ("temperature", "°C", truth.temperatures),
        ("pressure", "kPa", truth.pressures),
        ("leak", "mL/min", {place: _free_air(flow) for place, flow in truth.leaks.items()}),
        ("valve", "", truth.valves),
    )
    columns = [
        Column(name=f"{what}.{place}", unit=unit, values=values)
        for what, unit, table in tables
        for place, values in table.items()
    ]
    return (
        Column(name="time", unit="s", values=run.result.time),
        *columns,
        Column(name="delivery.pump", unit="L/min", values=_free_air(truth.delivery)),
        Column(name="water.dryer", unit="g", values=truth.water),
        Column(name="charge.battery", unit="%", values=truth.charge),
    )


def _free_air(flow: Array) -> Array:
    """Return a mass flow [kg/s] as a leak tester tells it [m^3/s at 20 °C and 1 atm]."""
    return np.asarray(molar_flow_to_standard(flow / M_AIR, REF_20C_1ATM))


def week_columns(run: VirtualWeeks) -> tuple[Column, ...]:
    """Return a row for each week; times and temperatures are those of one of its days."""
    weeks, healthy = run.weeks, run.scene.vehicle.pump.ring_conductance
    rows: tuple[tuple[str, str, list[float]], ...] = (
        ("week", "", [week.number + 1 for week in weeks]),
        ("pump.running", "s", [week.running for week in weeks]),
        ("pump.starts", "", [week.starts for week in weeks]),
        ("hottest.head", "°C", [week.hottest_head for week in weeks]),
        ("hottest.connector", "°C", [week.hottest_connector for week in weeks]),
        ("lowest.corner", "mm", [week.lowest for week in weeks]),
        ("wear.ring", "%", [week.wear.ring / healthy for week in weeks]),
        ("wear.brushes", "mΩ", [week.wear.brushes for week in weeks]),
        ("wear.connector", "mΩ", [week.wear.connector for week in weeks]),
        ("wear.contacts", "mΩ", [week.wear.contacts for week in weeks]),
        ("pump.delivery", "L/min", _free_air(np.array([week.delivery for week in weeks])).tolist()),
    )
    return tuple(Column(name=n, unit=u, values=np.array(v, dtype=float)) for n, u, v in rows)
