"""sagtrace schema: the JSON schema of a job file."""

from __future__ import annotations

from sagtrace.bootstrap import job_schema
from sagtrace.cli.options import AsJson
from sagtrace.cli.output import print_json

EXAMPLE = "Example: sagtrace schema > job.schema.json"


def run(as_json: AsJson = False) -> None:
    """Print the JSON schema of a job file; it is JSON with and without --json."""
    print_json(job_schema())
