"""The use cases over fakes: dictionaries for files, lists for what was asked."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import pytest

from sagtrace.app.workshop import COMPLAINT, Workshop
from sagtrace.errors import (
    DocumentError,
    DomainError,
    InputError,
    MissingPartError,
    UnitError,
    UnknownIdError,
)
from sagtrace.report.tree import Paper
from sagtrace.signals.imported import Assignment, Imported, ImportReport
from sagtrace.signals.trace import Trace
from sagtrace.vehicle.job import Entry, Job, Told
from sagtrace.vehicle.knowledge import Knowledge

NEW = Job(id="j", title="t", layout="rear-pair", complaint=COMPLAINT)
HOLD = {"height-start": "403 mm", "height-end": "356 mm", "time": "3 min"}


@dataclass
class FakeKnowledge:
    knowledge: Knowledge
    loads: int = 0

    def load(self) -> Knowledge:
        self.loads += 1
        return self.knowledge


@dataclass
class FakeReader:
    """Knows recordings by their content."""

    traces: Mapping[bytes, Trace]
    asked: list[str] = field(default_factory=list)

    def read(
        self,
        source: bytes | Path,
        name: str,
        assignment: Assignment,
        remembered: Mapping[tuple[str, str], str],
    ) -> Imported:
        self.asked.append(name)
        assert isinstance(source, bytes)
        if source not in self.traces:
            raise DocumentError(name, 1, "header", "no recording")
        report = ImportReport(file=name, size=len(source), sha256="", format="text")
        return Imported(trace=self.traces[source], report=report, columns=())


@dataclass
class FakeMaker:
    papers: list[Paper] = field(default_factory=list)
    missing: bool = False

    def render(self, paper: Paper) -> bytes:
        if self.missing:
            raise MissingPartError("no maker")
        self.papers.append(paper)
        return paper.kind.encode()


class Folder(dict[str, bytes]):
    """Recordings beside a job."""

    def recording(self, file: str) -> bytes:
        return self[file]


def sinking(speed: float) -> Trace:
    """Half an hour at rest with the engine on and no pump; the axle sinks at `speed` [m/s]."""
    time = np.arange(0.0, 1800.0)
    wobble = 2e-4 * np.sin(time)
    return Trace(
        time=time,
        channels={
            "height.rear": 0.400 - speed * time + wobble,
            "pump.command": np.zeros_like(time),
            "engine": np.ones_like(time),
        },
    )


TRACES = {b"tight": sinking(0.0), b"leaking": sinking(2e-5)}


@pytest.fixture(scope="module")
def source(knowledge: Knowledge) -> FakeKnowledge:
    return FakeKnowledge(knowledge)


@pytest.fixture(scope="module")
def workshop(source: FakeKnowledge) -> Workshop:
    return Workshop(
        knowledge_source=source,
        recording_reader=FakeReader(TRACES),
        paper_maker=FakeMaker(),
        version="9.9",
    )


def entry(id: str, check: str, outcome: str = "", **values: str) -> Entry:  # noqa: A002
    return Entry(
        id=id,
        check=check,
        outcome=outcome,
        values={name.replace("_", "-"): text for name, text in values.items()},
    )


# --- what is kept between questions


def test_loads_and_compiles_once(workshop: Workshop, source: FakeKnowledge) -> None:
    first = workshop.reasoner("rear-pair")
    assert workshop.reasoner("rear-pair") is first
    assert workshop.system("rear-pair") is first.system
    assert workshop.knowledge is source.knowledge
    assert source.loads == 1


def test_says_which_layouts_there_are(workshop: Workshop) -> None:
    with pytest.raises(UnknownIdError, match="'rear-pair'"):
        workshop.reasoner("rear-pear")


# --- starting


def test_a_new_job_is_kept_as_it_is(workshop: Workshop) -> None:
    job = replace(NEW, complaint="", access=("on-stands",)).tell({"spring-area": "112 cm2"})
    assert workshop.start(job) is job


@pytest.mark.parametrize(
    ("change", "error", "says"),
    [
        ({"layout": "rear"}, UnknownIdError, "layout 'rear'"),
        (
            {"told": (Told(id="v1", name="spring-are", text="1 cm2"),)},
            UnknownIdError,
            "spring-area",
        ),
        (
            {"told": (Told(id="v1", name="spring-area", text="1 bar"),)},
            UnitError,
            "area of one spring",
        ),
        ({"access": ("on-stand",)}, UnknownIdError, "on-stands"),
    ],
)
def test_a_job_that_cannot_be_right(
    workshop: Workshop, change: Mapping[str, object], error: type[Exception], says: str
) -> None:
    job = replace(NEW, **change)  # type: ignore[arg-type]  # because the fields differ in type
    with pytest.raises(error, match=says):
        workshop.start(job)
    with pytest.raises(error, match=says):
        workshop.assess(job)


# --- answering


def test_an_answer_makes_the_next_job(workshop: Workshop) -> None:
    first = entry("e1", "soap.fold-normal@left", "bubbles")
    job, finding = workshop.answer(NEW, first)
    assert NEW.entries == ()
    assert job.entries == (first,)
    assert (finding.id, finding.source) == ("e1", "soap.fold-normal@left")
    assert max(finding.likelihood) == 1.0


def test_access_that_a_check_took_holds_afterwards(workshop: Workshop) -> None:
    check = workshop.system("rear-pair").checks["soap.fold-normal@left"]
    job, _ = workshop.answer(NEW, entry("e1", check.id, "none"))
    assert set(check.needs) <= set(job.access)
    again, _ = workshop.answer(job, entry("e2", check.id, "none"))
    assert again.access == job.access


def test_access_that_a_check_forbids_is_undone(workshop: Workshop) -> None:
    system = workshop.system("rear-pair")
    check = next(c for c in system.checks.values() if "on-stands" in c.without and not c.measure)
    lifted, _ = workshop.answer(NEW, entry("e1", "bellows.look@left", "sound"))
    assert "on-stands" in lifted.access
    job, _ = workshop.answer(lifted, entry("e2", check.id, check.outcomes[0].id))
    assert "on-stands" not in job.access
    resting_on_stands = {a.id for a in system.access.values() if "on-stands" in a.after}
    assert not resting_on_stands & set(job.access)


@pytest.mark.parametrize(
    ("wrong", "error"),
    [
        (entry("e1", "soap.fold@left", "none"), UnknownIdError),
        (entry("e1", "soap.fold-normal@left", "dry"), UnknownIdError),
        (entry("e1", "hold.short@left", height_start="403 mm"), InputError),
        (replace(entry("e1", "hold.short@left"), values={**HOLD, "time": "0 s"}), DomainError),
        (replace(entry("e1", "soap.ends@left", "none"), supersedes="e9"), UnknownIdError),
    ],
)
def test_a_wrong_answer_is_refused(
    workshop: Workshop, wrong: Entry, error: type[Exception]
) -> None:
    with pytest.raises(error):
        workshop.answer(NEW, wrong)
    with pytest.raises(error):
        workshop.prove(NEW, wrong)


def test_a_withdrawal_is_an_entry(workshop: Workshop) -> None:
    job, _ = workshop.answer(NEW, entry("e1", "soap.ends@left", "none"))
    after = workshop.withdraw(job, "e1", "wrong side", "2026-11-24T09:00:00Z", "A")
    assert after.entries[0] == job.entries[0]
    assert (after.entries[1].id, after.entries[1].supersedes) == ("e2", "e1")
    assert after.current() == ()
    with pytest.raises(UnknownIdError, match="'e1'"):
        workshop.withdraw(job, "e3", "", "", "")


# --- recordings


def test_a_recording_is_read_before_it_is_kept(workshop: Workshop) -> None:
    job, recorded = workshop.attach(NEW, b"leaking", "a.csv", "2026-11-24T09:00:00Z")
    (kept,) = job.recordings
    assert (kept.id, kept.file) == (recorded.id, "a.csv") == ("r1", "a.csv")
    assert kept.sha256 == hashlib.sha256(b"leaking").hexdigest()
    assert recorded.trace is TRACES[b"leaking"]
    assert any(f.target == "air.escape-axle" for f in recorded.report.findings)
    with pytest.raises(DocumentError, match=r"b\.csv, line 1"):
        workshop.attach(NEW, b"no such", "b.csv", "")


def test_the_same_recording_counts_once(workshop: Workshop) -> None:
    job, _ = workshop.attach(NEW, b"leaking", "a.csv", "")
    with pytest.raises(InputError, match="attached already, as r1"):
        workshop.attach(job, b"leaking", "b.csv", "")
    with pytest.raises(InputError, match="other content than when it was attached as r1"):
        workshop.attach(job, b"tight", "a.csv", "")
    more, recorded = workshop.attach(job, b"tight", "b.csv", "")
    assert recorded.id == "r2"
    assert [r.file for r in more.recordings] == ["a.csv", "b.csv"]


def test_recordings_speak_in_the_verdict(workshop: Workshop) -> None:
    job, _ = workshop.attach(NEW, b"leaking", "a.csv", "")
    leaking = workshop.assess(job, Folder({"a.csv": b"leaking"}))
    other, _ = workshop.attach(NEW, b"tight", "a.csv", "")
    tight = workshop.assess(other, Folder({"a.csv": b"tight"}))
    leaks = [
        sum(a.verdict.belief(f"spring.fold-leak@{side}").probability for side in ("left", "right"))
        for a in (leaking, tight)
    ]
    assert leaks[0] > 5.0 * leaks[1]
    assert leaking.recordings[0].trace is TRACES[b"leaking"]
    assert leaking.digest != tight.digest


def test_a_recording_must_be_there_and_unchanged(workshop: Workshop) -> None:
    job, _ = workshop.attach(NEW, b"leaking", "a.csv", "")
    with pytest.raises(InputError, match="no place to read them from"):
        workshop.assess(job)
    with pytest.raises(DocumentError, match=r"a\.csv: .* \(its content changed\)"):
        workshop.assess(job, Folder({"a.csv": b"tight"}))


# --- assessing


def test_an_assessment_says_what_it_rests_on(workshop: Workshop) -> None:
    a, again = workshop.assess(NEW), workshop.assess(NEW)
    assert (a.job, a.version, a.recordings, a.left_out) == (NEW, "9.9", (), ())
    assert a.system.digest == workshop.knowledge.digest
    assert a.digest == again.digest
    assert a.verdict == again.verdict
    assert a.plan == again.plan
    assert a.options == again.options


def test_answered_checks_are_not_offered_again(workshop: Workshop) -> None:
    job, _ = workshop.answer(NEW, entry("e1", "soap.ends@left", "none"))
    offered = {offer.check for offer in workshop.assess(job).plan.offers}
    assert "soap.ends@left" not in offered
    assert "soap.ends@right" in offered


# --- repairing and proving


@pytest.fixture(scope="module")
def leaking(workshop: Workshop) -> Job:
    job, _ = workshop.answer(NEW, replace(entry("e1", "hold.short@left"), values=HOLD))
    return workshop.answer(job, entry("e2", "soap.fold-normal@left", "bubbles"))[0]


def test_repairs_are_noted_once_and_in_order(workshop: Workshop, leaking: Job) -> None:
    job = workshop.repaired(leaking, ("spring.replace@left", "pump.ring-kit"))
    again = workshop.repaired(job, ("pump.ring-kit", "relay.replace"))
    assert again.repaired == ("spring.replace@left", "pump.ring-kit", "relay.replace")
    with pytest.raises(UnknownIdError, match="Say which corner"):
        workshop.repaired(job, ("relay.replace", "spring.replace"))


def test_before_the_repair_the_recommended_one_says_what_will_prove_it(
    workshop: Workshop, leaking: Job
) -> None:
    a = workshop.assess(leaking)
    assert "spring.replace@left" in a.options[0].repairs
    assert "hold.overnight@left" in {p.proof.check for p in a.proofs}
    assert all(p.judged is None for p in a.proofs)
    assert a.stage in ("check", "repair")


NIGHT = {"height-start": "403 mm", "time": "12 h", "temperature-start": "9 °C"} | {
    "temperature-end": "9 °C"
}


@pytest.mark.parametrize(
    ("end", "result", "stage"),
    [
        ("403 mm", "passed", "proved"),
        ("398 mm", "undecided", "prove"),
        ("380 mm", "failed", "prove"),
    ],
)
def test_a_job_is_proved_only_by_a_passed_test(
    workshop: Workshop, leaking: Job, end: str, result: str, stage: str
) -> None:
    job = workshop.repaired(leaking, ("spring.replace@left",))
    lift = replace(entry("p0", "try.lift"), outcome="normal")  # due after every repair
    test = replace(entry("p1", "hold.overnight@left"), values={**NIGHT, "height-end": end})
    job = workshop.prove(workshop.prove(job, lift), test)
    assert (job.entries, job.proofs) == (leaking.entries, (lift, test))
    a = workshop.assess(job)
    (due,) = [p for p in a.proofs if p.proof.check == "hold.overnight@left"]
    assert due.judged is not None
    assert due.judged.result == result
    assert a.stage == stage


def test_the_last_answer_to_a_proof_counts(workshop: Workshop, leaking: Job) -> None:
    job = workshop.repaired(leaking, ("spring.replace@left",))
    for id_, end in (("p1", "380 mm"), ("p2", "403 mm")):
        test = replace(entry(id_, "hold.overnight@left"), values={**NIGHT, "height-end": end})
        job = workshop.prove(job, test)
    assert len(job.proofs) == 2
    job = workshop.prove(job, replace(entry("p3", "try.lift"), outcome="normal"))
    assert workshop.assess(job).stage == "proved"


def proof(id_: str, end: str = "403 mm", supersedes: str = "") -> Entry:
    test = entry(id_, "hold.overnight@left")
    return replace(test, values={**NIGHT, "height-end": end}, supersedes=supersedes)


def test_a_repair_and_its_proof_leave_the_vehicle_as_it_stands(
    workshop: Workshop, leaking: Job
) -> None:
    system = workshop.system("rear-pair")
    job = workshop.repaired(leaking, ("spring.replace@left", "pump.ring-kit"))
    needs = {n for r in job.repaired for n in system.repairs[r].needs}
    assert "depressurised" in needs
    assert needs <= set(job.access)
    for name in job.access:
        assert set(system.access[name].after) <= set(job.access)
    check = system.checks["hold.overnight@left"]
    assert "on-stands" in job.access
    assert "on-stands" in check.without
    proved = workshop.prove(job, proof("p1"))
    assert not set(check.without) & set(proved.access)
    assert "depressurised" not in proved.access  # it rests on the stands
    assert set(check.needs) <= set(proved.access)


def test_a_correction_moves_no_part_of_the_vehicle(workshop: Workshop, leaking: Job) -> None:
    job = workshop.prove(workshop.repaired(leaking, ("spring.replace@left",)), proof("p1"))
    job = replace(job, access=("levelling-off", "on-stands"))
    assert workshop.prove(job, proof("p2", supersedes="p1")).access == job.access
    first = job.entries[0]
    again = replace(first, id="e9", supersedes=first.id)
    assert workshop.answer(job, again)[0].access == job.access


def test_a_proof_can_be_corrected_and_withdrawn(workshop: Workshop, leaking: Job) -> None:
    lift = replace(entry("p0", "try.lift"), outcome="normal")
    job = workshop.prove(workshop.repaired(leaking, ("spring.replace@left",)), lift)
    job = workshop.prove(job, proof("p1"))
    assert workshop.assess(job).stage == "proved"
    worse = workshop.prove(job, proof("p2", "380 mm", supersedes="p1"))
    assert workshop.assess(worse).stage == "prove"
    gone = workshop.withdraw(job, "p1", "wrong wheel", "2026-11-24T09:00:00Z", "A")
    assert gone.entries == job.entries
    assert (gone.proofs[2].supersedes, gone.proofs[2].withdrawn) == ("p1", True)
    due, whole = workshop.assess(gone).proofs
    assert due.judged is None
    assert whole.judged is not None


def test_a_proof_of_an_earlier_repair_is_not_corrected(workshop: Workshop, leaking: Job) -> None:
    job = workshop.prove(workshop.repaired(leaking, ("spring.replace@left",)), proof("p1"))
    job = workshop.repaired(job, ("pump.ring-kit",))
    with pytest.raises(UnknownIdError, match="proof made after the last repair 'p1'"):
        workshop.prove(job, proof("p2", supersedes="p1"))


def test_what_was_found_and_left_must_be_proved_too(workshop: Workshop, leaking: Job) -> None:
    a = workshop.assess(workshop.repaired(leaking, ("fuse.renew",)))
    assert a.stage == "prove"
    assert {p.proof.id for p in a.proofs} == {
        "proof.fuse-lasts", "proof.corner-holds@left", "proof.lifts-again",
    }  # fmt: skip


# --- printing


def test_prints_two_papers(workshop: Workshop, leaking: Job) -> None:
    maker = FakeMaker()
    a = workshop.assess(leaking)
    written = with_maker(workshop, maker).papers(a)
    assert written == {"customer.pdf": b"customer", "technical.pdf": b"technical"}
    assert [paper.kind for paper in maker.papers] == ["customer", "technical"]
    with pytest.raises(MissingPartError):
        with_maker(workshop, FakeMaker(missing=True)).papers(a)


def with_maker(workshop: Workshop, maker: FakeMaker) -> Workshop:
    return Workshop(
        knowledge_source=workshop.knowledge_source,
        recording_reader=workshop.recording_reader,
        paper_maker=maker,
        version=workshop.version,
    )


def test_a_correction_answers_the_same_check(workshop: Workshop) -> None:
    job, _ = workshop.answer(NEW, entry("e1", "soap.ends@left", "none"))
    other = replace(entry("e2", "soap.ends@right", "none"), supersedes="e1")
    with pytest.raises(InputError, match=r"e1 answers soap\.ends@left"):
        workshop.answer(job, other)
    with pytest.raises(InputError, match=r"e1 answers soap\.ends@left"):
        workshop.prove(job, other)


def test_what_counts_no_longer_is_not_withdrawn_again(workshop: Workshop) -> None:
    job, _ = workshop.answer(NEW, entry("e1", "soap.ends@left", "none"))
    gone = workshop.withdraw(job, "e1", "", "", "")
    with pytest.raises(InputError, match="e1 was withdrawn by e2"):
        workshop.withdraw(gone, "e1", "", "", "")
    with pytest.raises(InputError, match="e2 only withdraws e1"):
        workshop.withdraw(gone, "e2", "", "", "")
    better = replace(entry("e2", "soap.ends@left", "bubbles"), supersedes="e1")
    corrected, _ = workshop.answer(job, better)
    with pytest.raises(InputError, match="e1 was corrected by e2"):
        workshop.withdraw(corrected, "e1", "", "", "")
