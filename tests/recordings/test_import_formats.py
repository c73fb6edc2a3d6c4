"""Every way of writing a known recording down comes back as the same numbers."""

from __future__ import annotations

import codecs
import hashlib
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from written_tables import (
    COUNT,
    CURRENT,
    HEIGHT,
    PUMP,
    SUPPLY,
    TIME,
    TITLES,
    UNITS,
    Written,
    assert_known,
    codes,
    comma,
    imported,
    plain,
)

from sagtrace.errors import DocumentError

GERMAN = ("Zeit", "Niveau Hinterachse", "Kompressor Relais", "Batteriespannung", "Kompressorstrom")


@pytest.mark.parametrize("separator", [",", ";", "\t", "|"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_separators_and_line_ends(separator: str, end: str) -> None:
    found = imported(Written(separator=separator, end=end).bytes())
    assert_known(found)
    assert codes(found) == {}


@pytest.mark.parametrize("separator", [";", "\t", "|"])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_decimal_comma(separator: str, end: str) -> None:
    found = imported(Written(separator=separator, number=comma, end=end).bytes())
    assert_known(found)
    assert found.report.decimal == "comma"


def test_decimal_comma_in_quotes_between_commas() -> None:
    assert_known(imported(Written(number=comma, quote='"').bytes()))


@pytest.mark.parametrize("quote", ['"'])
@pytest.mark.parametrize("separator", [",", ";"])
def test_quotes(quote: str, separator: str) -> None:
    assert_known(imported(Written(quote=quote, separator=separator).bytes()))


@pytest.mark.parametrize(
    ("thousands", "decimal"),
    [(".", ","), (",", "."), (" ", ","), ("'", "."), ("\u202f", ","), ("\xa0", ",")],
)
def test_thousands(thousands: str, decimal: str) -> None:
    def write(x: float) -> str:
        text = f"{1000.0 * x:,.1f}"
        return text.replace(",", "T").replace(".", decimal).replace("T", thousands)

    number = comma if decimal == "," else plain
    units = ("s", "mm", "", "mV", "A")
    table = Written(separator=";", number=number, units=units, cells={3: write})
    assert_known(imported(table.bytes()))


def test_thousands_without_decimals_are_told_by_the_other_columns() -> None:
    """12.400 beside 404,0 is twelve thousand four hundred."""

    def write(x: float) -> str:
        return f"{round(1000.0 * x):,d}".replace(",", ".")

    units = ("s", "mm", "", "mV", "A")
    table = Written(separator=";", number=comma, units=units, cells={3: write})
    assert_known(imported(table.bytes()))


@pytest.mark.parametrize(
    ("encoding", "mark"),
    [
        ("utf-8", b""),
        ("utf-8", codecs.BOM_UTF8),
        ("utf-16-le", codecs.BOM_UTF16_LE),
        ("utf-16-be", codecs.BOM_UTF16_BE),
        ("utf-16-le", b""),
        ("utf-16-be", b""),
        ("utf-32-le", codecs.BOM_UTF32_LE),
        ("cp1252", b""),
        ("latin-1", b""),
    ],
)
def test_encodings(encoding: str, mark: bytes) -> None:
    titles = ("Zeit", "Höhe hinten", "Kompressor Relais", "Batteriespannung", "Kompressorstrom")
    data = Written(titles=titles, separator=";", encoding=encoding, mark=mark).bytes()
    found = imported(data)
    assert_known(found)
    assert found.columns[1].name == "Höhe hinten"
    assert ("byte order mark" in found.report.encoding) == bool(mark)


def test_cyrillic_names_are_read() -> None:
    titles = ("Время", "Высота", "Реле", "Напряжение", "Ток")
    data = Written(titles=titles, encoding="cp1251").bytes()
    roles = dict(zip(titles, ("time [s]", "height.rear [mm]", "pump.command", "supply [V]",
                              "pump.current [A]"), strict=True))  # fmt: skip
    assert_known(imported(data, roles))


PREAMBLE = ("Log of a drive, invented", "Operator;nobody", "", "Serial: 4711", "Channels: 5")


@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_lines_above_the_header(separator: str) -> None:
    found = imported(Written(separator=separator, preamble=PREAMBLE).bytes())
    assert_known(found)
    assert codes(found) == {"preamble": 5}


def test_a_line_that_names_the_separator() -> None:
    found = imported(Written(separator=";", number=comma, preamble=("sep=;",)).bytes())
    assert_known(found)
    assert found.report.count("preamble") == 1


@pytest.mark.parametrize("bracket", [" [{}]", " ({})", "[{}]", " {{{}}}", " <{}>", " / {}", ", {}"])
def test_units_in_the_header(bracket: str) -> None:
    assert_known(imported(Written(separator=";", bracket=bracket).bytes()))


@pytest.mark.parametrize(
    "units", [UNITS, ("[s]", "[mm]", "[-]", "[V]", "[A]"), ("s", "mm", "-", "V", "A")]
)
def test_a_row_of_units(units: tuple[str, ...]) -> None:
    found = imported(Written(separator=";", unit_row=True, units=units).bytes())
    assert_known(found)
    assert found.report.count("unit-row") == 1
    assert [c.unit for c in found.columns] == ["s", "mm", "", "V", "A"]


@pytest.mark.parametrize(
    ("off", "on"),
    [
        ("off", "on"), ("false", "true"), ("no", "yes"), ("inactive", "active"), ("OFF", "ON"),
        ("aus", "ein"), ("inaktiv", "aktiv"), ("arrêt", "marche"), ("spento", "acceso"),
    ],
)  # fmt: skip
def test_switches_in_words(off: str, on: str) -> None:
    found = imported(Written(cells={2: lambda x: on if x else off}).bytes())
    assert_known(found)
    assert found.report.count("words", "Compressor relay") == COUNT


@pytest.mark.parametrize("level", ["100", "255"])
def test_a_switch_on_another_level(level: str) -> None:
    found = imported(Written(cells={2: lambda x: level if x else "0"}).bytes())
    assert_known(found)
    assert found.report.count("on-level", "Compressor relay") == int(PUMP.sum())


@pytest.mark.parametrize("quote", ["", '"'])
def test_large_files_are_read_in_pieces(
    monkeypatch: pytest.MonkeyPatch, quote: str, tmp_path: Path
) -> None:
    """A chunk of a few rows and a sample of a few blocks give the same."""
    whole = imported(Written(quote=quote).bytes())
    for module, name, size in (
        ("raw", "CHUNK", 256),
        ("table", "WHOLE", 512),
        ("table", "BLOCK", 160),
    ):
        monkeypatch.setattr(f"sagtrace.adapters.recordings.{module}.{name}", size)
    path = tmp_path / "drive.csv"
    path.write_bytes(Written(quote=quote).bytes())
    for source in (path.read_bytes(), path):
        assert_known(imported(source))
    assert imported(path).report == whole.report
    for encoding in ("utf-16-le", "utf-16-be"):
        mark = codecs.BOM_UTF16_LE if encoding.endswith("le") else codecs.BOM_UTF16_BE
        assert_known(imported(Written(encoding=encoding, mark=mark).bytes()))


def test_the_line_of_a_wrong_cell_is_right_in_any_piece(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sagtrace.adapters.recordings.raw.CHUNK", 300)
    lines = Written(preamble=PREAMBLE).lines()
    lines[40] = lines[40].replace(",", ",lost", 1)
    note = next(
        n for n in imported("\n".join(lines).encode()).report.notes if n.code == "no-number"
    )
    assert (note.line, note.count, note.column) == (41, 1, "Rear height")
    assert note.example.startswith("lost")


def test_the_file_is_known_by_its_digest(tmp_path: Path) -> None:
    data = Written(encoding="utf-16-le", mark=codecs.BOM_UTF16_LE).bytes()
    path = tmp_path / "drive.csv"
    path.write_bytes(data)
    for source in (data, path):
        report = imported(source).report
        assert report.sha256 == hashlib.sha256(data).hexdigest()
        assert (report.size, report.file) == (len(data), "drive.csv")
    assert path.read_bytes() == data


# --- Parquet


def parquet(tmp_path: Path, frame: pl.DataFrame) -> bytes:
    frame.write_parquet(tmp_path / "t.parquet")
    return (tmp_path / "t.parquet").read_bytes()


def test_parquet(tmp_path: Path) -> None:
    names = [f"{t} [{u}]" if u else t for t, u in zip(TITLES, UNITS, strict=True)]
    arrays = (TIME, HEIGHT, PUMP == 1.0, SUPPLY, CURRENT)
    data = parquet(tmp_path, pl.DataFrame(dict(zip(names, arrays, strict=True))))
    for source in (data, tmp_path / "t.parquet"):
        found = imported(source)
        assert_known(found)
        assert found.report.format == "parquet"


def test_parquet_with_moments_and_what_it_cannot_use(tmp_path: Path) -> None:
    moments = pl.Series((TIME * 1000).astype(np.int64) + 1_700_000_000_000).cast(pl.Datetime("ms"))
    frame = pl.DataFrame({"Time": moments, "Rear height [mm]": HEIGHT.astype(np.float32),
                          "Compressor relay": ["on" if x else "off" for x in PUMP],
                          "lists": [[1.0]] * COUNT})  # fmt: skip
    found = imported(parquet(tmp_path, frame))
    np.testing.assert_allclose(found.trace.time, TIME, atol=1e-6)
    np.testing.assert_allclose(found.trace.channels["height.rear"], HEIGHT / 1000, rtol=1e-6)
    assert found.report.count("column-ignored", "lists") == 1


def test_a_damaged_parquet_file_is_refused(tmp_path: Path) -> None:
    data = parquet(tmp_path, pl.DataFrame({"Time [s]": TIME, "Rear height [mm]": HEIGHT}))
    for broken in (data[:40], data[:-9], b"PAR1" + b"\xff" * 400, b"PAR1"):
        with pytest.raises(DocumentError, match="damaged Parquet"):
            imported(broken)
