"""sagtrace repaired: note what was repaired."""

from __future__ import annotations

from typing import Annotated

import typer

from sagtrace.app.approving import allowed
from sagtrace.bootstrap import job_place, open_workshop
from sagtrace.cli.options import AsJson, At, By, JobPath
from sagtrace.cli.output import now, print_json, say

EXAMPLE = "Example: sagtrace repaired job.yaml spring.replace@left"


def run(
    file: JobPath,
    repairs: Annotated[list[str], typer.Argument(help="Ids of repairs; see `sagtrace options`.")],
    without_approval: Annotated[
        str, typer.Option(help="Why, if the approval that is noted does not cover it.")
    ] = "",
    by: By = "",
    at: At = "",
    as_json: AsJson = False,
) -> None:
    """Note what was repaired; the proofs that it needs become due.

    A job that holds what the customer said (`sagtrace approve`) needs an approval that covers the
    work, or the reason why it was done all the same.
    """
    place, workshop = job_place(file), open_workshop()
    job, moment = place.load(), at or now()
    if job.approvals or without_approval:
        system = workshop.system(job.layout)
        job = allowed(system, job, repairs, without_approval, moment, by)
    job = workshop.repaired(job, tuple(repairs), moment, by)
    place.save(job)
    if as_json:
        print_json(job.repaired)
    else:
        say(f"Kept; only proofs from now on count. What proves it: sagtrace proofs {file}")
