"""What proves a repair: the test, its limit, how long it must last, and whether it passed."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from statistics import NormalDist
from typing import Literal

from sagtrace.errors import SagtraceError
from sagtrace.evidence.facts import Facts, spread_to_si
from sagtrace.evidence.findings import Finding, find
from sagtrace.physics import gas
from sagtrace.physics.estimate import Estimate
from sagtrace.repair.undecided import LONGER, what_would_decide
from sagtrace.units import to_si
from sagtrace.vehicle.job import Entry, Job
from sagtrace.vehicle.repairs import Proof
from sagtrace.vehicle.system import System

__all__ = [
    "DueProof",
    "hold_needed",
    "judge",
    "Judged",
    "proof_log",
    "ProofEntry",
    "proofs_due",
    "shortest_hold",
    "sink_speed",
]

Result = Literal["passed", "undecided", "failed"]

_SURE = NormalDist().inv_cdf(0.95)  # one-sided: 1 in 20 bad repairs may pass, no more
_UNBELIEVED = 2.0  # chosen: so many standard deviations beyond what a sound part can give
_BEYOND = 2.0 * (1.0 - NormalDist().cdf(_UNBELIEVED))  # the same as a two-sided share
_READS_ILL = 0.05  # chosen: a number this much likelier from a fault does not prove a sound part
_PART_OF_LIMIT = 0.5  # chosen: the test can resolve half of its limit, so a good repair passes
_AIR = 288.15  # [K] chosen: 15 °C; 20 K more or less changes a hold time by 7 %
_NIGHT = 12 * 3600.0  # [s] a fall is told for this long
_TEMPERATURE = 1.0  # [K] chosen: how well two hand-held readings of the air agree


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """How a proof test came out."""

    result: Result
    told: str  # what came out, and the limit
    advice: str = ""  # what would decide it

    @property
    def text(self) -> str:
        """What came out and what to do about it."""
        return f"{self.told}. {self.advice}" if self.advice else self.told


@dataclass(frozen=True, slots=True, kw_only=True)
class ProofEntry:
    """One answer to a proof test as it was kept, whether it counts or not."""

    entry: Entry
    judged: Judged | None  # None: it can no longer be read
    counts: bool
    why: str  # it does not count


@dataclass(frozen=True, slots=True, kw_only=True)
class DueProof:
    """A proof test that a repair needs, with its limit in words and its result, if it was done."""

    proof: Proof
    faults: tuple[str, ...]  # those repaired faults that it proves; none if it is of the whole
    limit: str
    hold: float | None = None  # [s] the shortest time that resolves the limit, for a hold test
    fall: float | None = None  # [m] at the wheel arch in 12 h at the limit, for a hold test
    judged: Judged | None = None
    finding: Finding | None = None


def judge(
    proof: Proof, finding: Finding, outcome: str = "", remedy: Callable[[], str] = lambda: LONGER
) -> Judged:
    """Return whether a finding, or the outcome that it rests on, passes the proof.

    A number passes if it is on the right side of its limit with 95 % confidence, fails if it
    is on the wrong side with 95 % confidence, and is undecided in between. It is undecided too
    if no sound part would give it: then something was misread. `remedy` says what would decide
    a number that leaves it open.
    """
    if finding.estimate is None:
        passed = outcome in (proof.outcome, *proof.also)
        return Judged(result="passed" if passed else "failed", told=finding.text)
    value, unit = finding.estimate.value, finding.estimate.unit
    margin = _SURE * finding.estimate.std
    limit = proof.at_most if proof.at_most is not None else proof.at_least
    assert limit is not None  # the audit refuses a number proof without a limit
    good = limit - value if proof.at_most is not None else value - limit
    result: Result = "passed" if good >= margin else "failed" if good <= -margin else "undecided"
    side = "at most" if proof.at_most is not None else "at least"
    told = f"{finding.text.partition(';')[0]}; must be {side} {limit:g} {unit}"
    advice = ""
    if result == "passed":
        advice = _doubt(proof, finding)
        result = "undecided" if advice else "passed"
    elif result == "undecided":
        advice = f"The reading cannot tell: {remedy()}"
    return Judged(result=result, told=told, advice=advice)


def _doubt(proof: Proof, finding: Finding) -> str:
    """Return why a number on the good side of its limit is not believed; empty if it is."""
    assert finding.estimate is not None
    value, std = finding.estimate.value, finding.estimate.std
    codes = {caveat.code for caveat in finding.caveats}
    if "short-sweep" in codes:
        return "This proves nothing yet: compare at two heights at least 20 mm apart"
    if finding.likelihood[0] < _READS_ILL:  # the first state of every condition is the sound one
        says = finding.text.partition("; ")[2]
        return f"Look again: a sound part hardly gives this, it {says}"
    if proof.at_most is not None and value + _UNBELIEVED * std < 0.0:
        return "Look again: less than nothing cannot be, so a reading or a sign is wrong"
    if proof.at_most is None and finding.fit < _BEYOND:
        return (
            "Look again: this is more than a healthy one gives. Check the readings, their units "
            "and the vehicle data"
        )
    return ""


def shortest_hold(limit: float, facts: Mapping[str, Estimate], height_std: float) -> float:
    """Return how long a hold test must last to resolve half of its limit [s].

    `limit` is a flow at 20 °C and 1 atm [m³/s], `height_std` the standard deviation of one
    height reading [m]. The drop that the readings cannot tell from zero, from two heights and
    from the temperatures, over the speed at which half of the limit lets the spring sink.
    """
    temp, volume, area = _AIR, facts["spring-volume"].value, facts["spring-area"].value
    thermal = volume / area * _TEMPERATURE * math.sqrt(2.0) / temp / facts["lever-ratio"].value
    unresolved = _SURE * math.hypot(math.sqrt(2.0) * height_std, thermal)
    return unresolved / sink_speed(_PART_OF_LIMIT * limit, facts)


def sink_speed(leak: float, facts: Mapping[str, Estimate]) -> float:
    """Return how fast the wheel arch sinks with this leak at constant temperature [m/s].

    `leak` is a flow at 20 °C and 1 atm [m³/s].
    """
    pressure = facts["spring-pressure"].value + facts["barometer"].value
    flow = gas.molar_flow_to_pv(gas.standard_to_molar_flow(leak, gas.REF_20C_1ATM), _AIR)
    return float(flow) / (pressure * facts["spring-area"].value) / facts["lever-ratio"].value


def _limit_text(system: System, proof: Proof) -> str:
    check = system.checks[proof.check]
    if check.measure is None:
        texts = {o.id: o.text for o in check.outcomes}
        return f"must show: {' or '.join(texts[id_] for id_ in (proof.outcome, *proof.also))}"
    quantity = system.nodes[check.measure.node].quantity
    assert quantity is not None
    if proof.at_most is not None:
        return f"{quantity.name} at most {proof.at_most:g} {quantity.unit}"
    return f"{quantity.name} at least {proof.at_least:g} {quantity.unit}"


def _hold(system: System, proof: Proof, facts: Facts) -> tuple[float | None, float | None]:
    measure = system.checks[proof.check].measure
    if measure is None or measure.model != "height-decay" or proof.at_most is None:
        return None, None
    quantity = system.nodes[measure.node].quantity
    assert quantity is not None
    height = next(slot for slot in measure.inputs if slot.name == "height-start")
    std = math.hypot(spread_to_si(height.error, height.unit), spread_to_si(0.3, height.unit))
    limit = to_si(proof.at_most, quantity.unit)
    return shortest_hold(limit, facts.values, std), _NIGHT * sink_speed(limit, facts.values)


def hold_needed(system: System, check: str, facts: Facts) -> float:
    """Return how long a check must last as a proof [s]; 0 if it is no hold, or no proof."""
    holds = (_hold(system, p, facts)[0] for p in system.proofs.values() if p.check == check)
    return max((hold for hold in holds if hold is not None), default=0.0)


def _judged(system: System, proof: Proof, finding: Finding, entry: Entry, facts: Facts) -> Judged:
    def remedy() -> str:
        return what_would_decide(system, finding, facts)

    return judge(proof, finding, entry.outcome, remedy)


def proofs_due(
    system: System, faults: Sequence[str], facts: Facts, job: Job | None = None
) -> tuple[DueProof, ...]:
    """Return the proofs for these repaired faults, with the results that the job holds.

    Those of the whole vehicle come last.
    """
    due: dict[str, list[str]] = {}
    for fault in faults:
        if (proof := system.proof_for(fault)) is not None:
            due.setdefault(proof.id, []).append(fault)
    for proof in system.proofs.values():
        if proof.whole and faults:  # last, because it may need what the others prove
            due[proof.id] = due.pop(proof.id, [])
    answers = {} if job is None else {entry.check: entry for entry in job.valid_proofs()}
    result = []
    for proof_id, proved in due.items():
        proof = system.proofs[proof_id]
        finding = judged = None
        if proof.check in answers:
            finding = find(system, answers[proof.check], facts)
            judged = _judged(system, proof, finding, answers[proof.check], facts)
        hold, fall = _hold(system, proof, facts)
        result.append(
            DueProof(
                proof=proof,
                faults=tuple(proved),
                limit=_limit_text(system, proof),
                hold=hold,
                fall=fall,
                judged=judged,
                finding=finding,
            )
        )
    return tuple(result)


def proof_log(system: System, facts: Facts, job: Job) -> tuple[ProofEntry, ...]:
    """Return every answer to a proof test that the job keeps, in the order in which they came."""
    last = {entry.check: entry.id for entry in job.valid_proofs()}
    return tuple(_logged(system, facts, job, i, last) for i in range(len(job.proofs)))


def _logged(
    system: System, facts: Facts, job: Job, place: int, last: Mapping[str, str]
) -> ProofEntry:
    entry = job.proofs[place]
    why = ""
    if place < job.proofs_from:
        why = "made before the last repair, so it proves nothing about it"
    elif last.get(entry.check) != entry.id:
        why = "done again later"
    proof = next((p for p in system.proofs.values() if p.check == entry.check), None)
    judged = None
    # An old entry that is no longer understood stays in the record, as what it is.
    with suppress(SagtraceError):
        if proof is not None:
            judged = _judged(system, proof, find(system, entry, facts), entry, facts)
    return ProofEntry(entry=entry, judged=judged, counts=not why, why=why)
