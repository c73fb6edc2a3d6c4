"""Everything that the data files say, in one record; `audit` checks it against itself."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from sagtrace.vehicle.checks import Access, Caution, Check
from sagtrace.vehicle.layouts import Component, Layout, Source
from sagtrace.vehicle.nodes import Condition, Fault, Node
from sagtrace.vehicle.repairs import Proof, Repair, Tariff

__all__ = ["Knowledge"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Knowledge:
    """The knowledge files of one edition."""

    edition: str
    digest: str  # of the files' content, so that a result can be reproduced
    sources: tuple[Source, ...]
    components: tuple[Component, ...]
    layouts: tuple[Layout, ...]
    faults: tuple[Fault, ...]
    conditions: tuple[Condition, ...]
    cautions: tuple[Caution, ...]
    access: tuple[Access, ...]
    checks: tuple[Check, ...]
    repairs: tuple[Repair, ...]
    proofs: tuple[Proof, ...]
    tariff: Tariff

    def nodes(self) -> Iterator[Node]:
        """Faults, then conditions."""
        yield from self.faults
        yield from self.conditions
