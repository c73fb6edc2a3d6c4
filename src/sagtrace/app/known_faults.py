"""The knowledge's faults put into the virtual vehicles that the data describes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sagtrace.app.plans import Scene, WantedFault
from sagtrace.twin.effects import begin, put_in, together
from sagtrace.twin.layouts import parameters_from_layout
from sagtrace.twin.parameters import VehicleParameters
from sagtrace.twin.script import Script
from sagtrace.twin.virtual import VirtualKnowledge
from sagtrace.vehicle.layouts import Layout

__all__ = ["KnownFaults"]


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownFaults:
    """A `FaultBook` over the data of the virtual vehicles."""

    known: VirtualKnowledge

    def vehicle(self, layout: Layout, facts: Mapping[str, float]) -> VehicleParameters:
        """Return the vehicle of a layout; `facts` in SI replace what is assumed of it."""
        return parameters_from_layout(self.known.vehicles[layout.id], layout, facts)

    def put_in(
        self, vehicle: VehicleParameters, script: Script, wanted: Sequence[WantedFault]
    ) -> Scene:
        """Return the vehicle and the script with these faults."""
        parts = [
            put_in(
                self.known.effects, vehicle, one.fault, one.state, size=one.size, onset=one.onset
            )
            for one in wanted
        ]
        faults, script = together(parts, script)
        start = begin(vehicle, script, parts)
        return Scene(vehicle=vehicle, script=script, faults=faults, start=start)
