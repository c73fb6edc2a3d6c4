"""The demonstration: both faults found, the story told, half repairs priced, from any evidence.

The scenario is invented and its truth is known: the left spring leaks about 1.1 L/min at its fold
and the pump gives 45 % of a healthy one (`tools/make_demo_recording.py`).
"""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from sagtrace.app.workshop import Workshop
from sagtrace.bootstrap import demo_folder, job_place, open_workshop
from sagtrace.cli.main import main
from sagtrace.repair.options import Option
from sagtrace.report.assessment import Assessment
from sagtrace.report.customer import customer_paper
from sagtrace.report.technical import technical_paper
from sagtrace.vehicle.job import Job

LEAK, PUMP = "spring.fold-leak@left", "pump.worn"
SPRING_REPAIR, PUMP_REPAIRS = "spring.replace@left", {"pump.ring-kit", "pump.unit-replace"}
BUBBLES, DRYER = "soap.fold-normal@left", "dryer.moisture"

PLACE = job_place(demo_folder() / "demo.yaml")
JOB = PLACE.load()


@pytest.fixture(scope="module")
def workshop() -> Workshop:
    return open_workshop()


@pytest.fixture(scope="module")
def demo(workshop: Workshop) -> Assessment:
    return workshop.assess(JOB, PLACE)


def option(demo: Assessment, repairs: set[str]) -> Option:
    return next(o for o in demo.options if set(o.repairs) == repairs)


# --- what goes in


def test_is_marked_as_invented() -> None:
    assert JOB.invented
    assert (demo_folder() / "demo.yaml").read_text().startswith("# An invented scenario")


def test_has_enough_evidence(demo: Assessment) -> None:
    readings = [r for f in demo.verdict.findings for r in f.readings]
    assert len(readings) >= 10
    (recorded,) = demo.recordings
    assert recorded.trace.time[-1] - recorded.trace.time[0] >= 20 * 60
    assert recorded.report.findings


# --- what comes out


def test_finds_both_faults(demo: Assessment) -> None:
    assert demo.verdict.belief(LEAK).probability > 0.9
    assert demo.verdict.belief(PUMP).probability > 0.9
    assert set(demo.verdict.leading.faults) == {LEAK, PUMP}
    assert all(b.probability < 0.2 for b in demo.verdict.beliefs if b.fault not in (LEAK, PUMP))
    assert demo.verdict.conflicts == ()


def test_tells_that_the_leak_wore_the_pump(demo: Assessment) -> None:
    link = next(k for k in demo.story if (k.cause, k.effect) == (LEAK, PUMP))
    assert link.counts
    assert link.share > 0.5
    assert "keeps the pump running" in link.text
    assert link.support is not None
    assert "% of a healthy pump's time" in link.support.text
    # Leak over delivery, both of the scenario: about 1.1 L/min of 26 L/min of free air.
    assert link.support.estimate.value == pytest.approx(100 * 1.1 / 26, rel=0.5)


def test_recommends_to_do_both(demo: Assessment) -> None:
    assert demo.stage == "repair"
    assert set(demo.plan.faults) >= {LEAK, PUMP}
    best = demo.options[0]
    assert best.recommended
    assert SPRING_REPAIR in best.repairs
    assert PUMP_REPAIRS & set(best.repairs)
    assert best.expected_total == min(o.expected_total for o in demo.options)


def test_the_pump_alone_comes_back(demo: Assessment) -> None:
    half = option(demo, {"pump.ring-kit"})
    assert half.come_back >= 0.8
    assert half.cure < 0.05
    reason = next(r for r in half.reasons if r.fault == LEAK)
    assert demo.system.faults[LEAK].name in reason.text
    assert f"would bring about {demo.system.faults[PUMP].name} again" in reason.text
    assert half.expected_total > demo.options[0].expected_total


def test_the_spring_alone_costs_more_in_the_end(demo: Assessment) -> None:
    half = option(demo, {SPRING_REPAIR})
    assert half.price.total < demo.options[0].price.total
    assert half.come_back >= 0.8
    assert half.expected_total > demo.options[0].expected_total
    assert any(r.fault == PUMP for r in half.reasons)


def test_doing_nothing_comes_back(demo: Assessment) -> None:
    nothing = option(demo, set())
    assert nothing.price.total == 0.0
    assert nothing.come_back > 0.95


def test_both_repairs_must_be_proved(demo: Assessment) -> None:
    due = {p.proof.check: p for p in demo.proofs}
    assert set(due) == {"hold.overnight@left", "pump.fill-test", "try.lift"}
    hold = due["hold.overnight@left"].hold
    assert hold is not None
    assert 3600.0 < hold < 24 * 3600.0


# --- with any one piece of evidence missing


def without(piece: str) -> Job:
    if piece in {r.id for r in JOB.recordings}:
        return replace(JOB, recordings=tuple(r for r in JOB.recordings if r.id != piece))
    return replace(JOB, entries=tuple(e for e in JOB.entries if e.id != piece))


@pytest.mark.parametrize("piece", [e.id for e in JOB.entries] + [r.id for r in JOB.recordings])
def test_no_piece_of_evidence_is_indispensable(workshop: Workshop, piece: str) -> None:
    """The two stay the leading set, and the story holds, whichever piece is left out.

    Two pieces matter more than the others. Without the bubbles at the fold its probability falls
    below 0.9, to about 0.86, because a seat, a fitting or a valve loses air as well. Without the
    look at the dryer the pump falls to about 0.88, because a saturated dryer slows a lift too. In
    both cases the plan asks for another check instead of recommending the repair at once.
    """
    a = workshop.assess(without(piece), PLACE)
    assert all(paper.body for paper in (customer_paper(a), technical_paper(a)))
    assert set(a.verdict.leading.faults) == {LEAK, PUMP}
    missed = without_matters(piece)
    leak, pump = a.verdict.belief(LEAK).probability, a.verdict.belief(PUMP).probability
    assert leak > (0.75 if missed == BUBBLES else 0.9)
    assert pump > (0.8 if missed == DRYER else 0.9)
    assert a.stage == ("check" if missed else "repair")
    assert any(k.counts for k in a.story if (k.cause, k.effect) == (LEAK, PUMP))
    assert {SPRING_REPAIR} < set(a.options[0].repairs)


def without_matters(piece: str) -> str:
    """Return the check that the piece answers, if it is one of the two that matter more."""
    check = next((e.check for e in JOB.entries if e.id == piece), "")
    return check if check in (BUBBLES, DRYER) else ""


def test_without_any_evidence_nothing_is_claimed(workshop: Workshop) -> None:
    a = workshop.assess(replace(JOB, entries=(), recordings=()), PLACE)
    assert a.stage == "check"
    assert a.verdict.leading.faults == ()
    assert all(b.probability < 0.2 for b in a.verdict.beliefs)


# --- through the front door


def test_runs_from_end_to_end(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "deep" / "out"
    assert main(["demo", "--out", str(out)]) == 0
    said = capsys.readouterr().out
    assert sorted(path.name for path in out.iterdir()) == [
        "customer.pdf",
        "demo.yaml",
        "recording.csv",
        "technical.pdf",
    ]
    assert all(
        (out / f"{name}.pdf").read_bytes()[:5] == b"%PDF-" for name in ("customer", "technical")
    )
    assert "(invented)" in said
    assert "Cracked fold in the left rear air spring led to worn air pump" in said
    assert f"sagtrace next {out / 'demo.yaml'}" in said


def test_can_be_gone_on_with_and_run_again(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = str(tmp_path / "demo.yaml")
    assert main(["demo", "--out", str(tmp_path)]) == 0
    assert main(["repaired", file, "spring.replace@left", "pump.ring-kit"]) == 0
    assert job_place(Path(file)).load().repaired == ("spring.replace@left", "pump.ring-kit")
    capsys.readouterr()
    assert main(["demo", "--out", str(tmp_path), "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    assert said["job"] == file
    assert said["stage"] == "repair"
    assert job_place(Path(file)).load() == JOB
