"""The list of jobs: what each waits for and the next thing to do."""

from __future__ import annotations

from dataclasses import dataclass
from urllib.parse import urlencode

from sagtrace.app.kept import JobLine, JobLines, Query
from sagtrace.report.headline import DECLINED
from sagtrace.report.words import duration
from sagtrace.vehicle.knowledge import Knowledge
from sagtrace.web.views.moments import Moment, moment, since
from sagtrace.web.words import _, later

__all__ = ["jobs_page", "JobsPage", "Row", "row_of", "STAGES", "WAITS"]

STAGES = {
    "check": later("Finding out"),
    "repair": later("Ready to repair"),
    "prove": later("To be proved"),
    "proved": later("Proved"),
}
WAITS = {
    "hold": later("A hold to be read"),
    "approval": later("The customer's answer"),
    "proof": later("A proof"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One job of the list."""

    id: str
    title: str
    complaint: str  # empty if the title says it
    layout: str
    invented: bool
    stage: str
    headline: str
    waits: str
    ready: Moment | None
    due: bool
    changed: Moment
    changed_by: str
    open: bool  # still to be worked out
    problem: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class JobsPage:
    """Everything that jobs.html may use."""

    text: str
    stage: str
    waits: str
    stages: tuple[tuple[str, str], ...]
    kinds_of_wait: tuple[tuple[str, str], ...]
    rows: tuple[Row, ...]
    filtered: bool
    older: str  # address of the next page; empty on the last
    newest: str  # address of the first page; empty on it


def jobs_page(query: Query, found: JobLines, knowledge: Knowledge, now: str) -> JobsPage:
    """Return the page for what was found."""
    asked = {"text": query.text, "stage": query.stage, "waits": query.waits}
    kept = {name: value for name, value in asked.items() if value}
    return JobsPage(
        text=query.text,
        stage=query.stage,
        waits=query.waits,
        stages=tuple((k, _(text)) for k, text in STAGES.items()),
        kinds_of_wait=tuple((k, _(text)) for k, text in WAITS.items()),
        rows=tuple(row_of(line, knowledge, now) for line in found.lines),
        filtered=bool(kept),
        older=f"/?{urlencode({**kept, 'after': found.next})}" if found.next else "",
        newest=f"/?{urlencode(kept)}" if query.after else "",
    )


def row_of(line: JobLine, knowledge: Knowledge, now: str, problem: str = "") -> Row:
    """Return the row of a job."""
    names = {layout.id: layout.name for layout in knowledge.layouts}
    left = since(now, line.ready) if line.ready else 0.0
    waits = _(WAITS[line.waits]) if line.waits in WAITS else ""
    if line.waits == "hold" and left > 0.0:
        waits = _("A hold can be read in %(time)s", time=duration(left))
    elif line.waits == "hold":
        waits = _("A hold can be read")
    same = line.complaint.strip() == line.title.strip()
    return Row(
        id=line.id,
        title=line.title,
        complaint="" if same else line.complaint,
        layout=names.get(line.layout, line.layout),
        invented=line.invented,
        stage=_stage(line),
        headline=line.headline,
        waits=waits,
        ready=moment(line.ready, now) if line.ready else None,
        due=line.waits == "hold" and not left > 0.0,
        changed=moment(line.changed_at, now),
        changed_by=line.changed_by,
        open=not line.stage and not problem,
        problem=problem,
    )


def _stage(line: JobLine) -> str:
    if line.headline == DECLINED:
        return _("Declined")
    return _(STAGES[line.stage]) if line.stage in STAGES else ""
