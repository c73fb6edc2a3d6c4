"""sagtrace attach: add a recording to the job."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from sagtrace.bootstrap import job_place, open_workshop
from sagtrace.cli.options import AsJson, At, JobPath, Rate, Roles, Tapes, moment, role_pairs, taped
from sagtrace.cli.output import print_json, say
from sagtrace.errors import InputError
from sagtrace.signals.imported import Assignment

EXAMPLE = (
    "Example: sagtrace attach job.yaml recording.csv; "
    "sagtrace attach job.yaml recording.csv --role 'height.rear=height.rear [mm]' "
    "--tape '0 min left=402 mm' --tape '0 min right=404 mm'"
)


def run(
    file: JobPath,
    recording: Annotated[
        Path, typer.Argument(help="A recording beside the job file: CSV, TSV, Parquet or MDF 4.")
    ],
    roles: Roles = None,
    rate: Rate = "",
    tapes: Tapes = None,
    at: At = "",
    as_json: AsJson = False,
) -> None:
    """Add a recording that lies beside the job file."""
    folder, there = file.resolve().parent, recording.resolve()
    if not there.is_relative_to(folder):
        raise InputError(f"{recording} must lie beside {file}, so that the two stay together.")
    inside = there.relative_to(folder)
    place = job_place(file)
    source = place.recording(str(inside))
    said = Assignment(roles=role_pairs(roles), rate=rate)
    job, recorded = open_workshop().attach(
        place.load(), source, str(inside), moment(at), said, taped(tapes)
    )
    place.save(job)
    if as_json:
        print_json(recorded.report.findings)
        return
    say(f"{recorded.id} kept: {inside}")
    for finding in recorded.report.findings:
        say(f"  {finding.name}: {finding.text}")
    for text in recorded.report.notes:
        say(f"  note: {text}")
    for name, role in job.recordings[-1].roles.items():
        say(f"  column: {name!r} is {role}")
    for text in recorded.imported.sentences() if recorded.imported else ():
        say(f"  import: {text}")
