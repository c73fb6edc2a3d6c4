"""Repair options for the leading fault sets: what each costs, cures, and risks.

Chances are exact for the posterior: that nothing unrepaired is present, and that nothing
brings the vehicle back within the tariff's period.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from math import prod

import numpy as np
from numpy.typing import NDArray

from sagtrace.diagnosis.faultsets import restrict
from sagtrace.diagnosis.story import Link
from sagtrace.diagnosis.verdict import Reasoner, Verdict
from sagtrace.evidence.findings import combined
from sagtrace.repair.costs import Price, price_of, repair_cost
from sagtrace.vehicle.repairs import Repair
from sagtrace.vehicle.system import System

__all__ = ["Option", "Reason", "repair_options", "repairs_for"]

Array = NDArray[np.float64]

_LEADING = 4  # chosen: fault sets that get an option of their own
_HEALTHY = 0.5  # chosen: only a vehicle that is more likely sound than not is left alone
_REASON = 0.02  # chosen: a way to come back that is less likely is not told


@dataclass(frozen=True, slots=True, kw_only=True)
class Reason:
    """One way in which the vehicle may come back."""

    fault: str
    chance: float
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Option:
    """A set of repairs with what it costs and what it is worth."""

    repairs: tuple[str, ...]
    fixes: tuple[str, ...]
    price: Price
    cure: float  # P(no part that is not repaired is at fault)
    come_back: float  # P(the vehicle comes back within the period)
    expected_total: float  # price and what come-backs are expected to cost
    reasons: tuple[Reason, ...]  # of coming back, most likely first
    recommended: bool = False


def repairs_for(
    system: System, faults: Sequence[str], held: Iterable[str]
) -> tuple[str, ...] | None:
    """Return the cheapest set of repairs that removes all the faults, or None."""
    covers = _covers(system, faults)
    held = tuple(held)
    best = min(covers, key=lambda group: price_of(system, group, held).total, default=None)
    return None if best is None else tuple(r.id for r in best)


def _covers(system: System, faults: Sequence[str]) -> list[tuple[Repair, ...]]:
    """Return the sets of repairs that remove all the faults, at most one repair a fault."""
    useful = [r for r in system.repairs.values() if set(r.fixes) & set(faults)]
    return [
        group
        for n in range(len(faults) + 1)
        for group in combinations(useful, n)
        if set(faults) <= {f for r in group for f in r.fixes}
    ]


def _lasting(system: System, faults: Sequence[str], held: tuple[str, ...]) -> tuple[str, ...]:
    """Return the set of repairs that lasts best, the cheapest of those that last alike."""
    best = max(
        _covers(system, faults),
        key=lambda group: (
            round(prod(r.holds for r in group), 3),
            -price_of(system, group, held).total,
        ),
        default=(),
    )
    return tuple(r.id for r in best)


def repair_options(
    reasoner: Reasoner, verdict: Verdict, story: Sequence[Link], held: Iterable[str]
) -> tuple[Option, ...]:
    """Return the options, the one with the lowest expected total cost first and recommended."""
    held = tuple(held)
    groups = _candidates(reasoner.system, verdict, held)
    cure, stays = _chances(reasoner, verdict, groups)
    options = [
        _option(reasoner.system, verdict, story, group, float(c), float(s), held)
        for group, c, s in zip(groups, cure, stays, strict=True)
    ]
    # Doing nothing, or only explaining, may look cheap on paper; it is no answer while a part is
    # probably at fault.
    faults = reasoner.system.faults

    def rank(o: Option) -> tuple[bool, float]:
        alone = all(faults[f].kind == "no-part" for f in o.fixes)
        return alone and o.cure < _HEALTHY, o.expected_total

    options.sort(key=rank)
    return tuple(replace(option, recommended=i == 0) for i, option in enumerate(options))


def _candidates(
    system: System, verdict: Verdict, held: tuple[str, ...]
) -> tuple[tuple[str, ...], ...]:
    """Return sets of repairs worth comparing: whole sets, their halves, and doing nothing."""
    groups: dict[tuple[str, ...], None] = {}
    wanted = [_to_repair(system, fault_set.faults) for fault_set in verdict.sets[:_LEADING]]
    leading = _to_repair(system, verdict.leading.faults)
    wanted += [(fault,) for fault in leading]
    wanted += [tuple(f for f in leading if f != fault) for fault in leading]
    open_ = [b.fault for b in verdict.not_excluded if system.faults[b.fault].kind == "part"]
    wanted += [(*leading, fault) for fault in open_[:2]]
    for faults in wanted:
        group = repairs_for(system, faults[:6], held)
        if group is not None:
            groups[tuple(sorted(group))] = None
    groups[tuple(sorted(_lasting(system, leading[:6], held)))] = None
    groups[()] = None
    return tuple(groups)


def _to_repair(system: System, faults: tuple[str, ...]) -> tuple[str, ...]:
    """Return the faults that need a part; if none does, those that need an explanation."""
    parts = tuple(f for f in faults if system.faults[f].kind != "no-part")
    return parts or faults


def _chances(
    reasoner: Reasoner, verdict: Verdict, groups: Sequence[tuple[str, ...]]
) -> tuple[Array, Array]:
    """Return P(nothing unrepaired is present) and P(no come-back) of each group.

    The second is the expectation of a product over faults, which is evidence of a kind: each
    present fault "passes" with the chance that it does not bring the vehicle back.
    """
    system, n = reasoner.system, len(groups)
    evidence = combined(verdict.findings)
    given = {name: np.repeat(v[None], 2 * n, 0) for name, v in evidence.items()}
    for fault, size in reasoner.sizes.items():
        rows = given.setdefault(fault, np.ones((2 * n, size)))
        for g, group in enumerate(groups):
            holds = max(
                (system.repairs[r].holds for r in group if fault in system.repairs[r].fixes),
                default=None,
            )
            passes = 1.0 - system.faults[fault].returns if holds is None else holds
            rows[n + g] *= [1.0] + [passes] * (size - 1)
            if holds is None and system.faults[fault].kind != "no-part":
                rows[g] *= restrict(size, present=False)
    total = reasoner.elimination.ask({k: v[None] for k, v in evidence.items()}, []).evidence[0]
    chances = reasoner.elimination.ask(given, [], 2 * n).evidence / total
    return chances[:n], chances[n:]


def _option(
    system: System,
    verdict: Verdict,
    story: Sequence[Link],
    group: tuple[str, ...],
    cure: float,
    stays: float,
    held: tuple[str, ...],
) -> Option:
    repairs = [system.repairs[r] for r in group]
    fixes = tuple(dict.fromkeys(f for r in repairs for f in r.fixes))
    price = price_of(system, repairs, held)
    missed = {
        b.fault: b.probability * system.faults[b.fault].returns
        for b in verdict.beliefs
        if b.fault not in fixes
    }
    later = sum(chance * _cheapest(system, fault, held) for fault, chance in missed.items())
    later += sum((1.0 - r.holds) * repair_cost(system, r, held) for r in repairs)
    return Option(
        repairs=group,
        fixes=fixes,
        price=price,
        cure=cure,
        come_back=1.0 - stays,
        expected_total=price.total + (1.0 - stays) * system.tariff.come_back + later,
        reasons=_reasons(system, story, missed, fixes),
    )


def _cheapest(system: System, fault: str, held: tuple[str, ...]) -> float:
    return min(repair_cost(system, r, held) for r in system.repairs.values() if fault in r.fixes)


def _reasons(
    system: System, story: Sequence[Link], missed: Mapping[str, float], fixes: Sequence[str]
) -> tuple[Reason, ...]:
    reasons = []
    for fault, chance in sorted(missed.items(), key=lambda item: -item[1]):
        if chance < _REASON:
            break
        text = f"{system.faults[fault].name} would remain"
        spoilt = [
            system.faults[link.effect].name
            for link in story
            if link.cause == fault and link.effect in fixes and link.counts
        ]
        if spoilt:
            text += f", and would bring about {' and '.join(dict.fromkeys(spoilt))} again"
        reasons.append(Reason(fault=fault, chance=chance, text=text))
    return tuple(reasons)
