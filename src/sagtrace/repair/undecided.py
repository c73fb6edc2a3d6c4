"""What a proof that stays open lacks: where most of the spread of its number comes from.

Each thing that went in is taken as exact in turn; what that takes off the variance is its share
(the first-order law of the GUM, read backwards).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace

from sagtrace.evidence.facts import Facts
from sagtrace.evidence.findings import Finding
from sagtrace.evidence.models import MODELS
from sagtrace.physics.estimate import Estimate
from sagtrace.units import KINDS
from sagtrace.vehicle.system import System

__all__ = ["LONGER", "what_would_decide"]

LONGER = "repeat it longer or with a finer instrument"

_ALIKE = 0.5  # chosen: a share of the variance this near to the largest is told as well
_HOLDS = ("height-decay", "pressure-decay")  # a longer wait makes their readings matter less
_AIR = Estimate(value=288.15, std=0.0, unit="K")
_SUPPLY = Estimate(value=12.3, std=0.0, unit="V")

Given = Mapping[str, Estimate]


def what_would_decide(system: System, finding: Finding, facts: Facts) -> str:
    """Return what to read, to note or to look up so that the number gets narrower."""
    measure = system.checks[finding.source].measure
    if measure is None:
        return LONGER
    model = MODELS[measure.model]
    given = {
        r.name: Estimate(value=r.value, std=r.std, unit=KINDS[r.kind].si_unit)
        for r in finding.readings
    }

    def variance(given: Given, values: Given) -> float:
        return model.compute(given, values).estimate.std ** 2

    whole = variance(given, facts.values)
    shares: dict[str, float] = {}
    for text, exact, values in _exact(system, finding, given, facts):
        shares[text] = shares.get(text, 0.0) + whole - variance(exact, values)
    most = max(shares.values(), default=0.0)
    if most <= 0.0:
        return LONGER
    ordered = sorted(shares, key=lambda text: -shares[text])
    return "; ".join(text for text in ordered if shares[text] >= _ALIKE * most)


def _exact(
    system: System, finding: Finding, given: Given, facts: Facts
) -> Iterator[tuple[str, Given, Given]]:
    """Yield what could be done about a thing, and the numbers as if that thing were exact."""
    measure = system.checks[finding.source].measure
    assert measure is not None
    codes = {caveat.code for caveat in finding.caveats}
    hold = measure.model in _HOLDS
    if "no-temperature" in codes:
        text = "note both temperatures" if hold else "note the air temperature"
        names = ("temperature-start", "temperature-end") if hold else ("temperature",)
        yield text, {**given, **dict.fromkeys(names, _AIR)}, facts.values
    if "no-supply" in codes:
        yield "measure the voltage at the pump", {**given, "supply": _SUPPLY}, facts.values
    asked = {slot.name: slot.ask for slot in measure.inputs}
    for name, estimate in given.items():
        exact = {**given, name: replace(estimate, std=0.0)}
        longer = hold and not name.startswith("temperature")
        yield LONGER if longer else f"read more finely: {asked[name]}", exact, facts.values
    for fact in facts.assumed:
        if fact.id in MODELS[measure.model].facts:
            known = {**facts.values, fact.id: replace(facts.values[fact.id], std=0.0)}
            yield f"type in the vehicle's own value: {fact.name}", given, known
