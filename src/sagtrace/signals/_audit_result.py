"""What a test of a recorded height came out with: a value beside its threshold, never a light.

A result says how far the signal is from what a sound sensor does and where; what that means for
the sensor is for evidence to weigh, all results of a channel together.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

__all__ = ["AuditKind", "AuditResult", "KINDS", "Span"]

AuditKind = Literal[
    "range",
    "dropouts",
    "noise",
    "spikes",
    "track",
    "stuck",
    "dead-band",
    "hysteresis",
    "follow",
    "rest",
    "sides",
    "drift",
    "calibration",
]
KINDS: tuple[AuditKind, ...] = get_args(AuditKind)
Span = tuple[float, float]  # [s] from, to


@dataclass(frozen=True, slots=True, kw_only=True)
class AuditResult:
    """One test of one channel. It stands out if `value` is above `threshold`."""

    kind: AuditKind
    channel: str
    value: float
    std: float
    unit: str  # SI symbol; empty for counts, shares and multiples of the noise
    threshold: float
    when: tuple[Span, ...]
    text: str
    likelihood: tuple[float, ...] = ()  # of the states of the signal; empty until weighed

    @property
    def stands_out(self) -> bool:
        """Whether a sound sensor would hardly show this."""
        return self.value > self.threshold
