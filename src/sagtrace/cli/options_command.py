"""sagtrace options: what can be repaired, what it costs and risks."""

from __future__ import annotations

from sagtrace.bootstrap import job_place, open_workshop
from sagtrace.cli.next_check import print_cautions
from sagtrace.cli.options import AsJson, JobPath
from sagtrace.cli.output import print_json, say, show_table
from sagtrace.repair.approved import covered
from sagtrace.report.approved import ask_again
from sagtrace.report.parts import option_name
from sagtrace.report.words import listed, money, percent, sentence

EXAMPLE = "Example: sagtrace options job.yaml"


def run(file: JobPath, as_json: AsJson = False) -> None:
    """Compare the repair options: price, chance of cure, chance of coming back."""
    place = job_place(file)
    assessment = open_workshop().assess(place.load(), place)
    if as_json:
        print_json(assessment.options)
        return
    system, tariff = assessment.system, assessment.system.tariff
    rows = [
        (
            sentence(option_name(system, o)).rstrip("."),
            money(o.price.total, tariff.currency, o.price.std),
            percent(o.cure),
            percent(o.come_back),
            money(o.expected_total, tariff.currency),
        )
        for o in assessment.options
    ]
    columns = ("Option, best first", ">Price, no tax", ">Cures", ">Comes back", ">Expected total")
    show_table(columns, rows)
    say(f"Comes back: within {tariff.period_months} months. {tariff.name}.")
    for option in assessment.options:
        if option.repairs and option.reasons:
            name = sentence(option_name(system, option)).rstrip(".")
            say(f"{name}: {listed([r.text for r in option.reasons[:2]])}.")
    ids = listed([f"`{r}`" for r in assessment.options[0].repairs])
    cover = covered(system, assessment.job, assessment.options[0].repairs)
    if said := ask_again(system, cover):
        say(said)
    if ids:
        print_cautions(assessment, assessment.options[0].repairs)
        say(f"When it is done: sagtrace repaired {file} {' '.join(assessment.options[0].repairs)}")
