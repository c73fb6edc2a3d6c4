"""The causal story as a drawing: stations below each other, arrows with their numbers between."""

from __future__ import annotations

from dataclasses import dataclass

from sagtrace.report.causes import Arrow, Kind, Station, Strand
from sagtrace.web.views.letters import wrap
from sagtrace.web.words import _, later

__all__ = ["Arrowed", "draw_story", "Framed", "StoryDrawing", "Words"]

PAD = 10.0  # [px] between a frame and what stands in it
LINE = 1.3  # [-] height of a line, of the text size
SHAFT = 46.0  # [px] the shortest arrow
STEM = 22.0  # [px] from the left edge to the arrow
HEAD = 9.0  # [px] length of the arrow's head
WIDEST = 460.0  # [px] chosen: a wider frame is harder to read
SAID = {
    "sure": later("led to"),
    "doubtful": later("may have led to"),
    "no": later("does not explain"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """One line of text."""

    x: float
    y: float  # of its baseline
    text: str
    style: str  # title, detail, says, how, number


@dataclass(frozen=True, slots=True, kw_only=True)
class Framed:
    """The frame of a station."""

    x: float
    y: float
    wide: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Arrowed:
    """An arrow downwards; one that does not count is crossed out."""

    x: float
    start: float
    end: float
    kind: Kind


@dataclass(frozen=True, slots=True, kw_only=True)
class StoryDrawing:
    """A strand with everything in its place."""

    wide: float
    high: float
    text: float
    frames: tuple[Framed, ...]
    arrows: tuple[Arrowed, ...]
    words: tuple[Words, ...]


class _Pen:
    def __init__(self, wide: float, text: float) -> None:
        self.wide, self.text, self.y = wide, text, 1.0
        self.frames: list[Framed] = []
        self.arrows: list[Arrowed] = []
        self.words: list[Words] = []

    def write(self, x: float, y: float, room: float, text: str, style: str) -> float:
        """Write a text from y down and return where it ends."""
        for line in wrap(text, room, self.text):
            y += LINE * self.text
            self.words.append(Words(x=x, y=round(y - 0.3 * self.text, 1), text=line, style=style))
        return y

    def station(self, station: Station) -> None:
        wide = min(self.wide, WIDEST) - 2.0
        room = wide - 2.0 * PAD
        y = self.write(1.0 + PAD, self.y + 0.5 * PAD, room / 1.08, station.title, "title")
        for detail in station.details:
            y = self.write(1.0 + PAD, y, room, detail, "detail")
        high = y + 0.8 * PAD - self.y
        self.frames.append(Framed(x=1.0, y=self.y, wide=wide, high=round(high, 1)))
        self.y += high

    def arrow(self, arrow: Arrow) -> None:
        x = STEM + 2.0 * PAD
        room = self.wide - x - PAD
        y = self.write(x, self.y + 0.4 * PAD, room / 1.08, _(SAID[arrow.kind]), "says")
        if arrow.how:
            y = self.write(x, y, room, arrow.how, "how")
        for number in arrow.numbers:
            y = self.write(x, y, room / 1.08, number, "number")
        end = max(y + 0.8 * PAD, self.y + SHAFT)
        self.arrows.append(
            Arrowed(x=STEM, start=round(self.y, 1), end=round(end, 1), kind=arrow.kind)
        )
        self.y = end


def draw_story(strand: Strand, wide: float, text: float) -> StoryDrawing:
    """Return the strand drawn this wide, with letters of this size [px]."""
    pen = _Pen(wide, text)
    pen.station(strand.stations[0])
    for arrow, station in zip(strand.arrows, strand.stations[1:], strict=True):
        pen.arrow(arrow)
        pen.station(station)
    return StoryDrawing(
        wide=wide, high=round(pen.y + 1.0, 1), text=text, frames=tuple(pen.frames),
        arrows=tuple(pen.arrows), words=tuple(pen.words),
    )  # fmt: skip
