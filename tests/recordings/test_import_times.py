"""Time, however it was written, rises and says what was done to it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from written_tables import (
    COUNT,
    CURRENT,
    HEIGHT,
    PUMP,
    SUPPLY,
    TIME,
    TITLES,
    Written,
    assert_known,
    codes,
    comma,
    imported,
    plain,
)

from sagtrace.errors import DocumentError
from sagtrace.signals.episodes import find_episodes
from sagtrace.signals.trace import Trace


def timed(write: Callable[[float], str], unit: str = "", **more: object) -> Written:
    return Written(units=(unit, "mm", "", "V", "A"), cells={0: write}, separator=";", **more)  # type: ignore[arg-type]


def clock(
    start: float, digits: int = 3, form: str = "{h:02d}:{m:02d}:{s}"
) -> Callable[[float], str]:
    def write(t: float) -> str:
        total = start + t
        h, rest = divmod(total, 3600.0)
        m, s = divmod(rest, 60.0)
        width = digits + 3 if digits else 2
        return form.format(h=int(h) % 24, m=int(m), s=f"{s:0{width}.{digits}f}")

    return write


@pytest.mark.parametrize(
    ("unit", "scale"),
    [("s", 1.0), ("sec", 1.0), ("ms", 1e3), ("msec", 1e3), ("min", 1 / 60), ("µs", 1e6),
     ("us", 1e6), ("h", 1 / 3600), ("ns", 1e9)],
)  # fmt: skip
@pytest.mark.arithmetic("1 min = 60 s, 1 h = 3600 s; SI prefixes")
def test_units_of_time(unit: str, scale: float) -> None:
    found = imported(timed(lambda t: f"{t * scale:.17g}", unit).bytes())
    assert_known(found)


@pytest.mark.parametrize(("scale", "unit"), [(1.0, "s"), (1e3, "ms"), (1e6, "µs")])
def test_a_unit_left_out_is_told_by_the_steps(scale: float, unit: str) -> None:
    found = imported(timed(lambda t: plain(t * scale)).bytes())
    assert_known(found)
    assert found.columns[0].role_unit == unit
    assert found.report.count("time-unit", "Time") == 1


def test_a_unit_that_no_step_fits_is_asked_for() -> None:
    data = timed(lambda t: plain(t * 5.0)).bytes()
    words = r"no unit, and its steps fit none.*--role 'Time=time \[s\]'"
    with pytest.raises(DocumentError, match=words):
        imported(data)
    assert imported(data, {"Time": "time [s]"}).trace.time[1] == pytest.approx(2.5)


@pytest.mark.parametrize("name", ["time_ms", "t_ms", "Timestamp ms"])
def test_a_unit_in_the_name(name: str) -> None:
    table = timed(lambda t: plain(t * 1e3), titles=(name, *TITLES[1:]))
    found = imported(table.bytes())
    assert_known(found)
    assert found.report.count("time-unit", name) == 0


@pytest.mark.parametrize(
    "write",
    [
        clock(45015.0),
        clock(45015.0, 1),
        clock(45015.0, 3, "{h:02d}:{m:02d}:{s}".replace(".", ",")),
        clock(86390.0),  # past midnight
        lambda t: clock(45015.0)(t).replace(".", ","),
        lambda t: clock(45015.0)(t).replace(".", ":"),
        lambda t: "24.11.2026 " + clock(45015.0)(t),
        lambda t: "2026-11-24T" + clock(45015.0)(t) + "Z",
        lambda t: "11/24/2026 " + clock(45015.0)(t),
        lambda t: "2026/11/24 " + clock(45015.0)(t) + "+01:00",
        clock(1815.0, 1, "{m:02d}:{s}"),  # minutes and seconds
    ],
)
def test_clocks(write: Callable[[float], str]) -> None:
    assert_known(imported(timed(write, "hh:mm:ss").bytes()))
    assert_known(imported(timed(write).bytes()))


def test_past_midnight() -> None:
    found = imported(timed(clock(86390.0)).bytes())
    assert found.report.count("midnight", "Time") == 1
    assert "at 23:59:50.000" in " ".join(found.report.sentences())


@pytest.mark.parametrize(
    ("start", "first", "second"),
    [
        (86390.0, "24.11.2026", "25.11.2026"),
        (86390.0, "2026-12-31", "2027-01-01"),
        (86390.0, "02/28/2028", "02/29/2028"),
        (86390.0, "31/12/2026", "01/01/2027"),
        (86390.0, "04/05/2026", "05/05/2026"),
        (86390.0, "04/30/2026", "05/01/2026"),
    ],
)
@pytest.mark.arithmetic("the next day of the Gregorian calendar, leap years among them")
def test_dates_past_midnight(start: float, first: str, second: str) -> None:
    def write(t: float) -> str:
        return f"{first if start + t < 86400.0 else second} {clock(start)(t)}"

    found = imported(timed(write).bytes())
    assert_known(found)
    assert found.report.count("midnight", "Time") == 0


def test_a_date_and_a_clock_in_two_columns() -> None:
    def date(t: float) -> str:
        return "24.11.2026" if 86390.0 + t < 86400.0 else "25.11.2026"

    columns = [
        [date(t) for t in TIME],
        [clock(86390.0)(t) for t in TIME],
        *([plain(x) for x in values] for values in (HEIGHT, PUMP, SUPPLY, CURRENT)),
    ]
    table = Written(titles=("Date", *TITLES), units=("", "", "mm", "", "V", "A"), columns=columns)
    found = imported(table.bytes())
    assert_known(found)
    again = imported(table.bytes(), found.assignment(), guess=False)
    np.testing.assert_array_equal(again.trace.time, found.trace.time)


def half_day(t: float) -> str:
    h = int((43195.0 + t) // 3600.0)
    return f"{(h - 1) % 12 + 1}{clock(43195.0)(t)[2:]}"


def test_a_clock_of_twelve_hours_with_am_and_pm() -> None:
    def write(t: float) -> str:
        return f"{half_day(t)} {'AM' if 43195.0 + t < 43200.0 else 'PM'}"

    found = imported(timed(write).bytes())
    assert_known(found)
    assert found.report.count("half-day", "Time") == 0


def test_a_clock_of_twelve_hours_without() -> None:
    """12:59:59 is followed by 01:00:00."""

    def write(t: float) -> str:
        h = int((46795.0 + t) // 3600.0)
        return f"{(h - 1) % 12 + 1:02d}{clock(46795.0)(t)[2:]}"

    found = imported(timed(write).bytes())
    assert_known(found)
    assert found.report.count("half-day", "Time") == 1


def test_a_time_since_an_epoch_counts_from_the_first_sample() -> None:
    found = imported(timed(lambda t: f"{1.7e12 + 1e3 * t:.0f}", "ms").bytes())
    assert_known(found)
    assert found.report.count("start") == 1


@pytest.mark.parametrize("size", [65536.0, 4294967296.0])
def test_a_counter_that_begins_again(size: float) -> None:
    found = imported(timed(lambda t: plain((size - 5000.0 + 1e3 * t) % size), "ms").bytes())
    assert_known(found, TIME + (size - 5000.0) / 1e3)
    assert found.report.count("counter", "Time") == 1


# --- without a time


def test_a_stated_rate() -> None:
    columns = [[plain(x) for x in values] for values in (HEIGHT, PUMP, SUPPLY, CURRENT)]
    table = Written(titles=TITLES[1:], units=("mm", "", "V", "A"), columns=columns)
    assert_known(imported(table.bytes(), rate="2 Hz"))
    with pytest.raises(DocumentError, match=r"no time column.*--rate '10 Hz'"):
        imported(table.bytes())


# --- mixed rates


def test_empty_cells_are_samples_that_were_not_taken() -> None:
    """A command every second row, the supply every fifth: nothing is made up between them."""
    lines = Written(titles=TITLES).rows()
    for i, row in enumerate(lines):
        row[2] = row[2] if i % 2 == 0 else ""
        row[3] = row[3] if i % 5 == 0 else ""
    columns = [list(column) for column in zip(*lines, strict=True)]
    found = imported(Written(columns=columns).bytes())
    supply = found.trace.channels["supply"]
    assert np.isfinite(supply).tolist() == [i % 5 == 0 for i in range(COUNT)]
    np.testing.assert_allclose(supply[::5], SUPPLY[::5], rtol=1e-12)
    assert found.report.count("empty", "Battery voltage") == COUNT - COUNT // 5
    held = found.trace.held("pump.command")
    np.testing.assert_array_equal(held[:-1], np.repeat(PUMP[::2], 2)[:-1])
    assert codes(found) == {}


SLOW = np.arange(12) * 2.5 + 0.1


def side_by_side(names: tuple[str, ...], separator: str = ";", empty: str = "") -> bytes:
    """Two groups with times of their own; the slower one ends before the faster."""
    rows = []
    for i in range(COUNT):
        fast = [plain(TIME[i]), plain(HEIGHT[i]), plain(PUMP[i])]
        slow = [plain(SLOW[i]), plain(SUPPLY[i])] if i < len(SLOW) else [empty, empty]
        rows.append(separator.join([*fast, *slow]))
    return "\n".join([separator.join(names), *rows, ""]).encode()


NAMES = ("Time [s]", "Rear height [mm]", "Compressor relay", "Time [s]", "Battery voltage [V]")


@pytest.mark.parametrize(
    "names",
    [
        NAMES,
        (*NAMES[:3], "Time 2 [s]", NAMES[4]),
        ("t [s]", *NAMES[1:3], "Battery voltage time [s]", NAMES[4]),
    ],
)
@pytest.mark.parametrize("separator", [";", ","])
def test_a_time_for_each_group(names: tuple[str, ...], separator: str) -> None:
    found = imported(side_by_side(names, separator))
    trace = found.trace
    np.testing.assert_allclose(trace.time, np.union1d(TIME, SLOW), rtol=1e-12)
    for role, time, values in (
        ("height.rear", TIME, HEIGHT / 1000), ("supply", SLOW, SUPPLY[: len(SLOW)]),
    ):  # fmt: skip
        seen = np.isfinite(trace.channels[role])
        np.testing.assert_allclose(trace.time[seen], time, rtol=1e-12)
        np.testing.assert_allclose(trace.channels[role][seen], values, rtol=1e-12)
    assert codes(found) == {}
    again = imported(side_by_side(names, separator), found.assignment(), guess=False)
    np.testing.assert_array_equal(again.trace.time, trace.time)
    np.testing.assert_array_equal(again.trace.channels["supply"], trace.channels["supply"])


def test_a_running_time_is_no_time_axis() -> None:
    names = ("Time [s]", "Compressor run time [s]", *("Rear height [mm]", "Compressor relay"))
    rows = [
        ",".join(map(plain, row)) for row in zip(TIME, 1000.0 + TIME, HEIGHT, PUMP, strict=True)
    ]
    found = imported("\n".join([",".join(names), *rows]).encode())
    np.testing.assert_allclose(found.trace.time, TIME)
    assert found.columns[1].role == ""


def test_a_clock_beside_seconds_tells_the_time_once_more() -> None:
    rows = [
        ";".join([plain(t), clock(45015.0)(t), plain(h), plain(p), clock(45015.0)(t)])
        for t, h, p in zip(TIME, HEIGHT, PUMP, strict=True)
    ]
    head = "Time [s];Clock;Rear height [mm];Compressor relay;Time of day"
    found = imported("\n".join([head, *rows]).encode())
    np.testing.assert_allclose(found.trace.time, TIME)
    assert [c.reason for c in found.columns if not c.role] == ["it tells the time once more"] * 2


def test_episodes_of_a_slow_command_are_those_of_a_fast_one() -> None:
    time = np.arange(0.0, 300.0, 0.1)
    command = np.where((time >= 100.0) & (time < 130.0), 1.0, 0.0)
    seen = np.where(np.arange(time.size) % 10 == 0, command, np.nan)
    fast = find_episodes(Trace(time=time, channels={"pump.command": command}))
    slow = find_episodes(Trace(time=time, channels={"pump.command": seen}))
    # What follows the last sample of the command is not known.
    assert [(e.kind, e.start) for e in slow] == [(e.kind, e.start) for e in fast]
    assert [e.end for e in slow] == pytest.approx([e.end for e in fast], abs=1.0)


# --- repairs


def broken(times: NDArray[np.floating[Any]]) -> Written:
    columns = [
        [plain(t) if np.isfinite(t) else "" for t in times],
        *([plain(x) for x in values] for values in (HEIGHT, PUMP, SUPPLY, CURRENT)),
    ]
    return Written(columns=columns)


def test_rows_in_a_wrong_order_are_put_in_order() -> None:
    order = np.arange(COUNT)
    order[[20, 21, 40, 41, 42]] = [21, 20, 42, 41, 40]
    columns = [
        [plain(x) for x in values[order]] for values in (TIME, HEIGHT, PUMP, SUPPLY, CURRENT)
    ]
    found = imported(Written(columns=columns).bytes())
    assert_known(found)
    assert codes(found) == {"backward": 3}


def test_rows_of_one_time_become_one() -> None:
    rows = Written().lines()
    again = rows[10].split(",")
    again[1], again[3] = "", "11.11"
    rows[11:11] = [",".join(again)]
    found = imported("\n".join(rows).encode())
    supply = found.trace.channels["supply"]
    assert len(found.trace.time) == COUNT
    assert supply[9] == 11.11
    assert found.trace.channels["height.rear"][9] == pytest.approx(HEIGHT[9] / 1000)
    assert codes(found) == {"merged": 1}
    assert "1 value that differed" in " ".join(found.report.sentences())


def test_a_clock_coarser_than_the_rows_is_spread() -> None:
    found = imported(broken(np.floor(TIME / 2.0) * 2.0).bytes())
    np.testing.assert_allclose(found.trace.time, TIME, atol=1e-9)
    assert codes(found) == {"spread": 45}


def test_a_coarse_clock_that_begins_inside_a_tick() -> None:
    found = imported(broken(np.floor((TIME + 1.5) / 2.0) * 2.0).bytes())
    np.testing.assert_allclose(np.diff(found.trace.time), 0.5, atol=1e-9)


def test_a_recorder_that_started_again() -> None:
    times = np.r_[TIME[:30] + 100.0, TIME[:30] + 100.0]
    found = imported(broken(times).bytes())
    assert len(found.trace.time) == COUNT
    assert found.trace.time[30] - found.trace.time[29] == pytest.approx(60.0)
    assert codes(found) == {"restart": 1}
    assert "line 32" in " ".join(found.report.sentences())
    assert found.report.count("gaps") == 1


def test_gaps_are_told_with_their_times() -> None:
    times = (
        TIME
        + np.where(np.arange(COUNT) >= 20, 60.0, 0.0)
        + np.where(np.arange(COUNT) >= 50, 7.0, 0.0)
    )
    report = imported(broken(times).bytes()).report
    assert [(g.start, g.end) for g in report.gaps] == [(9.5, 70.0), (84.5, 92.0)]
    assert report.count("gaps") == 2
    assert "9.5 to 70 s, 84.5 to 92 s" in " ".join(report.sentences())


def test_jitter_is_measured_and_left() -> None:
    jitter = 0.04 * np.sin(np.arange(COUNT) * 2.1)
    report = imported(broken(np.round(TIME + jitter, 4)).bytes())
    np.testing.assert_allclose(report.trace.time, np.round(TIME + jitter, 4))
    steps = np.diff(np.round(TIME + jitter, 4))
    spacing = report.report.spacing
    assert spacing is not None
    assert spacing.median == pytest.approx(float(np.median(steps)))
    assert spacing.spread == pytest.approx(float(np.subtract(*np.percentile(steps, [75, 25]))))
    assert codes(report) == {}


def test_rows_without_a_time_are_left_out() -> None:
    times = TIME.copy()
    times[[7, 8]] = np.nan
    found = imported(broken(times).bytes())
    assert_known_but(found.trace, [7, 8])
    note = next(n for n in found.report.notes if n.code == "no-time")
    assert (note.count, note.line) == (2, 9)


def assert_known_but(trace: Trace, missing: list[int]) -> None:
    np.testing.assert_allclose(trace.time, np.delete(TIME, missing))
    np.testing.assert_allclose(
        trace.channels["height.rear"], np.delete(HEIGHT, missing) / 1000, rtol=1e-9
    )


@pytest.mark.parametrize("rate", [1.0, 10.0, 50.0, 100.0])
def test_rates(rate: float) -> None:
    time = np.arange(COUNT, dtype=np.float64) / rate
    table = Written(
        separator=";", number=comma, cells={0: lambda t: comma(round(t * 2.0 / rate, 6))}
    )
    assert_known(imported(table.bytes()), time)
