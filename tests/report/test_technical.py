"""The technical record as a tree: everything that the next technician needs."""

from __future__ import annotations

import csv
import math
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import sagtrace
from papers import HOSTILE, JOBS, assessed, column, every, section, tables, texts
from sagtrace.bootstrap import demo_folder
from sagtrace.report.assessment import Recorded
from sagtrace.report.recording_figures import recording_figures
from sagtrace.report.technical import technical_paper
from sagtrace.report.tree import (
    Bars,
    Block,
    Bullets,
    Chain,
    LinePlot,
    Paper,
    Section,
    Table,
    Warn,
)
from sagtrace.signals.audit import AuditResult
from sagtrace.signals.trace import Trace

CERTAIN = re.compile(r"(?<![\d.,])(0|100) %")
OPEN = "Not excluded, ruled out, contradictions"
NUMBER = r"−?[\d.]+(e[+-]\d+)?"
UNIT = r"(mL/min|mm|V|A|%|mΩ)"


def record(name: str) -> Paper:
    return technical_paper(assessed(name))


every_job = pytest.mark.parametrize("name", JOBS)


# --- whatever the job


@every_job
def test_has_no_empty_sections(name: str) -> None:
    sections = [block for block in record(name).body if isinstance(block, Section)]
    assert sections == list(record(name).body)
    assert all(block.body for block in sections)
    titles = [block.title for block in sections]
    assert len(set(titles)) == len(titles)
    assert {"Verdict", "Next", "Repair options"} <= set(titles)


@every_job
def test_every_row_fits_its_table(name: str) -> None:
    for table in every(record(name), Table):
        assert table.rows
        assert {len(row) for row in table.rows} == {len(table.columns)}
        assert all(row < len(table.rows) for row in table.strong)


@every_job
def test_texts_are_finished(name: str) -> None:
    for text in texts(record(name)):
        assert not re.search(r"\bnan\b|\binf\b|\bNone\b|<corner>", text), text
        assert name == "hostile" or not re.search(r"  |\.\.|,,", text), text


@every_job
def test_nothing_is_certain(name: str) -> None:
    assert [text for text in texts(record(name)) if CERTAIN.search(text)] == []


@every_job
def test_can_be_traced_back(name: str) -> None:
    a = assessed(name)
    assert re.fullmatch(
        rf"sagtrace {re.escape(a.version)}, knowledge {re.escape(a.system.edition)} "
        r"\([0-9a-f]{12}\), input [0-9a-f]{12}",
        record(name).foot,
    )


def test_different_jobs_have_different_input() -> None:
    assert len({record(name).foot for name in JOBS}) == len(JOBS)


@every_job
def test_chances_and_prices_have_their_units(name: str) -> None:
    (table,) = tables(section(record(name), "Repair options"))
    assert all(re.fullmatch(r"\d+ min", cell) for cell in column(table, "Labour"))
    assert "All amounts without tax." in table.caption
    assert "without spread" in table.caption
    for title in ("Price", "Expected total"):
        assert all(cell.endswith(" EUR") for cell in column(table, title))
    for title in ("Cures", "Comes back"):
        assert all(cell.endswith(" %") for cell in column(table, title))
    for bars in every(record(name), Bars):
        assert all(bar.text.endswith(" %") for bar in bars.bars)
        assert all(0.0 <= bar.share <= 1.0 + 1e-9 for bar in bars.bars)
    for next_ in tables(section(record(name), "Next")):
        assert all(" min" in cell for cell in column(next_, "Time with access"))


@every_job
def test_every_answer_is_in_it(name: str) -> None:
    a, said = assessed(name), texts(record(name))
    for finding in a.verdict.findings:
        assert finding.id in said
    for left in a.left_out:
        assert any(text.startswith(f"{left.entry} ({left.check}): ") for text in said)


# --- the demonstration


def test_measurements_have_units_and_intervals() -> None:
    results, readings = tables(section(record("demo"), "Measurements"))
    measured = [f for f in assessed("demo").verdict.findings if f.estimate is not None]
    assert len(results.rows) == len(measured)
    for cell in column(results, "Result (± one standard deviation)"):
        assert re.search(rf"{NUMBER} ± {NUMBER} {UNIT}$", cell), cell
    for cell in column(results, "95 % interval"):
        assert re.fullmatch(rf"{NUMBER} to {NUMBER} {UNIT}", cell), cell
    assert len(readings.rows) == sum(len(f.readings) for f in measured)
    for cell in column(readings, "With spread"):
        assert re.fullmatch(r"−?[\d.]+ ± [\d.]+ \S.*", cell), cell
    typed = {text for e in JOBS["demo"].entries for text in e.values.values()}
    assert set(column(readings, "As typed")) == typed


def test_an_interval_holds_its_value() -> None:
    (results, _) = tables(section(record("demo"), "Measurements"))
    results_and_intervals = zip(
        column(results, "Result (± one standard deviation)"),
        column(results, "95 % interval"),
        strict=True,
    )
    for result, interval in results_and_intervals:
        value, low, high = (
            float(text.replace("−", "-"))
            for text in (
                re.findall(r"−?[\d.]+(?= ±)", result)[0],
                *re.findall(r"(−?[\d.]+) to (−?[\d.]+)", interval)[0],
            )
        )
        assert low < value < high


def test_says_why() -> None:
    (table,) = tables(section(record("demo"), "Why"))
    assert set(column(table, "Fault")) == {
        "cracked fold in the left rear air spring",
        "worn air pump",
    }
    assert all(re.match(r"odds [×÷] ", cell) for cell in column(table, "What it did"))
    assert column(table, "What it did")[0].startswith("odds × ")


def test_the_chain_carries_its_number() -> None:
    (chain,) = every(section(record("demo"), "Verdict"), Chain)
    assert chain.boxes[0].title.startswith("Cracked fold")
    assert "% of a healthy pump's time" in chain.text


def test_the_sets_and_the_rest_add_up() -> None:
    (table,) = tables(section(record("demo"), "Verdict"))
    assert column(table, "Exactly these faults together")[0] == (
        "cracked fold in the left rear air spring and worn air pump"
    )
    assert re.search(r"other sets together: (under 1|\d+) %", table.caption)


def test_the_recording_is_drawn() -> None:
    height, _, voltage = (p for p in every(section(record("demo"), "Recording r1"), LinePlot))
    assert (height.x.unit, height.y.unit) == ("min", "mm")
    assert (voltage.x.unit, voltage.y.unit) == ("min", "V")
    assert {span.role for span in height.spans} == {"hold", "fill"}
    recorded = height.lines[0]
    assert recorded.role == "measured"
    assert len(recorded.x) == len(recorded.y) <= 1200
    trace = assessed("demo").recordings[0].trace
    assert max(recorded.y) == pytest.approx(1e3 * trace.channels["height.rear"].max())
    assert min(recorded.y) == pytest.approx(1e3 * trace.channels["height.rear"].min())
    assert list(recorded.x) == sorted(recorded.x)
    assert any("pump ran" in text for text in texts(section(record("demo"), "Recording r1")))


def test_a_channel_without_a_sample_is_not_drawn(tmp_path: Path) -> None:
    """A tool may export a column of nothing; the record then draws what there is."""
    with (demo_folder() / "recording.csv").open(newline="") as file:
        rows = list(csv.reader(file))
    empty = rows[0].index("pump.voltage [V]")
    with (tmp_path / "a.csv").open("w", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(rows[0])
        writer.writerows([*row[:empty], "", *row[empty + 1 :]] for row in rows[1:])
    job = sagtrace.open_job()
    job.attach_recording(tmp_path / "a.csv")
    plots = [p.title for p in every(technical_paper(job.assessment()), LinePlot)]
    assert plots == [
        "Height of the rear axle",
        "What the fit leaves over, rear axle",
        "Supply voltage",
    ]


def test_what_was_assumed_is_told_from_what_was_typed() -> None:
    (table,) = tables(section(record("demo"), "What was assumed, and where numbers come from"))
    source = dict(zip(column(table, "Vehicle data"), column(table, "Source"), strict=True))
    assert source["Effective area of one spring"] == "as typed"
    assert source["Air volume of one spring at ride height"] == "assumed"
    assert all(re.match(r"[\d.]+( ± [\d.]+)?", cell) for cell in column(table, "Value"))
    value = dict(zip(column(table, "Vehicle data"), column(table, "Value"), strict=True))
    # A typed ± is taken as limits: one standard deviation is 6 / √3 = 3.46.
    assert value["Effective area of one spring"] == "112 ± 3.5 cm²"


def test_cautions_of_the_recommended_repair_come_by_gravity() -> None:
    levels = [w.level for w in section(record("demo"), "Cautions") if isinstance(w, Warn)]
    assert levels == sorted(levels, key=["danger", "warning", "notice"].index)
    assert set(levels) == {"danger", "warning", "notice"}


def test_says_what_was_ruled_out_and_by_what() -> None:
    said = texts(section(record("demo"), OPEN))
    assert "Ruled out for practical purposes:" in said
    assert any(re.match(r".+: under 1 %, mostly by .+", text) for text in said)


# --- other jobs


@pytest.mark.parametrize("name", ["empty", "opened"])
def test_without_evidence_nothing_is_claimed(name: str) -> None:
    verdict = " ".join(texts(section(record(name), "Verdict")))
    assert "No fault stands out yet" in verdict
    assert section(record(name), "Measurements") == ()
    assert section(record(name), "Proof") == ()
    assert list(every(record(name), Chain)) == []
    said = texts(section(record(name), "Next"))
    assert said[0] == "Go on checking: the first line pays for itself in what it saves."


def test_a_contradiction_is_pointed_out() -> None:
    warnings = [w.text for w in section(record("contradiction"), OPEN) if isinstance(w, Warn)]
    (text,) = [text for text in warnings if text.startswith("X1, battery voltage")]
    assert "3.0" in text
    assert text.endswith("fits no state that is known.")


def test_an_answer_given_twice_is_kept_and_said_not_to_count() -> None:
    observations = section(record("contradiction"), "Observations")
    (items,) = [b.items for b in observations if isinstance(b, Bullets)]
    assert items == ("x2 (soap.fitting@left): answered again later",)


def test_results_of_proofs() -> None:
    table, readings, _ = tables(section(record("repaired"), "Proof"))
    assert "height-start" in column(readings, "Reading")
    results = dict(zip(column(table, "Test and limit"), column(table, "Result"), strict=True))
    by_start = {name.partition(":")[0]: result for name, result in results.items()}
    assert by_start["Overnight hold of the left rear"] == "failed"
    assert by_start["Delivery of the pump into a test vessel"] == "undecided"
    assert by_start["Drop across the pump connector"] == "passed"
    assert sorted(by_start.values()) == ["failed", "not done", "not done", "passed", "undecided"]
    came_out = " ".join(column(table, "Why, or what came out"))
    assert re.search(rf"{NUMBER} ± {NUMBER} mL/min; must be at most 0\.7 mL/min", came_out)
    assert "The reading cannot tell: read more finely: volume" in came_out


def test_every_proof_entry_is_kept_and_says_whether_it_counts() -> None:
    every_entry = tables(section(record("proved"), "Proof"))[-1]
    by_id = dict(zip(column(every_entry, "Entry"), every_entry.rows, strict=True))
    assert list(by_id) == [e.id for e in JOBS["proved"].proofs]
    results = {id_: row[2] for id_, row in by_id.items()}
    assert results == {
        "p1": "failed",
        "p2": "undecided",
        "p3": "passed",
        "p4": "passed",
        "p5": "passed",
    }
    assert "before the last repair, so it proves nothing about it" in by_id["p1"][3]
    assert "pressure end 7 bar" in by_id["p1"][3]
    assert "note both temperatures" in by_id["p2"][3]
    assert "done again later" in by_id["p2"][3]
    assert not any("Not counted" in by_id[id_][3] for id_ in ("p3", "p4"))


def test_a_proof_that_can_no_longer_be_read_stays_in_the_record() -> None:
    a = assessed("proved")
    old = replace(JOBS["proved"].proofs[0], id="p0", check="no.such", values={"a": "1 m"})
    works = tuple(replace(w, proofs=2) for w in a.job.works)
    job = replace(a.job, proofs=(old, *a.job.proofs), works=works)
    (row, *_) = tables(section(technical_paper(replace(a, job=job)), "Proof"))[-1].rows
    assert row[:3] == ("p0", "No.such", "not judged")
    assert "as typed: 'a 1 m'" in row[3]


def test_notes_pictures_and_their_makers_are_in_the_record() -> None:
    said = texts(section(record("proved"), "Notes"))
    (note,) = [text for text in said if text.startswith("n1, ")]
    assert "2026-11-24 08:05 UTC, A. Example" in note
    assert f"wet bellows; picture kept as bellows.jpg, SHA-256 {'ab' * 32}" in note
    kept = JOBS["proved"].recordings[0]
    assert any(text.startswith("r1, ") and kept.note in text for text in said)
    (of_entry,) = [
        text
        for text in texts(section(record("hostile"), "Notes"))
        if text.startswith(f"{JOBS['hostile'].entries[0].id}, ")
    ]
    assert of_entry.endswith(HOSTILE)


def test_a_begun_check_that_was_given_up_is_in_the_record() -> None:
    (told,) = texts(section(record("proved"), "Begun and not finished"))
    assert "begun 2026-11-24 08:05 UTC, A. Example, height start 400 mm" in told
    assert "given up 2026-11-25 16:30 UTC, B. Example: the bay was needed" in told
    a = assessed("proved")
    waits = replace(a, job=replace(a.job, begun=a.job.begun[:1]))
    (told,) = texts(section(technical_paper(waits), "Begun and not finished"))
    assert told.endswith("; not read yet.")


def test_every_approval_is_in_the_record() -> None:
    (table,) = tables(section(record("proved"), "Approvals"))
    first, second = table.rows
    assert first[0] == "2026-11-24 08:05 UTC, B. Example"
    assert first[2:] == ("400 ± 60 EUR with tax", "declined, by telephone, said by C. Example")
    assert second[2:] == ("900 ± 90 EUR with tax", "approved, in writing, said by C. Example")


def test_a_withdrawal_says_its_reason() -> None:
    said = texts(section(record("proved"), "Observations"))
    assert "x1 (soap.fitting@left): withdrawn: wrong corner" in said


@every_job
def test_reasons_to_come_back_add_up(name: str) -> None:
    for text in texts(section(record(name), "Repair options")):
        if ", comes back " not in text:
            continue
        total = int(re.findall(r"comes back (?:over )?(\d+) %", text)[0])
        ways = [int(n) for n in re.findall(r"\((?:over )?(\d+) %\)", text)]
        if "some of them together" in text:
            assert sum(ways) > total
        else:
            assert sum(ways) == total


def test_a_repaired_job_is_not_told_to_go_on_checking() -> None:
    assert texts(section(record("repaired"), "Next"))[0] == (
        "The repair is done and waits for its proof."
    )
    assert tables(section(record("repaired"), "Next")) == []


def test_hostile_texts_are_plain_text() -> None:
    paper = record("hostile")
    assert paper.subtitle == HOSTILE
    assert ("Complaint", HOSTILE) in paper.facts
    _, readings = tables(section(paper, "Measurements"))
    assert set(column(readings, "Instrument")) == {HOSTILE}
    seen = next(iter(tables(section(paper, "Observations"))))
    assert HOSTILE in column(seen, "By")
    assert f"“{HOSTILE}”" in column(seen, "Seen")  # the complaint is a finding like any other


# --- a recording in the record


def recorded_blocks(name: str = "demo") -> tuple[Block, ...]:
    return section(record(name), "Recording r1")


def test_a_recording_says_which_file_it_is_and_how_it_was_read() -> None:
    (table, *_) = tables(recorded_blocks())
    told = {row[0]: row[1] for row in table.rows}
    (kept,) = JOBS["demo"].recordings
    assert told["File"] == "recording.csv"
    assert told["SHA-256"] == kept.sha256
    assert told["Length"] == "24.0 min, 2880 samples"
    assert told["Sampling interval"] == "usually 0.5 s, evenly"
    read = assessed("demo").recordings[0].imported
    assert read is not None
    said = texts(recorded_blocks())
    assert len(read.sentences()) >= 2
    assert all(text in said for text in read.sentences())


def test_the_fit_lies_over_the_height_and_what_it_leaves_below() -> None:
    height, left, _ = every(recorded_blocks(), LinePlot)
    fit = assessed("demo").recordings[0].report.fit
    assert fit is not None
    curve = fit.curves["height.rear"]
    fitted = next(line for line in height.lines if line.role == "fitted")
    assert max(fitted.y) == pytest.approx(1e3 * curve.fitted.max())
    assert min(fitted.y) == pytest.approx(1e3 * curve.fitted.min())
    assert (left.x.unit, left.y.unit) == ("min", "mm")
    assert left.low
    rest = 1e3 * (curve.measured - curve.fitted)
    assert max(left.lines[0].y) == pytest.approx(rest.max())
    assert min(left.lines[0].y) == pytest.approx(rest.min())
    assert left.lines[-1].role == "limit"


def test_commands_are_a_strip_below() -> None:
    height = next(iter(every(recorded_blocks(), LinePlot)))
    trace = assessed("demo").recordings[0].trace
    strips = {strip.name: strip for strip in height.strips}
    assert set(strips) == {"pump", "engine"}
    assert {strip.role for strip in height.strips} == {"command"}
    on = trace.channels["pump.command"] > 0.5
    assert len(strips["pump"].spans) == (np.diff(on.astype(int)) == 1).sum()
    lasted = sum(end - start for start, end in strips["pump"].spans)
    assert lasted == pytest.approx(on.sum() * 0.5 / 60, rel=0.02)


def test_the_tables_of_a_recording_have_units_and_intervals() -> None:
    found = {t.caption.partition(":")[0].partition(";")[0]: t for t in tables(recorded_blocks())}
    rests, fills = found["Rests"], found["Fills"]
    assert len(rests.rows) == 12
    assert fills.caption.endswith("the longest 12 of 13.")
    for cell in column(rests, "Speed (± one standard deviation)"):
        assert re.fullmatch(rf"{NUMBER} ± {NUMBER} mm/min", cell)
    fit = found["The virtual vehicle fitted to the recording"]
    told = dict(zip(column(fit, "Quantity"), fit.rows, strict=True))
    assert told["leak at the left"][1] == "not told"
    assert re.fullmatch(r"\d+ ± \d+ mL/min", told["leak of the axle"][1])
    assert all(cell for cell in column(fit, "Read from"))
    assert "Audit of the height signals: nothing stands out in 7 tests." in texts(recorded_blocks())


def standing_out(*whens: tuple[tuple[float, float], ...]) -> Recorded:
    """The demo's recording whose audit found these."""
    (recorded,) = assessed("demo").recordings
    bad = tuple(
        AuditResult(
            kind="spikes", channel="height.rear", value=9.0, std=1.0, unit="", threshold=5.0,
            when=when, text="3 spikes",
        )
        for when in whens
    )  # fmt: skip
    return replace(recorded, report=replace(recorded.report, audit=bad))


def test_what_stands_out_is_marked_at_its_times_and_listed() -> None:
    recorded = standing_out(((120.0, 120.5), (600.0, 660.0)))
    (height, *_) = recording_figures(recorded)
    mark = height.strips[-1]
    assert (mark.name, mark.role) == ("1 spikes", "mark")
    assert [start for start, _ in mark.spans] == [2.0, 10.0]
    assert [end - start for start, end in mark.spans] == pytest.approx([0.5 / 60, 1.0])
    a = replace(assessed("demo"), recordings=(recorded,))
    audit = next(
        t for t in tables(section(technical_paper(a), "Recording r1")) if "Audit" in t.caption
    )
    assert audit.rows == (
        ("1", "height.rear", "spikes", "9 ± 1", "5", "2.0 min, 1 more", "3 spikes"),
    )


def test_only_so_many_marks_are_drawn_and_none_of_another_signal() -> None:
    (height, *_) = recording_figures(standing_out(*[((60.0, 61.0),)] * 9))
    assert sum(strip.role == "mark" for strip in height.strips) == 5
    (recorded,) = assessed("demo").recordings
    (plain, *_) = recording_figures(recorded)
    assert all(strip.role == "command" for strip in plain.strips)


def test_without_a_fit_straight_lines_are_drawn() -> None:
    (recorded,) = assessed("demo").recordings
    bare = replace(recorded, report=replace(recorded.report, fit=None))
    height, voltage = recording_figures(bare)
    assert voltage.title == "Voltage at the pump"
    fitted = next(line for line in height.lines if line.role == "fitted")
    assert sum(math.isnan(y) for y in fitted.y) == len(recorded.report.lines)


def test_heights_of_one_axle_share_a_figure() -> None:
    (recorded,) = assessed("demo").recordings
    rear = recorded.trace.channels["height.rear"]
    places = ("front-left", "front-right", "rear-left", "rear-right")
    channels = {f"height.{place}": rear + 0.01 * i for i, place in enumerate(places)}
    trace = Trace(time=recorded.trace.time, channels=channels)
    bare = replace(recorded, trace=trace, report=replace(recorded.report, fit=None))
    front, back = recording_figures(bare)
    assert front.title == "Height of the front axle"
    assert [line.name for line in front.lines] == ["left, recorded", "right, recorded"]
    assert back.title == "Height of the rear axle"
    assert back.strips == ()
