"""sagtrace recording: look into a recording before it is attached."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from sagtrace.bootstrap import open_workshop
from sagtrace.cli.options import AsJson, Rate, Roles, role_pairs
from sagtrace.cli.output import print_json, say, show_table, talk
from sagtrace.signals.imported import Assignment, ColumnInfo

EXAMPLE = (
    "Example: sagtrace recording recording.csv; "
    "sagtrace recording recording.csv --role 'height.rear=height.rear [mm]' --role 'ambient=-'"
)


def run(
    recording: Annotated[Path, typer.Argument(help="CSV, TSV, Parquet or MDF 4.")],
    roles: Roles = None,
    rate: Rate = "",
    remember: Annotated[
        bool, typer.Option("--remember", help="Keep what --role says for the next recordings.")
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Show the columns of a recording, what they are taken for, and how it was read."""
    workshop = open_workshop()
    said = Assignment(roles=role_pairs(roles), rate=rate)
    imported = workshop.inspect(recording, str(recording), said)
    if remember:
        talk(f"remembered: {workshop.remember(imported, said)} column(s)")
    if as_json:
        print_json({"report": imported.report, "columns": imported.columns})
        return
    show_table(
        ("Column", "Unit", "Role", ">Confidence", "Why"), [_row(c) for c in imported.columns]
    )
    for text in imported.report.sentences():
        say(text)
    if imported.unsettled:
        column = imported.unsettled[0]
        guess = column.guesses[0]
        example = f"{column.name}={guess.role} [{guess.unit or '-'}]"
        say(f"Roles with a ? are not clear. Say them, for example: --role {example!r}")


def _row(column: ColumnInfo) -> tuple[str, str, str, str, str]:
    role = f"{column.role} [{column.role_unit}]" if column.role_unit else column.role
    reason = column.reason or "named so"
    if column.unsettled:
        role = " or ".join(f"{guess.role}?" for guess in column.guesses)
        reason = column.guesses[0].reason
    sure = f"{100 * column.confidence:.0f} %" if column.role or column.unsettled else ""
    return column.name, column.unit, role, sure, reason
