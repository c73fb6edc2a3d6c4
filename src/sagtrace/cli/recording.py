"""sagtrace recording: look into a recording, and at what it says, before it is attached."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated, Any

import typer

from sagtrace.app.plain import plain
from sagtrace.bootstrap import job_place, open_workshop, write_file
from sagtrace.cli.options import AsJson, Rate, Roles, Tapes, role_pairs, taped
from sagtrace.cli.output import print_json, say, show_table, talk
from sagtrace.errors import InputError
from sagtrace.report.assessment import Recorded
from sagtrace.report.recorded import (
    NOTHING_STANDS_OUT,
    audit_table,
    duty_text,
    fills_table,
    fit_table,
    misfit_text,
    rests_table,
)
from sagtrace.report.tree import Table
from sagtrace.report.words import sentence
from sagtrace.signals.imported import Assignment, ColumnInfo, Imported
from sagtrace.vehicle.job import Job, Recording, Taped

EXAMPLE = (
    "Example: sagtrace recording recording.csv; "
    "sagtrace recording recording.csv --role 'height.rear=height.rear [mm]' --role 'ambient=-'; "
    "sagtrace recording recording.csv --layout rear-pair --tape '12 min right=385 mm'"
)


def run(
    recording: Annotated[Path, typer.Argument(help="CSV, TSV, Parquet or MDF 4.")],
    roles: Roles = None,
    rate: Rate = "",
    remember: Annotated[
        bool, typer.Option("--remember", help="Keep what --role says for the next recordings.")
    ] = False,
    layout: Annotated[
        str, typer.Option(help="Say what it says of this system; see `sagtrace know layouts`.")
    ] = "",
    job: Annotated[
        Path | None, typer.Option(help="The same with a job's layout, vehicle data and tapes.")
    ] = None,
    tapes: Tapes = None,
    save: Annotated[
        Path | None,
        typer.Option("--save", "--export", help="Write what it says as JSON into this file."),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Show the columns of a recording and how it was read; with a system, what it says too."""
    workshop = open_workshop()
    vehicle = _vehicle(layout, job)
    if vehicle is None and (tapes or save):
        raise InputError("--tape and --save need a system; add --layout rear-pair or --job JOB.")
    said, measured = Assignment(roles=role_pairs(roles), rate=rate), taped(tapes)
    imported = workshop.inspect(recording, str(recording), said)
    if vehicle is not None and (known := _attached(vehicle, imported)) is not None:
        measured = (*known.tapes, *measured)
        if not roles and not rate:
            said = Assignment(roles=known.roles, rate=known.rate, guess=False)
            imported = workshop.inspect(recording, str(recording), said)
    if remember:
        talk(f"remembered: {workshop.remember(imported, said)} column(s)")
    seen = workshop.look(vehicle, imported, said.rate, measured) if vehicle is not None else None
    content = _content(vehicle, imported, seen, measured)
    if save is not None:
        write_file(save, (json.dumps(plain(content), ensure_ascii=False, indent=2) + "\n").encode())
        talk(f"written: {save}")
    if as_json:
        print_json(content)
        return
    _say_columns(imported)
    if seen is not None:
        _say_findings(seen)


def _vehicle(layout: str, job: Path | None) -> Job | None:
    if job is not None:
        if layout:
            raise InputError("--layout and --job: the job has its layout; leave one of them out.")
        return job_place(job).load()
    if not layout:
        return None
    return open_workshop().start(Job(id="recording", title="A recording", layout=layout))


def _attached(job: Job, imported: Imported) -> Recording | None:
    digest = imported.report.sha256
    return next((known for known in job.recordings if known.sha256 == digest), None)


def _content(
    job: Job | None, imported: Imported, seen: Recorded | None, tapes: tuple[Taped, ...]
) -> dict[str, Any]:
    content: dict[str, Any] = {"report": imported.report, "columns": imported.columns}
    if job is None or seen is None:
        return content
    report = seen.report
    says = {
        "layout": job.layout,
        "vehicle": dict(job.vehicle),
        "tapes": tapes,
        "audit": [{**plain(r), "stands_out": r.stands_out} for r in report.audit],
        "episodes": report.episodes,
        "table": report.table,
        "run_share": report.run_share,
        "fit": report.fit,
        "findings": report.findings,
        "notes": report.notes,
    }
    return {**content, "says": says}


def _say_columns(imported: Imported) -> None:
    show_table(
        ("Column", "Unit", "Role", ">Confidence", "Why"), [_row(c) for c in imported.columns]
    )
    for text in imported.report.sentences():
        say(text)
    if imported.unsettled:
        column = imported.unsettled[0]
        guess = column.guesses[0]
        example = f"{column.name}={guess.role} [{guess.unit or '-'}]"
        say(f"Roles with a ? are not clear. Say them, for example: --role {example!r}")


def _say_findings(seen: Recorded) -> None:
    report, fit = seen.report, seen.report.fit
    audit = audit_table(report)
    if audit is None:
        say()
        say(f"{NOTHING_STANDS_OUT} in {len(report.audit)} tests.")
    for table in (audit, rests_table(report), fills_table(report)):
        if table is not None:
            _show(table)
    say(duty_text(report))
    if fit is not None:
        _show(fit_table(fit, "the fit"))
        say(misfit_text(fit))
        for text in fit.notes:
            say(f"Not told: {text}")
        wanted = fit.wanted or "no reading that is asked for here would narrow a leak by much."
        say(f"What would help most: {wanted}")
    told = {*fit.notes, fit.wanted} if fit else set()
    for text in report.notes:
        if text not in told:
            say(sentence(text))
    say()
    say("Findings:")
    for finding in report.findings:
        say(f"  {sentence(finding.name).rstrip('.')}: {finding.text}")
        for caveat in finding.caveats:
            if caveat.text not in told:
                say(f"    {caveat.text}")


def _show(table: Table) -> None:
    say()
    heads = [f">{c.title}" if c.align == "right" else c.title for c in table.columns]
    show_table(heads, table.rows, title=table.caption)


def _row(column: ColumnInfo) -> tuple[str, str, str, str, str]:
    role = f"{column.role} [{column.role_unit}]" if column.role_unit else column.role
    reason = column.reason or "its name says so"
    if column.unsettled:
        role = " or ".join(f"{guess.role}?" for guess in column.guesses)
        reason = column.guesses[0].reason
    sure = f"{100 * column.confidence:.0f} %" if column.role or column.unsettled else ""
    return column.name, column.unit, role, sure, reason
