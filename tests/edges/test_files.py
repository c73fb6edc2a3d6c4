"""A recording whose header says every role is read, or refused in words that say what was expected.

What a file may have besides, and what is repaired with an account, is tested in tests/recordings.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from sagtrace.adapters.files import read_csv_recording
from sagtrace.errors import DocumentError

HEADER = "time [s],height.rear [mm],pump.command [-],supply [V],ambient [degC]"


def rows(count: int = 12) -> list[str]:
    return [f"{0.5 * i},{400 - i},{i % 2},12.4,9.5" for i in range(count)]


def csv(header: str = HEADER, lines: list[str] | None = None) -> bytes:
    return "\n".join([header, *(rows() if lines is None else lines), ""]).encode()


def refused(data: bytes) -> DocumentError:
    with pytest.raises(DocumentError) as caught:
        read_csv_recording(data, "drive.csv")
    assert caught.value.file == "drive.csv"
    return caught.value


def test_a_recording_comes_out_in_si() -> None:
    trace = read_csv_recording(csv(), "drive.csv")
    assert trace.time.tolist() == [0.5 * i for i in range(12)]
    assert trace.channels["height.rear"][1] == pytest.approx(0.399, rel=1e-15)
    assert trace.channels["pump.command"].tolist() == [0.0, 1.0] * 6
    assert trace.channels["ambient"][0] == pytest.approx(282.65, abs=1e-9)
    assert set(trace.channels) == {"height.rear", "pump.command", "supply", "ambient"}


@pytest.mark.parametrize(
    ("title", "number", "si"),
    [
        ("height.rear [in]", "10", 0.254),
        ("height.rear [m]", "0.4", 0.4),
        ("ambient [°F]", "50", 283.15),
        ("ambient [K]", "280", 280.0),
        ("supply [mV]", "12400", 12.4),
        ("pump.current[A]", "17.5", 17.5),
        ("engine", "1", 1.0),
    ],
)
@pytest.mark.arithmetic("1 in = 25.4 mm; 50 °F = 10 °C; 0 °C = 273.15 K, all by definition")
def test_units_of_a_header(title: str, number: str, si: float) -> None:
    lines = [f"{i},{number}" for i in range(10)]
    (channel,) = read_csv_recording(csv(f"time [min],{title}", lines), "f").channels.values()
    assert channel == pytest.approx(np.full(10, si))


def test_time_in_minutes() -> None:
    lines = [f"{i},1" for i in range(10)]
    assert read_csv_recording(csv("time [min],engine", lines), "f").time[2] == 120.0


def test_empty_cells_and_nan_are_missing_samples() -> None:
    lines = rows()
    lines[3] = "1.5,,1,nan,9.5"
    trace = read_csv_recording(csv(lines=lines), "f")
    assert np.isnan(trace.channels["height.rear"][3])
    assert np.isnan(trace.channels["supply"][3])
    assert np.isfinite(trace.channels["ambient"]).all()


def test_line_ends_byte_order_mark_and_blank_lines_do_not_matter() -> None:
    plain = read_csv_recording(csv(), "f")
    for data in (
        b"\xef\xbb\xbf" + csv(),
        csv().replace(b"\n", b"\r\n"),
        csv() + b"\n\n",
        csv().replace(b",", b" , "),
    ):
        assert np.array_equal(
            read_csv_recording(data, "f").channels["height.rear"], plain.channels["height.rear"]
        )


def with_line(number: int, text: str) -> bytes:
    """Return a recording whose line of this number, as an editor counts, is the text."""
    lines = rows()
    lines[number - 2] = text
    return csv(lines=lines)


@pytest.mark.parametrize(
    ("data", "line", "words"),
    [
        (b"", None, "the file is empty; expected a header row"),
        (b" \n\n", None, "the file is empty"),
        (csv("height.rear [mm],engine", ["1,1"] * 10), 1, r"no time column.*time \[s\]"),
        (csv("time [s]", ["1"]), 1, "nothing but a time"),
        (
            csv("time [s],hight.rear [mm]"),
            1,
            r"no channel 'hight.rear'. Did you mean 'height.rear'",
        ),
        (
            csv("time [s],oil [bar]", [f"{i},1" for i in range(10)]),
            1,
            "no column is named like a channel",
        ),
        (csv("time [s],supply [V],supply [V]"), 1, "twice"),
        (csv("time [s],height.rear [bar]"), 1, r"'bar' is no unit that fits.*length.*\[mm\]"),
        (csv("time [s],height.rear [1/2 in]"), 1, "no unit that fits"),
        (csv("time [s],height.rear"), 1, r"no unit.*height.rear \[mm\]"),
        (csv("time,engine", [f"{3 * i},1" for i in range(10)]), 1, r"no unit.*time \[s\]"),
        (csv("time [s],engine [V]"), 1, "no unit of a command"),
        (csv("time [s];supply [V]"), 1, "rows have 5 cells and the header 1"),
        (csv(HEADER.replace("[mm]", "[m]")), 2, "outside what can be.*unit"),
        (csv(lines=rows(9)), None, "9 rows.*at least 10"),
        (csv().replace(b"400", b"4\0000"), 2, "zero byte"),
        (b"\x89PNG\r\n\x1a\n", 1, "no text"),
    ],
)
def test_what_cannot_be_is_refused_at_its_line(data: bytes, line: int | None, words: str) -> None:
    error = refused(data)
    assert error.line == line
    with pytest.raises(DocumentError, match=words):
        raise error


@pytest.mark.parametrize(
    ("data", "role", "row"),
    [
        (with_line(5, "1.5,lost,1,12.4,9.5"), "height.rear", 3),
        (with_line(7, "2.5,399,1,inf,9.5"), "supply", 5),
        (with_line(7, "2.5,399,0.5,12.4,9.5"), "pump.command", 5),
        (with_line(7, "2.5,399000,0,12.4,9.5"), "height.rear", 5),
        (with_line(4, "1.0,399,0,12.4"), "ambient", 2),
    ],
)
def test_a_cell_that_cannot_be_is_a_missing_sample(data: bytes, role: str, row: int) -> None:
    trace = read_csv_recording(data, "drive.csv")
    assert trace.time.tolist() == [0.5 * i for i in range(12)]
    for name, values in trace.channels.items():
        assert np.flatnonzero(np.isnan(values)).tolist() == ([row] if name == role else [])


@pytest.mark.parametrize("line", ["0.5,399,0,12.4,9.5", ",399,0,12.4,9.5", "1,0,399,0,12.4,9,5"])
def test_a_row_that_cannot_be_is_left_out(line: str) -> None:
    trace = read_csv_recording(with_line(4, line), "drive.csv")
    assert trace.time.tolist() == [0.5 * i for i in range(12) if i != 2]


@pytest.mark.parametrize(
    "data",
    [
        with_line(5, '1.5,"397",1,12.4,9.5'),
        csv(HEADER.replace("[V]", "[V")),
        csv() + b"\0",
        csv().replace(b",", b";"),
    ],
)
def test_what_does_not_matter(data: bytes) -> None:
    plain, found = read_csv_recording(csv(), "f"), read_csv_recording(data, "f")
    assert found.channels.keys() == plain.channels.keys()
    for role, values in found.channels.items():
        np.testing.assert_array_equal(values, plain.channels[role])


def read_or_refuse(data: bytes) -> None:
    try:
        trace = read_csv_recording(data, "f")
    except DocumentError:
        return
    assert len(trace.time) >= 10
    assert trace.channels


@settings(deadline=None, max_examples=300)
@given(st.binary(max_size=400))
@example(b"\xef\xbb\xbf")
def test_any_bytes_are_read_or_refused(data: bytes) -> None:
    read_or_refuse(data)


@settings(deadline=None, max_examples=300)
@given(
    header=st.lists(
        st.tuples(
            st.sampled_from(["time", "height.rear", "engine", "supply", "ambient", "x", ""]),
            st.sampled_from(["[s]", "[mm]", "[-]", "[V]", "", "[", "[[s]]", "[degC]"])
            | st.text(max_size=6).map(lambda unit: f"[{unit}]"),
        ).map(" ".join),
        max_size=4,
    ),
    body=st.text(alphabet="0123456789.,-+e \n\rnaif\t\"'", max_size=200),
)
@example(header=["time [s]", "engine"], body="\n".join(f"{i},1" for i in range(10)))
@example(header=["time [s]", "engine"], body="\n".join(f"{i}e308,1" for i in range(1, 12)))
def test_near_recordings_are_read_or_refused(header: list[str], body: str) -> None:
    read_or_refuse(f"{','.join(header)}\n{body}".encode())


@settings(deadline=None, max_examples=150)
@given(
    at=st.integers(0, len(csv()) - 1),
    put=st.binary(max_size=4),
    drop=st.integers(0, 5),
)
def test_a_damaged_recording_is_read_or_refused(at: int, put: bytes, drop: int) -> None:
    whole = csv()
    read_or_refuse(whole[:at] + put + whole[at + drop :])
