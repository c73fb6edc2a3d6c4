"""sagtrace add: record the answer to a check."""

from __future__ import annotations

from typing import Annotated

import typer

from sagtrace.bootstrap import job_place, open_workshop
from sagtrace.cli.options import (
    AsJson,
    At,
    By,
    Instrument,
    JobPath,
    Note,
    OutcomeId,
    Values,
    moment,
    pairs,
)
from sagtrace.cli.output import print_json, say
from sagtrace.vehicle.job import Entry

EXAMPLE = (
    "Example: sagtrace add job.yaml hold.short@left -v height-start='412 mm' "
    "-v height-end='398 mm' -v time='20 min'"
)


def run(
    file: JobPath,
    check: Annotated[str, typer.Argument(help="The check's id, e.g. soap.fold-normal@left.")],
    outcome: OutcomeId = "",
    value: Values = None,
    corrects: Annotated[str, typer.Option(help="Id of the entry that this one replaces.")] = "",
    by: By = "",
    at: At = "",
    instrument: Instrument = "",
    note: Note = "",
    as_json: AsJson = False,
) -> None:
    """Record the answer to a check."""
    place, workshop = job_place(file), open_workshop()
    job = place.load()
    entry = Entry(
        id=job.next_id(),
        check=check,
        outcome=outcome,
        values=pairs(value, "value"),
        at=moment(at),
        by=by,
        instrument=instrument,
        note=note,
        supersedes=corrects,
    )
    job, finding = workshop.answer(job, entry)
    place.save(job)
    if as_json:
        print_json(finding)
        return
    say(f"{entry.id} kept: {finding.name}: {finding.text}")
    for caveat in finding.caveats:
        say(f"  note: {caveat.text}")
