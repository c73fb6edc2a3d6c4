"""An entry becomes a finding: numbers in any unit, outcomes as they stand, slips with a way out."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sagtrace.errors import DomainError, InputError, UnitError, UnknownIdError
from sagtrace.evidence.facts import Facts, read_facts
from sagtrace.evidence.findings import (
    Finding,
    check_leaf,
    combined,
    find,
    quantity_finding,
    read_inputs,
)
from sagtrace.evidence.models import Measured
from sagtrace.physics.estimate import Caveat, Estimate
from sagtrace.vehicle.job import Entry
from sagtrace.vehicle.nodes import Condition, Quantity, Spread, State
from sagtrace.vehicle.system import System


@pytest.fixture(scope="module")
def facts(system: System) -> Facts:
    return read_facts(system.layout, {})


def numbers(check: str, **values: str) -> Entry:
    typed = {name.replace("_", "-"): text for name, text in values.items()}
    return Entry(id="e7", check=check, values=typed, at="2026-11-25T07:30:00Z", instrument="tape")


def night(**changes: str) -> Entry:
    values = {
        "height_start": "402 mm",
        "height_end": "382 mm",
        "time": "12 h",
        "temperature_start": "20 °C",
        "temperature_end": "20 °C",
    }
    return numbers("hold.overnight@left", **{**values, **changes})


def outcome(check: str, answer: str) -> Entry:
    return Entry(id="e8", check=check, outcome=answer)


def inputs(system: System, facts: Facts, entry: Entry) -> dict[str, float]:
    return {r.name: r.value for r in read_inputs(system.check(entry.check), entry, facts)}


class TestTypedNumbers:
    @pytest.mark.arithmetic("402 mm = 40.2 cm = 0.402 m = 15.827 in; 20 °C = 68 °F = 293.15 K")
    @pytest.mark.parametrize(
        "changes",
        [
            {},
            {"height_start": "40.2 cm", "height_end": "0.382 m"},
            {"height_start": "15.8268 in", "time": "12:00"},
            {"time": "720 min", "temperature_start": "68 °F"},
            {"height_start": "402,0 mm", "temperature_end": "293.15 K"},
            {"height_start": "402", "height_end": "382", "time": "12", "temperature_start": "20"},
        ],
    )
    def test_units_may_be_mixed_or_left_out(
        self, system: System, facts: Facts, changes: dict[str, str]
    ) -> None:
        got = inputs(system, facts, night(**changes))
        assert got["height-start"] == pytest.approx(0.402, abs=1e-6)
        assert got["height-end"] == pytest.approx(0.382)
        assert got["time"] == pytest.approx(43_200.0)
        assert got["temperature-start"] == pytest.approx(293.15)
        assert got["temperature-end"] == pytest.approx(293.15)

    def test_a_bare_number_takes_the_unit_of_its_own_check(
        self, system: System, facts: Facts
    ) -> None:
        """Minutes in the short hold, hours in the long one."""
        short = numbers("hold.short@left", height_start="402", height_end="401", time="20")
        assert inputs(system, facts, short)["time"] == 1200.0

    @pytest.mark.arithmetic("8.0 bar gauge under 100 kPa is 9.0 bar absolute; 116.03 psi")
    @pytest.mark.parametrize("text", ["8.0", "8.0 bar", "9.0 bar abs", "116.03 psi", "8.0 bar g"])
    def test_gauge_and_absolute(self, system: System, facts: Facts, text: str) -> None:
        entry = numbers(
            "supply-line.decay", pressure_start=text, pressure_end="7.9", time="10", volume="150"
        )
        got = inputs(system, facts, entry)
        assert got["pressure-start"] == pytest.approx(8.0e5, rel=1e-4)
        assert got["volume"] == pytest.approx(1.5e-4)

    def test_the_typed_barometer_counts(self, system: System) -> None:
        high = read_facts(system.layout, {"barometer": "80.0 kPa"})
        entry = numbers(
            "supply-line.decay",
            pressure_start="9.0 bar abs",
            pressure_end="7.9",
            time="10",
            volume="150",
        )
        assert inputs(system, high, entry)["pressure-start"] == pytest.approx(8.2e5)

    def test_a_reading_keeps_what_was_typed_and_how(self, system: System, facts: Facts) -> None:
        entry = replace(night(), supersedes="e3")
        first, *_ = read_inputs(system.check(entry.check), entry, facts)
        assert (first.name, first.kind, first.text) == ("height-start", "length", "402 mm")
        assert (first.instrument, first.taken_at) == ("tape", "2026-11-25T07:30:00Z")
        assert first.supersedes == "e3"
        assert first.resolution == pytest.approx(1e-3)

    @pytest.mark.arithmetic("JCGM 100:2008, 4.3.7: 1 mm of resolution is 1/sqrt(12); with 0.8 mm")
    def test_the_hand_counts_beside_the_last_digit(self, system: System, facts: Facts) -> None:
        first, *_ = read_inputs(system.check("hold.overnight@left"), night(), facts)
        assert first.std == pytest.approx(1e-3 * np.hypot(0.8, 12.0**-0.5), rel=1e-9)

    def test_a_temperature_is_as_good_as_its_thermometer(
        self, system: System, facts: Facts
    ) -> None:
        """An error of 1 °C is 1 K, not 274 K."""
        readings = read_inputs(system.check("hold.overnight@left"), night(), facts)
        (last,) = (r for r in readings if r.name == "temperature-end")
        assert 1.0 <= last.std < 1.1

    def test_a_better_resolution_narrows_the_answer(self, system: System, facts: Facts) -> None:
        coarse = numbers("pump.current-clamp", value="18 A")
        fine = numbers("pump.current-clamp", value="18.00 A")
        wide, narrow = find(system, coarse, facts).estimate, find(system, fine, facts).estimate
        assert wide is not None
        assert narrow is not None
        assert narrow.std < wide.std


class TestSlips:
    def refused(self, system: System, facts: Facts, entry: Entry) -> str:
        with pytest.raises(InputError) as caught:
            find(system, entry, facts)
        return str(caught.value)

    def test_what_is_missing_is_asked_for(self, system: System, facts: Facts) -> None:
        said = self.refused(system, facts, numbers("hold.overnight@left", height_start="402"))
        assert said == (
            "hold.overnight@left also needs: "
            "height-end (height of the left rear in the morning, in mm); "
            "time (time between the two readings, in h)."
        )

    def test_an_optional_number_may_be_missing(self, system: System, facts: Facts) -> None:
        entry = numbers("feed.loss", battery="12.4", pump="12.0")
        assert find(system, entry, facts).caveats[0].code == "no-current"

    def test_an_unknown_value_gets_the_nearest(self, system: System, facts: Facts) -> None:
        said = self.refused(system, facts, night(hight_start="402"))
        assert said.startswith(
            "There is no value of hold.overnight@left, 'hight-start'. Did you mean 'height-start'"
        )

    def test_an_outcome_for_a_number(self, system: System, facts: Facts) -> None:
        said = self.refused(system, facts, outcome("hold.overnight@left", "drops"))
        assert said == "hold.overnight@left asks for numbers, not for an outcome such as 'drops'."

    def test_numbers_for_an_outcome(self, system: System, facts: Facts) -> None:
        said = self.refused(system, facts, numbers("pump.listen", value="3"))
        assert said == (
            "pump.listen asks for one of its outcomes, not for numbers: "
            "steady, laboured, hums, silent."
        )

    def test_an_unknown_outcome_gets_the_nearest(self, system: System, facts: Facts) -> None:
        said = self.refused(system, facts, outcome("pump.listen", "labored"))
        assert said == ("There is no outcome of pump.listen, 'labored'. Did you mean 'laboured'?")

    def test_no_outcome_at_all_lists_them(self, system: System, facts: Facts) -> None:
        said = self.refused(system, facts, outcome("pump.listen", ""))
        assert said.endswith("Known: hums, laboured, silent, steady.")

    def test_an_unknown_check(self, system: System, facts: Facts) -> None:
        with pytest.raises(UnknownIdError, match=r"no check 'pump.lisen'\. Did you mean"):
            find(system, outcome("pump.lisen", "steady"), facts)

    def test_a_check_without_its_corner(self, system: System, facts: Facts) -> None:
        with pytest.raises(
            UnknownIdError, match=r"Say which corner: soap\.ends@left, soap\.ends@right"
        ):
            find(system, outcome("soap.ends", "bubbles"), facts)

    def test_a_unit_of_another_kind_is_named_with_check_and_value(
        self, system: System, facts: Facts
    ) -> None:
        with pytest.raises(UnitError) as caught:
            find(system, night(height_start="402 bar"), facts)
        assert str(caught.value).startswith("hold.overnight@left, height-start = '402 bar': ")

    def test_a_number_beyond_belief(self, system: System, facts: Facts) -> None:
        with pytest.raises(DomainError, match=r"start = 402 m: .* Did you mean 402 mm\?"):
            find(system, night(height_start="402 m"), facts)

    def test_an_open_joint_is_sent_to_a_check_that_can_say_so(
        self, system: System, facts: Facts
    ) -> None:
        entry = numbers("connector.drop", drop="12.1 V", current="0 A")
        assert "it is open" in self.refused(system, facts, entry)
        loss = find(system, numbers("feed.loss", battery="12.4", pump="0.2", current="0"), facts)
        node = system.node("feed.path")
        assert node.state_ids[int(np.argmax(loss.likelihood))] == "open"


class TestOutcome:
    def test_it_is_evidence_about_the_check_itself(self, system: System, facts: Facts) -> None:
        got = find(system, outcome("pump.listen", "hums"), facts)
        assert got.target == check_leaf("pump.listen") == "check:pump.listen"
        assert got.likelihood == (0.0, 0.0, 1.0, 0.0)
        assert (got.id, got.source) == ("e8", "pump.listen")
        assert got.text == "the pump hums or jerks without turning"
        assert (got.fit, got.estimate, got.readings) == (1.0, None, ())


class TestNumber:
    @pytest.mark.arithmetic("check values 1.5 with the shipped facts: 110 cm² · 0.9, 6.0 bar abs")
    def test_a_night_by_hand(self, system: System, facts: Facts) -> None:
        """6e5 Pa · 0.0110 m² · 0.9 · 20 mm / 43 200 s / 101 325 Pa = 1.6284 mL/min."""
        got = find(system, night(), facts)
        assert got.estimate is not None
        assert got.estimate.value == pytest.approx(1.6284, abs=5e-5)
        assert got.estimate.unit == "mL/min"
        assert got.target == "sag@left"
        assert len(got.likelihood) == len(system.node("sag@left").state_ids)
        assert max(got.likelihood) == 1.0
        assert got.text.startswith("leak of the spring circuit 1.63 ± ")
        assert got.text.endswith("; reads like: the left rear falls as with a slow leak")
        assert [r.name for r in got.readings][:2] == ["height-start", "height-end"]
        assert got.caveats == got.estimate.caveats == ()

    def test_a_fall_to_the_stop_says_at_least(self, system: System, facts: Facts) -> None:
        got = find(system, night(height_end="320 mm"), facts)
        assert " at least " in got.text
        assert [caveat.code for caveat in got.caveats] == ["bump-stop"]
        assert got.likelihood[-1] == 1.0
        assert got.fit == 1.0

    def test_a_number_that_fits_nothing_is_pointed_out(self, system: System, facts: Facts) -> None:
        got = find(system, numbers("supply.running", value="24.1 V"), facts)
        assert got.fit < 1e-3
        assert got.caveats[-1].code == "fits-nothing"
        assert got.text.endswith("; fits no state that is known")
        assert "reads like" not in got.text

    def test_a_slip_leaves_every_state_possible(self, system: System, facts: Facts) -> None:
        for value in ("-20 V", "9.2 V", "12.3 V", "24 V"):
            got = find(system, numbers("supply.running", value=value), facts)
            assert min(got.likelihood) > 0.005


def thermometer() -> Condition:
    """A node that is shown by a temperature, whose states are not in order of their spread."""
    states = (State(id="cool", text="it is cool"), State(id="hot", text="it is hot"))
    spreads = {
        "hot": Spread(shape="normal", centre=90.0, width=10.0),
        "cool": Spread(shape="normal", centre=30.0, width=10.0),
    }
    return Condition(
        id="head",
        name="head",
        states=states,
        basis="invented",
        quantity=Quantity(name="temperature", unit="°C", states=spreads, basis="invented"),
    )


def temperature(kelvin: float, std: float, *, at_least: bool = False) -> Finding:
    caveat = Caveat(code="mine", text="as told")
    estimate = Estimate(value=kelvin, std=std, unit="K", caveats=(caveat,))
    return quantity_finding(
        id="r1",
        source="recording",
        name="head temperature",
        node=thermometer(),
        measured=Measured(estimate=estimate, at_least=at_least),
        gross_error=0.02,
    )


class TestQuantityFinding:
    @pytest.mark.arithmetic("363.15 ± 2 K is 90 ± 2 °C: the spread has no zero point")
    def test_a_unit_with_an_offset(self) -> None:
        got = temperature(363.15, 2.0)
        assert got.estimate is not None
        assert got.estimate.value == pytest.approx(90.0)
        assert got.estimate.std == pytest.approx(2.0)
        assert got.text == "temperature 90.0 ± 2.0 °C; reads like: it is hot"

    def test_likelihoods_follow_the_node_not_the_quantity(self) -> None:
        cool, hot = temperature(363.15, 2.0).likelihood
        assert hot == 1.0
        assert cool < 0.05

    def test_caveats_of_the_estimate_are_kept(self) -> None:
        assert [c.code for c in temperature(363.15, 2.0).caveats] == ["mine"]
        assert [c.code for c in temperature(663.15, 2.0).caveats] == ["mine", "fits-nothing"]

    def test_a_result_that_cannot_move_still_has_a_spread(self) -> None:
        got = temperature(363.15, 0.0)
        assert got.estimate is not None
        assert got.estimate.std > 0.0

    def test_at_least(self) -> None:
        cool, hot = temperature(373.15, 2.0, at_least=True).likelihood
        assert hot == 1.0
        assert cool < 0.05


class TestCombined:
    def test_two_findings_on_one_node_multiply(self, system: System, facts: Facts) -> None:
        night_one = find(system, night(), facts)
        night_two = find(system, night(height_end="380 mm"), facts)
        both = combined((night_one, night_two))
        assert list(both) == ["sag@left"]
        expected = np.array(night_one.likelihood) * np.array(night_two.likelihood)
        assert both["sag@left"] == pytest.approx(expected)

    def test_findings_on_different_targets_stay_apart(self, system: System, facts: Facts) -> None:
        found = (find(system, night(), facts), find(system, outcome("pump.listen", "hums"), facts))
        assert set(combined(found)) == {"sag@left", "check:pump.listen"}

    def test_order_does_not_matter(self, system: System, facts: Facts) -> None:
        found = tuple(
            find(system, night(height_end=end), facts) for end in ("384 mm", "380 mm", "389 mm")
        )
        here, there = combined(found), combined(found[::-1])
        assert here["sag@left"] == pytest.approx(there["sag@left"], rel=1e-12)

    def test_nothing_combines_to_nothing(self) -> None:
        assert combined(()) == {}
