"""sagtrace demo: the main job, run on an invented vehicle."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Annotated

import typer

from sagtrace.bootstrap import demo_folder, job_place, open_workshop
from sagtrace.cli.options import AsJson
from sagtrace.cli.output import print_json, say, show_table
from sagtrace.cli.paper import write_papers
from sagtrace.errors import DocumentError
from sagtrace.report.parts import leading_beliefs, option_name
from sagtrace.report.words import listed, money, percent, sentence

EXAMPLE = "Example: sagtrace demo --out out"


def run(
    out: Annotated[Path, typer.Option(help="Folder for the job and its papers.")] = Path("out"),
    as_json: AsJson = False,
) -> None:
    """Run the main job on an invented vehicle: evidence in, proved cause and papers out."""
    try:
        out.mkdir(parents=True, exist_ok=True)
        for name in ("demo.yaml", "recording.csv"):
            shutil.copyfile(demo_folder() / name, out / name)
    except OSError as err:
        raise DocumentError(str(out), None, "", f"cannot be written ({err.strerror})") from None
    file = out / "demo.yaml"
    place, workshop = job_place(file), open_workshop()
    assessment = workshop.assess(place.load(), place)
    papers = write_papers(dict(workshop.papers(assessment)), out)
    if as_json:
        print_json(
            {"job": str(file), "papers": [str(p) for p in papers], "stage": assessment.stage}
        )
        return
    system = assessment.system
    say(f"{assessment.job.title} (invented)")
    say(f"The customer says: {assessment.job.complaint}")
    say(f"{len(assessment.job.entries)} answers and {len(assessment.job.recordings)} recording.")
    say()
    rows = [
        (system.faults[b.fault].name, percent(b.probability))
        for b in assessment.verdict.beliefs[:5]
    ]
    show_table(("Fault", ">Probability"), rows, title="Verdict")
    found = {b.fault for b in leading_beliefs(assessment)}
    for link in assessment.story:
        if link.counts and {link.cause, link.effect} <= found:
            names = f"{system.faults[link.cause].name} led to {system.faults[link.effect].name}"
            say(
                sentence(
                    f"{names}: {link.text}" + (f"; {link.support.text}" if link.support else "")
                )
            )
    say()
    currency = system.tariff.currency
    rows4 = [
        (
            sentence(option_name(system, o)).rstrip("."),
            money(o.price.total, currency, o.price.std),
            percent(o.cure),
            percent(o.come_back),
        )
        for o in assessment.options[:4]
    ]
    show_table(("Option", ">Price, no tax", ">Cures", ">Comes back"), rows4, title="Options")
    best = assessment.options[0]
    for option in assessment.options:
        if option.repairs and set(option.repairs) < set(best.repairs):
            name = sentence(option_name(system, option)).rstrip(".")
            why = listed([r.text for r in option.reasons[:2]])
            say(f"Half a repair: {name}: comes back {percent(option.come_back)}, because {why}.")
    say()
    say(f"The papers are in {out}/: {', '.join(p.name for p in papers)}; the job file is {file}.")
    say(f"Next: look at {papers[0]}, then try: sagtrace next {file}; sagtrace verdict {file}")
    say("Your own vehicle: sagtrace new job.yaml (inside the environment: .venv/bin/sagtrace).")
    say("In the browser, this job and your own: .venv/bin/sagtrace serve")
