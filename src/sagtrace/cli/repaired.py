"""sagtrace repaired: note what was repaired."""

from __future__ import annotations

from typing import Annotated

import typer

from sagtrace.bootstrap import job_place, open_workshop
from sagtrace.cli.options import AsJson, At, By, JobPath
from sagtrace.cli.output import now, print_json, say

EXAMPLE = "Example: sagtrace repaired job.yaml spring.replace@left"


def run(
    file: JobPath,
    repairs: Annotated[list[str], typer.Argument(help="Ids of repairs; see `sagtrace options`.")],
    by: By = "",
    at: At = "",
    as_json: AsJson = False,
) -> None:
    """Note what was repaired; the proofs that it needs become due."""
    place = job_place(file)
    job = open_workshop().repaired(place.load(), tuple(repairs), at or now(), by)
    place.save(job)
    if as_json:
        print_json(job.repaired)
    else:
        say(f"Kept; only proofs from now on count. What proves it: sagtrace proofs {file}")
