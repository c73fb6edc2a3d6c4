"""The page of one recording: what it says, what it was read from, and how it was read."""

from __future__ import annotations

import string
from collections.abc import Iterator
from dataclasses import dataclass

from sagtrace.evidence.findings import Finding
from sagtrace.report.assessment import Recorded
from sagtrace.report.recorded import (
    NOTHING_STANDS_OUT,
    audit_table,
    duty_text,
    fills_table,
    fit_table,
    misfit_text,
    rests_table,
    standing_out,
)
from sagtrace.report.tree import Table
from sagtrace.report.words import between, duration, sentence
from sagtrace.vehicle.job import Recording
from sagtrace.web.plotted import Plotted
from sagtrace.web.tasks import Task
from sagtrace.web.views.recordings import moment
from sagtrace.web.words import _, later, ngettext

__all__ = ["RecordingPage", "RecordingWait", "make_recording"]

NO_HELP = later("No reading that is asked for here would narrow a leak by much.")


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """A finding, as a sentence that a place in the plots belongs to."""

    letter: str
    name: str
    text: str
    interval: str  # empty if it is no estimate
    caveats: tuple[str, ...]
    marked: bool  # whether the plots show where it was read


@dataclass(frozen=True, slots=True, kw_only=True)
class Happened:
    """An episode in the list that stands for the shades of the plots."""

    label: str
    start: str
    long: str
    seconds: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordingPage:
    """Everything that recording.html may use."""

    job: str
    id: str
    file: str
    sha256: str
    summary: str
    note: str
    findings: tuple[Said, ...]
    duty: str
    misfit: str
    untold: tuple[str, ...]  # what it cannot tell
    wanted: str
    notes: tuple[str, ...]
    fit: Table | None
    audit: Table | None
    audited: str
    marked_tests: tuple[int, ...]  # numbers of the tests that the plots show
    rests: Table | None
    fills: Table | None
    episodes: tuple[Happened, ...]
    sentences: tuple[str, ...]
    roles: tuple[tuple[str, str], ...]
    tapes: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordingWait:
    """Everything that recording-wait.html may use."""

    job: str
    id: str
    file: str
    task: Task


def make_recording(
    job: str, recording: Recording, recorded: Recorded, plotted: Plotted
) -> RecordingPage:
    """Return the page of a recording."""
    report, fit = recorded.report, recorded.report.fit
    shown = {mark.target for mark in plotted.marks}
    told = {*fit.notes, fit.wanted} if fit else set()
    return RecordingPage(
        job=job,
        id=recording.id,
        file=recording.file,
        sha256=recording.sha256,
        summary=_summary(recording, plotted),
        note=recording.note,
        findings=tuple(
            _said(letter, finding, told, f"finding-{letter}" in shown)
            for letter, finding in zip(string.ascii_lowercase, report.findings, strict=False)
        ),
        duty=duty_text(report),
        misfit=misfit_text(fit) if fit else "",
        untold=tuple(_capital(sentence(text)) for text in fit.notes) if fit else (),
        wanted=(fit.wanted or _(NO_HELP)) if fit else "",
        notes=tuple(_capital(sentence(text)) for text in report.notes if text not in told),
        fit=fit_table(fit, _("the fit")) if fit else None,
        audit=audit_table(report),
        audited=ngettext(
            "%(nothing)s in %(num)s test.",
            "%(nothing)s in %(num)s tests.",
            len(report.audit),
            nothing=NOTHING_STANDS_OUT,
        ),
        marked_tests=tuple(i for i, result in enumerate(standing_out(report), 1) if result.when),
        rests=rests_table(report),
        fills=fills_table(report),
        episodes=tuple(_episodes(plotted)),
        sentences=recorded.imported.sentences() if recorded.imported is not None else (),
        roles=tuple(recording.roles.items()),
        tapes=tuple(f"{t.time}, {t.corner}: {t.height}" for t in recording.tapes),
    )


def _summary(recording: Recording, plotted: Plotted) -> str:
    time, channels = plotted.trace.time, len(plotted.trace.channels)
    step = (plotted.end - plotted.start) / (time.size - 1)
    shown = f"{step:.2g}"
    parts = [
        ngettext(
            "%(time)s, %(num)s channel", "%(time)s, %(num)s channels", channels,
            time=duration(plotted.end - plotted.start),
        ),
        ngettext(
            "%(num)s sample, on average %(step)s s apart",
            "%(num)s samples, on average %(step)s s apart", time.size, step=shown,
        ),
    ]  # fmt: skip
    if recording.at:
        parts.append(_("attached %(when)s (UTC)", when=moment(recording.at)))
    return "; ".join(parts) + "."


def _said(letter: str, finding: Finding, told: set[str], marked: bool) -> Said:
    estimate = finding.estimate
    interval = ""
    if estimate is not None and estimate.std > 0.0:
        between_them = between(*estimate.interval(), estimate.unit)
        interval = _("95 %% interval: %(interval)s", interval=between_them)
    return Said(
        letter=letter,
        name=_capital(finding.name),
        text=finding.text,
        interval=interval,
        caveats=tuple(_capital(c.text) for c in finding.caveats if c.text not in told),
        marked=marked,
    )


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _episodes(plotted: Plotted) -> Iterator[Happened]:
    for shade in plotted.shades:
        yield Happened(
            label=shade.label,
            start=f"{shade.start / 60:.2f} min",
            long=duration(shade.end - shade.start) if shade.end > shade.start else "",
            seconds=(shade.start, shade.end),
        )
