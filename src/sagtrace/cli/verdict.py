"""sagtrace verdict: how probable each fault is, and why."""

from __future__ import annotations

from sagtrace.bootstrap import job_place, open_workshop
from sagtrace.cli.options import AsJson, JobPath
from sagtrace.cli.output import print_json, say, show_table
from sagtrace.report.assessment import Assessment
from sagtrace.report.from_before import COUNTS, from_before, sum_of
from sagtrace.report.parts import leading_beliefs
from sagtrace.report.words import listed, odds, percent, sentence

EXAMPLE = "Example: sagtrace verdict job.yaml --json"


def run(file: JobPath, as_json: AsJson = False) -> None:
    """Show how probable each fault is, what led to what, and why."""
    place = job_place(file)
    assessment = open_workshop().assess(place.load(), place)
    if as_json:
        verdict = assessment.verdict
        print_json(
            {
                "beliefs": verdict.beliefs,
                "sets": verdict.sets,
                "story": assessment.story,
                "not_excluded": [b.fault for b in verdict.not_excluded],
                "conflicts": verdict.conflicts,
                "moves": verdict.moves,
                "log_evidence": verdict.log_evidence,
                "left_out": assessment.left_out,
            }
        )
        return
    _print(assessment)


def _print(assessment: Assessment) -> None:
    verdict, names = assessment.verdict, assessment.system.faults
    findings = {f.id: f for f in verdict.findings}
    rows = [
        (names[b.fault].name, percent(b.probability), percent(b.prior), b.fault)
        for b in verdict.beliefs[:8]
    ]
    show_table(("Fault", ">Probability", ">Before evidence", "Id"), rows)
    say()
    sets = [
        (listed([names[f].name for f in s.faults]) or "nothing", percent(s.probability))
        for s in verdict.sets[:4]
    ]
    show_table(("Exactly these faults together", ">Probability"), sets)
    if old := from_before(assessment):
        say()
        say(sum_of(old))
        for bearing in old:
            finding = bearing.finding
            say(f"  {finding.name} [{finding.id}]: {COUNTS[bearing.bears]}; {bearing.why}")
    for belief in leading_beliefs(assessment):
        say()
        say(f"Why {names[belief.fault].name}:")
        for move in verdict.why(belief.fault)[:4]:
            finding = findings[move.finding]
            say(f"  {odds(move.log_odds)}: {finding.name}: {finding.text} [{finding.id}]")
    for link in assessment.story:
        say()
        text = f"{names[link.cause].name} led to {names[link.effect].name}: {link.text}"
        if not link.counts:
            text = f"{names[link.cause].name} does not explain {names[link.effect].name}"
        say(sentence(text + (f"; {link.support.text}" if link.support else "")))
    if verdict.not_excluded:
        say()
        items = [f"{names[b.fault].name} ({percent(b.probability)})" for b in verdict.not_excluded]
        say(f"Not excluded yet: {listed(items)}.")
    for conflict in verdict.conflicts:
        finding = findings[conflict.finding]
        say(f"Look again: {finding.name} [{finding.id}] {conflict.text}.")
