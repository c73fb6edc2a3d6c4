"""The causal story as stations and arrows: what does not count is said, and heat is worked out."""

from __future__ import annotations

import re
from collections.abc import Mapping

import pytest

from sagtrace.app.workshop import Workshop
from sagtrace.bootstrap import open_workshop
from sagtrace.report.assessment import Assessment
from sagtrace.report.causes import strands
from sagtrace.vehicle.job import Entry, Job


@pytest.fixture(scope="module")
def workshop() -> Workshop:
    return open_workshop()


def assess(workshop: Workshop, *answers: tuple[str, str | Mapping[str, str]]) -> Assessment:
    entries = tuple(
        Entry(id=f"e{i}", check=check, outcome=given)
        if isinstance(given, str)
        else Entry(id=f"e{i}", check=check, values=given)
        for i, (check, given) in enumerate(answers, start=1)
    )
    return workshop.assess(
        Job(id="invented", title="t", layout="rear-pair", complaint="low", entries=entries)
    )


@pytest.mark.common_practice("a slow leak does not wear a healthy pump: duty is leak over delivery")
def test_a_slow_leak_does_not_explain_a_worn_pump(workshop: Workshop) -> None:
    night = {"temperature-start": "9", "temperature-end": "9", "time": "30 min"}
    lift = {"height-start": "361", "height-end": "388", "time": "20 s", "supply": "12.6"}
    a = assess(
        workshop,
        ("hold.short@left", {**night, "height-start": "404", "height-end": "402"}),
        ("hold.short@right", {**night, "height-start": "404", "height-end": "404"}),
        ("soap.fold-normal@left", "bubbles"),
        ("pump.rise-rate", {**lift, "temperature": "9"}),
        ("dryer.moisture", "clean"),
        ("intake.look", "free"),
    )
    (strand,) = strands(a)
    assert [arrow.kind for arrow in strand.arrows] == ["no"]
    (said,) = strand.sentences()
    assert "does not explain worn air pump" in said
    assert "of a healthy pump's time" in said


@pytest.mark.arithmetic("Joule's law by hand: 0.9 V and 18 A make 16.2 W")
def test_a_hot_joint_is_told_in_watts(workshop: Workshop) -> None:
    a = assess(
        workshop,
        ("connector.drop", {"drop": "900 mV", "current": "18 A"}),
        ("pump.current-clamp", {"value": "18 A"}),
        ("connector.look", "discoloured"),
        ("pump.rise-rate", {"height-start": "361", "height-end": "388", "time": "20 s",
                            "supply": "12.6", "temperature": "9"}),
        ("dryer.moisture", "clean"),
        ("intake.look", "free"),
        ("hold.short@left", {"height-start": "403 mm", "height-end": "356 mm", "time": "3 min",
                             "temperature-start": "9", "temperature-end": "9"}),
        ("soap.fold-normal@left", "bubbles"),
    )  # fmt: skip
    stations = [s for strand in strands(a) for s in strand.stations]
    heats = [d for s in stations for d in s.details if "W of heat" in d]
    assert heats
    assert re.fullmatch(r"16 ± \d(\.\d)? W of heat at 18 A", heats[0])
