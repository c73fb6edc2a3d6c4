"""A reading is a number with a spread, or it is refused."""

from __future__ import annotations

import math
from dataclasses import FrozenInstanceError, replace

import pytest

from sagtrace.errors import DomainError, InputError
from sagtrace.vehicle.readings import Reading

GOOD = Reading(
    name="height-start", kind="length", value=0.402, std=8e-4, resolution=1e-3, text="402 mm"
)


def test_a_reading_is_kept_as_it_was_typed() -> None:
    assert GOOD.text == "402 mm"
    with pytest.raises(FrozenInstanceError):
        GOOD.value = 0.4  # type: ignore[misc]


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_what_is_no_number_is_refused(value: float) -> None:
    with pytest.raises(
        InputError, match=r"height-start: value is .*; leave the reading out instead"
    ):
        replace(GOOD, value=value)


@pytest.mark.parametrize("std", [0.0, -1e-3, math.nan])
def test_an_exact_reading_is_refused(std: float) -> None:
    with pytest.raises(DomainError) as caught:
        replace(GOOD, std=std)
    assert str(caught.value) == (
        f"height-start, std = {std:g}: must be above zero. No instrument is exact."
    )


def test_a_correction_names_what_it_replaces() -> None:
    better = replace(GOOD, value=0.412, text="412 mm", supersedes="e1")
    assert (better.supersedes, GOOD.value) == ("e1", 0.402)
