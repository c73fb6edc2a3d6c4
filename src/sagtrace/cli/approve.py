"""sagtrace approve: note what the customer was offered and said."""

from __future__ import annotations

from typing import Annotated, Literal

import typer

from sagtrace.app.approving import offered as with_offer
from sagtrace.bootstrap import job_place, open_workshop
from sagtrace.cli.options import AsJson, At, By, JobPath
from sagtrace.cli.output import now, print_json, say
from sagtrace.report.approved import price_told
from sagtrace.report.history import repairs_named
from sagtrace.vehicle.job import Approval

EXAMPLE = "Example: sagtrace approve job.yaml spring.replace@left --how 'by telephone'"


def run(
    file: JobPath,
    repairs: Annotated[list[str], typer.Argument(help="Ids of repairs; see `sagtrace options`.")],
    answer: Annotated[
        Literal["asked", "approved", "declined"], typer.Option(help="What the customer said.")
    ] = "approved",
    offered: Annotated[str, typer.Option(help="The price as it was told.")] = "",
    how: Annotated[str, typer.Option(help="In person, by telephone, in writing.")] = "",
    who: Annotated[str, typer.Option(help="Who said it.")] = "",
    by: By = "",
    at: At = "",
    as_json: AsJson = False,
) -> None:
    """Note what the customer was offered and said, for these repairs at their price of now."""
    place, workshop = job_place(file), open_workshop()
    job = place.load()
    approval = Approval(
        id="", repairs=tuple(repairs), offered=offered, answer=answer, how=how, who=who, at=at
    )
    system = workshop.system(job.layout)
    job = with_offer(system, job, approval, now(), by)
    place.save(job)
    kept = job.approvals[-1]
    if as_json:
        print_json(kept)
    else:
        say(
            f"Kept as {kept.id}: {kept.answer}, {repairs_named(system, kept.repairs)}, "
            f"{price_told(kept)}."
        )
