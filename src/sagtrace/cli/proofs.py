"""sagtrace proofs: which tests prove the repair, and how they came out."""

from __future__ import annotations

from sagtrace.bootstrap import job_place, open_workshop
from sagtrace.cli.options import AsJson, JobPath
from sagtrace.cli.output import print_json, say
from sagtrace.report.parts import proof_text

EXAMPLE = "Example: sagtrace proofs job.yaml"


def run(file: JobPath, as_json: AsJson = False) -> None:
    """Show the tests that prove the repair, their limits and results."""
    place = job_place(file)
    assessment = open_workshop().assess(place.load(), place)
    if as_json:
        print_json(assessment.proofs)
        return
    if not assessment.proofs:
        say("There is nothing to prove yet.")
    for due in assessment.proofs:
        result = due.judged.result.upper() if due.judged else "NOT DONE"
        say(f"{result}: {proof_text(assessment.system, due)} [{due.proof.check}]")
        say(f"  {due.judged.text if due.judged else due.proof.text}")
