"""Numbers that cannot be right are refused before they become evidence."""

from __future__ import annotations

import pytest

from sagtrace.errors import DocumentError, DomainError
from sagtrace.evidence.facts import read_facts
from sagtrace.evidence.findings import find
from sagtrace.evidence.gather import gather
from sagtrace.vehicle.job import Entry, Job
from sagtrace.vehicle.renewal import Renewal
from sagtrace.vehicle.system import System


def entry(check: str, **values: str) -> Entry:
    return Entry(id="e1", check=check, values={k.replace("_", "-"): v for k, v in values.items()})


def test_a_height_in_another_unit_is_refused(system: System) -> None:
    facts = read_facts(system.layout, {})
    bare = entry("hold.overnight@left", height_start="40.3", height_end="35.6", time="11 h")
    with pytest.raises(DomainError, match="between 150 and 1500 mm"):
        find(system, bare, facts)
    inches = entry("hold.overnight@left", height_start="16 in", height_end="15 in", time="11 h")
    assert find(system, inches, facts).estimate is not None


def test_a_feed_without_current_says_nothing(system: System) -> None:
    facts = read_facts(system.layout, {})
    idle = entry("feed.loss", battery="12.5 V", pump="12.5 V", current="0 A")
    with pytest.raises(DomainError, match="command the pump and measure again"):
        find(system, idle, facts)
    turned = entry("feed.loss", battery="12.5 V", pump="12.1 V", current="-17 A")
    with pytest.raises(DomainError, match="Turn the clamp round"):
        find(system, turned, facts)
    open_feed = entry("feed.loss", battery="12.5 V", pump="0 V", current="0 A")
    assert "open" in find(system, open_feed, facts).text


def test_a_number_that_fits_nothing_moves_nothing(system: System) -> None:
    finding = find(system, entry("supply.running", value="27 V"), read_facts(system.layout, {}))
    assert set(finding.likelihood) == {1.0}
    assert "fits no state" in finding.text


@pytest.mark.parametrize(
    "fact", ["spring-area=0 cm2", "lever-ratio=-1", "barometer=1013 kPa", "pump-delivery=0 L/min"]
)
def test_a_fact_far_from_any_vehicle_is_refused_by_name(system: System, fact: str) -> None:
    name, _, text = fact.partition("=")
    with pytest.raises(DomainError) as refused:
        read_facts(system.layout, {name: text})
    assert name in str(refused.value) or "barometer" in name


def test_a_wrong_entry_of_a_job_is_named(system: System) -> None:
    job = Job(id="j", title="t", layout="rear-pair", entries=(entry("hold.overnigt@left"),))
    with pytest.raises(DocumentError, match=r"job j, entry e1: There is no check"):
        gather(Renewal(system), job, read_facts(system.layout, {}))
