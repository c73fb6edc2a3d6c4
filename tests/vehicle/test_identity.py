"""What names a vehicle: an odometer has its unit, a text is one line that a paper has room for."""

from __future__ import annotations

import pytest

from sagtrace.errors import InputError
from sagtrace.vehicle.identity import IDENTITY, LONGEST, check_identity, check_line
from sagtrace.vehicle.layouts import Layout


@pytest.mark.parametrize(
    "text",
    ["84210 km", "84 210 km", "84\u202f210 km", "84.210 km", "84,210 mi", "0 km", "1 234 567 mi",
     "84210.5 km", "84 210,5km", "84'210 km"],
)  # fmt: skip
def test_an_odometer_is_read_with_its_unit(text: str) -> None:
    check_identity({"odometer": text})
    check_identity({"odometer-out": text})


@pytest.mark.parametrize(
    "text", ["84210", "84210 m", "84210 miles per hour", "km", "-5 km", "84 21 km", "12345678 km",
             "about 84000 km", "٨٤ km x"],
)  # fmt: skip
def test_what_is_no_reading_is_refused(text: str) -> None:
    with pytest.raises(
        InputError, match=r"odometer at intake = .*: expected a reading .* km or mi"
    ):
        check_identity({"odometer": text})


# The international mile is 1609.344 m exactly (agreement of 1959, in every table of units): 60 000
# mi are 96 560.64 km.
@pytest.mark.parametrize(
    ("at_intake", "after", "fits"),
    [
        ("84 210 km", "84 224 km", True),
        ("84 210 km", "84 210 km", True),
        ("84 210 km", "84 120 km", False),
        ("60 000 mi", "96 561 km", True),
        ("60 000 mi", "96 550 km", False),
        ("96 561 km", "60 000 mi", True),
        ("96 561 km", "59 990 mi", False),
    ],
)
def test_the_odometer_does_not_run_backwards(at_intake: str, after: str, fits: bool) -> None:
    told = {"odometer": at_intake, "odometer-out": after}
    if fits:
        check_identity(told)
    else:
        with pytest.raises(InputError, match=r"less than at intake"):
            check_identity(told)


@pytest.mark.parametrize("name", ["registration", "reference"])
@pytest.mark.parametrize("text", ["A\nB", "A\tB", "A\x07", "A\u2028B", "A\ud800", "A" * 81])
def test_a_text_that_a_paper_cannot_carry_is_refused(name: str, text: str) -> None:
    with pytest.raises(InputError, match=IDENTITY[name]):
        check_identity({name: text})


def test_the_longest_text_is_kept() -> None:
    check_line("name", "Ä" * LONGEST)


def test_no_fact_of_a_layout_is_called_so(rear_pair: Layout) -> None:
    assert {fact.id for fact in rear_pair.facts} & set(IDENTITY) == set()
