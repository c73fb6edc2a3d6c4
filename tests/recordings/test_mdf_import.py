"""MDF 4 files, written by the library that reads them, damaged by hand."""

from __future__ import annotations

import struct
import sys
import zlib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from written_tables import CURRENT, HEIGHT, PUMP, SUPPLY, TIME, assert_known, imported

from sagtrace.errors import DocumentError, MissingPartError

MAGIC = b"MDF     4.10    "


def test_without_the_library_the_way_out_is_said(
    monkeypatch: pytest.MonkeyPatch, written: dict[str, bytes]
) -> None:
    monkeypatch.setitem(sys.modules, "asammdf", None)
    with pytest.raises(
        MissingPartError, match=r"pip install 'sagtrace\[mdf\]', or export .* as CSV"
    ):
        imported(written["plain"])


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    """The known recording in MDF, as it is, packed, and in two groups."""
    asammdf = pytest.importorskip("asammdf", reason="the optional part mdf is not installed")
    folder = tmp_path_factory.mktemp("mdf")
    result = {}
    for name, compression in (("plain", 0), ("packed", 1), ("transposed", 2)):
        result[name] = _write(asammdf, folder / f"{name}.mf4", [_all(asammdf, TIME)], compression)
    slow = asammdf.Signal(SUPPLY[::5], TIME[::5], unit="V", name="Battery voltage")
    fast = [s for s in _all(asammdf, TIME) if s.name != "Battery voltage"]
    result["groups"] = _write(asammdf, folder / "groups.mf4", [fast, [slow]], 0)
    rows = 2000
    long = np.arange(rows) / 10.0
    many = [asammdf.Signal(400.0 + 0.0 * long, long, unit="mm", name="Rear height")]
    result["long"] = _write(asammdf, folder / "long.mf4", [many], 2)
    return result


def _all(asammdf: Any, time: Any) -> list[Any]:
    rows = (("Rear height", "mm", HEIGHT), ("Compressor relay", "", PUMP.astype(np.uint8)),
            ("Battery voltage", "V", SUPPLY), ("Compressor current", "A", CURRENT))  # fmt: skip
    return [asammdf.Signal(v, time, unit=unit, name=name) for name, unit, v in rows]


def _write(asammdf: Any, path: Path, groups: list[list[Any]], compression: int) -> bytes:
    mdf = asammdf.MDF(version="4.10")
    for signals in groups:
        mdf.append(signals, common_timebase=True)
    mdf.save(path, overwrite=True, compression=compression)
    mdf.close()
    data = path.read_bytes()
    path.unlink()
    return data


@pytest.mark.parametrize("name", ["plain", "packed", "transposed"])
def test_the_known_recording(written: dict[str, bytes], name: str, tmp_path: Path) -> None:
    found = imported(written[name])
    assert_known(found)
    assert found.report.format == "mdf"
    path = tmp_path / "drive.mf4"
    path.write_bytes(written[name])
    assert_known(imported(path))
    assert path.read_bytes() == written[name]
    again = imported(written[name], found.assignment(), guess=False)
    assert again.trace.channels.keys() == found.trace.channels.keys()


def test_each_group_keeps_its_time(written: dict[str, bytes]) -> None:
    trace = imported(written["groups"]).trace
    np.testing.assert_allclose(trace.time, TIME)
    supply = trace.channels["supply"]
    assert np.flatnonzero(np.isfinite(supply)).tolist() == list(range(0, TIME.size, 5))
    np.testing.assert_allclose(supply[::5], SUPPLY[::5])


# --- hostile files; the blocks are looked through without the library


def refused(data: bytes, words: str) -> None:
    with pytest.raises(DocumentError, match=words):
        imported(data)


def test_a_file_cut_off(written: dict[str, bytes]) -> None:
    data = written["plain"]
    for size in (64, 200, len(data) // 2, len(data) - 100):
        with pytest.raises(DocumentError):
            imported(data[:size])


def test_blocks_in_a_circle(written: dict[str, bytes]) -> None:
    data = bytearray(written["plain"])
    group = data.index(b"##DG")
    data[group + 24 : group + 32] = struct.pack("<Q", group)
    refused(bytes(data), "round in a circle")


def test_a_block_outside_the_file(written: dict[str, bytes]) -> None:
    data = bytearray(written["plain"])
    group = data.index(b"##DG")
    data[group + 24 : group + 32] = struct.pack("<Q", 1 << 60)
    refused(bytes(data), "no ##DG block")


def test_more_records_than_can_be(written: dict[str, bytes]) -> None:
    data = bytearray(written["plain"])
    group = data.index(b"##CG")
    links = struct.unpack_from("<Q", data, group + 16)[0]
    data[group + 24 + 8 * links + 8 : group + 24 + 8 * links + 16] = struct.pack("<Q", 1 << 40)
    refused(bytes(data), "when unpacked; cut the recording")


def packed_block(data: bytes) -> int:
    return data.index(b"##DZ")


def test_a_packed_block_that_says_too_much(written: dict[str, bytes]) -> None:
    data = bytearray(written["long"])
    at = packed_block(bytes(data))
    data[at + 32 : at + 40] = struct.pack("<Q", 1 << 40)
    refused(bytes(data), "when unpacked; cut the recording")


def test_a_packed_block_that_says_too_little(written: dict[str, bytes]) -> None:
    """A bomb: a few bytes that unpack to twenty megabytes."""
    data = bytearray(written["long"])
    at = packed_block(bytes(data))
    bomb = zlib.compress(bytes(20_000_000), 9)
    size = struct.unpack_from("<Q", data, at + 40)[0]
    head = struct.pack("<4sIQQ", b"##DZ", 0, 48 + len(bomb), 0)
    head += bytes(data[at + 24 : at + 40]) + struct.pack("<Q", len(bomb))
    end = len(data)
    data += head + bomb
    # Every link to the old block now leads to the new one.
    old, new = struct.pack("<Q", at), struct.pack("<Q", end)
    assert bytes(data).count(old) >= 1
    assert size < 1000
    refused(bytes(data).replace(old, new), "unpacks to more than it says")


def test_a_packed_block_that_is_broken(written: dict[str, bytes]) -> None:
    data = bytearray(written["long"])
    at = packed_block(bytes(data))
    data[at + 60 : at + 64] = b"\xff\xff\xff\xff"
    refused(bytes(data), "damaged MDF file")


@settings(deadline=None, max_examples=15)
@given(st.data())
def test_a_damaged_file_is_read_or_refused(written: dict[str, bytes], data: st.DataObject) -> None:
    whole = written["transposed"]
    at = data.draw(st.integers(0, len(whole) - 1))
    put = data.draw(st.binary(min_size=1, max_size=8))
    broken = whole[:at] + put + whole[at + len(put) :]
    try:
        found = imported(broken)
    except DocumentError:
        return
    assert np.all(np.diff(found.trace.time) > 0.0)


@settings(deadline=None, max_examples=60)
@given(st.binary(max_size=300))
def test_any_bytes_behind_the_magic_are_refused(data: bytes) -> None:
    with pytest.raises(DocumentError):
        imported(MAGIC + data)
