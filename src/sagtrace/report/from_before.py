"""What was entered before a repair, and how far it still speaks of the vehicle as it is."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import Literal

from sagtrace.evidence.findings import Finding, check_leaf
from sagtrace.report.assessment import Assessment, Judged
from sagtrace.report.words import listed
from sagtrace.vehicle.renewal import Renewal, looks_at
from sagtrace.vehicle.system import System

__all__ = ["Bearing", "COUNTS", "from_before", "sum_of"]

Bears = Literal["wholly", "partly", "no"]

COUNTS = {"wholly": "still counts", "partly": "counts in part", "no": "counts no longer"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Bearing:
    """How far a finding from before a repair still counts, and why."""

    finding: Finding
    bears: Bears
    why: str


def from_before(assessment: Assessment | Judged) -> tuple[Bearing, ...]:
    """Return the findings from before the last repair, in their order."""
    job, system = assessment.job, assessment.system
    renewal = Renewal(system, [work.repairs for work in job.works])
    return tuple(
        _bearing(renewal, finding)
        for finding in assessment.verdict.findings
        if finding.after < len(job.works)
    )


def _bearing(renewal: Renewal, finding: Finding) -> Bearing:
    system, seen = renewal.system, _seen(renewal.system, finding)
    changed = [node for node in seen if renewal.at(node, finding.after) != node]
    if not changed:
        return Bearing(
            finding=finding, bears="wholly", why="it looks at what the repair did not touch"
        )
    done = [f for work in renewal.works[finding.after :] for r in work for f in r.fixes]
    if len(changed) == len(seen) and set(seen) <= set(done):
        names = listed([system.nodes[node].name for node in seen])
        why = f"it looked for {names}, which was put right"
        return Bearing(finding=finding, bears="no", why=why)
    why = "what was put right may explain it; only what that does not explain still counts"
    return Bearing(finding=finding, bears="partly", why=why)


def _seen(system: System, finding: Finding) -> tuple[str, ...]:
    """Return the faults and conditions that a finding looks at."""
    if finding.target == check_leaf(finding.source):
        return looks_at(system.checks[finding.source])
    return (finding.target,)


def sum_of(bearings: tuple[Bearing, ...]) -> str:
    """Return in words what counts from before the repair; empty if nothing is from before it."""
    if not bearings:
        return ""
    count, n = Counter(b.bears for b in bearings), len(bearings)
    told: dict[Bears, str] = {
        "wholly": "in full, having looked at what the repair did not touch",
        "partly": "in part, as far as what was put right does not explain what was seen",
        "no": "no longer, having looked for what was put right",
    }
    parts = [
        f"{count[bears]} count{'s' * (count[bears] == 1)} {text}"
        for bears, text in told.items()
        if count[bears]
    ]
    first = f"{n} finding{'s are' if n > 1 else ' is'} from before the repair"
    return f"{first}. Now {'; '.join(parts)}."
