"""The causal story as stations and arrows with the numbers that carry it, ready to be drawn.

One strand is the longest way through the story; links beside it are strands of two. A link that
the physics does not allow is kept and said: the cause does not explain the effect.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from sagtrace.diagnosis.story import Link
from sagtrace.evidence.findings import Finding
from sagtrace.physics.circuit import joint_power
from sagtrace.physics.estimate import propagate
from sagtrace.report.assessment import Assessment, Judged
from sagtrace.report.parts import SHOWN, in_order, leading_beliefs
from sagtrace.report.tree import Chain
from sagtrace.report.words import percent, sentence

__all__ = ["Arrow", "Kind", "Station", "Strand", "strand_of", "strands"]

_MILLI = 1e-3  # exact

Kind = Literal["sure", "doubtful", "no"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Station:
    """One fault of the story: how probable, and the number that was measured of it."""

    title: str
    details: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Arrow:
    """How one station led to the next; `kind` "no": it does not explain it."""

    how: str
    numbers: tuple[str, ...] = ()
    kind: Kind = "sure"


@dataclass(frozen=True, slots=True, kw_only=True)
class Strand:
    """Stations with the arrows between them: one arrow fewer than stations."""

    stations: tuple[Station, ...]
    arrows: tuple[Arrow, ...]

    def sentences(self) -> tuple[str, ...]:
        """Return the same in words, an arrow a sentence."""
        told = []
        for before, arrow, after in zip(
            self.stations, self.arrows, self.stations[1:], strict=False
        ):
            says = {"sure": "led to", "doubtful": "may have led to", "no": "does not explain"}
            text = f"{before.title} {says[arrow.kind]} {_inside(after.title)}"
            more = [
                part for part in (arrow.how if arrow.kind != "no" else "", *arrow.numbers) if part
            ]
            told.append(sentence(f"{text}: {'; '.join(more)}" if more else text))
        return tuple(told)


def strands(judged: Judged | Assessment) -> tuple[Strand, ...]:
    """Return the story, the longest way first, then what stands beside it."""
    found = {b.fault for b in leading_beliefs(judged)}
    links = [k for k in judged.story if k.counts and {k.cause, k.effect} <= found]
    way = in_order(links)
    beside = [(k,) for k in judged.story if k not in way]
    return tuple(_strand(judged, tuple(part)) for part in (way, *beside) if part)


def strand_of(chain: Chain) -> Strand:
    """Return a paper's chain as a strand."""
    return Strand(
        stations=tuple(
            Station(title=b.title, details=(b.detail,) if b.detail else ()) for b in chain.boxes
        ),
        arrows=tuple(
            Arrow(how=b.how, kind="doubtful" if b.doubtful else "sure") for b in chain.boxes[1:]
        ),
    )


def _strand(judged: Judged | Assessment, links: tuple[Link, ...]) -> Strand:
    faults = (links[0].cause, *(link.effect for link in links))
    return Strand(
        stations=tuple(_station(judged, fault) for fault in faults),
        arrows=tuple(_arrow(link) for link in links),
    )


def _station(judged: Judged | Assessment, fault: str) -> Station:
    verdict = judged.verdict
    details = [f"present: {percent(verdict.belief(fault).probability)}"]
    findings = {f.id: f for f in verdict.findings if f.estimate is not None}
    measured = [m for m in verdict.why(fault) if m.finding in findings and m.log_odds > 0]
    if measured:
        finding = findings[measured[0].finding]
        details.append(finding.text.partition(";")[0])
        details += _heat(judged, finding)
    name = judged.system.faults[fault].name
    return Station(title=sentence(name).rstrip("."), details=tuple(details))


def _heat(judged: Judged | Assessment, finding: Finding) -> list[str]:
    """Return the heat in a measured joint at the pump's measured current, if both are known."""
    joint = finding.estimate
    currents = [
        f.estimate for f in judged.verdict.findings if f.target == "pump.current" and f.estimate
    ]
    if joint is None or joint.unit != "mΩ" or not currents:
        return []
    current = min(currents, key=lambda e: e.std)

    def heat(x: np.ndarray) -> float:
        return float(joint_power(x[0] * x[1], x[1]))

    variances = [(joint.std * _MILLI) ** 2, current.std**2]
    watts, std = propagate(heat, [joint.value * _MILLI, current.value], variances)
    return [f"{watts:.2g} ± {std:.1g} W of heat at {current.value:.3g} A"]


def _arrow(link: Link) -> Arrow:
    numbers = [link.support.text] if link.support else []
    if not link.counts:
        if not numbers:
            numbers = [f"at work: {percent(link.share)}"]
        return Arrow(how=link.text, numbers=tuple(numbers), kind="no")
    numbers.append(f"at work: {percent(link.share)}")
    return Arrow(
        how=link.text,
        numbers=tuple(numbers),
        kind="sure" if link.share >= SHOWN else "doubtful",
    )


def _inside(title: str) -> str:
    return title if title[1:2].isupper() else title[:1].lower() + title[1:]
