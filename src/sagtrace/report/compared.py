"""A proof's number beside what was measured before the repair, on one axis with its limit."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from sagtrace.diagnosis.verdict import Verdict
from sagtrace.evidence.findings import Finding
from sagtrace.repair.proofs import DueProof
from sagtrace.report.words import between, sentence
from sagtrace.units import Reader, convert
from sagtrace.vehicle.system import System

__all__ = ["compared", "Comparison", "Measurement"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Measurement:
    """One result with its 95 % interval."""

    label: str
    when: Literal["before", "after"]
    value: float
    low: float
    high: float
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """Results of one quantity before and after a repair, and the limit between good and bad."""

    title: str
    unit: str
    limit: float
    side: Literal["at most", "at least"]
    limit_text: str  # in words
    rows: tuple[Measurement, ...]

    def as_read(self, reader: Reader) -> Comparison:
        """Return the comparison in the unit that is read; its texts are left to the caller."""
        old, new = self.unit, reader.unit(self.unit)
        if new == old:
            return self
        rows = tuple(
            replace(
                row,
                value=convert(row.value, old, new),
                low=convert(row.low, old, new),
                high=convert(row.high, old, new),
            )
            for row in self.rows
        )
        return replace(self, unit=new, limit=convert(self.limit, old, new), rows=rows)

    @property
    def text(self) -> str:
        """What there is to see, in a sentence."""
        rows = "; ".join(f"{row.label}: {row.text}" for row in self.rows)
        return f"{sentence(f'{self.title}, {self.limit_text}')} {rows}. Bars are 95 % intervals."


def compared(system: System, verdict: Verdict, due: DueProof) -> Comparison | None:
    """Return the comparison, or None if the proof has no number or nothing was measured."""
    measure = system.checks[due.proof.check].measure
    limit = due.proof.at_most if due.proof.at_most is not None else due.proof.at_least
    if measure is None or limit is None:
        return None
    quantity = system.nodes[measure.node].quantity
    assert quantity is not None  # the audit refuses a measure of a node without one
    before = [f for f in verdict.findings if f.target == measure.node and f.estimate]
    rows = [_row(f, "before") for f in before]
    if due.finding is not None and due.finding.estimate is not None:
        rows.append(_row(due.finding, "after"))
    if not rows:
        return None
    side: Literal["at most", "at least"] = (
        "at most" if due.proof.at_most is not None else "at least"
    )
    return Comparison(
        title=quantity.name,
        unit=quantity.unit,
        limit=limit,
        side=side,
        limit_text=f"limit: {side} {limit:g} {quantity.unit}",
        rows=tuple(rows),
    )


def _row(finding: Finding, when: Literal["before", "after"]) -> Measurement:
    assert finding.estimate is not None
    low, high = finding.estimate.interval()
    return Measurement(
        label=f"{when} the repair, {finding.name} [{finding.id}]",
        when=when,
        value=finding.estimate.value,
        low=low,
        high=high,
        text=between(low, high, finding.estimate.unit),
    )
