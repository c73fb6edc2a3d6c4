"""The parameters that a recording can tell of, and how a vector of them becomes a vehicle.

Leaks are conductances, because they act in a straight line; what scales a vehicle is told as a
logarithm, so that no number of the vector makes a vehicle impossible. What is known beforehand of
the geometry is a prior, not a constant: that is how its spread reaches the result.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sagtrace.twin.faults import CornerFault, FaultParameters, TimedFault
from sagtrace.twin.identify.solve import Prior
from sagtrace.twin.parameters import VehicleParameters

__all__ = ["Spreads", "Unknowns"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Spreads:
    """How well the assumed vehicle is known: one standard deviation, relative unless stated."""

    area: float = 0.2
    volume: float = 0.22
    lever: float = 0.11
    load: float = 0.24  # of the whole vehicle
    axles: float = 0.1  # of one axle's load beside that
    pressure: float | None = None  # of load over area, where that is what is known
    sides: float = 0.08  # between the loads of one axle's two sides
    heat: float = 0.4
    roll: float = 0.3  # stiffness between the corners
    tilt: float = 0.01  # [m] of a corner's height at the start, where one sensor serves two
    offset: float = 0.03  # [m] of a height signal
    gain: float = 0.05
    warming: float = 2.0 / 3600.0  # [K/s] of the air, where nobody recorded it
    pump: float = 0.7


@dataclass(frozen=True, slots=True, kw_only=True)
class Unknowns:
    """Names, prior and meaning of the vector that is fitted."""

    names: tuple[str, ...]
    prior: Prior
    base: VehicleParameters
    spreads: Spreads

    @classmethod
    def of(
        cls,
        base: VehicleParameters,
        spreads: Spreads,
        *,
        period: float,
        taped: frozenset[str],
        air: bool,
    ) -> Unknowns:
        """Return the unknowns of a recording with this sampling period [s].

        `taped`: the corners whose heights were taped too, so that their sensors' own errors can
        be told. `air`: the air's temperature was recorded.
        """
        rows: list[tuple[str, float, float, float]] = []  # name, std, step, low
        rows += [(f"leak.{s.corner}", 3e-10, 2e-12, 0.0) for s in base.springs]
        rows.append(("pump", spreads.pump, 0.02, -np.inf))
        rows += [
            (name, getattr(spreads, name), 0.05, -np.inf)
            for name in ("area", "volume", "lever", "heat", "roll")
        ]
        rows += _load_rows(len(base.springs), spreads)
        shared = [sensor for sensor in base.sensors if len(sensor.corners) > 1]
        rows += [
            (f"start.{corner}", spreads.tilt, 3e-3, -np.inf)
            for sensor in shared
            for corner in sensor.corners
        ]
        rows.append(("delay", 0.5 * period, min(0.1, 0.2 * period), -np.inf))
        if not air:
            rows.append(("warming", spreads.warming, 0.5 * spreads.warming, -np.inf))
        for s in base.sensors:
            # The mean of two sides is known only where both were taped.
            if taped.issuperset(s.corners):
                rows.append((f"offset.{s.role}", spreads.offset, 1e-3, -np.inf))
                rows.append((f"gain.{s.role}", spreads.gain, 0.02, -np.inf))
        columns = [np.array(column) for column in zip(*[row[1:] for row in rows], strict=True)]
        return cls(
            names=tuple(row[0] for row in rows),
            prior=Prior(
                mean=np.zeros(len(rows)), std=columns[0], step=columns[1], low=columns[2]
            ),
            base=base,
            spreads=spreads,
        )  # fmt: skip

    def at(self, name: str) -> int:
        """Return the place of a name in the vector."""
        return self.names.index(name)

    def told(self, p: Array) -> Mapping[str, float]:
        """Return the vector by name."""
        return dict(zip(self.names, p.tolist(), strict=True))

    def vehicle(self, p: Array) -> VehicleParameters:
        """Return the vehicle that a vector stands for."""
        v, told = self.base, self.told(p)
        area, volume = np.exp(told["area"]), np.exp(told["volume"])
        springs = tuple(
            replace(
                s,
                area=s.area * area,
                area_slope=s.area_slope * area,
                volume=s.volume * volume,
                load=s.load * np.exp(load),
                heat_conductance=s.heat_conductance * np.exp(told["heat"]),
            )
            for s, load in zip(v.springs, self.load_rows() @ p, strict=True)
        )
        pump = replace(v.pump, swept_volume=v.pump.swept_volume * np.exp(told["pump"]))
        roll = np.exp(told["roll"])
        return replace(
            v, springs=springs, lever=v.lever * np.exp(told["lever"]), pump=pump,
            roll_stiffness=v.roll_stiffness * roll, torsion_stiffness=v.torsion_stiffness * roll,
        )  # fmt: skip

    def leaks(self, p: Array) -> TimedFault:
        """Return the leaks that a vector stands for."""
        told = self.told(p)
        corners = {
            s.corner: CornerFault(leak=max(told[f"leak.{s.corner}"], 0.0))
            for s in self.base.springs
        }
        return TimedFault(name="fitted", change=FaultParameters(corners=corners))

    def load_rows(self) -> Array:
        """Return how the logarithm of each corner's load depends on the vector.

        Air runs between two springs as the root of a small difference, so a derivative by one
        corner's load alone says nothing of all corners together; hence their mean and differences.
        """
        n = len(self.base.springs)
        rows = np.zeros((n, len(self.names)))
        rows[:, self.at("load")] = 1.0
        for i in range(n):
            rows[i, self.at(f"sides.{i // 2}")] = 0.5 if i % 2 == 0 else -0.5
            if n > 2:
                rows[i, self.at("axles")] = 0.5 if i < 2 else -0.5
        return rows

    def ties(self, p: Array) -> Array:
        """Return what is known of several unknowns together, in standard deviations from it."""
        if self.spreads.pressure is None:
            return np.empty(0)
        return np.asarray((self.load_rows() @ p - p[self.at("area")]) / self.spreads.pressure)

    def pressures(self, draws: Array) -> Array:
        """Return the absolute pressure in each spring for rows of vectors, (rows, corners)."""
        full = np.array([spring.load / spring.area for spring in self.base.springs])
        ratio = draws @ self.load_rows().T - draws[:, [self.at("area")]]
        return np.asarray(full * np.exp(ratio) + self.base.surroundings.barometer)

    def places(self, names: Sequence[str]) -> list[int]:
        """Return the places of several names."""
        return [self.at(name) for name in names]


def _load_rows(n: int, spreads: Spreads) -> list[tuple[str, float, float, float]]:
    """Return the unknowns of the loads: their mean, and differences of axles and sides."""
    own = spreads.axles**2 / (n // 2) if n > 2 else 0.0  # of a single axle, `load` says it all
    mean = np.sqrt(spreads.load**2 + own + spreads.sides**2 / (2 * n))
    rows = [("load", float(mean), 0.03, -np.inf)]
    if n > 2:
        axles = np.sqrt(2.0 * spreads.axles**2 + 0.5 * spreads.sides**2)
        rows.append(("axles", float(axles), 0.01, -np.inf))
    return rows + [(f"sides.{k}", spreads.sides, 0.01, -np.inf) for k in range(n // 2)]
