"""sagtrace schema: the JSON schema of a job file."""

from __future__ import annotations

from sagtrace.bootstrap import job_schema
from sagtrace.cli.output import print_json

EXAMPLE = "Example: sagtrace schema > job.schema.json"


def run() -> None:
    """Print the JSON schema of a job file."""
    print_json(job_schema())
