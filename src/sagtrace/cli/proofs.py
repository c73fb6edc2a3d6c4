"""sagtrace proofs: which tests prove the repair, and how they came out."""

from __future__ import annotations

from pathlib import Path

from sagtrace.bootstrap import job_place, open_workshop
from sagtrace.cli.options import AsJson, JobPath
from sagtrace.cli.output import print_json, say
from sagtrace.repair.costs import way_to_check
from sagtrace.repair.proofs import DueProof
from sagtrace.report.after_repair import proof_cautions
from sagtrace.report.assessment import Assessment
from sagtrace.report.parts import proof_text
from sagtrace.report.words import listed

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
        if due.judged is None:
            _print_how(assessment, due, file)


def _print_how(assessment: Assessment, due: DueProof, file: Path) -> None:
    system = assessment.system
    check = system.checks[due.proof.check]
    for caution in proof_cautions(system, assessment.job, check):
        say(f"  {caution.level.upper()}: {caution.text}")
    way = way_to_check(system, check, assessment.job.access)
    steps = [system.access[name].back for name in way.undo]
    steps += [system.access[name].name for name in way.reach]
    if steps:
        say(f"  First: {listed(steps)}.")
    for i, step in enumerate(check.steps, start=1):
        say(f"  {i}. {step}")
    if check.measure is None:
        answer = f"--outcome {due.proof.outcome}"
    else:
        answer = " ".join(f"-v {slot.name}='...'" for slot in check.measure.inputs)
    say(f"  Then: sagtrace prove {file} {check.id} {answer}")
