"""What a vehicle's numbers say without a run: conductances, resistances, leaks.

Pressures are absolute, leaks in m^3/s of air at 20 °C and 101.325 kPa, as the knowledge tells
them. Leak flows are those of the plant (ISO 6358) at the springs' usual load.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from sagtrace.physics.airflow import iso6358_mass_flow
from sagtrace.physics.constants import P_ATM, R_AIR, T_20C
from sagtrace.twin import _slots as s
from sagtrace.twin.controller import M_BUDGET, M_HOT
from sagtrace.twin.faults import TimedFault
from sagtrace.twin.parameters import VehicleParameters
from sagtrace.twin.simulate import State

__all__ = ["Bench", "LINE_TEST", "paused", "standard_volume"]

Array = NDArray[np.float64]

LINE_TEST = 8e5  # [Pa] gauge: what the steps of the line tests ask for
GRID = 400  # [-] chosen: pressures tried for the gallery at rest; good to a hundredth of a bar
SEAT_FAULT = "valve.leak-by"  # the knowledge's fault, by which a change of the plant is named
OPEN_JOINT = 10.0  # [ohm] chosen: a pump behind this does not turn


def standard_volume(mass_flow: float) -> float:
    """Return a mass flow of air [kg/s] as m^3/s at 20 °C and 101.325 kPa."""
    return mass_flow * R_AIR * T_20C / P_ATM


def paused(state: State) -> bool:
    """Return whether the control unit holds the pump off to let it cool."""
    return bool(state.memory[M_HOT] > 0.0 or state.memory[M_BUDGET] > 0.0)


@dataclass(frozen=True, kw_only=True)
class Bench:
    """A vehicle with its faults, as numbers."""

    parameters: VehicleParameters
    faults: Sequence[TimedFault] = ()

    @cached_property
    def packed(self) -> s.Packed:
        """The plant's own tables."""
        return s.pack(self.parameters, self.faults)

    def number(self, slot: int) -> float:
        """Return a number of the whole vehicle."""
        return float(self.packed.wide[slot])

    def of_corner(self, corner: str) -> Array:
        """Return the numbers of one spring with its valve."""
        row: Array = self.packed.springs[self.parameters.corners.index(corner)]
        return row

    def sensor_of(self, corner: str) -> Array:
        """Return the numbers of the height sensor that serves a corner."""
        at = next(i for i, x in enumerate(self.parameters.sensors) if corner in x.corners)
        row: Array = self.packed.sensors[at]
        return row

    @property
    def barometer(self) -> float:
        """The air outside [Pa]."""
        return self.parameters.surroundings.barometer

    def spring_pressure(self, corner: str) -> float:
        """Return the pressure at ride height and usual load [Pa]."""
        spring = next(x for x in self.parameters.springs if x.corner == corner)
        return self.barometer + spring.load / spring.area

    @property
    def highest(self) -> float:
        """The highest of the springs' pressures [Pa]."""
        return max(self.spring_pressure(corner) for corner in self.parameters.corners)

    # Air.

    def flow(self, p_up: float | Array, p_down: float | Array, conductance: float) -> Array:
        """Return the mass flow through a leak at 20 °C [kg/s]."""
        return np.asarray(
            iso6358_mass_flow(
                p_up,
                p_down,
                T_20C,
                conductance=conductance,
                critical_ratio=self.number(s.B_LEAK),
                laminar_ratio=self.number(s.LAMINAR),
            )
        )

    def seat(self, corner: str) -> float:
        """Return what the resting valve of a corner lets through [m^3/(s Pa)]."""
        row = self.of_corner(corner)
        return float(row[s.SEAT] + (row[s.C_OPEN] if row[s.V_STUCK_OPEN] else 0.0))

    @property
    def line_outlet(self) -> float:
        """Conductance from the resting gallery to the outside [m^3/(s Pa)]."""
        return self.number(s.L_BLOCK) + self.number(s.L_VENT) + self.number(s.L_CHECK)

    @cached_property
    def gallery_at_rest(self) -> float:
        """Pressure in the gallery once what seats let in leaves it again [Pa]."""
        if not any(self.seat(corner) for corner in self.parameters.corners):
            return self.barometer
        tried = np.linspace(self.barometer, self.highest, GRID)
        net = -self.flow(tried, self.barometer, self.line_outlet)
        for corner in self.parameters.corners:
            net = net + self.flow(self.spring_pressure(corner), tried, self.seat(corner))
        return float(np.interp(0.0, -net, tried))

    def leak(self, corner: str) -> float:
        """Return what a parked corner loses, out of the spring and past its valve [m^3/s]."""
        p = self.spring_pressure(corner)
        lost = self.flow(p, self.barometer, float(self.of_corner(corner)[s.LEAK]))
        if self.seat(corner):
            lost = lost + self.flow(p, self.gallery_at_rest, self.seat(corner))
        return standard_volume(float(lost))

    def at_outlet(self, pressure: float) -> float:
        """Return what leaves past the closed vent valve at a pressure of the gallery [m^3/s]."""
        return standard_volume(float(self.flow(pressure, self.barometer, self.number(s.L_VENT))))

    def at_rest(self) -> float:
        """Return what leaves at the outlet while nothing is commanded [m^3/s].

        A seat that lets air out at its valve's own outlet is a leak of the spring in the plant.
        """
        seats = [f for f in self.faults if f.name.startswith(SEAT_FAULT)]
        own = sum(
            float(self.flow(self.spring_pressure(c), self.barometer, f.severity * at.leak))
            for f in seats
            for c, at in f.change.corners.items()
        )
        return standard_volume(own) + self.at_outlet(self.gallery_at_rest)

    def line_leak(self) -> float:
        """Return what the closed supply line loses under test pressure [m^3/s]."""
        p = self.barometer + LINE_TEST
        return standard_volume(float(self.flow(p, self.barometer, self.line_outlet)))

    def reservoir_leak(self) -> float:
        """Return what the full reservoir loses [m^3/s]."""
        p, c = self.parameters.control.refill_above, self.number(s.L_RES)
        return standard_volume(float(self.flow(p, self.barometer, c)))

    def opens(self, corner: str) -> bool:
        """Return whether a corner's valve lets air in when commanded."""
        row, usual = self.of_corner(corner), Bench(parameters=self.parameters).of_corner(corner)
        moves = row[s.V_STUCK_OPEN] or not (row[s.V_STUCK_CLOSED] or row[s.V_COIL])
        # chosen: a line that passes less than a tenth of its usual flow counts as shut
        return bool(moves) and bool(row[s.C_OPEN] > 0.1 * usual[s.C_OPEN])

    # Electric loop.

    @property
    def fed(self) -> bool:
        """Whether fuse and relay would let current through if commanded."""
        whole = self.number(s.BLOWN) == 0.0 and self.number(s.LOOP_OPEN) == 0.0
        whole = whole and self.joints < OPEN_JOINT
        return whole and (self.number(s.COIL_OPEN) == 0.0 or self.number(s.STUCK_ON) > 0.0)

    @property
    def obeys(self) -> bool:
        """Whether the pump relay closes when the tool commands it."""
        silent = self.packed.control[s.K_NO_COMMAND] > 0.0 or self.number(s.COIL_OPEN) > 0.0
        return not silent or self.number(s.STUCK_ON) > 0.0

    def is_open(self, *joints: str) -> bool:
        """Return whether one of these is an open circuit: relay, connector, feed or ground."""
        return any(getattr(f.change, f"{joint}_open") for f in self.faults for joint in joints)

    @property
    def joints(self) -> float:
        """Resistance of feed and ground together, as far as none is open [ohm]."""
        wide = self.packed.wide
        return float(wide[s.R_FEED] + wide[s.R_RELAY] + wide[s.R_CONN] + wide[s.R_GROUND])

    @property
    def charge(self) -> float:
        """Charge of the battery with what the faults took [-]."""
        lost = sum(f.severity * f.change.battery_charge_loss for f in self.faults)
        return max(self.parameters.electrics.battery_charge - lost, 0.0)

    @property
    def rest_voltage(self) -> float:
        """Voltage of the battery at rest [V]."""
        empty, full = self.number(s.OCV_EMPTY), self.number(s.OCV_FULL)
        return empty + (full - empty) * self.charge

    # Sensing.

    def aim(self) -> float:
        """Return the stored height above ride height [m]."""
        return float(self.packed.control[s.K_TARGET])
