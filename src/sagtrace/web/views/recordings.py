"""The page of a job's recordings: those in it, those on their way, and what may be said of one."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import PurePath

from sagtrace.app.kept import Kept
from sagtrace.report.words import percent
from sagtrace.signals.imported import ColumnInfo
from sagtrace.signals.trace import ROLES
from sagtrace.vehicle.job import Job, Taped
from sagtrace.vehicle.layouts import Layout
from sagtrace.web.plotted import role_words
from sagtrace.web.readings import Attach, Inspected
from sagtrace.web.tasks import Task
from sagtrace.web.words import _

__all__ = [
    "make_proposal",
    "moment",
    "Proposal",
    "recording_lines",
    "RecordingLine",
    "RecordingsPage",
    "waiting_line",
]

TAPE_ROWS = 4  # chosen: both sides at the beginning and at the end
OUT = "-"
HARDLY = ("it holds text", "it is empty", "tells the time", "it tells the time once more")


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordingLine:
    """A recording in the list."""

    id: str
    file: str
    at: str
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Waiting:
    """A file that was sent and not attached."""

    sha256: str
    file: str
    size: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RoleOption:
    """One line of the list of roles."""

    value: str
    text: str
    chosen: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class RoleGroup:
    """Roles that belong together."""

    title: str
    options: tuple[RoleOption, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ColumnChoice:
    """A column with what it may be."""

    number: int
    name: str
    unit: str
    why: str
    unsettled: bool
    first: RoleOption | None  # taking the proposal; None if a person must choose
    out: RoleOption
    groups: tuple[RoleGroup, ...]
    said_unit: str


@dataclass(frozen=True, slots=True, kw_only=True)
class TapeRow:
    """Fields for one taped height."""

    number: int
    time: str
    corner: str
    height: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """A file that was sent, ready to be corrected and attached."""

    sha256: str
    short: str  # for the names of the form
    file: str
    size: str
    rate: str
    problem: str  # what must be said before it can be read
    refused: str  # why it could not be attached
    asks: int  # columns of which a person must say what they are
    columns: tuple[ColumnChoice, ...]
    unread: tuple[str, ...]  # columns that can have no role, each with its reason
    sentences: tuple[str, ...]
    corners: tuple[str, ...]
    tapes: tuple[TapeRow, ...]
    remember: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordingsPage:
    """Everything that recordings.html may use."""

    job: str
    lines: tuple[RecordingLine, ...]
    waiting: tuple[Waiting, ...]
    proposal: Proposal | None
    task: Task | None  # that goes on
    missing: str  # a file that was asked for and is not here any more
    largest: int  # [bytes]
    heights: str  # the height channels that the layout's vehicle has


def recording_lines(kept: Kept) -> tuple[RecordingLine, ...]:
    """Return the recordings of a job, newest first."""
    return tuple(
        RecordingLine(id=r.id, file=r.file, at=moment(r.at), note=r.note)
        for r in reversed(kept.job.recordings)
    )


def moment(at: str) -> str:
    """Return an RFC 3339 moment as people read it.

    >>> moment("2026-11-24T10:05:00+00:00")
    '2026-11-24 10:05'
    """
    return at[:16].replace("T", " ")


def size_words(size: int) -> str:
    """Return a size in the unit that people would use.

    >>> size_words(840), size_words(24_100_000)
    ('0.8 kB', '24.1 MB')
    """
    return f"{size / 1e3:.1f} kB" if size < 1e6 else f"{size / 1e6:.1f} MB"


def waiting_line(found: Inspected) -> Waiting:
    """Return the line of a file that waits."""
    upload = found.upload
    return Waiting(sha256=upload.sha256, file=upload.name, size=size_words(upload.size))


def make_proposal(
    job: Job, layout: Layout, found: Inspected, said: Attach | None, refused: str
) -> Proposal:
    """Return what a person sees of a file before it is attached."""
    roles = said.assignment.roles if said else {}
    columns, unread = [], []
    for i, column in enumerate(found.columns):
        if column.role == "time" or (not column.role and column.reason in HARDLY):
            why = column.reason or _("the time")
            unread.append(f"{column.name}: {why}")
        else:
            columns.append(_choice(i, column, layout, roles.get(column.name, "")))
    # Those that somebody has to say something of come first.
    columns.sort(key=lambda c: (not c.unsettled, c.number))
    return Proposal(
        sha256=found.upload.sha256,
        short=found.upload.sha256[:10],
        file=said.file if said else _free_name(job, found.upload.name),
        size=size_words(found.upload.size),
        rate=said.assignment.rate if said else found.rate,
        problem=found.problem,
        refused=refused,
        asks=sum(c.unsettled for c in columns),
        columns=tuple(columns),
        unread=tuple(unread),
        sentences=found.report.sentences() if found.report else (),
        corners=tuple(corner.id for corner in layout.corners),
        tapes=tuple(_tape_rows(layout, said.tapes if said else ())),
        remember=said.remember if said else False,
    )


def _free_name(job: Job, name: str) -> str:
    taken = {r.file for r in job.recordings}
    path, found, n = PurePath(name), name, 2
    while found in taken:
        found, n = f"{path.stem} ({n}){path.suffix}", n + 1
    return found


def _tape_rows(layout: Layout, tapes: tuple[Taped, ...]) -> Iterator[TapeRow]:
    for i, tape in enumerate(tapes):
        yield TapeRow(number=i, time=tape.time, corner=tape.corner, height=tape.height)
    corners = [corner.id for corner in layout.corners]
    for i in range(len(tapes), max(TAPE_ROWS, len(tapes) + 1)):
        yield TapeRow(number=i, time="", corner=corners[i % len(corners)], height="")


def _choice(number: int, column: ColumnInfo, layout: Layout, said: str) -> ColumnChoice:
    role, __, unit = said.partition(" [")
    first = None
    if not column.unsettled:
        text = role_words(column.role) if column.role else _("not used")
        first = RoleOption(value="", text=text, chosen=not said)
    why = column.reason or _("its name says so")
    sure = column.role and column.reason and column.confidence < 1.0
    return ColumnChoice(
        number=number,
        name=column.name,
        unit=column.unit,
        why=_("proposed: %(why)s, %(p)s", why=why, p=percent(column.confidence)) if sure else why,
        unsettled=column.unsettled,
        first=first,
        out=RoleOption(value=OUT, text=_("leave it out"), chosen=said == OUT),
        groups=tuple(_groups(column, layout, role)),
        said_unit=unit.removesuffix("]") or column.role_unit or column.unit,
    )


def _groups(column: ColumnInfo, layout: Layout, chosen: str) -> Iterator[RoleGroup]:
    options = tuple(
        RoleOption(
            value=f"{g.role} [{g.unit or '-'}]",
            text=f"{role_words(g.role)}, {percent(g.confidence)}",
            chosen=g.role == chosen,
        )
        for g in column.guesses
        if g.role != column.role
    )
    if options:
        yield RoleGroup(title=_("It may be"), options=options)
    shown = {g.role for g in column.guesses if g.role != column.role}
    groups: dict[str, list[RoleOption]] = {}
    for role in ROLES:
        if role in shown or not _in_layout(role, layout):
            continue
        option = RoleOption(value=role, text=role_words(role), chosen=role == chosen)
        groups.setdefault(role.partition(".")[0], []).append(option)
    for title, members in groups.items():
        yield RoleGroup(title=title.capitalize(), options=tuple(members))
    time = RoleOption(value="time", text=_("time"), chosen=chosen == "time")
    yield RoleGroup(title=_("Time"), options=(time,))


def _in_layout(role: str, layout: Layout) -> bool:
    """Return whether a vehicle of this layout can have a channel."""
    what, _, place = role.partition(".")
    if what not in ("height", "target", "valve") or place == "reservoir":
        return True
    axles = {corner.axle for corner in layout.corners}
    return place in axles or place.partition("-")[0] in axles or place in ("left", "right")
