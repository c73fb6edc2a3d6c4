"""Everything that the data says about virtual vehicles, in one record."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from sagtrace.twin.effects import Effects
from sagtrace.twin.parameters import VehicleParameters

__all__ = ["VirtualKnowledge"]


@dataclass(frozen=True, slots=True, kw_only=True)
class VirtualKnowledge:
    """A vehicle for every layout, and what each fault does to it."""

    digest: str  # of the files' content and of the knowledge, so that a run can be repeated
    vehicles: Mapping[str, VehicleParameters]  # by layout, with the layout's own facts
    effects: Effects
    bases: tuple[str, ...]  # the source of every number, by id
