"""Damaged and hostile files are repaired with an account, or refused in words; nothing else."""

from __future__ import annotations

import gzip
import io
import lzma
import os
import zipfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from written_tables import (
    COUNT,
    HEIGHT,
    SUPPLY,
    TIME,
    Written,
    assert_known,
    codes,
    comma,
    imported,
)

from sagtrace.adapters.recordings import raw as raw_module
from sagtrace.errors import DocumentError, InputError


def refused(data: bytes, words: str) -> DocumentError:
    with pytest.raises(DocumentError, match=words) as caught:
        imported(data)
    return caught.value


def with_line(number: int, text: str, table: Written | None = None) -> bytes:
    lines = (table or Written()).lines()
    lines[number - 1] = text
    return "\n".join([*lines, ""]).encode()


# --- cells and rows


@pytest.mark.parametrize("text", ["lost", "12.3.4", "#REF!", "1e", "0x10", "12 V", "inf", "-inf"])
def test_a_cell_that_is_no_number_is_counted(text: str) -> None:
    found = imported(with_line(7, f"2.5,{text},0,12.4,0"))
    (note,) = [n for n in found.report.notes if n.code == "no-number"]
    assert (note.column, note.count, note.line) == ("Rear height", 1, 7)
    assert note.example in (text, "inf", "-inf")
    assert "in line 7" in note.text
    assert np.flatnonzero(np.isnan(found.trace.channels["height.rear"])).tolist() == [5]
    assert found.columns[1].missing == 1
    assert codes(found) == {"no-number": 1}


@pytest.mark.parametrize("text", ["", " ", "nan", "NaN", "N/A", "-", "---", "null", "#N/A"])
def test_a_missing_cell_is_missing(text: str) -> None:
    found = imported(with_line(7, f"2.5,{text},0,12.4,0"))
    assert found.report.count("empty", "Rear height") == 1
    assert codes(found) == {}


def test_a_value_that_cannot_be_is_counted() -> None:
    found = imported(with_line(9, "3.5,399000,0.5,12.4,0"))
    assert codes(found) == {"beyond": 1, "no-switch": 1}
    texts = " ".join(found.report.sentences())
    assert "outside -0.5 to 5 m, for example 399 in line 9" in texts
    assert "neither 0 (off) nor 1 (on), for example 0.5 in line 9" in texts


def test_a_column_in_a_wrong_unit_is_refused() -> None:
    data = Written(units=("s", "m", "", "V", "A")).bytes()
    with pytest.raises(DocumentError, match=r"line 2, Rear height: 404 is outside what can be"):
        imported(data, {"Rear height": "height.rear [m]"})


@pytest.mark.parametrize(
    ("line", "code", "done"),
    [
        ("2.5,399,0,12.4", "short-rows", "repaired"),
        ("2.5,399,0,12.4,0,7", "long-rows", "refused"),
        ("2.5,399,0,12.4,0,,7", "long-rows", "refused"),
        ("", "blank-rows", "ignored"),
        (",,,,", "blank-rows", "ignored"),
    ],
)
def test_a_row_that_does_not_fit(line: str, code: str, done: str) -> None:
    found = imported(with_line(7, line))
    (note,) = [n for n in found.report.notes if n.code == code]
    assert (note.count, note.done) == (1, done)
    assert note.line == (None if code == "blank-rows" else 7)
    assert codes(found) == {code: 1}
    assert len(found.trace.time) == COUNT - (code != "short-rows")


def test_a_separator_at_the_end_of_every_row_means_nothing() -> None:
    lines = Written(separator=";").lines()
    data = "\n".join([lines[0], *(f"{line};" for line in lines[1:])]).encode()
    assert_known(imported(data))
    assert_known(imported("\n".join(f"{line};" for line in lines).encode()))


def test_a_row_too_many_and_a_row_too_few_do_not_cancel_out() -> None:
    lines = Written().lines()
    lines[10] += ",1"
    lines[20] = lines[20].rpartition(",")[0]
    assert codes(imported("\n".join([*lines, ""]).encode())) == {"long-rows": 1, "short-rows": 1}


def test_a_file_cut_off_in_a_row() -> None:
    data = Written().bytes()
    cut = data[: data.rindex(b"12.") + 3]
    found = imported(cut)
    assert len(found.trace.time) == COUNT - 1
    assert codes(found) == {"cut-row": 1}


def test_a_footer_is_left_out() -> None:
    found = imported(Written(footer=("", "End of the log", "")).bytes())
    assert_known(found)
    assert found.report.count("no-time", "Time") == 0


def test_zero_bytes_at_the_end_are_left_out() -> None:
    found = imported(Written().bytes() + bytes(4096))
    assert_known(found)
    assert codes(found) == {"zero-bytes": 4096}


def test_zero_bytes_elsewhere_are_refused_at_their_line() -> None:
    data = Written().bytes()
    middle = data.index(b"\n", 400) + 1
    broken = data[:middle] + b"\0\0" + data[middle:]
    assert refused(broken, "a zero byte").line == data.count(b"\n", 0, middle) + 1


@pytest.mark.parametrize("stray", ['"', '5"', '"a'])
def test_a_stray_quote_swallows_nothing(stray: str) -> None:
    found = imported(with_line(7, f"2.5,{stray},0,12.4,0"))
    assert len(found.trace.time) == COUNT
    assert found.report.rows == COUNT


def test_a_header_without_names_is_none() -> None:
    data = "\n".join(Written().lines()[1:]).encode()
    found = imported(data)
    assert [c.role for c in found.columns] == ["time", "", "", "", ""]
    assert found.columns[4].name == "column 5"
    roles = {"column 1": "time [s]", "column 2": "height.rear [mm]"}
    found = imported(data, roles)
    np.testing.assert_allclose(found.trace.channels["height.rear"], HEIGHT / 1000)
    assert found.report.count("no-header") == 1


# --- files that are no recording


def test_compressed_files_are_refused() -> None:
    data = Written().bytes()
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        archive.writestr("drive.csv", data)
    bomb = gzip.compress(bytes(5_000_000))
    for content in (gzip.compress(data), lzma.compress(data), packed.getvalue(), bomb):
        refused(content, "a compressed file .*unpack it first")


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "the file is empty"),
        (b"\n \n\t\n", "the file is empty"),
        (b"\0" * 500, "the file is empty"),
        (b"\x89PNG\r\n\x1a\n" + bytes(100), "a picture"),
        (b"%PDF-1.7\n%", "a PDF"),
        (b"{\"time\": [1, 2, 3]}\n", "no row of numbers"),
        (b"time [s],height.rear [mm]\n", "no row of numbers"),
        (b"time [s]\n" + b"\n".join(b"%d" % i for i in range(40)), "nothing but a time"),
        (b"MDF     3.30    " + bytes(200), "version '3.30'.*version 4"),
        (b"UnFinMF 4.10    " + bytes(200), "never finished"),
        (b"MDF     4.10    " + bytes(200), "no ##HD block"),
    ],
)  # fmt: skip
def test_what_is_no_recording(data: bytes, words: str) -> None:
    refused(data, words)


def test_fewer_rows_than_show_anything() -> None:
    refused(
        "\n".join(Written().lines()[:10]).encode(), "9 rows below the header; expected at least 10"
    )


def test_too_many_columns() -> None:
    names = ",".join(f"c{i}" for i in range(3000))
    rows = "\n".join(",".join(["1"] * 3000) for _ in range(12))
    refused(f"{names}\n{rows}".encode(), "3000 columns; expected 2000 at most")
    million = ",".join(["1"] * 1_000_000)
    refused(f"{million}\n{million}\n".encode(), "the first line has more than")


def test_a_line_without_end(monkeypatch: pytest.MonkeyPatch) -> None:
    refused(b"1" * 3_000_000, "the first line has more than|a line of more than")
    monkeypatch.setattr(raw_module, "MAX_LINE", 1000)
    assert refused(Written().bytes() + b"9" * 1001, "a line of more than 1000 bytes").line == 62


def test_a_file_that_is_too_large(monkeypatch: pytest.MonkeyPatch) -> None:
    assert raw_module.MAX_BYTES == 2_000_000_000
    monkeypatch.setattr(raw_module, "MAX_BYTES", 100)
    refused(Written().bytes(), "MB at most")


def test_most_rows_with_other_cells_than_the_header_are_refused() -> None:
    """A decimal comma between commas: nothing says which comma is which."""
    cells = zip(map(comma, TIME + 0.25), map(comma, SUPPLY), strict=True)
    rows = [f"{t},0,{s}" for t, s in cells]
    data = "\n".join(["time [s],pump.command,supply [V]", *rows]).encode()
    refused(data, "rows have 5 cells and the header 3.*decimal comma")


def test_a_path_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(DocumentError, match="cannot be read"):
        imported(tmp_path / "no.csv")


def test_what_is_no_regular_file(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    for path in (tmp_path, tmp_path / "pipe"):
        with pytest.raises(DocumentError, match="no regular file"):
            imported(path)


def test_rows_that_are_all_but_empty_are_read_in_parts(monkeypatch: pytest.MonkeyPatch) -> None:
    """A few bytes a row would be many cells in a wide table."""
    monkeypatch.setattr("sagtrace.adapters.recordings.cells.CELLS", 6 * 7)
    data = Written().bytes() + b"\n" * 1000 + b"30,400\n" * 3 + b"\n" * 50
    found = imported(data)
    assert codes(found) == {"blank-rows": 1050, "short-rows": 3, "merged": 2}
    assert found.report.rows == COUNT + 3
    notes = {n.code: n.line for n in found.report.notes}
    assert notes["short-rows"] == COUNT + 1 + 1000 + 1


@pytest.mark.parametrize("title", [" " * 100_000 + "x", "[" * 100_000, "a in " * 50_000])
def test_a_title_without_end(title: str) -> None:
    lines = Written().lines()
    lines[0] = f"{lines[0]},a{title}"
    found = imported("\n".join([lines[0], *(f"{line},1" for line in lines[1:])]).encode())
    assert len(found.columns[5].name) <= 200


# --- what a person says about a file


@pytest.mark.parametrize(
    ("roles", "words"),
    [
        ({"Rear hight": "height.rear [mm]"}, "no column 'Rear hight'. Did you mean 'Rear height'"),
        ({"Rear height": "hight.rear [mm]"}, "no role 'hight.rear'"),
        ({"Rear height": "height.rear"}, r"add the unit, for example height.rear \[mm\]"),
        ({"Rear height": "height.rear [bar]"}, "'bar' is no unit that fits"),
        ({"Rear height": "supply [V]", "Battery voltage": "supply [V]"}, "cannot both be supply"),
    ],
)
def test_an_assignment_that_cannot_be(roles: dict[str, str], words: str) -> None:
    with pytest.raises(InputError, match=words):
        imported(Written().bytes(), roles)


@pytest.mark.parametrize("rate", ["ten", "10 V", "-3 Hz"])
def test_a_rate_that_cannot_be(rate: str) -> None:
    data = "\n".join(line.partition(",")[2] for line in Written().lines()).encode()
    with pytest.raises((InputError, DocumentError)):
        imported(data, rate=rate)


# --- anything at all


def read_or_refuse(data: bytes) -> None:
    try:
        found = imported(data)
    except DocumentError:
        return
    assert len(found.trace.time) >= 10
    assert np.all(np.diff(found.trace.time) > 0.0)
    assert all(text for text in found.report.sentences())
    for values in found.trace.channels.values():
        assert not np.isinf(values).any()


@settings(deadline=None, max_examples=60)
@given(st.binary(max_size=400))
@example(b"\xff\xfe1\0;\0")
@example(b"\xff\xfe\0\0")
def test_any_bytes_are_read_or_refused(data: bytes) -> None:
    read_or_refuse(data)


CELLS = st.text(alphabet="0123456789.,:;-+eE \"'/\t|%[]()aonfTZ°", max_size=12)


@settings(deadline=None, max_examples=60)
@given(
    separator=st.sampled_from([",", ";", "\t", "|"]),
    head=st.lists(
        st.sampled_from(["time [s]", "Time", "Datum", "Uhrzeit", "height.rear [mm]", "engine",
                         "Kompressor", "U [V]", "x", "", "Time [ms]"]),
        min_size=1, max_size=6,
    ),
    rows=st.lists(st.lists(CELLS, min_size=1, max_size=7), min_size=0, max_size=14),
    end=st.sampled_from(["\n", "\r\n", "\r"]),
)  # fmt: skip
def test_any_cells_are_read_or_refused(
    separator: str, head: list[str], rows: list[list[str]], end: str
) -> None:
    lines = [separator.join(head), *(separator.join(row) for row in rows)]
    read_or_refuse(end.join(lines).encode())


VARIANTS = [
    Written().bytes(),
    Written(separator=";", quote='"', preamble=("a", "b;c")).bytes(),
    Written(encoding="utf-16-le", mark=b"\xff\xfe").bytes(),
]


@settings(deadline=None, max_examples=60)
@given(
    which=st.integers(0, len(VARIANTS) - 1),
    at=st.integers(0, 3000),
    put=st.binary(max_size=6)
    | st.sampled_from([b'"', b"\n", b"\r", b"\n\n", b",,,", b"nan", b"\xc3"]),
    drop=st.integers(0, 40),
    cut=st.integers(0, 200),
)
def test_a_damaged_recording_is_read_or_refused(
    which: int, at: int, put: bytes, drop: int, cut: int
) -> None:
    whole = VARIANTS[which]
    whole = whole[: len(whole) - cut]
    at %= len(whole)
    read_or_refuse(whole[:at] + put + whole[at + drop :])


@settings(deadline=None, max_examples=60)
@given(
    st.lists(
        st.floats(-1e6, 1e6) | st.sampled_from([0.0, 1e300, -1e300, 65535.0, float("nan")]),
        min_size=10, max_size=60,
    )
)  # fmt: skip
def test_any_times_are_made_to_rise(times: list[float]) -> None:
    rows = [f"{t!r},400.5" for t in times]
    read_or_refuse("\n".join(["time [s],height.rear [mm]", *rows]).encode())
