"""What several commands take, said once."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from sagtrace.app.moments import read_moment
from sagtrace.cli.output import now
from sagtrace.errors import InputError
from sagtrace.vehicle.job import Taped

__all__ = [
    "AsJson",
    "At",
    "By",
    "Instrument",
    "JobPath",
    "moment",
    "Note",
    "OutcomeId",
    "pairs",
    "Rate",
    "role_pairs",
    "Roles",
    "taped",
    "Tapes",
    "Values",
]

JobPath = Annotated[Path, typer.Argument(metavar="JOB", help="The job file (YAML).")]
AsJson = Annotated[bool, typer.Option("--json", help="Print the result as JSON.")]
OutcomeId = Annotated[
    str,
    typer.Option(
        "--outcome",
        "-o",
        help="What was seen: an outcome's id; not-done, with a note, if it cannot be done.",
    ),
]
Values = Annotated[
    list[str] | None,
    typer.Option("--value", "-v", help="A number as name=text, e.g. height-start='412 mm'."),
]
Roles = Annotated[
    list[str] | None,
    typer.Option(
        "--role",
        help="What a column is, as 'Column name=height.rear [mm]'; '-' leaves it out. Repeatable.",
    ),
]
Rate = Annotated[
    str, typer.Option("--rate", help="Samples a second, for a file without a time, e.g. '10 Hz'.")
]
Tapes = Annotated[
    list[str] | None,
    typer.Option(
        "--tape",
        help="A height taped while it ran, as '12 min right=385 mm': time on the recording's own "
        "clock, corner, height. Repeatable.",
    ),
]
By = Annotated[str, typer.Option("--by", help="Who did it.")]
At = Annotated[str, typer.Option("--at", help="When (RFC 3339); now if not given.")]
Instrument = Annotated[str, typer.Option("--instrument", help="What it was measured with.")]
Note = Annotated[str, typer.Option("--note", help="A remark that is kept with it.")]


def pairs(texts: list[str] | None, what: str) -> dict[str, str]:
    """Return name=text arguments as a dictionary."""
    result: dict[str, str] = {}
    for text in texts or ():
        name, equals, value = text.partition("=")
        if not (equals and name.strip() and value.strip()):
            raise InputError(f"{what} {text!r}: expected name=text, e.g. height-start='412 mm'.")
        if name.strip() in result:
            raise InputError(f"{what} {name.strip()!r} is given twice; say which one counts.")
        result[name.strip()] = value.strip()
    return result


def role_pairs(texts: list[str] | None) -> dict[str, str]:
    """Return column=role arguments as a dictionary; a column's name may have = in it."""
    result: dict[str, str] = {}
    for text in texts or ():
        name, equals, role = text.rpartition("=")
        if not (equals and name.strip() and role.strip()):
            example = "'Column name=height.rear [mm]'"
            raise InputError(f"--role {text!r}: expected column=role, e.g. {example}.")
        if name.strip() in result:
            raise InputError(f"--role {name.strip()!r} is given twice; say which one counts.")
        result[name.strip()] = role.strip()
    return result


def taped(texts: list[str] | None) -> tuple[Taped, ...]:
    """Return the heights that were taped while a recording ran."""
    found = []
    for text in texts or ():
        place, equals, height = text.partition("=")
        time, _, corner = place.strip().rpartition(" ")
        if not (equals and time.strip() and corner and height.strip()):
            example = "'12 min right=385 mm'"
            raise InputError(f"--tape {text!r}: expected time corner=height, e.g. {example}.")
        found.append(Taped(time=time.strip(), corner=corner, height=height.strip()))
    return tuple(found)


def moment(at: str) -> str:
    """Return the time as given, or now. Raises InputError for a text that is no time."""
    if at and read_moment(at) is None:
        raise InputError(f"--at {at!r}: expected a time such as 2026-11-24T08:05:00+00:00.")
    return at or now()
