"""The check digit of a vehicle identification number.

The check digit is a North American rule that ISO 3779 does not ask for, so a
wrong one is a reason to look again, never a reason to refuse a vehicle.
"""

from __future__ import annotations

from typing import Final

from sagtrace.errors import InputError

__all__ = ["check_digit", "check_digit_warning", "weighted_sum"]

LENGTH: Final = 17
CHECK_POSITION: Final = 8  # counted from 0: the ninth character
MODULUS: Final = 11
# 49 CFR 565, tables III and IV: value of each letter, weight of each position.
VALUES: Final = {
    **{digit: int(digit) for digit in "0123456789"},
    **dict(zip("ABCDEFGH", range(1, 9), strict=True)),
    **dict(zip("JKLMN", range(1, 6), strict=True)),
    "P": 7,
    "R": 9,
    **dict(zip("STUVWXYZ", range(2, 10), strict=True)),
}
WEIGHTS: Final = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)


def weighted_sum(vin: str) -> int:
    """Return the sum of value times weight; the check position counts nothing.

    Raises InputError if the text cannot be a VIN.

    >>> weighted_sum("11111111111111111")
    89
    """
    text = _cleaned(vin)
    return sum(VALUES.get(char, 0) * weight for char, weight in zip(text, WEIGHTS, strict=True))


def check_digit(vin: str) -> str:
    """Return the digit, or X, that 49 CFR 565 puts in ninth place.

    Raises InputError if the text cannot be a VIN.

    >>> check_digit("11111111111111111")
    '1'
    """
    remainder = weighted_sum(vin) % MODULUS
    return "X" if remainder == MODULUS - 1 else str(remainder)


def check_digit_warning(vin: str) -> str | None:
    """Return a sentence if the ninth character is not the check digit, else None.

    Raises InputError if the text cannot be a VIN.

    >>> check_digit_warning("11111111111111111") is None
    True
    >>> print(check_digit_warning("11111111211111111"))
    The ninth character is 2; the North American check digit would be 1. Read the number \
again if the vehicle was built for North America; elsewhere the digit need not fit.
    """
    given, right = _cleaned(vin)[CHECK_POSITION], check_digit(vin)
    if given == right:
        return None
    return (
        f"The ninth character is {given}; the North American check digit would be {right}. "
        "Read the number again if the vehicle was built for North America; "
        "elsewhere the digit need not fit."
    )


def _cleaned(vin: str) -> str:
    """Return the VIN in capitals without blanks and hyphens at which people break it."""
    text = "".join(char for char in vin.upper() if char not in " -\t")
    if len(text) != LENGTH:
        raise InputError(f"VIN {text!r} has {len(text)} characters: a VIN has {LENGTH}.")
    for place, char in enumerate(text, start=1):
        # The check position may be unknown: its weight is zero, and "?" or "_" stand for it.
        if char in VALUES or (place == CHECK_POSITION + 1 and char in "?_"):
            continue
        hint = "I, O and Q are never used: read 1 or 0." if char in "IOQ" else "Letters and digits."
        raise InputError(f"VIN {text!r}: {char!r} in place {place} cannot be in a VIN. {hint}")
    return text
