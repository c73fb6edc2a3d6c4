"""The check digit warns and never refuses a vehicle."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sagtrace.errors import InputError
from sagtrace.vehicle.vin import VALUES, check_digit, check_digit_warning, weighted_sum

laws = settings(deadline=None, max_examples=100)

SAMPLES = [
    pytest.param(
        "1G4AH59H?5G118341", 411, "4",
        marks=pytest.mark.published("49 CFR 565, the regulation's own sample number"),
    ),
    pytest.param(
        "1J9RP1A3?A1644345", 314, "6",
        marks=pytest.mark.published("the regulator's guide for manufacturers, worked sample"),
    ),
    pytest.param(
        "1M8GDM9A?KP042788", 351, "X",
        marks=pytest.mark.published("49 CFR 565, worked sample that ends in X, in a copy"),
    ),
    pytest.param(
        "11111111111111111", 89, "1",
        marks=pytest.mark.arithmetic("sum of the weights of 49 CFR 565"),
    ),
]  # fmt: skip


@pytest.mark.parametrize(("vin", "total", "digit"), SAMPLES)
def test_worked_samples(vin: str, total: int, digit: str) -> None:
    assert weighted_sum(vin) == total
    assert check_digit(vin) == digit
    whole = vin[:8] + digit + vin[9:]
    assert check_digit_warning(whole) is None
    assert weighted_sum(whole) == total


@pytest.mark.published("49 CFR 565, table III: values of the letters")
def test_letter_values() -> None:
    letters = "".join(sorted(set(VALUES) - set("0123456789")))
    assert letters == "ABCDEFGHJKLMNPRSTUVWXYZ"
    assert [VALUES[char] for char in letters] == [
        *range(1, 9), *range(1, 6), 7, 9, *range(2, 10),
    ]  # fmt: skip


@pytest.mark.from_memory("ISO 3779 does not ask for the check digit")
def test_a_wrong_digit_is_a_warning_in_words() -> None:
    text = check_digit_warning("11111111211111111")
    assert text == (
        "The ninth character is 2; the North American check digit would be 1. "
        "Read the number again if the vehicle was built for North America; "
        "elsewhere the digit need not fit."
    )


ALPHABET = "".join(sorted(VALUES))


@laws
@given(st.text(ALPHABET, min_size=17, max_size=17))
def test_any_vin_is_accepted_and_its_right_digit_is_silent(vin: str) -> None:
    digit = check_digit(vin)
    assert check_digit_warning(vin[:8] + digit + vin[9:]) is None
    assert (check_digit_warning(vin) is None) == (vin[8] == digit)


@laws
@given(st.text("123456789", min_size=17, max_size=17), st.integers(0, 15), st.integers(1, 8))
def test_one_wrong_digit_is_always_noticed(vin: str, place: int, step: int) -> None:
    """Eleven is prime, so one changed digit always changes the remainder."""
    right = vin[:8] + check_digit(vin) + vin[9:]
    place += place >= 8  # the check position itself has another alphabet
    other = str((int(vin[place]) - 1 + step) % 9 + 1)
    assert check_digit_warning(right[:place] + other + right[place + 1 :]) is not None


def test_blanks_hyphens_and_small_letters_do_not_matter() -> None:
    assert check_digit("1m8gdm9a-?-kp 042788") == "X"


@pytest.mark.parametrize(
    ("vin", "message"),
    [
        ("", r"has 0 characters: a VIN has 17"),
        ("1111111111111111", r"has 16 characters: a VIN has 17"),
        ("1111111111111111O", r"'O' in place 17 cannot be in a VIN\. I, O and Q are never used"),
        ("I1111111111111111", r"'I' in place 1 cannot be in a VIN\. I, O and Q are never used"),
        ("11111Q11111111111", r"'Q' in place 6 cannot be in a VIN\. I, O and Q are never used"),
        ("1111111111111111/", r"'/' in place 17 cannot be in a VIN\. Letters and digits"),
        ("?1111111111111111", r"'\?' in place 1 cannot be in a VIN"),
    ],
)
def test_what_cannot_be_a_vin_is_explained(vin: str, message: str) -> None:
    with pytest.raises(InputError, match=message):
        check_digit_warning(vin)
