"""A job keeps every entry; what counts follows from what superseded what."""

from __future__ import annotations

from dataclasses import FrozenInstanceError, replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sagtrace.errors import InputError, UnknownIdError
from sagtrace.vehicle.job import FORMAT, Entry, Job, Told, Work, only_grown


def job(*entries: Entry, proofs: tuple[Entry, ...] = ()) -> Job:
    return Job(id="j1", title="invented", layout="rear-pair", entries=entries, proofs=proofs)


def entry(
    id_: str, check: str = "pump.listen", outcome: str = "steady", **more: str | bool
) -> Entry:
    return replace(Entry(id=id_, check=check, outcome=outcome), **more)  # type: ignore[arg-type]


def ids(entries: tuple[Entry, ...]) -> list[str]:
    return [e.id for e in entries]


class TestCurrent:
    def test_nothing_counts_in_an_empty_job(self) -> None:
        assert job().current() == ()

    def test_entries_count_in_order(self) -> None:
        assert ids(job(entry("a", "fuse.test"), entry("b")).current()) == ["a", "b"]

    def test_a_correction_replaces_what_it_names_and_both_are_kept(self) -> None:
        kept = job(entry("a", outcome="hums"), entry("b", supersedes="a"))
        assert ids(kept.current()) == ["b"]
        assert ids(kept.entries) == ["a", "b"]

    def test_a_correction_may_be_corrected(self) -> None:
        kept = job(entry("a"), entry("b", supersedes="a"), entry("c", supersedes="b"))
        assert ids(kept.current()) == ["c"]

    def test_a_correction_may_move_the_answer_to_another_check(self) -> None:
        kept = job(entry("a", "hold.short@left"), entry("b", "hold.short@right", supersedes="a"))
        assert [e.check for e in kept.current()] == ["hold.short@right"]

    def test_withdrawn_leaves_nothing(self) -> None:
        assert job(entry("a"), entry("b", supersedes="a", withdrawn=True)).current() == ()

    def test_withdrawing_the_later_answer_brings_the_earlier_back(self) -> None:
        kept = job(entry("a"), entry("b"), entry("c", supersedes="b", withdrawn=True))
        assert ids(kept.current()) == ["a"]

    def test_the_last_answer_to_a_check_counts(self) -> None:
        kept = job(entry("a"), entry("b", "fuse.test"), entry("c"))
        assert ids(kept.current()) == ["b", "c"]

    def test_corners_are_different_checks(self) -> None:
        kept = job(entry("a", "hold.short@left"), entry("b", "hold.short@right"))
        assert ids(kept.current()) == ["a", "b"]

    def test_proofs_are_not_evidence(self) -> None:
        assert ids(job(entry("a"), proofs=(entry("b"),)).current()) == ["a"]

    @settings(deadline=None)
    @given(
        st.lists(
            st.tuples(st.sampled_from(["x", "y"]), st.booleans(), st.integers(0, 9)), max_size=10
        )
    )
    def test_a_check_never_counts_twice_and_nothing_superseded_counts(
        self, steps: list[tuple[str, bool, int]]
    ) -> None:
        entries: list[Entry] = []
        for n, (check, withdrawn, back) in enumerate(steps):
            supersedes = entries[-1 - back].id if back < len(entries) else ""
            entries.append(
                entry(
                    f"e{n}", check, supersedes=supersedes, withdrawn=withdrawn and bool(supersedes)
                )
            )
        kept = job(*entries)
        current = kept.current()
        assert len({e.check for e in current}) == len(current)
        assert not {e.id for e in current} & {e.supersedes for e in entries}
        assert not any(e.withdrawn for e in current)


class TestValidProofs:
    def test_a_correction_takes_the_place_of_a_proof(self) -> None:
        kept = job(proofs=(entry("a"), entry("b", supersedes="a")))
        assert ids(kept.valid_proofs()) == ["b"]
        assert kept.left_out_proofs() == {"a": "corrected by b"}

    def test_a_withdrawn_proof_proves_nothing(self) -> None:
        gone = entry("b", supersedes="a", withdrawn=True, note="wrong wheel")
        kept = job(proofs=(entry("a"), gone))
        assert kept.valid_proofs() == ()
        assert kept.left_out_proofs() == {"a": "withdrawn by b: wrong wheel", "b": "a withdrawal"}

    def test_withdrawing_the_later_proof_brings_the_earlier_back(self) -> None:
        gone = entry("c", supersedes="b", withdrawn=True)
        kept = job(proofs=(entry("a"), entry("b"), gone))
        assert ids(kept.valid_proofs()) == ["a"]

    def test_a_later_proof_of_the_same_check_leaves_the_earlier_out(self) -> None:
        kept = job(proofs=(entry("a"), entry("b")))
        assert kept.left_out_proofs() == {"a": "answered again later"}

    def test_what_was_made_before_the_last_repair_stays_old_when_corrected(self) -> None:
        """A correction of a test on the unrepaired vehicle is no test of the repaired one."""
        again = entry("b", supersedes="a")
        proofs = (entry("a"), again, entry("c", supersedes="b"))
        kept = replace(job(proofs=proofs), works=(Work(id="w1", repairs=("r",), proofs=1),))
        assert kept.valid_proofs() == ()
        assert kept.left_out_proofs()["a"] == "corrected by b"
        old = replace(job(proofs=(entry("a"),)), works=kept.works)
        assert old.left_out_proofs() == {"a": "made before the last repair"}


class TestRefusals:
    @pytest.mark.parametrize("kind", ["entries", "proofs", "recordings"])
    @pytest.mark.parametrize("number", [-1, 2, 10**30])
    def test_a_count_of_what_was_there_before_a_work(self, kind: str, number: int) -> None:
        work = Work(id="w1", repairs=("r",), **{kind: number})  # type: ignore[arg-type]
        with pytest.raises(InputError, match=f"works w1, {kind} = {number}: must be from 0 to"):
            replace(job(entry("a"), proofs=(entry("b"),)), works=(work,))

    def test_a_later_work_cannot_have_had_less_before_it(self) -> None:
        first = Work(id="w1", repairs=("r",), entries=1)
        with pytest.raises(InputError, match="works w2, entries = 0: must be from 1 to 1"):
            replace(job(entry("a")), works=(first, replace(first, id="w2", entries=0)))

    def test_two_entries_with_one_id(self) -> None:
        with pytest.raises(InputError, match="two entries have the id 'a'; each needs its own"):
            job(entry("a"), entry("a"))

    def test_an_entry_and_a_proof_with_one_id(self) -> None:
        with pytest.raises(InputError, match="two entries have the id 'a'"):
            job(entry("a"), proofs=(entry("a"),))

    def test_superseding_what_is_not_there(self) -> None:
        with pytest.raises(
            UnknownIdError, match=r"There is no earlier entry 'e2'\. Did you mean 'e1'\?"
        ):
            job(entry("e1"), entry("e3", supersedes="e2"))

    def test_superseding_a_later_entry(self) -> None:
        with pytest.raises(UnknownIdError, match="no earlier entry 'b'"):
            job(entry("a", supersedes="b"), entry("b"))

    def test_superseding_itself(self) -> None:
        with pytest.raises(UnknownIdError, match="no earlier entry 'a'"):
            job(entry("a", supersedes="a"))

    def test_a_job_of_a_newer_program(self) -> None:
        with pytest.raises(InputError) as caught:
            Job(format=FORMAT + 1, id="j", title="t", layout="rear-pair")
        assert str(caught.value) == (
            f"format = {FORMAT + 1}: this program reads job format {FORMAT}."
            " A newer program wrote this job."
        )

    def test_a_job_of_a_format_that_never_was(self) -> None:
        with pytest.raises(InputError) as caught:
            Job(format=0, id="j", title="t", layout="rear-pair")
        assert "newer" not in str(caught.value)


class TestEntry:
    def test_it_never_changes(self) -> None:
        with pytest.raises(FrozenInstanceError):
            entry("a").outcome = "hums"  # type: ignore[misc]


class TestNextId:
    def test_the_first(self) -> None:
        assert job().next_id() == "e1"

    def test_it_avoids_entries_and_proofs(self) -> None:
        assert job(entry("e1"), entry("e3"), proofs=(entry("e2"),)).next_id() == "e4"

    def test_it_fills_a_gap(self) -> None:
        assert job(entry("mine"), entry("e2")).next_id() == "e1"

    @settings(deadline=None)
    @given(st.sets(st.integers(1, 12)))
    def test_it_is_always_free(self, taken: set[int]) -> None:
        kept = job(*(entry(f"e{n}") for n in sorted(taken)))
        assert kept.next_id() not in {e.id for e in kept.entries}


class TestTold:
    def test_only_what_differs_becomes_a_record(self) -> None:
        once = job().tell({"spring-area": "112 cm2", "registration": ""}, "t1", "one")
        assert [t.name for t in once.told] == ["spring-area"]
        assert once.tell({"spring-area": " 112 cm2 "}, "t2") is once

    def test_a_correction_names_what_it_corrects_and_both_are_kept(self) -> None:
        kept = job().tell({"a": "1"}, "t1", "one").tell({"a": "2"}, "t2", "two")
        first, second = kept.told
        assert (first.text, first.at, first.by) == ("1", "t1", "one")
        assert (second.text, second.at, second.by, second.supersedes) == ("2", "t2", "two", "v1")
        assert kept.vehicle == {"a": "2"}

    def test_an_empty_text_takes_back_and_the_next_goes_on_from_there(self) -> None:
        kept = job().tell({"a": "1"}).tell({"a": ""})
        assert kept.vehicle == {}
        assert kept.tell({"a": "3"}).told[-1].supersedes == "v2"

    def test_what_names_the_vehicle_is_no_fact(self) -> None:
        kept = job().tell({"reference": "R", "a": "1", "odometer": "5 km"})
        assert dict(kept.vehicle) == {"a": "1"}
        assert dict(kept.identity) == {"odometer": "5 km", "reference": "R"}

    def test_it_is_never_changed_or_taken_out(self) -> None:
        kept = job().tell({"a": "1"}).tell({"a": "2"})
        for told in (kept.told[:1], kept.told[1:][:0], (kept.told[0], Told(id="v2", name="a"))):
            with pytest.raises(InputError, match="told of job j1: what was entered is never"):
                only_grown(kept, replace(kept, told=told))
        only_grown(kept, kept.tell({"a": "3"}))

    @pytest.mark.parametrize(
        "second",
        [Told(id="v2", name="b", supersedes="v1"), Told(id="v2", name="a", supersedes="x")],
    )
    def test_it_supersedes_an_earlier_one_of_its_name(self, second: Told) -> None:
        with pytest.raises(UnknownIdError, match="no earlier"):
            replace(job(), told=(Told(id="v1", name="a", text="1"), second))

    def test_each_needs_an_id_of_its_own(self) -> None:
        with pytest.raises(InputError, match="two values told have the id 'v1'"):
            replace(job(), told=(Told(id="v1", name="a"), Told(id="v1", name="b")))

    def test_its_id_is_free_of_entries(self) -> None:
        assert job(entry("v1")).tell({"a": "1"}).told[0].id == "v2"
