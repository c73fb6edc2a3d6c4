"""Trouble codes and their status, between bytes and what is printed.

A code says what a controller saw, not which part to replace; the status says
whether it sees it now. Bytes in, frozen values out; nothing here talks to a car.

Known limits: the names of failure types are from memory and are common words
for what the standard lists, not its text. A failure type that is not listed
still decodes and shows its group.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

from sagtrace.errors import InputError

__all__ = [
    "CodeRecord",
    "CodeReport",
    "decode_read_dtc_response",
    "decode_stored_codes_response",
    "decode_trouble_code",
    "failure_type_name",
    "parse_trouble_code",
    "StatusByte",
    "TroubleCode",
]

SYSTEMS: Final = "PCBU"  # bits 15 and 14, ISO 15031-6
CODE_PATTERN: Final = re.compile(r"([PCBU])([0-3])([0-9A-F]{3})(?:[-: ]?([0-9A-F]{2}))?")

# High nibble of the failure type byte, SAE J2012-DA; 8 and 9 from memory.
FAILURE_GROUPS: Final = {
    0x0: "general failure",
    0x1: "general electrical failure",
    0x2: "general signal failure",
    0x3: "frequency or pulse width failure",
    0x4: "system internal failure",
    0x5: "system programming failure",
    0x6: "algorithm-based failure",
    0x7: "mechanical failure",
    0x8: "bus signal or message failure",
    0x9: "component failure",
}
# SAE J2012-DA, from memory.
FAILURE_TYPES: Final = {
    0x00: "no further information",
    0x11: "circuit short to ground",
    0x12: "circuit short to battery",
    0x13: "circuit open",
    0x14: "circuit short to ground or open",
    0x15: "circuit short to battery or open",
    0x16: "circuit voltage below threshold",
    0x17: "circuit voltage above threshold",
    0x18: "circuit current below threshold",
    0x19: "circuit current above threshold",
    0x1A: "circuit resistance below threshold",
    0x1B: "circuit resistance above threshold",
    0x1C: "circuit voltage out of range",
    0x1F: "circuit intermittent",
    0x29: "signal invalid",
    0x62: "signal compare failure",
    0x64: "signal plausibility failure",
    0x71: "actuator stuck",
    0x72: "actuator stuck open",
    0x73: "actuator stuck closed",
}

READ_DTC_RESPONSE: Final = 0x59  # ISO 14229-1, positive response to service 0x19
STORED_CODES_RESPONSE: Final = 0x43  # ISO 15031-5, positive response to service 0x03
REPORTS_WITH_STATUS: Final = (0x02, 0x0A)  # by status mask; supported codes
RECORD_SIZE: Final = 4  # three bytes of code, one of status


@dataclass(frozen=True, slots=True, kw_only=True)
class TroubleCode:
    """A trouble code, with its failure type where the controller tells one."""

    number: int  # two bytes, 0x0000 to 0xFFFF
    failure_type: int | None = None  # one byte

    def __post_init__(self) -> None:
        if not 0 <= self.number <= 0xFFFF:
            raise InputError(f"Trouble code number {self.number} does not fit two bytes.")
        if self.failure_type is not None and not 0 <= self.failure_type <= 0xFF:
            raise InputError(f"Failure type {self.failure_type} does not fit one byte.")

    @property
    def text(self) -> str:
        """The code as it is printed.

        >>> TroubleCode(number=0x4031, failure_type=0x23).text
        'C0031-23'
        """
        system, second = SYSTEMS[self.number >> 14], (self.number >> 12) & 0x3
        base = f"{system}{second}{self.number & 0xFFF:03X}"
        return base if self.failure_type is None else f"{base}-{self.failure_type:02X}"

    @property
    def failure_name(self) -> str:
        """What the failure type means in words; empty if the code has none."""
        return "" if self.failure_type is None else failure_type_name(self.failure_type)

    def to_bytes(self) -> bytes:
        """Return the two bytes, or three with the failure type.

        >>> TroubleCode(number=0x4031, failure_type=0x23).to_bytes().hex()
        '403123'
        """
        base = self.number.to_bytes(2, "big")
        return base if self.failure_type is None else base + bytes([self.failure_type])

    def __str__(self) -> str:
        return self.text


@dataclass(frozen=True, slots=True, kw_only=True)
class StatusByte:
    """What a controller says about one code, bit 0 first (ISO 14229-1, Annex D.2)."""

    test_failed: bool
    test_failed_this_operation_cycle: bool
    pending: bool
    confirmed: bool
    test_not_completed_since_last_clear: bool
    test_failed_since_last_clear: bool
    test_not_completed_this_operation_cycle: bool
    warning_indicator_requested: bool

    @classmethod
    def from_byte(cls, value: int) -> StatusByte:
        """Return the status that a byte holds.

        >>> StatusByte.from_byte(0x24).history
        True
        """
        if not 0 <= value <= 0xFF:
            raise InputError(f"Status {value} does not fit one byte.")
        names = cls.__dataclass_fields__
        return cls(**{name: bool(value >> bit & 1) for bit, name in enumerate(names)})

    def to_byte(self) -> int:
        """Return the byte that holds this status.

        >>> hex(StatusByte.from_byte(0x2F).to_byte())
        '0x2f'
        """
        names = self.__dataclass_fields__
        return sum(int(getattr(self, name)) << bit for bit, name in enumerate(names))

    @property
    def failing_now(self) -> bool:
        """The last finished test failed."""
        return self.test_failed

    @property
    def history(self) -> bool:
        """It failed at some time since the memory was cleared, but the last test did not."""
        past = self.pending or self.confirmed or self.test_failed_since_last_clear
        return not self.test_failed and (past or self.test_failed_this_operation_cycle)

    @property
    def not_tested(self) -> bool:
        """The test has not finished since the memory was cleared: passing proves nothing yet."""
        return self.test_not_completed_since_last_clear


@dataclass(frozen=True, slots=True, kw_only=True)
class CodeRecord:
    """One code with its status."""

    code: TroubleCode
    status: StatusByte


@dataclass(frozen=True, slots=True, kw_only=True)
class CodeReport:
    """An answer with codes and status; a bit outside `available` means nothing."""

    available: int  # status availability mask, one byte
    records: tuple[CodeRecord, ...]


def failure_type_name(failure_type: int) -> str:
    """Return what a failure type byte means, or its group if it is not listed.

    >>> failure_type_name(0x13)
    'circuit open'
    >>> failure_type_name(0x7A)
    'mechanical failure, type 7A'
    """
    if not 0 <= failure_type <= 0xFF:
        raise InputError(f"Failure type {failure_type} does not fit one byte.")
    if name := FAILURE_TYPES.get(failure_type):
        return name
    group = FAILURE_GROUPS.get(failure_type >> 4, "failure of a reserved group")
    return f"{group}, type {failure_type:02X}"


def decode_trouble_code(data: bytes) -> TroubleCode:
    """Return the code that two or three bytes hold.

    >>> print(decode_trouble_code(bytes.fromhex("C07304")))
    U0073-04
    """
    if len(data) not in (2, 3):
        raise InputError(f"A trouble code has 2 or 3 bytes; got {len(data)}.")
    failure_type = data[2] if len(data) == 3 else None
    return TroubleCode(number=int.from_bytes(data[:2], "big"), failure_type=failure_type)


def parse_trouble_code(text: str) -> TroubleCode:
    """Return the code that a person typed; case, blanks and hyphen do not matter.

    >>> print(parse_trouble_code("c0031 23"))
    C0031-23
    """
    match = CODE_PATTERN.fullmatch(text.strip().upper())
    if match is None:
        example = "expected a letter P, C, B or U, a digit 0 to 3 and three more, such as C0031"
        hint = "or C0031-23 with a failure type. Letter O for zero?"
        raise InputError(f"trouble code = {text!r}: {example}, {hint}")
    system, second, rest, failure_type = match.groups()
    number = SYSTEMS.index(system) << 14 | int(second) << 12 | int(rest, 16)
    return TroubleCode(
        number=number, failure_type=None if failure_type is None else int(failure_type, 16)
    )


def decode_read_dtc_response(data: bytes) -> CodeReport:
    """Return the codes in an answer 59 02 or 59 0A (codes by status mask, supported codes).

    >>> report = decode_read_dtc_response(bytes.fromhex("59027F0A9B1724"))
    >>> print(report.records[0].code, report.records[0].status.failing_now)
    P0A9B-17 False
    """
    if len(data) < 3 or data[0] != READ_DTC_RESPONSE or data[1] not in REPORTS_WITH_STATUS:
        text = "expected an answer that starts with 59 02 or 59 0A and an availability mask"
        raise InputError(f"{data.hex(' ').upper() or 'nothing'}: {text}.")
    body = data[3:]
    if len(body) % RECORD_SIZE:
        text = f"{len(body)} bytes after the mask; expected {RECORD_SIZE} for each code"
        raise InputError(f"{data.hex(' ').upper()}: {text}. Padding, or a part of the answer lost?")
    records = tuple(
        CodeRecord(
            code=decode_trouble_code(body[i : i + 3]), status=StatusByte.from_byte(body[i + 3])
        )
        for i in range(0, len(body), RECORD_SIZE)
    )
    return CodeReport(available=data[2], records=records)


def decode_stored_codes_response(data: bytes) -> tuple[TroubleCode, ...]:
    """Return the codes in an answer 43: a count, then two bytes for each code.

    >>> print(*decode_stored_codes_response(bytes.fromhex("43010143")))
    P0143
    """
    if len(data) < 2 or data[0] != STORED_CODES_RESPONSE or len(data) != 2 + 2 * data[1]:
        text = "expected 43, the number of codes and two bytes for each"
        raise InputError(f"{data.hex(' ').upper() or 'nothing'}: {text}.")
    return tuple(decode_trouble_code(data[i : i + 2]) for i in range(2, len(data), 2))
