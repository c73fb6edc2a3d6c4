"""sagtrace show: what the job holds."""

from __future__ import annotations

from sagtrace.bootstrap import job_place
from sagtrace.cli.options import AsJson, JobPath
from sagtrace.cli.output import print_json, say, show_table
from sagtrace.report.parts import identity_facts

EXAMPLE = "Example: sagtrace show job.yaml"


def run(file: JobPath, as_json: AsJson = False) -> None:
    """Show what the job holds."""
    job = job_place(file).load()
    if as_json:
        print_json(job)
        return
    say(f"{job.title} ({job.layout}){', invented' if job.invented else ''}")
    for name, text in identity_facts(job):
        say(f"{name}: {text}")
    say(f"Complaint: {job.complaint}")
    counts = {entry.id for entry in job.current()}
    rows = [
        (
            e.id,
            e.check,
            e.outcome or ", ".join(f"{k} {v}" for k, v in e.values.items()),
            e.at[:16],
            "" if e.id in counts else f"withdraws {e.supersedes}" if e.withdrawn else "not counted",
        )
        for e in job.entries
    ]
    show_table(("Entry", "Check", "Answer", "When", ""), rows)
    for recording in job.recordings:
        say(f"{recording.id}: {recording.file}")
    if job.repaired:
        say(f"Repaired: {', '.join(job.repaired)}")
