"""Drawings made from data: what is placed where, and that nothing leaves the sheet."""

from __future__ import annotations

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sagtrace.report.causes import Arrow, Station, Strand
from sagtrace.report.compared import Comparison, Measurement
from sagtrace.report.tree import Axis, Line, LinePlot, Span, Strip
from sagtrace.web.views.intervals import draw_intervals
from sagtrace.web.views.letters import width, wrap
from sagtrace.web.views.plot import NARROW, WIDE, Sheet, place
from sagtrace.web.views.story import draw_story

SHEETS = pytest.mark.parametrize("sheet", [WIDE, NARROW], ids=["wide", "narrow"])


def plot(*lines: Line, **more: object) -> LinePlot:
    given = {"title": "t", "x": Axis(title="time", unit="min"), "y": Axis(title="h", unit="mm")}
    return LinePlot(lines=lines, **{**given, **more})  # type: ignore[arg-type]


def points(way: str) -> list[tuple[float, float]]:
    return [(float(x), float(y)) for x, y in re.findall(r"[ML](-?[\d.]+) (-?[\d.]+)", way)]


# --- line plots


@SHEETS
def test_a_straight_line_runs_from_corner_to_corner(sheet: Sheet) -> None:
    p = place(plot(Line(name="a", x=(0.0, 5.0, 10.0), y=(0.0, 5.0, 10.0))), sheet)
    (x0, y0), (x1, y1), (x2, y2) = points(p.lines[0].way)
    assert x0 == pytest.approx(p.left, abs=0.1)
    assert x2 == pytest.approx(p.right, abs=0.1)
    assert y0 > y1 > y2  # more is higher up
    assert (x1, y1) == pytest.approx(((x0 + x2) / 2, (y0 + y2) / 2), abs=0.11)


@SHEETS
def test_ticks_stand_where_the_line_has_their_value(sheet: Sheet) -> None:
    p = place(plot(Line(name="a", x=(0.0, 10.0), y=(0.0, 20.0))), sheet)
    (x0, y0), (x1, y1) = points(p.lines[0].way)
    for tick in p.x_ticks:
        assert tick.at == pytest.approx(x0 + float(tick.text) / 10.0 * (x1 - x0), abs=0.1)
    for tick in p.y_ticks:
        assert tick.at == pytest.approx(y0 + float(tick.text) / 20.0 * (y1 - y0), abs=0.1)


def test_axes_carry_their_units() -> None:
    p = place(plot(Line(name="a", x=(0.0, 1.0), y=(0.0, 1.0))), WIDE)
    assert (p.x_title, p.y_title) == ("time [min]", "h [mm]")


def test_a_gap_breaks_the_line_and_a_lone_point_is_a_dot() -> None:
    line = Line(name="a", x=(0.0, 1.0, 2.0, 3.0, 4.0), y=(1.0, 2.0, math.nan, 3.0, math.inf))
    (drawn,) = place(plot(line), WIDE).lines
    assert drawn.way.count("M") == 1
    assert len(drawn.dots) == 1


def test_a_spike_of_one_sample_survives_thinning() -> None:
    n = 100_000
    y = [0.0] * n
    y[54_321] = 7.0
    (drawn,) = place(plot(Line(name="a", x=tuple(map(float, range(n))), y=tuple(y))), NARROW).lines
    found = points(drawn.way)
    assert len(found) < 4 * NARROW.wide / 0.5
    assert min(y for _, y in found) < max(y for _, y in found) - 0.8 * NARROW.high


@SHEETS
def test_strips_and_spans_lie_over_their_time(sheet: Sheet) -> None:
    p = place(
        plot(
            Line(name="a", x=(0.0, 10.0), y=(0.0, 1.0)),
            spans=(Span(start=2.0, end=4.0, label="hold"),),
            strips=(Strip(name="pump", spans=((2.0, 4.0), (40.0, 50.0))),),
        ),
        sheet,
    )
    (span,), ((at, wide),) = p.spans, p.strips[0].bars
    assert (span.at, span.wide) == pytest.approx((at, wide))
    assert at == pytest.approx(p.left + 0.2 * (p.right - p.left), abs=0.1)
    assert [key.text for key in p.keys] == ["a", "hold"]


def test_without_values_the_plot_says_so() -> None:
    p = place(plot(Line(name="a", x=(), y=())), NARROW)
    assert p.empty
    assert p.keys[0].text == "a (no values)"


@given(st.lists(st.tuples(st.floats(), st.floats()), max_size=30))
def test_whatever_comes_stays_on_the_sheet(values: list[tuple[float, float]]) -> None:
    line = Line(name="a", x=tuple(v[0] for v in values), y=tuple(v[1] for v in values))
    p = place(plot(line), NARROW)
    for drawn in p.lines:
        for x, y in (*points(drawn.way), *drawn.dots):
            assert -0.1 <= x <= p.wide + 0.1
            assert -0.1 <= y <= p.high + 0.1


# --- letters


@given(st.text(max_size=200), st.floats(20.0, 400.0))
def test_wrapped_lines_fit_and_lose_nothing(text: str, room: float) -> None:
    lines = wrap(text, room, 14.0)
    assert "".join("".join(lines).split()) == "".join(text.split())
    assert all(width(line, 14.0) <= room or len(line) == 1 for line in lines)


# --- the story


def strand(kind: str = "sure") -> Strand:
    return Strand(
        stations=(
            Station(title="A crack", details=("present: 95 %", "320 ± 40 mL/min")),
            Station(title="A worn pump", details=("present: 90 %",)),
        ),
        arrows=(Arrow(how="it runs too long", numbers=("4.3 ± 1 % duty",), kind=kind),),  # type: ignore[arg-type]
    )


@pytest.mark.parametrize("wide", [350.0, 760.0])
def test_arrows_join_stations_and_words_stay_inside(wide: float) -> None:
    d = draw_story(strand(), wide, 15.0)
    first, second = d.frames
    (arrow,) = d.arrows
    assert arrow.start == pytest.approx(first.y + first.high, abs=0.2)
    assert arrow.end == pytest.approx(second.y, abs=0.2)
    assert d.high >= second.y + second.high
    assert all(w.x + width(w.text, 15.0) <= wide for w in d.words)
    assert [w.y for w in d.words] == sorted(w.y for w in d.words)
    written = " ".join(w.text for w in d.words)
    assert "320 ± 40 mL/min" in written
    assert "4.3 ± 1 % duty" in written


@pytest.mark.parametrize(
    ("kind", "said"),
    [("sure", "led to"), ("doubtful", "may have led to"), ("no", "does not explain")],
)
def test_an_arrow_says_whether_it_counts(kind: str, said: str) -> None:
    d = draw_story(strand(kind), 350.0, 15.0)
    assert d.arrows[0].kind == kind
    assert said in [w.text for w in d.words]
    assert strand(kind).sentences()[0].startswith(f"A crack {said} a worn pump")


# --- before and after


def measured(when: str, value: float, std: float) -> Measurement:
    return Measurement(
        label=when, when=when, value=value, low=value - 2 * std, high=value + 2 * std, text="",  # type: ignore[arg-type]
    )  # fmt: skip


def test_results_decades_apart_stand_on_a_logarithmic_axis() -> None:
    """Equal ratios take equal ways."""
    rows = (measured("before", 1000.0, 100.0), measured("after", -0.02, 0.14))
    d = draw_intervals(
        Comparison(
            title="leak", unit="mL/min", limit=0.7, side="at most", limit_text="", rows=rows
        ),
        WIDE,
    )
    assert "logarithmic" in d.title
    steps = [b.at - a.at for a, b in zip(d.ticks, d.ticks[1:], strict=False)]
    assert max(steps) - min(steps) < 0.1
    before, after = d.rows
    assert before.dot == pytest.approx(
        next(t.at for t in d.ticks if t.text == "1\u202f000"), abs=0.1
    )
    assert after.dot is None  # a value below zero has no place on it
    assert after.more_left
    assert after.high < d.limit < before.low
    assert (d.good_at, d.good_at + d.good_wide) == pytest.approx((d.left, d.limit))


def test_results_close_together_stand_on_a_linear_axis() -> None:
    rows = (measured("before", 45.0, 5.0), measured("after", 97.0, 6.0))
    d = draw_intervals(
        Comparison(title="health", unit="%", limit=80.0, side="at least", limit_text="", rows=rows),
        NARROW,
    )
    assert "logarithmic" not in d.title
    before, after = d.rows
    assert before.dot is not None
    assert after.dot is not None
    assert before.high < d.limit < after.low
    scale = (after.dot - before.dot) / (97.0 - 45.0)
    assert d.limit == pytest.approx(before.dot + (80.0 - 45.0) * scale, abs=0.1)
    assert (d.good_at, d.good_at + d.good_wide) == pytest.approx((d.limit, d.right), abs=0.1)
    assert not before.more_left
    assert not after.more_right


@given(
    st.lists(st.tuples(st.floats(-1e6, 1e6), st.floats(0.0, 1e5)), min_size=1, max_size=5),
    st.floats(1e-3, 1e4),
)
def test_intervals_stay_on_the_axis(values: list[tuple[float, float]], limit: float) -> None:
    rows = tuple(measured("before", value, std) for value, std in values)
    d = draw_intervals(
        Comparison(title="q", unit="u", limit=limit, side="at most", limit_text="", rows=rows),
        NARROW,
    )
    for row in d.rows:
        assert d.left - 0.1 <= row.low <= row.high <= d.right + 1.1
        assert row.dot is None or d.left - 0.1 <= row.dot <= d.right + 0.1
    assert d.left - 0.1 <= d.limit <= d.right + 0.1
