"""sagtrace next: what to do next."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated

import typer

from sagtrace.bootstrap import job_place, open_workshop
from sagtrace.cli.options import AsJson, JobPath
from sagtrace.cli.output import print_json, say, show_table
from sagtrace.plan.next_check import Offer
from sagtrace.repair.costs import way_cautions
from sagtrace.report.after_repair import (
    checks_after_failure,
    failed_proofs,
    repair_after_failure,
    suspects,
)
from sagtrace.report.assessment import Assessment
from sagtrace.report.parts import (
    by_gravity,
    leading_beliefs,
    option_name,
    repair_cautions,
    time_text,
)
from sagtrace.report.words import listed, money, percent, sentence

EXAMPLE = "Example: sagtrace next job.yaml --count 3"


def run(
    file: JobPath,
    count: Annotated[int, typer.Option("--count", "-n", min=1, help="How many to list.")] = 5,
    as_json: AsJson = False,
) -> None:
    """Say what to do next: a check with its cautions and steps, or stop and repair."""
    place = job_place(file)
    assessment = open_workshop().assess(place.load(), place)
    plan, system = assessment.plan, assessment.system
    if as_json:
        print_json(
            {"stage": assessment.stage, "offers": plan.offers[:count], "faults": plan.faults}
        )
        return
    if assessment.stage == "check":
        _print_check(assessment, plan.offers[0])
        say()
        rows = [
            (
                system.checks[o.check].name,
                time_text(o),
                money(o.saving, plan.currency) if o.saving > 0 else "-",
                o.check,
            )
            for o in plan.offers[1:count]
        ]
        if rows:
            show_table(("Or", ">Time", ">Saves", "Id"), rows)
    elif assessment.stage == "repair":
        if assessment.plan.undecided:
            say(f"Undecided: no check here tells these apart: {suspects(assessment)}.")
        else:
            say("Stop looking: no further check would pay for itself.")
        _print_faults(assessment)
        if repairs := assessment.options[0].repairs:
            print_cautions(assessment, repairs)
        say(f"What it costs and risks: sagtrace options {file}")
    elif option := repair_after_failure(assessment):
        say(f"{_how(assessment)}, and no check tells more. Repair: {option_name(system, option)}.")
        print_cautions(assessment, option.repairs)
        say(f"What it costs and risks: sagtrace options {file}")
    elif on := checks_after_failure(assessment):
        say(f"{_how(assessment)}, so go on checking.")
        _print_check(assessment, on[0])
    elif assessment.stage == "prove":
        say(f"The repair is done and waits for its proof: sagtrace proofs {file}")
    else:
        say("The repair is proved. Print it: sagtrace paper " + str(file))


def _how(assessment: Assessment) -> str:
    return "A proof failed" if failed_proofs(assessment) else "A proof stays open"


def _print_faults(assessment: Assessment) -> None:
    """Say what to repair, and apart what is only cheaper to put right than to look at."""
    found = {b.fault for b in leading_beliefs(assessment)}
    names, chance = assessment.system.faults, assessment.verdict.belief
    sure = [names[f].name for f in assessment.plan.faults if f in found]
    cheap = [
        f"{names[f].name} ({percent(chance(f).probability)})"
        for f in assessment.plan.faults
        if f not in found
    ]
    if sure:
        say(f"Sure enough: {listed(sure)}.")
    if cheap:
        say(f"Not sure, but cheaper to put right than to look at: {listed(cheap)}.")


def print_cautions(assessment: Assessment, repairs: Sequence[str]) -> None:
    """Print what to mind before these repairs are begun."""
    say("Before you begin:")
    for caution in repair_cautions(assessment, repairs):
        say(f"  {caution.level.upper()}: {caution.text}")
    say("  The vehicle maker's procedure goes first. Seat and fill a spring before it carries")
    say("  weight, and put leak liquid on every opened joint while it is under pressure.")


def _print_check(assessment: Assessment, offer: Offer) -> None:
    system = assessment.system
    check = system.checks[offer.check]
    wait = f", then {check.wait_minutes:.0f} min of waiting" if check.wait_minutes else ""
    say(f"NEXT: {sentence(check.name)} ({offer.minutes:.0f} min with access{wait}) [{check.id}]")
    say(f"Why: {check.why}")
    way = way_cautions(system, check.needs, check.without, assessment.job.access)
    for caution in by_gravity(system, dict.fromkeys((*way, *check.cautions))):
        say(f"  {caution.level.upper()}: {caution.text}")
    if offer.undo:
        say("First: " + listed([system.access[s].back for s in offer.undo]) + ".")
    if offer.reach:
        then = "Then" if offer.undo else "First"
        say(f"{then}: " + listed([system.access[s].name for s in offer.reach]) + ".")
    if check.tools:
        say("Tools: " + listed(list(check.tools)) + ".")
    for i, step in enumerate(check.steps, start=1):
        say(f"  {i}. {step}")
    say(f"Healthy: {check.expect}")
    if check.measure:
        say("Answer with the numbers:")
        for slot in check.measure.inputs:
            known = "" if slot.required else ", if known"
            say(f"  -v {slot.name}='...' ({slot.ask}, {slot.unit}{known})")
    else:
        say("Answer with one of:")
        chance = {answer.outcome: answer.probability for answer in offer.answers}
        for outcome in check.outcomes:
            say(f"  -o {outcome.id}: {outcome.text} (expected {percent(chance[outcome.id])})")
