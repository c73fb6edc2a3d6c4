"""A printed paper holds every word that went in, on pages that open everywhere."""

from __future__ import annotations

import dataclasses
import io
import math
import re
import sys
import time
from collections.abc import Callable, Iterator
from ctypes import c_ushort, sizeof
from importlib.resources import files
from itertools import pairwise
from typing import Any

import pypdfium2 as pdfium
import pypdfium2.raw as pdfium_c
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from paper_samples import (
    FOOT,
    HOSTILE,
    LONG_WORD,
    MARK,
    causes,
    customer_paper,
    endless_paper,
    height_plot,
    hostile_paper,
    odd_plots,
    paper,
    technical_paper,
)
from PIL import Image, ImageFont

from papers import assessed
from sagtrace.adapters import pdf
from sagtrace.adapters.pdf import frame, glyphs, render_pdf, render_png, wire
from sagtrace.errors import DomainError, MissingPartError
from sagtrace.report.assessment import Assessment
from sagtrace.report.customer import customer_paper as report_customer
from sagtrace.report.scales import HEADROOM, nice_ticks
from sagtrace.report.technical import technical_paper as report_technical
from sagtrace.report.tree import (
    Axis,
    Bar,
    Bars,
    Block,
    Box,
    Bullets,
    Chain,
    Column,
    KeyFigure,
    KeyFigures,
    Line,
    LinePlot,
    Paper,
    Para,
    Section,
    Signature,
    Span,
    Steps,
    Strip,
    Table,
    Warn,
)

NAN = math.nan
MM = 72.0 / 25.4  # [pt]
CHOICES = {"kind", "tone", "level", "align", "role"}  # fields that hold a choice, not a text
SAMPLES = {"customer": customer_paper(), "technical": technical_paper()}
ALL = SAMPLES | {"hostile": hostile_paper(), "odd": odd_plots(), "endless": endless_paper()}
each_sample = pytest.mark.parametrize("name", SAMPLES)


def read(data: bytes) -> list[str]:
    """Return the text of each page."""
    return [page.get_textpage().get_text_range() for page in pdfium.PdfDocument(data)]


def squeezed(text: str) -> str:
    """Return the text without the white space in which a line break may hide."""
    return re.sub(r"\s+", "", text)


def texts(node: Any) -> Iterator[str]:
    """Return every text in a tree."""
    for field in dataclasses.fields(node):
        value = getattr(node, field.name)
        for item in value if isinstance(value, tuple) else (value,):
            if dataclasses.is_dataclass(item):
                yield from texts(item)
            elif field.name in ("rows", "facts"):
                yield from item
            elif isinstance(item, str) and field.name not in CHOICES:
                yield item


@pytest.fixture(scope="module")
def made() -> dict[str, bytes]:
    return {name: render_pdf(sample) for name, sample in ALL.items()}


@pytest.mark.from_memory("ISO 216: A4 is 210 mm by 297 mm")
@each_sample
def test_pages_are_a4(made: dict[str, bytes], name: str) -> None:
    for page in pdfium.PdfDocument(made[name]):
        assert page.get_size() == pytest.approx((210.0 * MM, 297.0 * MM), abs=0.01)


@pytest.mark.regression
def test_samples_keep_their_number_of_pages(made: dict[str, bytes]) -> None:
    assert {name: len(read(made[name])) for name in SAMPLES} == {"customer": 2, "technical": 3}


@each_sample
def test_every_text_is_on_the_paper(made: dict[str, bytes], name: str) -> None:
    printed = squeezed("".join(read(made[name])))
    wanted = [text for text in texts(SAMPLES[name]) if text]
    assert len(wanted) > 50
    assert [text for text in wanted if squeezed(text) not in printed] == []


@each_sample
def test_every_page_has_mark_foot_and_number(made: dict[str, bytes], name: str) -> None:
    pages = read(made[name])
    for number, page in enumerate(pages, start=1):
        flat = " ".join(page.split())
        assert MARK in flat
        assert FOOT in flat
        assert f"page {number} of {len(pages)}" in flat


def test_without_mark_and_foot_nothing_is_left_of_them() -> None:
    (page,) = read(render_pdf(paper(Para(text="words"), mark="", foot="", facts=(), subtitle="")))
    assert " ".join(page.split()) == "Technical record A test paper words page 1 of 1"


def fonts_in(data: bytes) -> dict[str, bool]:
    """Return the family of every font in use, and whether it is embedded."""
    found: dict[str, bool] = {}
    for page in pdfium.PdfDocument(data):
        for item in page.get_objects(filter=[pdfium_c.FPDF_PAGEOBJ_TEXT], max_depth=15):
            font = item.get_font()
            name = font.get_base_name().split("+")[-1].split("-")[0]
            found[name] = found.get(name, True) and bool(font.is_embedded)
    return found


@each_sample
def test_samples_use_the_shipped_font_only(made: dict[str, bytes], name: str) -> None:
    assert fonts_in(made[name]) == {"SourceSansPro": True}


def test_every_font_is_embedded(made: dict[str, bytes]) -> None:
    used = fonts_in(made["hostile"])
    assert all(used.values())
    assert set(used) <= {"SourceSansPro", "DejaVuSansMono", "LibertinusSerif"}


def alternatives(data: bytes) -> list[str]:
    """Return the alternative texts of all figures."""
    found = []

    def walk(element: Any) -> None:
        size = pdfium_c.FPDF_StructElement_GetAltText(element, None, 0)
        if size > sizeof(c_ushort):
            buffer = (c_ushort * (size // sizeof(c_ushort)))()
            pdfium_c.FPDF_StructElement_GetAltText(element, buffer, size)
            found.append(bytes(buffer).decode("utf-16-le").rstrip("\0"))
        for i in range(pdfium_c.FPDF_StructElement_CountChildren(element)):
            if child := pdfium_c.FPDF_StructElement_GetChildAtIndex(element, i):
                walk(child)

    for page in pdfium.PdfDocument(data):
        tree = pdfium_c.FPDF_StructTree_GetForPage(page)
        for i in range(pdfium_c.FPDF_StructTree_CountChildren(tree)):
            walk(pdfium_c.FPDF_StructTree_GetChildAtIndex(tree, i))
        pdfium_c.FPDF_StructTree_Close(tree)
    return found


def test_file_is_tagged_and_figures_are_told_in_words(made: dict[str, bytes]) -> None:
    document = pdfium.PdfDocument(made["technical"])
    assert pdfium_c.FPDFCatalog_IsTagged(document)
    assert b"/Lang(en)" in made["technical"].replace(b" ", b"")
    assert document.get_metadata_value("Title") == SAMPLES["technical"].title
    told = alternatives(made["technical"])
    assert len(told) == 3
    assert any(height_plot().text in alt for alt in told)
    assert any(causes().text in alt and "(not certain)" in alt for alt in told)
    assert any("Pump worn: 89 %" in alt for alt in told)


def test_file_carries_no_date(made: dict[str, bytes]) -> None:
    info = pdfium.PdfDocument(made["customer"]).get_metadata_dict()
    assert (info["CreationDate"], info["ModDate"]) == ("", "")


@each_sample
def test_same_paper_gives_the_same_bytes(made: dict[str, bytes], name: str) -> None:
    for cached in (pdf._fonts, pdf._template, glyphs.read_face):
        cached.cache_clear()
    assert render_pdf(SAMPLES[name]) == made[name]


@each_sample
def test_a_paper_takes_less_than_two_seconds(name: str) -> None:
    start = time.perf_counter()
    render_pdf(SAMPLES[name])
    assert time.perf_counter() - start < 2.0


def test_cautions_say_in_words_how_grave_they_are() -> None:
    words = ["Danger", "Warning", "Notice"]
    body = (
        Warn(level="danger", text="text"),
        Warn(level="warning", text="text"),
        Warn(level="notice", text="text"),
    )
    (page,) = read(render_pdf(paper(*body)))
    assert [word for word in page.split() if word in words] == words


# ---- texts that try to be something else


@pytest.mark.parametrize("text", [line for line in HOSTILE if "\n" not in line])
def test_markup_is_printed_as_typed(text: str) -> None:
    (page,) = read(render_pdf(paper(Para(text=text), mark="", foot="")))
    assert text in page.splitlines()


def test_hostile_texts_are_literal_everywhere(made: dict[str, bytes]) -> None:
    printed = squeezed("".join(read(made["hostile"])))
    for text in (*HOSTILE, LONG_WORD):
        assert printed.count(squeezed(text)) >= 3, text


@pytest.mark.parametrize("name", ALL)
def test_nothing_leaves_the_text_column(made: dict[str, bytes], name: str) -> None:
    left, right = 20.0 * MM - 1.0, 190.0 * MM + 1.0
    bottom, top = 8.0 * MM, 289.0 * MM
    step = 7 if name == "endless" else 1  # because it has half a million characters
    outside = []
    for number, page in enumerate(pdfium.PdfDocument(made[name]), start=1):
        words = page.get_textpage()
        for i in range(0, words.count_chars(), step):
            x0, y0, x1, y1 = words.get_charbox(i)
            inside = x0 > left and x1 < right and y0 > bottom and y1 < top
            if not inside and x1 > x0 and words.get_text_range(i, 1).strip():
                outside.append((number, words.get_text_range(i, 1), x0, y0))
    assert outside == []


def test_characters_without_a_glyph_become_visible() -> None:
    text = "山田 😀 \ud800 \x07 x\u202ey\u200dz\ufe0f e\u0301"
    (page,) = read(render_pdf(paper(Para(text=text))))
    assert "□□ □ □ □ xyz é" in page
    assert "□ stands for a character that this font does not have" in page
    for code in ("U+0007", "U+5C71", "U+7530", "U+D800", "U+1F600"):
        assert code in page


def test_the_fallback_faces_have_what_is_said_of_them() -> None:
    # Because the accessible standard makes the PDF maker refuse any character without a glyph.
    signs = sorted(glyphs.FALLBACK)
    printed = "".join(read(render_pdf(paper(Bullets(items=tuple(signs))))))
    assert [sign for sign in signs if sign not in printed] == []
    assert "stands for" not in printed


def test_widths_are_those_of_the_font_file() -> None:
    face = glyphs.read_face()
    path = str(glyphs.font_folder() / glyphs.REGULAR)
    per_em = 1000  # because this font counts in thousandths, the reference rounds nothing
    reference = ImageFont.truetype(path, per_em, layout_engine=ImageFont.Layout.BASIC)
    chars = [chr(code) for code in sorted(face.advances)]
    assert len(chars) > 1000
    wrong = [c for c in chars if abs(reference.getlength(c) - face.width(c, per_em)) > 1.0]
    assert wrong == []


# ---- pages and tables


def test_a_long_table_keeps_its_head_and_every_row() -> None:
    rows = tuple((f"row{i:03d}", f"{i / 7.0:.3f}") for i in range(300))
    columns = (Column(title="HEADNAME"), Column(title="Value", align="right"))
    pages = read(render_pdf(paper(Table(columns=columns, rows=rows))))
    assert len(pages) > 5
    assert all(page.count("HEADNAME") == 1 for page in pages)
    assert re.findall(r"row\d{3}", "".join(pages)) == [row[0] for row in rows]


def test_numbers_are_right_aligned() -> None:
    columns = (Column(title="What"), Column(title="Value", align="right"))
    table = Table(columns=columns, rows=(("a", "77"), ("b", "88888")))
    words = pdfium.PdfDocument(render_pdf(paper(table)))[0].get_textpage()
    chars = [words.get_text_range(i, 1) for i in range(words.count_chars())]
    ends = [words.get_charbox(len(chars) - 1 - chars[::-1].index(digit))[2] for digit in "78"]
    assert ends[0] == pytest.approx(ends[1], abs=0.5)


def test_an_empty_table_says_so() -> None:
    columns = (Column(title="What"), Column(title="Value"))
    (page,) = read(render_pdf(paper(Table(columns=columns, rows=(), caption="Parts"))))
    assert [part for part in ("Parts", "What", "Value", "No entries.") if part not in page] == []


def test_empty_blocks_print_nothing() -> None:
    empty: tuple[Block, ...] = (
        Table(columns=(), rows=(("never",),)),
        Bullets(items=()),
        Steps(items=()),
        KeyFigures(items=()),
        Bars(title="never", bars=()),
        Chain(title="never", boxes=()),
        Section(title="", body=()),
    )
    assert read(render_pdf(paper(*empty))) == read(render_pdf(paper()))


FOLLOWERS: dict[str, tuple[Block, ...]] = {
    "text": (Para(text="FOLLOWS " + "words " * 60),),
    "table": (Table(columns=(Column(title="Head"),), rows=(("FOLLOWS",),) * 5, caption="Cap"),),
    "plot": (dataclasses.replace(height_plot(), text="FOLLOWS"),),
    "caution": (Warn(level="danger", text="FOLLOWS"),),
    "deeper": (Section(title="Inner", body=(Bullets(items=("FOLLOWS", "more")),)),),
}


@pytest.mark.parametrize("kind", FOLLOWERS)
def test_a_heading_never_stands_alone_at_a_page_end(kind: str) -> None:
    turned = set()
    for lines in range(16, 34):
        filler = tuple(Para(text="x") for _ in range(lines))
        pages = read(render_pdf(paper(*filler, Section(title="LONELY", body=FOLLOWERS[kind]))))
        (at,) = [i for i, page in enumerate(pages) if "LONELY" in page]
        assert "FOLLOWS" in pages[at].split("LONELY")[1], lines
        turned.add(at)
    assert len(turned) > 1  # because the page end must have been met


@pytest.mark.parametrize("figure", [height_plot(), causes()], ids=["plot", "chain"])
def test_a_figure_stays_on_one_page(figure: LinePlot | Chain) -> None:
    inside = [squeezed(text) for text in texts(figure) if text not in ("", "mm", "min")]
    assert len(inside) > 8
    turned = set()
    for lines in range(8, 26):
        filler = tuple(Para(text="x") for _ in range(lines))
        pages = [squeezed(page) for page in read(render_pdf(paper(*filler, figure)))]
        whole = [i for i, page in enumerate(pages) if all(text in page for text in inside)]
        assert len(whole) == 1, lines
        turned.update(whole)
    assert len(turned) > 1


# ---- where the parts of a plot go


def scene(*lines: Line, spans: tuple[Span, ...] = ()) -> dict[str, Any]:
    axis = Axis(title="t", unit="s")
    plot = LinePlot(title="", x=axis, y=axis, lines=lines, spans=spans)
    return frame.scene(plot, [line.name for line in lines], spans, glyphs.read_face())


def test_a_missing_value_is_a_gap() -> None:
    line = Line(name="a", x=(0.0, 1.0, 2.0, 3.0, 4.0, 5.0), y=(0.0, 1.0, NAN, 1.0, 0.0, NAN))
    (drawn,) = scene(line)["lines"]
    assert [len(run) for run in drawn["runs"]] == [2, 2]
    assert drawn["dots"] == []


def test_a_single_point_is_a_dot() -> None:
    s = scene(Line(name="a", x=(3.0,), y=(24.0,)))
    (drawn,) = s["lines"]
    ((x, y),) = drawn["dots"]
    assert drawn["runs"] == []
    assert s["left"] < x < s["right"]
    assert s["top"] < y < s["bottom"]


def test_a_spike_of_one_sample_survives() -> None:
    many = 50_000
    y = [0.0] * many
    y[31_234], y[777] = 5.0, -2.0
    s = scene(Line(name="a", x=tuple(map(float, range(many))), y=tuple(y)))
    (run,) = s["lines"][0]["runs"]
    assert len(run) < many / 5
    heights = [point[1] for point in run]
    per_unit = (s["bottom"] - s["top"]) / (7.0 * (1.0 + 2.0 * HEADROOM))
    assert max(heights) - min(heights) == pytest.approx(7.0 * per_unit, abs=0.02)


def test_names_at_line_ends_do_not_overlap() -> None:
    lines = [Line(name=f"line {k}", x=(0.0, 1.0), y=(0.0, 1.0 + k / 1e4)) for k in range(5)]
    names = scene(*lines)["names"]
    heights = [name["y"] for name in names]
    assert [name["text"] for name in names] == [f"line {k}" for k in (4, 3, 2, 1, 0)]
    assert all(b - a >= frame.NAME_ROW - 0.01 for a, b in pairwise(heights))


@pytest.mark.parametrize(
    "lines",
    [
        tuple(Line(name=f"line {k}", x=(0.0, 1.0), y=(0.0, 1.0)) for k in range(6)),
        (Line(name="a name that is much too long for the margin", x=(0.0, 1.0), y=(0.0, 1.0)),),
        (
            Line(name="ends early", x=(0.0, 0.5), y=(0.0, 1.0)),
            Line(name="whole", x=(0.0, 1.0), y=(0.0, 1.0)),
        ),
        (Line(name="nothing", x=(), y=()),),
    ],
    ids=["many", "long", "early", "empty"],
)
def test_names_that_do_not_fit_go_to_a_legend(lines: tuple[Line, ...]) -> None:
    s = scene(*lines)
    assert s["names"] == []
    shown = [entry["text"].removesuffix(" (no values)") for entry in s["legend"]]
    assert shown == [line.name for line in lines]


def test_lines_of_a_plot_differ_in_more_than_colour() -> None:
    roles: tuple[Any, ...] = ("measured", "fitted", "limit")
    lines = [
        Line(name=f"{role} {k}", x=(0.0, 1.0), y=(0.0, 1.0), role=role)
        for role in roles
        for k in range(3)
    ]
    styles = [line["style"] for line in scene(*lines)["lines"]]
    template = (files(pdf.__name__) / "figures.typ").read_text(encoding="utf-8")
    pens = dict(re.findall(r'"(\w+-\d)": \(paint: \w+, (.+)\),\n', template))
    assert len({pens[style] for style in styles}) == len(lines)


def test_span_labels_neither_overlap_nor_leave_the_plot() -> None:
    spans = tuple(Span(start=i * 3.0, end=i * 3.0 + 1.0, label=f"filling {i}") for i in range(10))
    s = scene(Line(name="a", x=(0.0, 30.0), y=(0.0, 1.0)), spans=spans)
    face = glyphs.read_face()
    rows: dict[float, list[tuple[float, float]]] = {}
    for label in s["span_labels"]:
        end = label["x"] + face.width(label["text"], frame.SPAN_SIZE)
        rows.setdefault(label["y"], []).append((label["x"], end))
        assert s["left"] - 0.5 <= label["x"]
        assert end <= s["right"] + 0.5
    assert sum(map(len, rows.values())) == len(spans)
    for row in rows.values():
        assert all(a[1] < b[0] for a, b in pairwise(row))


def test_span_labels_without_room_go_to_the_legend_once() -> None:
    label = "filling the left spring from the pump"
    spans = tuple(Span(start=float(i), end=i + 0.5, label=label, role="fill") for i in range(30))
    s = scene(Line(name="a", x=(0.0, 30.0), y=(0.0, 1.0)), spans=spans)
    assert s["span_labels"] == []
    assert s["legend"] == [{"span": "fill", "text": label}]


def test_spans_without_an_end_reach_the_edge() -> None:
    spans = (
        Span(start=5.0, end=math.inf, label="a"),
        Span(start=-math.inf, end=5.0, label="b"),
        Span(start=NAN, end=5.0, label="never"),
    )
    s = scene(Line(name="a", x=(0.0, 10.0), y=(0.0, 1.0)), spans=spans)
    middle = (s["left"] + s["right"]) / 2
    assert [(span["x0"], span["x1"]) for span in s["spans"]] == [
        pytest.approx((middle, s["right"]), abs=0.01),
        pytest.approx((s["left"], middle), abs=0.01),
    ]


def test_strips_stand_below_the_plot_and_their_names_on_the_page() -> None:
    axis, line = Axis(title="t", unit="s"), Line(name="a", x=(0.0, 10.0), y=(0.0, 1.0))
    strips = (
        Strip(name="pump", spans=((2.0, 4.0), (5.0, 5.0))),
        Strip(name="1 dropouts of the signal", spans=((-5.0, 1.0), (20.0, 30.0)), role="mark"),
    )
    plot = LinePlot(title="", x=axis, y=axis, lines=(line,), strips=strips)
    face = glyphs.read_face()
    s = frame.scene(plot, ["a"], (), face, strips)
    pump, mark = s["strips"]
    scale = (s["right"] - s["left"]) / 10.0
    assert pump["bars"][0] == pytest.approx([s["left"] + 2 * scale, s["left"] + 4 * scale], abs=0.1)
    assert pump["bars"][1][0] == pump["bars"][1][1]
    # What lies outside is cut off or left out.
    (bar,) = mark["bars"]
    assert bar == pytest.approx([s["left"], s["left"] + scale], abs=0.1)
    assert s["bottom"] < pump["y"] < mark["y"] < s["base"] < s["h"]
    assert mark["y"] - pump["y"] >= 8.0
    widest = max(face.width(strip.name, frame.NAME_SIZE) for strip in strips)
    assert s["right"] + frame.GAP + widest <= frame.WIDTH


def test_a_low_plot_is_about_half_as_high() -> None:
    axis, line = Axis(title="t", unit="s"), Line(name="a", x=(0.0, 10.0), y=(0.0, 1.0))
    plots = [LinePlot(title="", x=axis, y=axis, lines=(line,), low=low) for low in (False, True)]
    usual, low = (frame.scene(plot, ["a"], (), glyphs.read_face()) for plot in plots)
    assert 0.3 < (low["bottom"] - low["top"]) / (usual["bottom"] - usual["top"]) < 0.6
    assert low["base"] == low["bottom"]
    assert low["strips"] == []


@pytest.mark.parametrize("high", [0.38, 0.42, 0.9, 1.1, 4.2, 7.7, 430.0])
def test_a_low_plot_has_a_scale(high: float) -> None:
    axis, line = Axis(title="t", unit="s"), Line(name="a", x=(0.0, 10.0), y=(-high, high))
    plot = LinePlot(title="", x=axis, y=axis, lines=(line,), low=True)
    ticks = frame.scene(plot, ["a"], (), glyphs.read_face())["y_ticks"]
    assert 2 <= len(ticks) <= 8
    assert all(a[0] - b[0] >= frame.TICK_SIZE for a, b in pairwise(ticks))


def test_strips_are_told_to_who_cannot_see_them() -> None:
    axis, line = Axis(title="t", unit="s"), Line(name="a", x=(0.0, 10.0), y=(0.0, 1.0))
    strips = (Strip(name="pump", spans=((2.0, 4.0),)),)
    plot = LinePlot(title="", x=axis, y=axis, lines=(line,), strips=strips)
    (drawing,) = wire.to_wire(paper(plot), glyphs.read_face())["body"]
    assert "below it: pump" in drawing["alt"]


@pytest.mark.parametrize(
    ("low", "high", "most", "expected"),
    [
        (0.0, 22.0, 12, ["0", "2", "4", "6", "8", "10", "12", "14", "16", "18", "20", "22"]),
        (-0.3, 0.3, 6, ["−0.3", "−0.2", "−0.1", "0", "0.1", "0.2", "0.3"]),
        (388.0, 405.0, 6, ["390", "395", "400", "405"]),
        (0.0, 40000.0, 4, ["0", "10\u202f000", "20\u202f000", "30\u202f000", "40\u202f000"]),
        (0.0, 3e7, 4, ["0", "1×10⁷", "2×10⁷", "3×10⁷"]),
        (0.0, 2e-6, 2, ["0", "1×10⁻⁶", "2×10⁻⁶"]),
    ],
)
def test_ticks_are_round(low: float, high: float, most: int, expected: list[str]) -> None:
    assert nice_ticks(low, high, most)[1] == expected


@given(low=st.floats(-1e6, 1e6), extent=st.floats(1e-2, 1e6), most=st.integers(1, 12))
def test_ticks_lie_inside_and_are_few(low: float, extent: float, most: int) -> None:
    values, shown = nice_ticks(low, low + extent, most)
    slack = 1e-6 * extent + 1e-9 * abs(low)
    assert len(values) == len(shown) <= most + 1
    assert all(low - slack <= value <= low + extent + slack for value in values)
    assert len(set(shown)) == len(shown)


# ---- whatever comes

anything = st.text(st.characters(), max_size=40)
number = st.floats()


@st.composite
def any_body(draw: st.DrawFn) -> tuple[Block, ...]:
    a, b, c, d = (draw(anything) for _ in range(4))
    u, v, w = (draw(number) for _ in range(3))
    points = draw(st.lists(st.tuples(number, number), max_size=8))
    line = Line(name=a, x=tuple(p[0] for p in points), y=tuple(p[1] for p in points))
    axis = Axis(title=b, unit=c)
    return (
        Para(text=a),
        Warn(level="notice", text=b),
        Bullets(items=(c, d)),
        KeyFigures(items=(KeyFigure(label=a, value=b, note=c),)),
        Table(columns=(Column(title=d, share=u),), rows=((a, b), ()), caption=c),
        LinePlot(
            title=d,
            x=axis,
            y=axis,
            lines=(line, line),
            spans=(Span(start=u, end=v, label=a),),
            text=b,
        ),
        Bars(title=c, bars=(Bar(name=d, share=w, text=a, before=u),)),
        Chain(title=b, boxes=(Box(title=c, detail=d, how=a, doubtful=True),)),
        Section(title=b, body=(Section(title=c, body=(Signature(label=d),)),)),
    )


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(body=any_body(), title=anything)
def test_any_paper_can_be_printed(body: tuple[Block, ...], title: str) -> None:
    data = render_pdf(paper(*body, title=title, subtitle=title, foot=title, mark=title))
    assert data.startswith(b"%PDF")


# ---- pictures and missing parts


def test_pictures_show_the_same_pages(made: dict[str, bytes]) -> None:
    pictures = render_png(SAMPLES["technical"], 36.0)
    assert len(pictures) == len(read(made["technical"]))
    with Image.open(io.BytesIO(pictures[0])) as first:
        assert first.format == "PNG"
        # 210 mm by 297 mm at 36 dots an inch, rounded up or down
        assert first.size == pytest.approx((297.6, 420.9), abs=1.0)


@pytest.mark.parametrize("ppi", [0.0, -1.0, NAN, 1e9])
def test_pictures_need_a_sane_resolution(ppi: float) -> None:
    with pytest.raises(DomainError, match="ppi = "):
        render_png(paper(), ppi)


@pytest.mark.parametrize("render", [render_pdf, render_png])
@pytest.mark.parametrize("package", ["typst", "font_source_sans_pro"])
def test_a_missing_package_is_named_with_the_way_out(
    monkeypatch: pytest.MonkeyPatch, package: str, render: Any
) -> None:
    pdf._fonts.cache_clear()
    monkeypatch.setitem(sys.modules, package, None)
    with pytest.raises(MissingPartError, match=re.escape('pip install "sagtrace[paper]"')):
        render(paper())


def test_every_module_sorts_its_names() -> None:
    for module in (pdf, frame, glyphs, wire):
        assert list(module.__all__) == sorted(module.__all__, key=str.lower)


@pytest.mark.parametrize("paper_of", [report_customer, report_technical])
def test_a_proved_job_loses_no_word_on_paper(paper_of: Callable[[Assessment], Paper]) -> None:
    made_of = paper_of(assessed("proved"))
    printed = squeezed("".join(read(render_pdf(made_of))))
    assert [text for text in texts(made_of) if text and squeezed(text) not in printed] == []


def test_heads_of_the_record_s_columns_are_printed_whole() -> None:
    """A head is followed by the next one, not broken within a word."""
    record = report_technical(assessed("proved"))
    lines = [line.strip() for page in read(render_pdf(record)) for line in page.splitlines()]
    assert any(line.endswith("What it did") for line in lines)
    assert any(line.endswith("Expected total") for line in lines)
