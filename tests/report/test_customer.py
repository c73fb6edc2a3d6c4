"""The customer's page as a tree: what it says of every kind of job."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from papers import HOSTILE, JOBS, assessed, column, every, section, tables, texts
from sagtrace.report.customer import customer_paper
from sagtrace.report.tree import Chain, KeyFigure, Paper, Para, Section, Signature, Warn

CERTAIN = re.compile(r"(?<![\d.,])(0|100) %")
PRICE = re.compile(r"(0|[\d \u202f]+ ± \d+) EUR")
CHANCE = re.compile(r"(under 1|over 99|\d+) %")


def page(name: str) -> Paper:
    return customer_paper(assessed(name))


every_job = pytest.mark.parametrize("name", JOBS)
every_offer = pytest.mark.parametrize("name", [n for n, job in JOBS.items() if not job.repaired])
every_repaired = pytest.mark.parametrize("name", [n for n, job in JOBS.items() if job.repaired])


# --- whatever the job


@every_offer
def test_has_the_same_sections(name: str) -> None:
    titles = [block.title for block in page(name).body if isinstance(block, Section)]
    assert titles == [
        "What we found",
        "What we recommend",
        "Your choices",
        "How we prove it",
        "Please note",
        "Your approval",
    ]
    assert all(block.body for block in page(name).body if isinstance(block, Section))
    assert len(list(every(page(name), Signature))) == 2


def test_a_repaired_job_says_what_was_done_and_asks_for_no_approval() -> None:
    paper = page("repaired")
    titles = [block.title for block in paper.body if isinstance(block, Section)]
    assert titles[0] == "What was wrong"
    assert titles[1] == "What you approved"
    assert titles[2].startswith("What was done")
    assert titles[3:] == ["How it was proved", "Please note", "Handed over"]
    said = " ".join(texts(paper))
    assert "not proved yet" in said
    assert "Until it is repaired" not in said
    assert len(list(every(paper, Signature))) == 1
    assert list(every(paper, KeyFigure)) == []


@every_job
def test_texts_are_finished(name: str) -> None:
    for text in texts(page(name)):
        assert not re.search(r"\bnan\b|\binf\b|\bNone\b|<corner>|@(left|right)", text), text
        assert name == "hostile" or not re.search(r"  |\.\.|,,", text), text


@every_job
def test_nothing_is_certain(name: str) -> None:
    assert [text for text in texts(page(name)) if CERTAIN.search(text)] == []


@every_offer
def test_prices_and_chances_have_their_units(name: str) -> None:
    (table,) = tables(section(page(name), "Your choices"))
    assert all(PRICE.fullmatch(cell) for cell in column(table, "Price with tax"))
    for title in ("Cures", "Comes back"):
        assert all(CHANCE.fullmatch(cell) for cell in column(table, title))
    for figure in every(page(name), KeyFigure):
        assert PRICE.fullmatch(figure.value) or CHANCE.fullmatch(figure.value)


@every_job
def test_the_danger_is_always_said(name: str) -> None:
    warnings = [w for w in section(page(name), "Please note") if isinstance(w, Warn)]
    assert warnings[0].level == "danger"
    assert "can drop" in warnings[0].text


@every_offer
def test_choices_are_few_and_numbered(name: str) -> None:
    (table,) = tables(section(page(name), "Your choices"))
    numbers = column(table, "No.")
    assert numbers == [str(i) for i in range(1, len(table.rows) + 1)]
    assert 1 <= len(table.rows) <= 6
    assert len(set(table.rows)) == len(table.rows)
    assert "Do nothing" in column(table, "What is done")
    assert table.strong == (0,)


@every_repaired
def test_without_prices_the_foot_says_nothing_of_them(name: str) -> None:
    assert page(name).foot == ""


@every_offer
def test_the_foot_says_what_prices_are(name: str) -> None:
    tariff = assessed(name).system.tariff
    assert f"{tariff.currency}, {100 * tariff.tax:.0f} % tax included" in page(name).foot
    assert f"{tariff.period_months} months" in page(name).foot


# --- the demonstration


def test_an_invented_job_says_so() -> None:
    assert page("demo").mark == "Invented job for demonstration"
    assert page("opened").mark == ""


def test_says_in_plain_words_what_was_found() -> None:
    system = assessed("demo").system
    found = section(page("demo"), "What we found")
    (lead,) = [b.text for b in found if isinstance(b, Para) and b.tone == "lead"]
    assert system.faults["spring.fold-leak@left"].plain in lead
    assert system.faults["pump.worn"].plain in lead
    (chain,) = [b for b in found if isinstance(b, Chain)]
    assert [box.title for box in chain.boxes] == [
        "Cracked fold in the left rear air spring",
        "Worn air pump",
    ]
    assert chain.boxes[0].how == ""
    assert "keeps the pump running" in chain.boxes[1].how
    assert re.search(r"\d ± \d(\.\d)? % of a healthy pump's time", chain.text)
    assert all(re.search(r"(over )?9\d %", text) for text in (b.detail for b in chain.boxes))


def test_the_price_includes_the_tax() -> None:
    a = assessed("demo")
    (table,) = tables(section(page("demo"), "Your choices"))
    best = a.options[0].price.total * (1.0 + a.system.tariff.tax)
    assert float(column(table, "Price with tax")[0].partition(" ±")[0].replace(" ", "")) == round(
        best
    )
    assert next(every(page("demo"), KeyFigure)).value == column(table, "Price with tax")[0]


def test_half_a_repair_is_a_choice_with_its_reason() -> None:
    choices = section(page("demo"), "Your choices")
    (table,) = tables(choices)
    done = column(table, "What is done")
    assert done[0] != "Replace the left rear air spring"
    half = done.index("Replace the left rear air spring")
    assert column(table, "Comes back")[half].startswith("9")
    assert done[-1] == "Do nothing"
    assert any(
        text.startswith(f"With choice {half + 1}, worn air pump would remain")
        for text in texts(choices)
    )


def test_says_how_it_will_be_proved() -> None:
    said = " ".join(texts(section(page("demo"), "How we prove it")))
    assert "at most 0.7 mL/min" in said
    assert re.search(
        r"about \d+ mm in 12 h .*; the hold lasts at least \d+\.\d h, both temperatures", said
    )
    assert "at least 80 %" in said
    assert "Result" not in said


def test_says_what_is_not_ruled_out() -> None:
    said = " ".join(texts(section(page("demo"), "Please note")))
    assert re.search(r"Not ruled out yet: saturated air dryer \(\d+ %\)", said)


# --- other jobs


@pytest.mark.parametrize("name", ["empty", "opened"])
def test_without_evidence_nothing_is_claimed(name: str) -> None:
    found = " ".join(texts(section(page(name), "What we found")))
    assert "We do not know the cause yet" in found
    assert "more checks are needed" in found
    assert list(every(page(name), Chain)) == []
    assert list(every(page(name), KeyFigure)) == []
    assert "First find the cause" in " ".join(texts(section(page(name), "What we recommend")))


def test_what_the_customer_said_is_quoted_only_if_it_was_said() -> None:
    assert any(text == "You told us: It sits low." for text in texts(page("opened")))
    assert not any(text.startswith("You told us") for text in texts(page("empty")))


def test_results_of_proofs_are_told() -> None:
    said = texts(section(page("repaired"), "How it was proved"))
    results = [match[1] for text in said if (match := re.search(r"Result: (\w+)\.$", text))]
    assert sorted(results) == ["failed", "passed", "undecided"]
    assert len([text for text in said if "relay" in text.lower()]) == 1  # due, and not done yet


def test_a_failed_test_is_not_told_as_still_to_come() -> None:
    said = texts(section(page("repaired"), "How it was proved"))
    assert "The repair is not proved: a test failed, so more has to be found and repaired." in said
    assert not [text for text in said if "the tests below decide" in text]


def test_a_result_stands_beside_its_limit() -> None:
    said = texts(section(page("proved"), "How it was proved"))
    (hold,) = [text for text in said if text.startswith("Overnight hold of the left rear: ")]
    assert re.search(
        r"leak of the spring circuit \d\.\d+ ± \d\.\d+ mL/min; must be at most 0\.7 mL/min\. "
        r"Result: passed\.$",
        hold,
    )
    assert "The repair is proved: every test below was passed." in said


def test_advice_for_the_technician_is_not_the_customer_s() -> None:
    said = " ".join(texts(section(page("repaired"), "How it was proved")))
    assert "Result: undecided." in said
    assert "The reading cannot tell" not in said


def test_what_was_done_is_told_in_the_past() -> None:
    done = section(page("proved"), "What was done on 2026-11-25")
    system = assessed("proved").system
    assert texts(done)[:2] == [
        system.repairs["spring.replace@left"].done,
        system.repairs["pump.ring-kit"].done,
    ]
    assert all(text.startswith("We ") for text in texts(done)[:2])
    assert not [t for t in texts(page("proved")) if re.search(r"\bWe (fit|overhaul|renew)\b", t)]


def test_a_fault_that_was_repaired_is_not_told_as_present() -> None:
    wrong = section(page("proved"), "What was wrong")
    (chain,) = [b for b in wrong if isinstance(b, Chain)]
    assert {box.detail for box in chain.boxes} == {"found and repaired"}
    said = " ".join(texts(wrong))
    assert "Before the repair we found:" in said
    assert "How sure we are" not in said
    assert "present:" not in said


def test_a_repair_that_is_not_proved_is_not_told_as_cured() -> None:
    (chain,) = [b for b in section(page("repaired"), "What was wrong") if isinstance(b, Chain)]
    assert [box.detail for box in chain.boxes] == [
        "found and worked on, but the test afterwards failed",
        "found and repaired, not proved yet",
    ]


def test_says_what_was_approved_by_whom_and_when() -> None:
    said = " ".join(texts(section(page("proved"), "What you approved")))
    assert "900 ± 90 EUR with tax" in said
    assert "Approved by C. Example, in writing, 2026-11-25 16:30 UTC." in said
    assert "400 ± 60" not in said  # declined
    assert "without a noted approval" not in said
    assert "invented tariff" in said
    assert texts(section(page("repaired"), "What you approved"))[0] == "No approval is noted."


def test_every_approval_of_what_was_done_is_printed_with_its_price() -> None:
    a = assessed("proved")
    first = next(x for x in a.job.approvals if x.answer == "approved")
    half = [
        replace(first, id=f"h{i}", repairs=(repair,), offered=f"{price} EUR with tax")
        for i, (repair, price) in enumerate(zip(first.repairs, (500, 411), strict=False))
    ]
    assert len(half) == 2
    job = replace(a.job, approvals=tuple(half))
    said = " ".join(texts(section(customer_paper(replace(a, job=job)), "What you approved")))
    assert "500 EUR with tax" in said
    assert "411 EUR with tax" in said
    assert "without a noted approval" not in said


def test_work_beyond_the_approval_is_said() -> None:
    a = assessed("proved")
    beyond = replace(a.job.works[-1], id="w2", repairs=("relay.replace",))
    more = replace(a, job=replace(a.job, works=(*a.job.works, beyond)))
    said = texts(section(customer_paper(more), "What you approved"))
    assert "Done without a noted approval: replace the pump relay." in said


@every_offer
def test_the_reasons_for_a_come_back_add_up(name: str) -> None:
    """What is printed sums to the chance printed beside it, or says that ways can meet."""
    said = [t for t in texts(page(name)) if t.startswith("Why it may come back")]
    for text in said:
        total, *ways = [int(n) for n in re.findall(r"(\d+) %\)", text)]
        if "some of them together" in text:
            assert sum(ways) > total
        else:
            assert sum(ways) == total
    assert name != "demo" or said


def test_a_hostile_complaint_is_plain_text() -> None:
    assert page("hostile").subtitle == HOSTILE
    assert f"You told us: {HOSTILE}" in texts(page("hostile"))
    assert sum(HOSTILE in text for text in texts(page("hostile"))) == 2
