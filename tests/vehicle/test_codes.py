"""Trouble codes and status bytes."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sagtrace.errors import InputError
from sagtrace.vehicle.codes import (
    StatusByte,
    TroubleCode,
    decode_read_dtc_response,
    decode_stored_codes_response,
    decode_trouble_code,
    failure_type_name,
    parse_trouble_code,
)

laws = settings(deadline=None, max_examples=100)
CODES = "ISO 15031-6 / SAE J2012, coding of a trouble code"
STATUS = "ISO 14229-1, Annex D.2, status bits"


@pytest.mark.published(f"{CODES}, examples of two bytes")
@pytest.mark.parametrize(
    ("text", "number"),
    [("P0143", 0x0143), ("U0073", 0xC073), ("B1000", 0x9000), ("B0039", 0x8039), ("C0031", 0x4031)],
)
def test_two_bytes(text: str, number: int) -> None:
    assert decode_trouble_code(number.to_bytes(2, "big")).text == text
    assert parse_trouble_code(text).number == number


@pytest.mark.arithmetic(f"{CODES}: bits by hand")
@pytest.mark.parametrize(
    ("text", "number"), [("C0500", 0x4500), ("C1500", 0x5500), ("U0121", 0xC121)]
)
def test_two_bytes_by_hand(text: str, number: int) -> None:
    assert parse_trouble_code(text).number == number
    assert TroubleCode(number=number).text == text


@pytest.mark.published(f"{CODES}, examples of three bytes with a failure type")
@pytest.mark.parametrize(
    ("text", "data"),
    [
        ("U0073-04", "C07304"),
        ("B1000-16", "900016"),
        ("B0039-10", "803910"),
        ("C0031-23", "403123"),
        ("P0127-00", "012700"),
    ],
)
def test_three_bytes(text: str, data: str) -> None:
    assert decode_trouble_code(bytes.fromhex(data)).text == text
    assert parse_trouble_code(text).to_bytes().hex().upper() == data


@pytest.mark.published("SAE J2012, failure type byte: group by high nibble, 0 to 7")
@pytest.mark.parametrize(
    ("nibble", "word"),
    [
        (0, "general"),
        (1, "general electrical"),
        (2, "general signal"),
        (3, "frequency or pulse width"),
        (4, "system internal"),
        (5, "programming"),
        (6, "algorithm"),
        (7, "mechanical"),
    ],
)
def test_failure_groups(nibble: int, word: str) -> None:
    assert word in failure_type_name(nibble << 4 | 0xE)


@pytest.mark.from_memory("SAE J2012-DA: groups 8 and 9 and the subtypes")
@pytest.mark.parametrize(
    ("value", "words"),
    [
        (0x11, "short to ground"),
        (0x12, "short to battery"),
        (0x13, "open"),
        (0x14, "short to ground or open"),
        (0x15, "short to battery or open"),
        (0x16, "voltage below"),
        (0x17, "voltage above"),
        (0x18, "current below"),
        (0x19, "current above"),
        (0x1A, "resistance below"),
        (0x1B, "resistance above"),
        (0x1C, "voltage out of range"),
        (0x1F, "intermittent"),
        (0x29, "signal invalid"),
        (0x62, "signal compare"),
        (0x64, "plausibility"),
        (0x71, "actuator stuck"),
        (0x72, "stuck open"),
        (0x73, "stuck closed"),
        (0x8E, "message"),
        (0x9E, "component"),
    ],
)
def test_failure_subtypes(value: int, words: str) -> None:
    assert words in failure_type_name(value)


def test_an_unknown_failure_type_still_has_a_name() -> None:
    assert failure_type_name(0xF3) == "failure of a reserved group, type F3"
    assert TroubleCode(number=0, failure_type=0x13).failure_name == "circuit open"
    assert TroubleCode(number=0).failure_name == ""


BITS = [
    "test_failed",
    "test_failed_this_operation_cycle",
    "pending",
    "confirmed",
    "test_not_completed_since_last_clear",
    "test_failed_since_last_clear",
    "test_not_completed_this_operation_cycle",
    "warning_indicator_requested",
]


@pytest.mark.published(STATUS)
@pytest.mark.parametrize(("bit", "name"), list(enumerate(BITS)))
def test_each_status_bit_has_its_name(bit: int, name: str) -> None:
    status = StatusByte.from_byte(1 << bit)
    assert [field for field in BITS if getattr(status, field)] == [name]


@pytest.mark.arithmetic(f"{STATUS}: decoded by hand")
@pytest.mark.parametrize(
    ("value", "bits"),
    [(0x24, (2, 5)), (0x2F, (0, 1, 2, 3, 5)), (0x50, (4, 6)), (0x09, (0, 3)), (0x00, ())],
)
def test_status_bytes(value: int, bits: tuple[int, ...]) -> None:
    status = StatusByte.from_byte(value)
    assert tuple(i for i, name in enumerate(BITS) if getattr(status, name)) == bits


@pytest.mark.parametrize(
    ("value", "failing", "history", "not_tested"),
    [
        (0x24, False, True, False),
        (0x2F, True, False, False),
        (0x50, False, False, True),
        (0x09, True, False, False),
        (0x08, False, True, False),
        (0x02, False, True, False),
        (0x00, False, False, False),
    ],
)
def test_what_a_status_means(value: int, failing: bool, history: bool, not_tested: bool) -> None:
    status = StatusByte.from_byte(value)
    assert (status.failing_now, status.history, status.not_tested) == (failing, history, not_tested)


@pytest.mark.published("ISO 14229-1:2020, 12.3.5.3, example 2: 19 02 84 and its answer")
def test_codes_by_status_mask() -> None:
    report = decode_read_dtc_response(bytes.fromhex("59027F 0A9B1724 0805112F"))
    assert report.available == 0x7F
    assert [record.code.to_bytes().hex() for record in report.records] == ["0a9b17", "080511"]
    assert [record.status.to_byte() for record in report.records] == [0x24, 0x2F]


@pytest.mark.arithmetic("the same, decoded by hand; both match the mask 84 in bit 2")
def test_codes_by_status_mask_as_text() -> None:
    report = decode_read_dtc_response(bytes.fromhex("59027F 0A9B1724 0805112F"))
    history, now = report.records
    assert (history.code.text, now.code.text) == ("P0A9B-17", "P0805-11")
    assert (history.status.history, now.status.failing_now) == (True, True)
    assert [record.status.to_byte() & 0x84 for record in report.records] == [0x04, 0x04]


@pytest.mark.arithmetic("ISO 14229-1, supported codes: values as in its example, bytes by hand")
def test_supported_codes() -> None:
    report = decode_read_dtc_response(bytes.fromhex("590A7F 12345624 23450500 ABCD012F"))
    assert [str(record.code) for record in report.records] == ["P1234-56", "P2345-05", "B2BCD-01"]


@pytest.mark.published("ISO 15031-5, 8.3, example of an answer with one code")
def test_stored_codes() -> None:
    assert decode_stored_codes_response(bytes.fromhex("43010143")) == (TroubleCode(number=0x0143),)
    assert decode_stored_codes_response(bytes.fromhex("4300")) == ()


@laws
@given(number=st.integers(0, 0xFFFF), failure_type=st.none() | st.integers(0, 0xFF))
def test_text_and_bytes_give_back_the_code(number: int, failure_type: int | None) -> None:
    code = TroubleCode(number=number, failure_type=failure_type)
    assert parse_trouble_code(code.text) == code
    assert parse_trouble_code(f" {code.text.lower().replace('-', ' ')}\n") == code
    assert decode_trouble_code(code.to_bytes()) == code


@laws
@given(value=st.integers(0, 0xFF))
def test_status_gives_back_its_byte_and_is_never_now_and_history(value: int) -> None:
    status = StatusByte.from_byte(value)
    assert status.to_byte() == value
    assert not (status.failing_now and status.history)


@pytest.mark.parametrize("text", ["", "X0031", "C4031", "C003", "CO031", "C0031-2", "C0031-234"])
def test_what_is_no_code_is_refused_with_an_example(text: str) -> None:
    with pytest.raises(InputError, match="such as C0031, or C0031-23 with a failure type"):
        parse_trouble_code(text)


@pytest.mark.parametrize(
    ("data", "message"),
    [
        ("", "^nothing: expected an answer that starts with 59 02 or 59 0A"),
        ("7F1912", "^7F 19 12: expected an answer that starts"),
        ("59047F", "expected an answer that starts with 59 02 or 59 0A"),
        ("59027F0A9B", "2 bytes after the mask; expected 4 for each code. Padding"),
    ],
)
def test_an_answer_that_is_none_is_refused(data: str, message: str) -> None:
    with pytest.raises(InputError, match=message):
        decode_read_dtc_response(bytes.fromhex(data))


@pytest.mark.parametrize("data", ["", "44010143", "43020143"])
def test_a_wrong_list_of_stored_codes_is_refused(data: str) -> None:
    with pytest.raises(InputError, match="expected 43, the number of codes and two bytes for each"):
        decode_stored_codes_response(bytes.fromhex(data))


def test_numbers_must_fit() -> None:
    with pytest.raises(InputError, match="2 or 3 bytes; got 1"):
        decode_trouble_code(b"\x01")
    with pytest.raises(InputError, match="65536 does not fit two bytes"):
        TroubleCode(number=0x10000)
    with pytest.raises(InputError, match="Failure type 256 does not fit one byte"):
        TroubleCode(number=0, failure_type=256)
    with pytest.raises(InputError, match="Failure type -1 does not fit one byte"):
        failure_type_name(-1)
    with pytest.raises(InputError, match="Status 256 does not fit one byte"):
        StatusByte.from_byte(256)
