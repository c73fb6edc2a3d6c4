"""Boxes on a sheet, and how they are hatched."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["Box", "hatching"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """A rectangle; `y` grows downwards."""

    x: float
    y: float
    width: float
    height: float

    @property
    def right(self) -> float:
        """The right edge."""
        return self.x + self.width

    @property
    def bottom(self) -> float:
        """The lower edge."""
        return self.y + self.height

    def overlaps(self, other: Box, spare: float = 0.0) -> bool:
        """Return whether they share more than an edge, with `spare` between them."""
        return (
            self.x < other.right + spare
            and other.x < self.right + spare
            and self.y < other.bottom + spare
            and other.y < self.bottom + spare
        )


_CLOSEST = 4.0  # [px] chosen: between hatch lines of a fault that is certain


def hatching(box: Box, share: float) -> tuple[tuple[float, float, float, float], ...]:
    """Return hatch lines at 45° (x1, y1, x2, y2), the closer together the larger the share.

    The spacing goes with share^-0.4, so that one in fifty still shows and steps are seen.
    """
    step = _CLOSEST * share**-0.4 * 2**0.5
    found = []
    c = box.x + box.y + step / 2  # x + y along a line
    while c < box.right + box.bottom:
        x1 = max(box.x, c - box.bottom)
        x2 = min(box.right, c - box.y)
        if x2 - x1 > 1.0:
            found.append((x1, c - x1, x2, c - x2))
        c += step
    return tuple(found)
