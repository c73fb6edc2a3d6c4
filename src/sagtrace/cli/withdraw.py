"""sagtrace withdraw: an entry no longer counts."""

from __future__ import annotations

from typing import Annotated

import typer

from sagtrace.bootstrap import job_place, open_workshop
from sagtrace.cli.options import AsJson, At, By, JobPath, Note, moment
from sagtrace.cli.output import print_json, say

EXAMPLE = "Example: sagtrace withdraw job.yaml e3 --note 'tape was held at the wrong mark'"


def run(
    file: JobPath,
    entry: Annotated[str, typer.Argument(help="Id of the entry; see `sagtrace show`.")],
    by: By = "",
    at: At = "",
    note: Note = "",
    as_json: AsJson = False,
) -> None:
    """Let an entry no longer count; it stays in the record."""
    place = job_place(file)
    old = place.load()
    new = old.next_id()
    job = open_workshop().withdraw(old, entry, note, moment(at), by)
    place.save(job)
    if as_json:
        print_json(next(e for e in (*job.entries, *job.proofs) if e.id == new))
    else:
        say(f"{entry} no longer counts; it stays in the record.")
