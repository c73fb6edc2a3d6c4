"""Lines between the ports of drawn parts: straight, or with as few corners as it takes."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Protocol

from sagtrace.report.schematic_rules import Drawing, Join, Kind, Rail
from sagtrace.report.shapes import Box
from sagtrace.vehicle.system import base_id, corner_of

__all__ = ["Dot", "draw_lines", "Placed", "rail_rows", "Run"]

Point = tuple[float, float]
_ABOVE = 8.0  # [px] chosen: how far a rail lies above the symbols of its row


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """A line through points. `ends` are the ports and rails that it joins."""

    kind: Kind
    points: tuple[Point, ...]
    ends: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Dot:
    """A joint between lines."""

    kind: Kind
    at: Point


class Placed(Protocol):
    """A part in its place."""

    @property
    def box(self) -> Box:
        """Where its symbol is."""

    @property
    def ports(self) -> Mapping[str, Point]:
        """Where lines may join it, by name."""


def rail_rows(drawing: Drawing) -> frozenset[str]:
    """Return the rows that a rail runs through even where no part stands."""
    return frozenset(rail.row for rail in drawing.rails if rail.row)


def draw_lines(
    drawing: Drawing, placed: Mapping[str, Placed], rows: Mapping[str, float]
) -> tuple[tuple[Run, ...], tuple[Dot, ...]]:
    """Return all lines of a sheet and their joints."""
    runs: list[Run] = []
    taps: dict[str, list[tuple[str, Point]]] = {}
    rails = {rail.id: rail for rail in drawing.rails}
    for join in drawing.lines:
        for start in _ports(join, placed):
            if join.end in rails:
                taps.setdefault(join.end, []).append((start, _at(placed, start)))
            elif (end := _partner(join, start, placed)) is not None:
                points = _way(placed, start, end)
                runs.append(Run(kind=join.kind, points=points, ends=(start, end)))
    dots: list[Dot] = []
    for id_, joined in taps.items():
        rail = rails[id_]
        if rail.needs and not any(base_id(p) == rail.needs for p in placed):
            continue
        y = _level(rail, placed, rows)
        xs = sorted({x for _, (x, _) in joined})
        ends = tuple(port for port, _ in joined)
        runs.append(Run(kind=rail.kind, points=((xs[0], y), (xs[-1], y)), ends=ends))
        for port, (x, at) in joined:
            if at != y:
                runs.append(Run(kind=rail.kind, points=((x, at), (x, y)), ends=(port, id_)))
        dots += [Dot(kind=rail.kind, at=(x, y)) for x in xs[1:-1]]
    return tuple(runs), tuple(dots)


def _ports(join: Join, placed: Mapping[str, Placed]) -> Iterator[str]:
    component, _, port = join.start.partition(".")
    for id_ in placed:
        if base_id(id_) != component:
            continue
        if (join.corner_only and not corner_of(id_)) or (join.vehicle_only and corner_of(id_)):
            continue
        yield f"{id_}.{port}"


def _partner(join: Join, start: str, placed: Mapping[str, Placed]) -> str | None:
    """Return the port at the other end: of the same corner, or of the vehicle."""
    component, _, port = join.end.partition(".")
    corner = corner_of(start.rpartition(".")[0])
    for id_ in (f"{component}@{corner}", component):
        if id_ in placed:
            return f"{id_}.{port}"
    return None


def _at(placed: Mapping[str, Placed], name: str) -> Point:
    part, _, port = name.rpartition(".")
    return placed[part].ports[port]


def _level(rail: Rail, placed: Mapping[str, Placed], rows: Mapping[str, float]) -> float:
    if rail.of:
        return _at(placed, rail.of)[1]
    if rail.row:
        return rows[rail.row]
    return min(p.box.y for id_, p in placed.items() if base_id(id_) == rail.above) - _ABOVE


def _way(placed: Mapping[str, Placed], start: str, end: str) -> tuple[Point, ...]:
    """Return the points of a line that leaves both ports at a right angle to their edges."""
    (x1, y1), (x2, y2) = _at(placed, start), _at(placed, end)
    if abs(x1 - x2) < 0.01 or abs(y1 - y2) < 0.01:
        return (x1, y1), (x2, y2)
    level = [
        _sideways(placed[name.rpartition(".")[0]].box, _at(placed, name)) for name in (start, end)
    ]
    if level == [True, False]:
        return (x1, y1), (x2, y1), (x2, y2)
    if level == [False, True]:
        return (x1, y1), (x1, y2), (x2, y2)
    if level == [True, True]:
        middle = (x1 + x2) / 2
        return (x1, y1), (middle, y1), (middle, y2), (x2, y2)
    middle = (y1 + y2) / 2
    return (x1, y1), (x1, middle), (x2, middle), (x2, y2)


def _sideways(box: Box, at: Point) -> bool:
    return at[0] in (box.x, box.right)
