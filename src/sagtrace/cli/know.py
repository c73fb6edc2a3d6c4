"""sagtrace know: what the knowledge holds."""

from __future__ import annotations

from typing import Annotated

import typer

from sagtrace.bootstrap import open_workshop
from sagtrace.cli.options import AsJson
from sagtrace.cli.output import print_json, say, show_table
from sagtrace.errors import UnknownIdError

EXAMPLE = "Example: sagtrace know checks; sagtrace know checks hold.overnight"

KINDS = (
    "layouts",
    "components",
    "faults",
    "conditions",
    "checks",
    "repairs",
    "proofs",
    "access",
    "cautions",
    "sources",
)


def run(
    kind: Annotated[str, typer.Argument(help="One of: " + ", ".join(KINDS))],
    id: Annotated[str, typer.Argument(help="Show this one whole.")] = "",  # noqa: A002
    as_json: AsJson = False,
) -> None:
    """List what the knowledge holds, or show one record whole."""
    if kind not in KINDS:
        raise UnknownIdError("kind of knowledge", kind, KINDS)
    records = {record.id: record for record in getattr(open_workshop().knowledge, kind)}
    if id:
        if id not in records:
            raise UnknownIdError(f"id among the {kind},", id, records)
        print_json(records[id])
    elif as_json:
        print_json(list(records.values()))
    else:
        rows = [(r.id, getattr(r, "name", "") or getattr(r, "text", "")) for r in records.values()]
        show_table(("Id", "What"), rows)
        say(f"{len(rows)} {kind}. One whole: sagtrace know {kind} ID")
