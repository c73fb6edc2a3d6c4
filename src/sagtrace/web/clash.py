"""Which entries of a job cannot all be right, when nothing explains them together."""

from __future__ import annotations

from collections.abc import Sequence

from sagtrace.app.desk import Desk
from sagtrace.diagnosis.verdict import Reasoner
from sagtrace.errors import SagtraceError
from sagtrace.evidence.findings import Finding, combined
from sagtrace.evidence.gather import gather

__all__ = ["clashing"]


def clashing(desk: Desk, job_id: str) -> tuple[str, ...]:
    """Return ids of entries of which at least one must go: leave any out, and the rest fits.

    "complaint" stands for the complaint, and the ids of recordings are added where the entries
    alone can be explained. Empty if it cannot be told.
    """
    try:
        job = desk.open(job_id).job
        reasoner = desk.workshop.reasoner_of(job)
        left = list(gather(reasoner.renewal, job, desk.workshop.facts(job)).findings)
    except SagtraceError:
        return ()
    if _fit(reasoner, left):
        return tuple(recording.id for recording in job.recordings)
    for finding in tuple(left):
        fewer = [other for other in left if other is not finding]
        if not _fit(reasoner, fewer):
            left = fewer
    return tuple(finding.id for finding in left)


def _fit(reasoner: Reasoner, findings: Sequence[Finding]) -> bool:
    """Return whether anything explains these findings together."""
    given = {name: likelihood[None] for name, likelihood in combined(tuple(findings)).items()}
    return float(reasoner.elimination.ask(given, []).evidence[0]) > 0.0
