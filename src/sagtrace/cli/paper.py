"""sagtrace paper: print the customer page and the technical record."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from sagtrace.bootstrap import job_place, open_workshop, write_file
from sagtrace.cli.options import AsJson, JobPath
from sagtrace.cli.output import print_json, say
from sagtrace.units import Reader

EXAMPLE = "Example: sagtrace paper job.yaml --out papers"


def run(
    file: JobPath,
    out: Annotated[Path, typer.Option(help="Folder for the papers.")] = Path("out"),
    imperial: Annotated[
        bool, typer.Option("--imperial", help="Inches, psi and °F instead of mm, bar, °C.")
    ] = False,
    decimal_comma: Annotated[
        bool, typer.Option("--decimal-comma", help="12,4 instead of 12.4.")
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Print the customer page and the technical record as PDF."""
    place, workshop = job_place(file), open_workshop()
    reader = Reader(imperial=imperial, comma=decimal_comma)
    papers = workshop.papers(workshop.assess(place.load(), place), reader)
    written = write_papers(dict(papers), out)
    if as_json:
        print_json([str(path) for path in written])
    else:
        for path in written:
            say(str(path))


def write_papers(papers: dict[str, bytes], folder: Path) -> list[Path]:
    """Write the papers into the folder and return their paths."""
    for name, data in papers.items():
        write_file(folder / name, data)
    return [folder / name for name in papers]
