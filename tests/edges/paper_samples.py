"""Invented papers: one of each kind, and some that try to break a page."""

from __future__ import annotations

import math
from typing import Any

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
    Table,
    Warn,
)

__all__ = [
    "causes",
    "customer_paper",
    "endless_paper",
    "FOOT",
    "height_plot",
    "HOSTILE",
    "hostile_paper",
    "LONG_WORD",
    "MARK",
    "odd_plots",
    "paper",
    "technical_paper",
]

NAN = math.nan
MARK = "Invented job for demonstration"
FOOT = "Invented garage, invented town. Every number is an estimate with its spread."


def paper(*body: Block, kind: Any = "technical", **changes: Any) -> Paper:
    given: dict[str, Any] = {
        "kind": kind,
        "title": "A test paper",
        "subtitle": "Nothing here is real",
        "mark": MARK,
        "facts": (("Job", "D-0001"), ("Vehicle", "Invented estate")),
        "body": body,
        "foot": FOOT,
    }
    return Paper(**(given | changes))


def height_plot() -> LinePlot:
    """Return 22 minutes of height: two holds, two fills, a gap while the door was open."""
    minutes = [i / 20.0 for i in range(441)]
    height, fitted = [], []
    for t in minutes:
        base = 402.0 - 1.35 * t if t < 8.0 else 391.2 + 11.0 * min(t - 8.0, 1.2)
        if t >= 9.2:
            base = 404.4 - 1.32 * (t - 9.2)
        if t >= 18.0:
            base = 392.8 + 10.4 * min(t - 18.0, 1.1)
        if t >= 19.1:
            base = 404.2 - 1.3 * (t - 19.1)
        noise = 0.35 * math.sin(37.0 * t) + 0.2 * math.sin(91.0 * t)
        height.append(NAN if 12.0 < t < 12.9 else base + noise)
        fitted.append(base)
    return LinePlot(
        title="Height of the rear left corner while the vehicle stood still",
        x=Axis(title="Time since the start of the recording", unit="min"),
        y=Axis(title="Height above the axle", unit="mm"),
        lines=(
            Line(name="rear left, measured", x=tuple(minutes), y=tuple(height)),
            Line(name="rear left, fitted", x=tuple(minutes), y=tuple(fitted), role="fitted"),
            Line(name="lowest allowed", x=(0.0, 22.0), y=(388.0, 388.0), role="limit"),
        ),
        spans=(
            Span(start=0.0, end=8.0, label="hold 1: −1.35 mm/min"),
            Span(start=8.0, end=9.2, label="fill 1", role="fill"),
            Span(start=9.2, end=18.0, label="hold 2: −1.32 mm/min"),
            Span(start=18.0, end=19.1, label="fill 2", role="fill"),
        ),
        text="Both holds fall at the same rate, so the leak does not depend on the valve. "
        "The door was open from 12.0 to 12.9 min; that part is left out.",
    )


def causes() -> Chain:
    return Chain(
        title="What led to what",
        boxes=(
            Box(title="Crack in the rear left air spring", detail="320 mL/min ± 40 at ride height"),
            Box(
                title="Pump runs far too often",
                detail="Share of time running: 41 % (healthy: below 5 %)",
                how="the lost air has to be pumped again, also while driving",
            ),
            Box(
                title="Worn pump",
                detail="Delivers 54 % ± 6 % of a healthy one",
                how="piston ring worn by long hot runs",
            ),
            Box(
                title="Darkened connector at the pump",
                detail="38 mΩ ± 9 mΩ across one contact",
                how="more current for longer",
                doubtful=True,
            ),
        ),
        text="The last link is not proved: the contact may have been poor before.",
    )


def options() -> Table:
    return Table(
        caption="What you can choose",
        columns=(
            Column(title="Option", share=2.6),
            Column(title="Price with tax", align="right", share=1.2),
            Column(title="Cures it now", align="right"),
            Column(title="Comes back in a year", align="right", share=1.3),
            Column(title="Expected total", align="right", share=1.2),
        ),
        rows=(
            ("Rear left spring only", "412.00 €", "58 %", "61 %", "790 €"),
            ("Both rear springs", "738.00 €", "61 %", "52 %", "1 030 €"),
            ("Rear left spring and pump", "1 046.00 €", "93 %", "12 %", "1 120 €"),
            ("Both rear springs and pump", "1 372.00 €", "95 %", "6 %", "1 410 €"),
        ),
        strong=(2,),
    )


def customer_paper() -> Paper:
    return paper(
        Para(
            tone="lead",
            text="Your car sits low at the rear left because the air spring there has a crack. "
            "The pump has worn itself out trying to keep up.",
        ),
        KeyFigures(
            items=(
                KeyFigure(
                    label="How sure we are", value="94 %", note="1 in 17 it is something else"
                ),
                KeyFigure(label="Recommended repair", value="1 046 €", note="with tax, ± 60 €"),
                KeyFigure(label="Time in the garage", value="3.5 h", note="usually the same day"),
            )
        ),
        Warn(
            level="danger",
            text="Never reach or lie under the car while only its air suspension holds it up. "
            "It can drop without warning.",
        ),
        Section(
            title="What we found",
            body=(
                Bullets(
                    items=(
                        "The rear left corner sank 38 mm overnight; cooling explains 6 mm of it.",
                        "Soapy water bubbled at the lower fold of the rear left air spring.",
                        "The pump needed 71 s for a rise that takes a healthy one about 38 s.",
                    )
                ),
                causes(),
                Warn(
                    level="warning",
                    text="Until it is repaired, do not tow and do not drive with a load: the car "
                    "can sink onto its stops.",
                ),
            ),
        ),
        Section(
            title="What it costs and what it brings",
            body=(
                Para(
                    text="The cheapest repair is not the cheapest in the long run. A new spring "
                    "on a worn pump works at first and often comes back."
                ),
                options(),
                Bars(
                    title="Chance that the car is still fine after a year",
                    bars=(
                        Bar(name="Rear left spring only", share=0.39, text="39 %"),
                        Bar(name="Rear left spring and pump", share=0.88, text="88 %", before=0.80),
                        Bar(name="Both rear springs and pump", share=0.94, text="94 %", before=0.9),
                        Bar(name="Nothing", share=0.0, text="0 %"),
                    ),
                    text="The mark shows the chance before the pump was tested.",
                ),
                Warn(level="notice", text="Prices hold for 30 days. Old parts are kept for you."),
            ),
        ),
        Section(
            title="Your decision",
            body=(
                Para(text="I order the repair named above and have read the cautions."),
                Signature(label="Place, date, signature of the customer"),
                Signature(label="For the garage"),
            ),
        ),
        kind="customer",
        title="Why your car sits low, and what to do",
        subtitle="Findings, prices and what each choice would bring",
        facts=(
            ("Job", "D-0042, 14 March"),
            ("Vehicle", "Invented estate, 2.0 L, 148 300 km"),
            ("Complaint", "Low at the rear left in the morning"),
            ("Air system", "Two rear air springs, one pump"),
            ("Examined by", "T. Example"),
            ("Recommended", "Rear left spring and pump"),
        ),
        heading=("Invented Springs Ltd", "0 Example Lane, Nowhere", "Telephone 000"),
    )


def evidence() -> Table:
    rows = tuple(
        (
            f"{i + 1}",
            what,
            value,
            spread,
            says,
        )
        for i, (what, value, spread, says) in enumerate(
            [
                (
                    "Height rear left, evening, tape measure",
                    "402 mm",
                    "± 1 mm",
                    "start of the hold",
                ),
                ("Height rear left, morning, tape measure", "364 mm", "± 1 mm", "leak, left side"),
                (
                    "Height rear right, morning, tape measure",
                    "398 mm",
                    "± 1 mm",
                    "right side holds",
                ),
                ("Air temperature, evening", "18.5 °C", "± 0.5 K", "needed for the correction"),
                ("Air temperature, morning", "6.0 °C", "± 0.5 K", "explains 6 mm of 38 mm"),
                (
                    "Soap at the rear left spring",
                    "bubbles",
                    "seen twice",
                    "crack at the lower fold",
                ),
                ("Soap at the fittings of the pump", "none", "weak", "does not exclude a leak"),
                ("Fill from stop to ride height", "71 s", "± 2 s", "54 % of a healthy pump"),
                (
                    "Supply at the pump while running",
                    "12.1 V",
                    "± 0.1 V",
                    "supply is not the cause",
                ),
                ("Current of the pump, steady", "23.8 A", "± 0.4 A", "no stall"),
                ("Drop across the pump connector", "0.91 V", "± 0.02 V", "38 mΩ, about 22 W"),
                ("Share of time the pump ran", "41 %", "± 3 %", "far above healthy"),
                ("Fault code: pump ran too long", "stored", "12 times", "consequence, not cause"),
                ("Height sensor against the tape", "−0.4 mm", "± 1.1 mm", "sensor is right"),
            ]
        )
    )
    return Table(
        caption="Evidence in the order in which it was taken",
        columns=(
            Column(title="No.", align="right", share=0.5),
            Column(title="What was looked at", share=3.2),
            Column(title="Result", align="right", share=1.1),
            Column(title="Spread", align="right", share=1.1),
            Column(title="What it says", share=2.4),
        ),
        rows=rows,
        strong=(5, 7),
    )


def technical_paper() -> Paper:
    return paper(
        Para(
            tone="lead",
            text="Rear left air spring cracked at the lower fold; pump worn as a consequence.",
        ),
        KeyFigures(
            items=(
                KeyFigure(label="Spring leak", value="320 mL/min", note="95 %: 250 to 400"),
                KeyFigure(label="Pump delivery", value="54 %", note="of a healthy one, ± 6 %"),
                KeyFigure(label="Connector", value="38 mΩ", note="± 9 mΩ, about 22 W"),
                KeyFigure(label="Something else", value="6 %", note="not excluded"),
            )
        ),
        Section(title="Recording", body=(height_plot(),)),
        Section(title="Evidence", body=(evidence(),)),
        Section(
            title="Verdict",
            body=(
                Bars(
                    title="Probability of each fault",
                    bars=(
                        Bar(name="Rear left spring leaks", share=0.94, text="94 %", before=0.31),
                        Bar(name="Pump worn", share=0.89, text="89 %", before=0.22),
                        Bar(name="Pump connector heated", share=0.63, text="63 %", before=0.12),
                        Bar(name="Valve seat leaks", share=0.04, text="4 %", before=0.18),
                        Bar(name="Something not on the list", share=0.06, text="6 %", before=0.06),
                    ),
                ),
                causes(),
            ),
        ),
        Section(
            title="Repair and proof",
            body=(
                Warn(
                    level="danger",
                    text="Depressurise the system before a line is opened. Clamping a hose is no "
                    "isolation. Support body and axle on stands.",
                ),
                Section(
                    title="Order of work",
                    body=(
                        Steps(
                            items=(
                                "Switch off automatic levelling as the vehicle maker describes.",
                                "Let the air out of both rear springs with the maker's procedure.",
                                "Replace the rear left spring; seat it before the first fill.",
                                "Replace the pump and its connector; measure the drop again.",
                            )
                        ),
                    ),
                ),
                Section(
                    title="Hold test",
                    body=(
                        Para(
                            text="Hold the vehicle for 4 h at a known temperature. It passes if "
                            "the rear left corner sinks less than 3 mm after correction."
                        ),
                        Warn(level="notice", text="A tape resolves 1 mm, so 4 h are needed."),
                        Para(tone="quiet", text="Limits are chosen defaults, not the maker's."),
                    ),
                ),
                Signature(label="Done by, date"),
                Signature(label="Checked by, date"),
            ),
        ),
        title="Low at the rear left: technical record",
        subtitle="Evidence, verdict, repair and proof",
        facts=(
            ("Job", "D-0042, 14 March"),
            ("Vehicle", "Invented estate, 148 300 km"),
            ("Layout", "rear-pair, no reservoir"),
            ("Knowledge edition", "demo-1"),
            ("Examined by", "T. Example"),
        ),
        heading=("Invented Springs Ltd",),
    )


HOSTILE = (
    '#panic("x")',
    "*bold* $math$ @ref <label> \\ # [ ] \"quotes\" 'single' _under_ `raw` ~ // /* */",
    '#read("/etc/hostname") #eval("1/0") #import "figures.typ"',
    "Ж Кириллица: левая задняя пневморессора",
    "Ελληνικά: διαρροή αέρα",
    "Ω µ μ Δ ≤ ≥ ± − → °C ² ³ ½ × · – — … € ₂ ✓ ☐ ⚠ ⁻",
    "- no list\n= no heading\n+ no steps\n/ no: term",
    "https://example.invalid/a?b=c&d=%20",
    "--- -- ... 'a' (c) -> => <= \\u{1F600}",
)
LONG_WORD = "Rearleftairspringlowerfold" * 12


def hostile_paper() -> Paper:
    text = "\n".join(HOSTILE)
    return paper(
        Para(text=text),
        *(Warn(level=level, text=HOSTILE[1]) for level in ("danger", "warning", "notice")),
        Bullets(items=(*HOSTILE, LONG_WORD, "")),
        Steps(items=(*HOSTILE, "")),
        KeyFigures(
            items=(
                KeyFigure(label=LONG_WORD, value=LONG_WORD, note=HOSTILE[1]),
                KeyFigure(label="", value="", note=""),
                KeyFigure(label=HOSTILE[5], value="123 456 789.12 €", note=HOSTILE[5]),
                KeyFigure(label="a", value="b"),
                KeyFigure(label="fifth", value="5 %"),
            )
        ),
        Table(
            caption=HOSTILE[1],
            columns=(
                Column(title=LONG_WORD, share=0.4),
                Column(title=HOSTILE[1], align="right", share=1.0),
                Column(title="", share=NAN),
                Column(title="last", share=-1.0),
            ),
            rows=((LONG_WORD, HOSTILE[1], "", HOSTILE[0]), ("few",), ("a", "b", "c", "d", "over")),
            strong=(0, 99, -1),
        ),
        LinePlot(
            title=HOSTILE[1],
            x=Axis(title=HOSTILE[0], unit=HOSTILE[1]),
            y=Axis(title=LONG_WORD, unit=""),
            lines=(
                Line(name=HOSTILE[1], x=(0.0, 1.0, 2.0), y=(1.0, NAN, 2.0)),
                Line(name=LONG_WORD, x=(0.0, 1.0, 2.0, 3.0), y=(1.0, 1.5, 2.0), role="fitted"),
                Line(name="nothing", x=(), y=(), role="limit"),
            ),
            spans=(
                Span(start=0.0, end=0.01, label=HOSTILE[1]),
                Span(start=1.0, end=math.inf, label=LONG_WORD, role="vent"),
                Span(start=NAN, end=1.0, label="never"),
            ),
            text=HOSTILE[1],
        ),
        Bars(
            title=HOSTILE[1],
            bars=(
                Bar(name=LONG_WORD, share=7.0, text=LONG_WORD, before=-3.0),
                Bar(name=HOSTILE[1], share=NAN, text=HOSTILE[1], before=NAN),
                Bar(name="", share=0.5, text=""),
            ),
            text=HOSTILE[0],
        ),
        Chain(
            title=HOSTILE[1],
            boxes=(
                Box(title=LONG_WORD, detail=LONG_WORD, how=HOSTILE[0]),
                Box(title=HOSTILE[1], detail=HOSTILE[5], how=LONG_WORD, doubtful=True),
                Box(title="", detail="", how=HOSTILE[1] * 3),
            ),
        ),
        Signature(label=LONG_WORD),
        Signature(label=HOSTILE[1]),
        Signature(label=""),
        Section(title=HOSTILE[0], body=(Section(title=LONG_WORD, body=(Para(text=""),)),)),
        title=HOSTILE[0] + " " + HOSTILE[1],
        subtitle=LONG_WORD,
        mark=HOSTILE[1],
        foot=HOSTILE[1] + LONG_WORD,
        facts=((HOSTILE[1], LONG_WORD), ("", ""), (LONG_WORD, HOSTILE[1]), ("a", "b")),
        heading=(LONG_WORD, HOSTILE[1], "", HOSTILE[0]),
    )


def odd_plots() -> Paper:
    x, y = Axis(title="Time", unit="s"), Axis(title="Current", unit="A")

    def plot(title: str, *lines: Line, spans: tuple[Span, ...] = ()) -> LinePlot:
        return LinePlot(title=title, x=x, y=y, lines=lines, spans=spans, text="A test.")

    many = tuple(
        Span(start=float(i), end=i + 0.4, label="fill", role="fill") for i in range(0, 40, 2)
    )
    wave = tuple(math.sin(i / 50.0) for i in range(2000))
    return paper(
        plot("Nothing"),
        plot("One point", Line(name="one", x=(3.0,), y=(24.0,))),
        plot("Constant", Line(name="flat", x=(0.0, 9.0), y=(12.0, 12.0))),
        plot("Zero", Line(name="zero", x=(0.0, 9.0), y=(0.0, 0.0))),
        plot(
            "Huge and tiny",
            Line(name="huge", x=(0.0, 1e-6), y=(-3e12, 4e12)),
            Line(name="too large", x=(0.0, 1e-6), y=(1e300, math.inf)),
        ),
        plot(
            "Seven lines",
            *(
                Line(
                    name=f"line {k}",
                    x=tuple(i / 50.0 for i in range(2000)),
                    y=tuple(w + k / 10.0 for w in wave),
                    role=("measured", "fitted", "limit")[k % 3],
                )
                for k in range(7)
            ),
            spans=many,
        ),
        plot(
            "Four that end together",
            *(
                Line(name=f"almost the same {k}", x=(0.0, 1.0), y=(0.0, 1.0 + k / 1e3))
                for k in range(4)
            ),
        ),
        Chain(
            title="",
            boxes=tuple(
                Box(title=f"Station {i}", detail="x" * 40, how="leads to") for i in range(20)
            ),
        ),
        Bars(
            title="Forty",
            bars=tuple(Bar(name=f"Bar {i}", share=i / 40, text=f"{i}") for i in range(41)),
        ),
    )


def endless_paper() -> Paper:
    """Return a paper whose every text is longer than a page."""
    long = "word " * 2500
    return paper(
        Warn(level="danger", text=long),
        Para(text=long),
        KeyFigures(items=(KeyFigure(label=long, value=long, note=long),) * 2),
        Table(caption=long, columns=(Column(title=long),) * 2, rows=((long, long), ("a", "b"))),
        Bars(title=long, bars=(Bar(name=long, share=0.5, text=long),), text=long),
        Chain(title=long, boxes=(Box(title=long, detail=long, how=long),) * 2, text=long),
        LinePlot(
            title=long,
            x=Axis(title=long, unit=""),
            y=Axis(title=long, unit=""),
            lines=(Line(name=long, x=(1.0, 2.0), y=(1.0, 2.0)),),
            text=long,
        ),
        Section(title=long, body=(Signature(label=long),)),
        title=long,
        subtitle=long,
        mark=long,
        facts=((long, long),),
        foot=long,
    )
