"""Which picture shows where to measure, by check."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass

from sagtrace.vehicle.checks import Check
from sagtrace.vehicle.layouts import Source
from sagtrace.vehicle.system import base_id

__all__ = ["Picture", "picture_for", "picture_problems", "PictureBook", "Shown"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """A picture of where to measure: its title, and what it shows in words."""

    id: str
    title: str
    alt: str
    basis: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """The picture that belongs to a check."""

    check: str
    picture: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PictureBook:
    """All pictures, and the checks that they belong to."""

    sources: tuple[Source, ...]
    pictures: tuple[Picture, ...]
    checks: tuple[Shown, ...]


def picture_for(book: PictureBook, check: Check) -> Picture | None:
    """Return the picture that shows where to measure, if there is one."""
    wanted = next((s.picture for s in book.checks if s.check == base_id(check.id)), None)
    return next((p for p in book.pictures if p.id == wanted), None)


def picture_problems(
    book: PictureBook, checks: Collection[str]
) -> Iterator[tuple[tuple[str | int, ...], str]]:
    """Yield place and text of everything in the data that cannot be right."""
    pictures = [picture.id for picture in book.pictures]
    bases = {source.id for source in book.sources}
    for i, picture in enumerate(book.pictures):
        if pictures.count(picture.id) > 1:
            yield ("pictures", i, "id"), f"a second picture {picture.id!r}"
        if picture.basis not in bases:
            yield ("pictures", i, "basis"), f"there is no source {picture.basis!r}"
    seen = set()
    for i, shown in enumerate(book.checks):
        if shown.check not in checks:
            yield ("checks", i, "check"), f"there is no check {shown.check!r}"
        if shown.picture not in pictures:
            yield ("checks", i, "picture"), f"there is no picture {shown.picture!r}"
        if shown.check in seen:
            yield ("checks", i, "check"), f"a second picture for {shown.check!r}"
        seen.add(shown.check)
