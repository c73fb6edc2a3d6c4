"""What shall be simulated, and the port to what knows vehicles and faults.

A `FaultBook` stands between the use case and the place where it is told how a fault of the
knowledge changes a virtual vehicle.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Protocol

from sagtrace.errors import DomainError
from sagtrace.twin.faults import TimedFault
from sagtrace.twin.parameters import VehicleParameters
from sagtrace.twin.script import Script
from sagtrace.vehicle.layouts import Layout

if TYPE_CHECKING:  # because it brings the compiler, which takes longer than most commands do
    from sagtrace.twin.simulate import State

__all__ = ["check_seed", "FaultBook", "Plan", "Scene", "WantedFault"]

MOST_SEED = 2**32 - 1  # [-] chosen: four bytes, enough to never run out


@dataclass(frozen=True, slots=True, kw_only=True)
class WantedFault:
    """A fault of the knowledge that shall be put in."""

    fault: str  # with its corner, e.g. spring.fold-leak@left
    state: str
    size: float = 1.0  # [-] of the state's usual number
    onset: float = 0.0  # [s]


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """What shall be simulated."""

    layout: str
    script: Script
    title: str = ""
    seed: int = 0
    facts: Mapping[str, str] = field(default_factory=dict)  # as typed
    faults: tuple[WantedFault, ...] = ()

    def __post_init__(self) -> None:
        check_seed(self.seed)


def check_seed(seed: int) -> None:
    """Refuse a seed that not every generator of noise takes."""
    if not 0 <= seed <= MOST_SEED:
        raise DomainError("seed", seed, "", f"from 0 to {MOST_SEED}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """A vehicle with its faults, in a script with what they add to it."""

    vehicle: VehicleParameters
    script: Script
    faults: tuple[TimedFault, ...] = ()
    start: State | None = None  # level, rested and cleared if nothing is said


class FaultBook(Protocol):
    """What knows the virtual vehicles and how faults are put into them."""

    def vehicle(self, layout: Layout, facts: Mapping[str, float]) -> VehicleParameters:
        """Return the vehicle of a layout; `facts` in SI replace what is assumed of it."""

    def put_in(
        self, vehicle: VehicleParameters, script: Script, wanted: Sequence[WantedFault]
    ) -> Scene:
        """Return the vehicle and the script with these faults.

        Raises InputError with the reason for a fault that cannot be put in.
        """
