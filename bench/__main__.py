"""Speed of what people wait for, measured in one run on this machine.

Prints a line a figure and writes bench/results.json. A bar is part of the figure, not of a
test: a slow machine does not fail a build.
"""

from __future__ import annotations

import json
import platform
import time
from pathlib import Path

import numpy as np

from bench import fit, recordings, store, twin, web, web_plots
from bench.told import line, median_of
from sagtrace.bootstrap import demo_folder, job_place, open_workshop
from sagtrace.diagnosis.outlook import look_ahead
from sagtrace.diagnosis.verdict import Reasoner
from sagtrace.evidence.findings import check_leaf, combined
from sagtrace.report.customer import customer_paper
from sagtrace.report.technical import technical_paper

RESULTS = Path(__file__).parent / "results.json"


def main() -> None:
    machine = f"{platform.machine()}, Python {platform.python_version()}, numpy {np.__version__}"
    results: list[dict[str, object]] = []

    def note(name: str, value: float, unit: str, bar: float | None, reference: str) -> None:
        good = None if bar is None else bool(value <= bar)
        print(line((name, value, unit, bar, reference)), flush=True)
        results.append(
            {
                "name": name,
                "value": value,
                "unit": unit,
                "bar": bar,
                "ok": good,
                "reference": reference,
                "machine": machine,
            }
        )

    start = time.perf_counter()
    workshop = open_workshop()
    _ = workshop.knowledge
    note("load the knowledge", time.perf_counter() - start, "s", None, "read and audit all files")
    start = time.perf_counter()
    reasoner = workshop.reasoner("rear-pair")
    note("compile rear-pair", time.perf_counter() - start, "s", None, "both engines")

    place = job_place(demo_folder() / "demo.yaml")
    assessment = workshop.assess(place.load(), place)
    findings = assessment.verdict.findings
    evidence = combined(findings)
    solver = reasoner.engine.solver(reasoner.sizes)
    update = median_of(lambda: solver.posterior(evidence), 40)
    note("posterior of all faults", 1e3 * update, "ms", None, "exact, pyAgrum, demo evidence")
    given = {name: v[None] for name, v in evidence.items()}
    own = median_of(lambda: reasoner.elimination.ask(given, reasoner.sizes), 40)
    note("the same by elimination", 1e3 * own, "ms", None, f"ratio {own / update:.2f} to pyAgrum")
    checks = [c for c in assessment.system.checks if c in {o.check for o in assessment.plan.offers}]
    sweep = median_of(lambda: look_ahead(reasoner, findings, checks), 7)
    one_by_one = _outcome_by_outcome(reasoner, evidence, checks[:12])
    outcomes = sum(len(reasoner.network.states()[check_leaf(c)]) for c in checks)
    ratio = one_by_one * outcomes / sweep
    note(
        "full next-check sweep",
        sweep,
        "s",
        0.5,
        f"{len(checks)} checks, {outcomes} outcomes; one by one with pyAgrum: {ratio:.0f} x",
    )
    whole = median_of(lambda: workshop.assess(place.load(), place), 5)
    note("whole assessment of the demo", whole, "s", None, "with its recording of 2 880 rows")
    for paper in (customer_paper(assessment), technical_paper(assessment)):
        taken = median_of(lambda p=paper: workshop.paper_maker.render(p), 5)
        note(f"{paper.kind} paper as PDF", 1e3 * taken, "ms", None, "typst")
    for part in (recordings, twin, fit, store, web_plots, web):
        for figure in part.figures():
            note(*figure)
    RESULTS.write_text(json.dumps(results, indent=2, ensure_ascii=False) + "\n")
    print(f"written to {RESULTS}")


def _outcome_by_outcome(
    reasoner: Reasoner, evidence: dict[str, np.ndarray], checks: list[str]
) -> float:
    """Return the time of one exact posterior after one outcome, averaged over some checks [s]."""
    solver = reasoner.engine.solver(reasoner.sizes)
    count, start = 0, time.perf_counter()
    for check in checks:
        leaf = check_leaf(check)
        n = len(reasoner.network.states()[leaf])
        for o in range(n):
            solver.posterior({**evidence, leaf: np.eye(n)[o]})
            count += 1
    return (time.perf_counter() - start) / count


if __name__ == "__main__":
    main()
