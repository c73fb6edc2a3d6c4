"""sagtrace prove: record the answer to a proof test."""

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
    "Example: sagtrace prove job.yaml hold.overnight@left -v height-start='412 mm' "
    "-v height-end='410 mm' -v time='11 h' -v temperature-start='9 °C' -v temperature-end='6 °C'"
)


def run(
    file: JobPath,
    check: Annotated[str, typer.Argument(help="The check of the proof; see `sagtrace proofs`.")],
    outcome: OutcomeId = "",
    value: Values = None,
    by: By = "",
    at: At = "",
    instrument: Instrument = "",
    note: Note = "",
    as_json: AsJson = False,
) -> None:
    """Record the answer to a proof test, made after the repair."""
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
    )
    job = workshop.prove(job, entry)
    place.save(job)
    due = [p for p in workshop.assess(job, place).proofs if p.proof.check == check]
    if as_json:
        print_json(due)
        return
    for proof in due:
        if proof.judged:
            say(f"{proof.judged.result.upper()}: {proof.judged.text}")
    if not due:
        say(f"Kept, but nothing that was repaired is proved by {check}.")
