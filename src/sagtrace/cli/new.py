"""sagtrace new: start a job file."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from sagtrace.app.workshop import COMPLAINT
from sagtrace.bootstrap import job_place, open_workshop
from sagtrace.cli.options import AsJson, At, By, moment, pairs
from sagtrace.cli.output import print_json, say
from sagtrace.errors import InputError
from sagtrace.vehicle.job import Job

EXAMPLE = "Example: sagtrace new job.yaml --complaint 'Left rear is down every morning'"


def run(
    file: Annotated[Path, typer.Argument(metavar="JOB", help="The job file to write.")],
    layout: Annotated[
        str, typer.Option(help="The system; see `sagtrace know layouts`.")
    ] = "rear-pair",
    complaint: Annotated[str, typer.Option(help="In the customer's words.")] = COMPLAINT,
    title: Annotated[str, typer.Option(help="How the job is called on the papers.")] = "",
    fact: Annotated[
        list[str] | None,
        typer.Option(help="A value of the workshop manual as name=text; repeat as needed."),
    ] = None,
    registration: Annotated[str, typer.Option(help="The vehicle's registration.")] = "",
    odometer: Annotated[
        str, typer.Option(help="Its reading at intake with its unit, e.g. '84 210 km'.")
    ] = "",
    reference: Annotated[
        str, typer.Option(help="The customer's own, such as an order number.")
    ] = "",
    by: By = "",
    at: At = "",
    as_json: AsJson = False,
) -> None:
    """Start a job file."""
    if file.exists():
        raise InputError(f"{file} exists already and is left as it is; choose another name.")
    job = Job(
        id=file.stem,
        title=title or complaint or COMPLAINT,
        layout=layout,
        complaint=complaint or COMPLAINT,
        opened=moment(at),
    )
    named = {"registration": registration, "odometer": odometer, "reference": reference}
    job = open_workshop().start(job.tell({**named, **pairs(fact, "fact")}, job.opened, by))
    job_place(file).save(job)
    if as_json:
        print_json(job)
    else:
        say(f"{file} is ready. What to do first: sagtrace next {file}")
