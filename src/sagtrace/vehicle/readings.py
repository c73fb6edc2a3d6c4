"""One number somebody read off an instrument, in SI with its spread."""

from __future__ import annotations

import math
from dataclasses import dataclass

from sagtrace.errors import DomainError, InputError

__all__ = ["Reading"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """One number somebody read off an instrument.

    A reading never changes. A correction is a new reading that names the old one in
    `supersedes`, so that the job keeps both.
    """

    name: str  # which number of the check, e.g. "height-start"
    kind: str  # a quantity kind of units.KINDS
    value: float  # SI unit of the kind
    std: float  # one standard deviation, same unit
    resolution: float  # of the instrument as read, same unit
    text: str  # as typed
    instrument: str = ""
    taken_at: str = ""  # RFC 3339
    supersedes: str = ""

    def __post_init__(self) -> None:
        if not math.isfinite(self.value):
            raise InputError(f"{self.name}: value is {self.value}; leave the reading out instead.")
        if not self.std > 0.0:
            raise DomainError(
                f"{self.name}, std", self.std, "", "above zero", "No instrument is exact."
            )
