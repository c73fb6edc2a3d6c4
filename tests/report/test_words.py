"""Numbers as people read them."""

from __future__ import annotations

import doctest
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sagtrace.report import words
from sagtrace.report.words import between, duration, listed, money, odds, percent, sentence


def test_examples() -> None:
    failed, tried = doctest.testmod(words)
    assert tried >= len(words.__all__)
    assert failed == 0


@given(p=st.floats(0.0, 1.0))
def test_nothing_is_certain(p: float) -> None:
    text = percent(p)
    assert re.fullmatch(r"(under 1|over 99|[1-9]\d?) %", text)
    if text[0].isdigit():
        assert abs(float(text.split()[0]) - 100 * p) <= 0.5 + 1e-9


@pytest.mark.parametrize(
    ("p", "text"),
    [
        (0.0, "under 1 %"),
        (-1e-12, "under 1 %"),  # what is left over by rounding
        (0.00999, "under 1 %"),
        (0.01, "1 %"),
        (0.5, "50 %"),
        (0.99, "99 %"),
        (0.9901, "over 99 %"),
        (1.0, "over 99 %"),
        (1.0 + 1e-12, "over 99 %"),
    ],
)
def test_percent(p: float, text: str) -> None:
    assert percent(p) == text


@pytest.mark.parametrize(
    ("amount", "spread", "text"),
    [
        (0.0, None, "0 EUR"),
        (0.4, None, "0 EUR"),
        (999.6, None, "1 000 EUR"),
        (12345.0, None, "12\u202f345 EUR"),
        (735.0, 0.0, "735 EUR"),
        (735.0, 58.4, "735 ± 58 EUR"),
    ],
)
def test_money(amount: float, spread: float | None, text: str) -> None:
    assert money(amount, "EUR", spread) == text


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (0.0, "0 s"),
        (119.4, "119 s"),
        (120.0, "2 min"),
        (7199.0, "120 min"),
        (7200.0, "2.0 h"),
        (86_400.0, "24.0 h"),
    ],
)
def test_duration(seconds: float, text: str) -> None:
    assert duration(seconds) == text


@pytest.mark.parametrize(
    ("low", "high", "text"),
    [
        (0.0, 1.0, "0.0 to 1.0 V"),
        (-6.2, 8.1, "−6 to 8 V"),
        (-0.04, 3.0, "0.0 to 3.0 V"),
        (1234.0, 987_654.0, "0 to 990000 V"),
        (12.0, 12.0, "12.000 to 12.000 V"),
        (0.00012, 0.00034, "0.00012 to 0.00034 V"),
    ],
)
def test_between(low: float, high: float, text: str) -> None:
    assert between(low, high, "V") == text


@given(low=st.floats(-1e6, 1e6), width=st.floats(1e-3, 1e6))
def test_an_interval_keeps_its_ends(low: float, width: float) -> None:
    """Rounding moves an end by less than a twentieth of the width."""
    ends = between(low, low + width, "mm").removesuffix(" mm").replace("−", "-").split(" to ")
    assert float(ends[0]) == pytest.approx(low, abs=0.0501 * width)
    assert float(ends[1]) == pytest.approx(low + width, abs=0.0501 * width)
    assert "-0" not in [end.rstrip(".0") for end in ends]


@pytest.mark.parametrize(
    ("log_odds", "text"),
    [
        (0.7, "odds × 2.0"),
        (-0.7, "odds ÷ 2.0"),
        (3.0, "odds × 20"),
        (-27.0, "odds ÷ over 1000"),
    ],
)
def test_odds(log_odds: float, text: str) -> None:
    assert odds(log_odds) == text


def test_odds_of_a_move_are_those_of_bayes() -> None:
    """From 1:3 to 3:1 is a ninefold of the odds: ln 9 = 2.197."""
    assert odds(2.1972245773) == "odds × 9.0"


@pytest.mark.parametrize(
    ("items", "text"),
    [([], ""), (["a"], "a"), (["a", "b"], "a or b"), (["a", "b", "c"], "a, b or c")],
)
def test_listed(items: list[str], text: str) -> None:
    assert listed(items, "or") == text


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("", ""),
        ("  ", ""),
        ("a", "A."),
        ("Is it?", "Is it?"),
        ("done.", "Done."),
        ("12 V are low", "12 V are low."),
        ("élan", "Élan."),
    ],
)
def test_sentence(text: str, shown: str) -> None:
    assert sentence(text) == shown
