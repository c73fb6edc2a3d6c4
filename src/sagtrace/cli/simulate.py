"""sagtrace simulate: what a virtual vehicle does in a script of events."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from sagtrace.app.plain import plain
from sagtrace.app.plans import Plan
from sagtrace.bootstrap import (
    check_table_name,
    demo_folder,
    fault_book,
    read_file,
    read_script,
    write_table,
)
from sagtrace.cli.options import AsJson
from sagtrace.cli.output import print_json, say, show_table, talk
from sagtrace.cli.progress import Part, told
from sagtrace.errors import DocumentError, InputError
from sagtrace.report.words import duration
from sagtrace.units import from_si
from sagtrace.vehicle.layouts import Layout

if TYPE_CHECKING:
    from sagtrace.app.columns import Column
    from sagtrace.app.virtual import Summary, VirtualRun
    from sagtrace.twin.codes import SetCode

EXAMPLE = (
    "Example: sagtrace simulate --example > night.yaml; "
    "sagtrace simulate night.yaml --out night.csv --truth truth.csv"
)

INVENTED = "Invented data: a virtual vehicle, no real one."


def run(
    script: Annotated[
        Path | None,
        typer.Argument(metavar="SCRIPT", help="The script of events (YAML); see --example."),
    ] = None,
    out: Annotated[
        Path | None, typer.Option(help="Where to write the recording: NAME.csv or NAME.parquet.")
    ] = None,
    truth: Annotated[
        Path | None,
        typer.Option(help="Where to write what no recorder sees: masses, leaks, temperatures."),
    ] = None,
    rate: Annotated[
        float | None,
        typer.Option(help="Samples a second.  [default: 10; with --weeks 1]", show_default=False),
    ] = None,
    seed: Annotated[
        int | None, typer.Option(min=0, help="Of the noise; instead of the script's.")
    ] = None,
    weeks: Annotated[
        int | None,
        typer.Option(min=1, help="Repeat the script day by day for so many weeks, with wear."),
    ] = None,
    tell: Annotated[bool, typer.Option("--tell", help="Name the faults that were put in.")] = False,
    progress: Annotated[bool, typer.Option("--progress", help="Show how far it is.")] = False,
    example: Annotated[
        bool, typer.Option("--example", help="Print an example of a script and stop.")
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Simulate a virtual vehicle through a script of events and write what a recorder sees."""
    if example:
        text = (demo_folder() / "night.yaml").read_text(encoding="utf-8")
        print_json({"script": text}) if as_json else print(text, end="")
        return
    if script is None:
        raise typer.BadParameter(
            "name a script, or ask for one with --example", param_hint="SCRIPT"
        )
    if weeks is not None and truth is not None:
        raise InputError("--truth: the weeks of --weeks have no truth to write; leave one out.")
    if weeks is None and out is None:
        raise typer.BadParameter("say where to write the recording", param_hint="--out")
    _check_places(out, truth)
    plan, layout = read_script(read_file(script), str(script))
    plan = plan if seed is None else replace(plan, seed=seed)
    with told(progress) as part:
        if weeks is not None:
            result = _weeks(plan, layout, weeks, rate, out, part)
            show = _show_weeks
        else:
            assert out is not None
            result = _once(plan, layout, rate, out, truth, part)
            show = _show_once
    result = {**_about(plan), **result}
    if tell:
        result["faults"] = plain(plan.faults)
    if as_json:
        print_json(result)
        return
    say(INVENTED)
    say(_headline(plan, layout))
    show(result)
    if tell:
        _show_faults(plan)


def _check_places(*places: Path | None) -> None:
    """Refuse what cannot be written before the work is done."""
    wanted = [path for path in places if path is not None]
    for i, path in enumerate(wanted):
        check_table_name(path)
        if path.exists():
            raise InputError(f"{path} exists already and is left as it is; choose another name.")
        if path.absolute() in [other.absolute() for other in wanted[:i]]:
            raise InputError(f"{path} is named twice; give the truth a name of its own.")
        there = next(folder for folder in path.absolute().parents if folder.exists())
        if not there.is_dir() or not os.access(there, os.W_OK):
            why = "may not be written in" if there.is_dir() else "is no folder"
            raise DocumentError(str(path), None, "", f"cannot be written ({there} {why})")


def _once(
    plan: Plan, layout: Layout, rate: float | None, out: Path, truth: Path | None, part: Part
) -> dict[str, Any]:
    from sagtrace.app.columns import recording_columns, truth_columns
    from sagtrace.app.virtual import check_size, run_plan, summary_of
    from sagtrace.twin.simulate import prepare

    rate = 10.0 if rate is None else rate
    check_size(plan.script.duration, rate, truth is not None)
    prepare(talk, at_once=True)
    done = run_plan(
        plan, layout, fault_book(), rate=rate, truth=truth is not None, tell=part("simulating")
    )
    files = {"recording": _write(out, recording_columns(done), part)}
    if truth is not None:
        files["truth"] = _write(truth, truth_columns(done), part)
    return {"rate_hz": rate, **_ending(done, summary_of(done)), "files": files}


def _write(path: Path, columns: tuple[Column, ...], part: Part) -> dict[str, Any]:
    write_table(path, columns, part(f"writing {path.name}"))
    return {
        "path": str(path),
        "rows": len(columns[0].values),
        "columns": [column.title for column in columns],
    }


def _weeks(
    plan: Plan, layout: Layout, weeks: int, rate: float | None, out: Path | None, part: Part
) -> dict[str, Any]:
    from sagtrace.app.columns import week_columns
    from sagtrace.app.virtual import check_day, run_weeks
    from sagtrace.twin.simulate import prepare

    rate = 1.0 if rate is None else rate
    check_day(plan.script.duration, rate)
    prepare(talk, at_once=True)
    done = run_weeks(
        plan, layout, fault_book(), weeks=weeks, rate=rate, tell=part("simulating weeks")
    )
    columns = week_columns(done)
    healthy_ring = done.scene.vehicle.pump.ring_conductance
    table = [
        {
            "week": week.number + 1,
            "pump_running_s": week.running,
            "pump_starts": week.starts,
            "hottest_head_degc": from_si(week.hottest_head, "°C"),
            "hottest_connector_degc": from_si(week.hottest_connector, "°C"),
            "lowest_corner_mm": from_si(week.lowest, "mm"),
            "ring_leak_added_percent": 100.0 * week.wear.ring / healthy_ring,
            "brushes_added_milliohm": from_si(week.wear.brushes, "mΩ"),
            "connector_added_milliohm": from_si(week.wear.connector, "mΩ"),
            "contacts_added_milliohm": from_si(week.wear.contacts, "mΩ"),
            "codes": [_code(code) for code in week.codes],
        }
        for week in done.weeks
    ]
    files = {} if out is None else {"weeks": _write(out, columns, part)}
    return {"rate_hz": rate, "weeks": table, "files": files}


def _about(plan: Plan) -> dict[str, Any]:
    return {
        "invented": True,
        "title": plan.title,
        "layout": plan.layout,
        "duration_s": plan.script.duration,
        "events": len(plan.script.events),
        "seed": plan.seed,
    }


def _ending(done: VirtualRun, summary: Summary) -> dict[str, Any]:
    from sagtrace.signals.trace import ROLES

    return {
        "corners": {
            corner: {"height_mm": 1e3 * height, "above_ride_height_mm": 1e3 * summary.above[corner]}
            for corner, height in summary.heights.items()
        },
        "pump": {"running_s": summary.running, "starts": summary.starts},
        "codes": [_code(code) for code in summary.codes],
        "balance": plain(summary.balance),
        "not_read_by_attach": [role for role in done.result.channels if role not in ROLES],
    }


def _code(code: SetCode) -> dict[str, Any]:
    return {
        "name": code.name,
        "failing_now": code.status.failing_now,
        "status_byte": code.status.to_byte(),
        "first_seen_s": code.first_seen,
    }


def _headline(plan: Plan, layout: Layout) -> str:
    title = f"{plan.title}: " if plan.title else ""
    air = f"{from_si(plan.script.ambient, '°C'):.0f} °C"
    count = _count(len(plan.script.events), "event")
    span = _span(plan.script.duration)
    return f"{title}{layout.name}, {span} from {air}, {count}, seed {plan.seed}."


def _count(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"


def _span(seconds: float) -> str:
    """Return a time as people say it.

    >>> _span(43500.0), _span(75.0), _span(600.0)
    ('12 h 5 min', '1 min 15 s', '10 min')
    """
    rest, parts = round(seconds), []
    for size, unit in ((86400, "d"), (3600, "h"), (60, "min"), (1, "s")):
        count, rest = divmod(rest, size)
        if count:
            parts.append(f"{count} {unit}")
    return " ".join(parts[:2]) or "0 s"


def _codes(codes: list[dict[str, Any]]) -> str:
    return "; ".join(
        f"{code['name']} ({'failing now' if code['failing_now'] else 'history'}, status "
        f"{code['status_byte']:02X}, first at {_span(code['first_seen_s'])})"
        for code in codes
    )


def _show_once(result: Mapping[str, Any]) -> None:
    rows = [
        (corner, f"{at['height_mm']:.0f} mm", f"{at['above_ride_height_mm']:+.0f} mm")
        for corner, at in result["corners"].items()
    ]
    show_table(("Corner", ">At the end", ">From ride height"), rows)
    pump = result["pump"]
    say(f"Pump: ran for {_span(pump['running_s'])} in {_count(pump['starts'], 'start')}.")
    say(f"Codes: {_codes(result['codes']) or 'none'}.")
    balance = result["balance"]
    say(f"Balance: mass within {balance['mass']:.1g}, energy within {balance['energy']:.1g}.")
    _show_files(result["files"])
    if result["not_read_by_attach"]:
        say(f"sagtrace attach knows no column {', '.join(result['not_read_by_attach'])}.")


def _show_weeks(result: Mapping[str, Any]) -> None:
    columns = (
        ">Week", ">Pump on", ">Starts", ">Head", ">Connector", ">Lowest", ">Ring", ">Brushes",
        ">Connector",
    )  # fmt: skip
    rows = [
        (
            f"{week['week']}",
            duration(week["pump_running_s"]),
            f"{week['pump_starts']}",
            f"{week['hottest_head_degc']:.0f} °C",
            f"{week['hottest_connector_degc']:.0f} °C",
            f"{week['lowest_corner_mm']:.0f} mm",
            f"+{week['ring_leak_added_percent']:.0f} %",
            f"+{week['brushes_added_milliohm']:.1f} mΩ",
            f"+{week['connector_added_milliohm']:.2f} mΩ",
        )
        for week in result["weeks"]
    ]
    show_table(columns, rows, title="One day of each week, and the wear that it began with")
    said: set[str] = set()
    for week in result["weeks"]:
        new = [code for code in week["codes"] if code["name"] not in said]
        said |= {code["name"] for code in new}
        if new:
            say(f"Codes from week {week['week']}: {', '.join(code['name'] for code in new)}.")
    _show_files(result["files"])


def _show_files(files: Mapping[str, Any]) -> None:
    for file in files.values():
        say(f"{file['path']}: {file['rows']} rows of {len(file['columns'])} columns.")


def _show_faults(plan: Plan) -> None:
    rows = [
        (fault.fault, fault.state, f"{fault.size:g} ×", _span(fault.onset)) for fault in plan.faults
    ]
    if rows:
        show_table(("Fault put in", "State", ">Size", ">From"), rows)
    else:
        say("No fault was put in.")
