"""What every store of jobs keeps to: in memory, in a file, on a server."""

from __future__ import annotations

import hashlib
import threading
from collections.abc import Callable
from dataclasses import fields, replace
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings

from sagtrace.adapters.store import contents
from sagtrace.app.kept import Content, JobLine, Query
from sagtrace.app.ports import JobStore
from sagtrace.errors import ChangedError, InputError, StoreError, UnknownIdError
from sagtrace.vehicle.job import RECORDS, Entry, Job
from some_jobs import AT, fresh_name, full_job, job, jobs, mark, noted
from stores import Place

on_one_store = settings(
    deadline=None, max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture]
)


def at_once(acts: list[Callable[[], Any]]) -> list[Any]:
    """Carry out all acts in threads that begin together; return results or errors."""
    found: list[Any] = [None] * len(acts)
    start = threading.Barrier(len(acts))

    def run(number: int) -> None:
        start.wait()
        try:
            found[number] = acts[number]()
        except Exception as err:  # noqa: BLE001  because each is looked at below
            found[number] = err

    threads = [threading.Thread(target=run, args=(n,)) for n in range(len(acts))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return found


# --- what goes in comes out


def test_the_full_job_is_full() -> None:
    found = full_job()
    empty = Job(id="", title="", layout="")
    same = [f.name for f in fields(Job) if getattr(found, f.name) == getattr(empty, f.name)]
    assert same == ["format"]


def test_every_field_comes_back(store: JobStore) -> None:
    store.add(full_job(), mark(), {})
    found = store.load("full").job
    assert found == full_job()
    assert repr(found) == repr(full_job())


@given(made=jobs())
@on_one_store
def test_any_job_comes_back(store: JobStore, made: Job) -> None:
    kept = store.add(made, mark(), {"job": made.id})
    assert kept == store.load(made.id)
    assert repr(store.load(made.id).job) == repr(made)


@given(made=jobs())
@on_one_store
def test_a_job_that_grew_comes_back(store: JobStore, made: Job) -> None:
    begin = replace(
        made, entries=(), proofs=(), begun=(), notes=(), recordings=(), approvals=(), works=(),
        told=(), title="as it was",
    )  # fmt: skip
    store.add(begin, mark(), {})
    half = replace(begin, notes=made.notes[:1], begun=made.begun[:1])
    store.commit(half, 1, mark(), {})
    store.commit(made, 2, mark(), {})
    assert repr(store.load(made.id).job) == repr(made)
    assert store.load(made.id).revision == 3


def test_what_is_kept_says_who_and_when(store: JobStore) -> None:
    store.add(job(), mark(by="one", what="start"), {"job": "a"})
    later = "2026-11-24T09:00:00+00:00"
    kept = store.commit(noted(job(), "x"), 1, mark("k", "two", later, "note it"), {"note": "n1"})
    assert (kept.revision, kept.changed_at, kept.changed_by) == (2, later, "two")
    assert store.load("a") == kept
    first, second = store.changes("a")
    assert (first.revision, first.mark.by, first.mark.at, first.mark.what) == (
        1,
        "one",
        AT,
        "start",
    )
    assert (second.job, second.revision) == ("a", 2)
    assert second.mark == mark("k", "two", later, "note it")
    assert second.result == {"note": "n1"}
    assert store.change_with("k") == second


def test_the_same_id_is_taken_once(store: JobStore) -> None:
    store.add(job(), mark(), {})
    with pytest.raises(InputError, match="there is a job 'a' already"):
        store.add(job(title="another"), mark(), {})
    assert store.load("a").job.title == "Left rear is low"
    assert len(store.changes("a")) == 1


@pytest.mark.parametrize("job_id", ["b", "", "\0", "\udcff", "'; --"])
def test_an_unknown_job_is_told(store: JobStore, job_id: str) -> None:
    store.add(job("a1"), mark(), {})
    asks: list[Callable[[], Any]] = [
        lambda: store.load(job_id),
        lambda: store.changes(job_id),
        lambda: store.note_outlook(job_id, 1, stage="", headline="", waits="", ready=""),
    ]
    for ask in asks:
        with pytest.raises(UnknownIdError, match="There is no job"):
            ask()
    assert store.change_with(job_id) is None


def test_an_unknown_job_suggests_the_nearest(store: JobStore) -> None:
    store.add(job("sinks-left"), mark(), {})
    with pytest.raises(UnknownIdError, match="Did you mean 'sinks-left'"):
        store.load("sink-left")
    with pytest.raises(UnknownIdError):
        store.commit(job("sink-left"), 1, mark(), {})


@pytest.mark.parametrize("text", ["a\0b", "a\udcff"])
def test_what_no_database_can_hold_is_refused_and_nothing_kept(store: JobStore, text: str) -> None:
    store.add(job(), mark(), {})
    wrongs: list[Callable[[], Any]] = [
        lambda: store.add(job("b", title=text), mark(), {}),
        lambda: store.add(job(text), mark(), {}),
        lambda: store.commit(noted(job(), text), 1, mark(), {}),
        lambda: store.commit(noted(job(), "x"), 1, mark(key=text), {}),
        lambda: store.commit(noted(job(), "x"), 1, mark(), {"note": text}),
        lambda: store.commit(job().tell({text: "1"}), 1, mark(), {}),
    ]
    for wrong in wrongs:
        with pytest.raises(InputError, match="character"):
            wrong()
    assert store.load("a").revision == 1
    assert len(store.jobs(Query()).lines) == 1
    assert store.jobs(Query(text=text)).lines == ()


# --- nothing is changed or lost


def test_what_was_entered_is_never_changed(store: JobStore) -> None:
    kept = store.add(full_job(), mark(), {}).job
    for kind in RECORDS:
        held = getattr(kept, kind)
        changed = replace(held[0], id=f"other-{held[0].id}")
        for wrong in ((), held[1:], (changed, *held[1:]), (changed, *held)):
            change: dict[str, Any] = {kind: wrong}
            if kind in ("entries", "proofs", "recordings"):
                change["works"] = ()
            with pytest.raises(ValueError, match=r"never changed|earlier (entry|z)|the id"):
                store.commit(replace(kept, **change), 1, mark(), {})
    assert store.load("full").job == full_job()
    assert store.load("full").revision == 1


def test_an_old_revision_is_refused(store: JobStore) -> None:
    store.add(job(), mark(), {})
    store.commit(noted(job(), "first"), 1, mark(), {})
    for base in (1, 3, 0):
        with pytest.raises(ChangedError, match="revision 2"):
            store.commit(noted(job(), "second"), base, mark(), {})
    (note,) = store.load("a").job.notes
    assert note.text == "first"
    assert len(store.changes("a")) == 2


def test_a_key_is_taken_once(store: JobStore) -> None:
    store.add(job(), mark("k"), {})
    store.add(job("b"), mark(), {})
    store.add(job("c"), mark(), {})  # no key is no key
    wrongs: list[Callable[[], Any]] = [
        lambda: store.add(job("d"), mark("k"), {}),
        lambda: store.add(job("a"), mark("k"), {}),  # sent again
        lambda: store.commit(noted(job(), "x"), 1, mark("k"), {}),
        lambda: store.commit(noted(job("b"), "x"), 1, mark("k"), {}),
    ]
    for wrong in wrongs:
        with pytest.raises(ChangedError, match="carried out meanwhile"):
            wrong()
    assert store.load("a").revision == store.load("b").revision == 1
    assert [line.id for line in store.jobs(Query()).lines] == ["c", "b", "a"]


def test_many_people_on_one_job_lose_nothing(place: Place) -> None:
    people, each = 5, 6
    stores = [place.open() for _ in range(people)]
    stores[0].add(job(), mark(), {})

    def work(store: JobStore, person: int) -> int:
        refused = 0
        for number in range(each):
            while True:
                kept = store.load("a")
                try:
                    text = f"{person}.{number}"
                    store.commit(noted(kept.job, text), kept.revision, mark(text, text), {})
                    break
                except ChangedError:
                    refused += 1
        return refused

    found = at_once([lambda s=s, p=p: work(s, p) for p, s in enumerate(stores)])  # type: ignore[misc]
    assert [f for f in found if isinstance(f, Exception)] == []
    kept = stores[0].load("a")
    said = [note.text for note in kept.job.notes]
    assert sorted(said) == sorted(f"{p}.{n}" for p in range(people) for n in range(each))
    assert kept.revision == people * each + 1
    changes = stores[0].changes("a")
    assert [c.revision for c in changes] == list(range(1, kept.revision + 1))
    assert [c.mark.by for c in changes[1:]] == said  # each change brought its own note


def test_a_reader_never_sees_half_a_change(place: Place) -> None:
    writer, reader = place.open(), place.open()
    writer.add(job(), mark(), {})
    ends = threading.Event()

    def write() -> None:
        for number in range(40):
            kept = writer.load("a")
            new = noted(kept.job, f"{number}")
            entry = Entry(id=new.next_id(), check="c", note=f"{number}")
            writer.commit(replace(new, entries=(*new.entries, entry)), number + 1, mark(), {})
        ends.set()

    def read() -> int:
        times = 0
        while not ends.is_set():
            kept = reader.load("a")
            assert len(kept.job.notes) == len(kept.job.entries) == kept.revision - 1
            times += 1
        return times

    wrote, times = at_once([write, read])
    assert wrote is None
    assert isinstance(times, int), times


@pytest.mark.parametrize("one_job", [True, False], ids=["one job", "many jobs"])
def test_a_key_sent_many_times_at_once_is_taken_once(place: Place, one_job: bool) -> None:
    stores = [place.open() for _ in range(6)]
    ids = ["a"] * 6 if one_job else list("abcdef")
    for job_id in dict.fromkeys(ids):
        stores[0].add(job(job_id), mark(), {})
    found = at_once(
        [
            lambda s=s, i=i: s.commit(noted(job(i), "x"), 1, mark("k"), {})  # type: ignore[misc]
            for s, i in zip(stores, ids, strict=True)
        ]
    )
    kept = [f for f in found if not isinstance(f, Exception)]
    assert len(kept) == 1
    assert [type(f) for f in found if isinstance(f, Exception)] == [ChangedError] * 5
    changed = stores[0].change_with("k")
    assert changed is not None
    assert changed.job == kept[0].job.id
    assert sum(len(stores[0].load(i).job.notes) for i in set(ids)) == 1


def test_a_job_started_many_times_at_once_is_there_once(place: Place) -> None:
    stores = [place.open() for _ in range(6)]
    found = at_once(
        [lambda s=s: s.add(job(), mark(), {}) for s in stores]  # type: ignore[misc]
    )
    assert sorted(type(f).__name__ for f in found) == ["InputError"] * 5 + ["Kept"]
    found = at_once(
        [lambda s=s, n=n: s.add(job(f"b{n}"), mark("k"), {}) for n, s in enumerate(stores)]  # type: ignore[misc]
    )
    assert sorted(type(f).__name__ for f in found) == ["ChangedError"] * 5 + ["Kept"]
    assert len(stores[0].jobs(Query()).lines) == 2


# --- the list


def listed(store: JobStore, **query: Any) -> list[str]:
    return [line.id for line in store.jobs(Query(**query)).lines]


def test_the_newest_change_comes_first(store: JobStore) -> None:
    for job_id in "abc":
        store.add(job(job_id), mark(), {})
    store.commit(noted(job("a"), "x"), 1, mark(by="two", at="2026-11-25T00:00:00Z"), {})
    assert listed(store) == ["a", "c", "b"]
    first = store.jobs(Query(limit=1)).lines[0]
    assert first == JobLine(
        id="a", title="Left rear is low", complaint="", layout="rear-pair", invented=False,
        revision=2, opened=AT, changed_at="2026-11-25T00:00:00Z", changed_by="two",
    )  # fmt: skip


def test_an_empty_list_is_empty(store: JobStore) -> None:
    assert store.jobs(Query()).lines == ()
    assert store.jobs(Query()).next == ""


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("", "edcba"),
        ("STRASSE", "a"),
        ("straße", "a"),
        ("ÖLVERLUST", "b"),
        ("o\u0308lverlust", "b"),  # the same letter in two characters
        ("ниЖе", "c"),
        ("100%", "d"),
        ("100_", ""),
        ("%", "d"),
        ("_", "e"),
        ("\\", "e"),
        ("low", "ed"),
        ("'", "e"),
        ("nothing", ""),
        ("x" * 100_000, ""),
    ],
)
def test_what_is_sought_is_found(store: JobStore, text: str, found: str) -> None:
    store.add(job("a", title="Hauptstraße"), mark(), {})
    store.add(job("b", title="x", complaint="ölverlust"), mark(), {})
    store.add(job("c", title="НИЖЕ"), mark(), {})
    store.add(job("d", title="100% low"), mark(), {})
    store.add(job("e", title="it's_low\\"), mark(), {})
    assert "".join(listed(store, text=text)) == found


def test_a_job_is_found_by_its_id_and_by_its_new_title(store: JobStore) -> None:
    store.add(job("Job-7", title="one"), mark(), {})
    store.commit(job("Job-7", title="two"), 1, mark(), {})
    assert listed(store, text="job-7") == listed(store, text="two") == ["Job-7"]
    assert listed(store, text="one") == []


def test_stage_and_waits_come_from_the_outlook(store: JobStore) -> None:
    for job_id in "abc":
        store.add(job(job_id), mark(), {})
    store.note_outlook("a", 1, stage="check", headline="Do it", waits="hold", ready=AT)
    store.note_outlook("b", 1, stage="check", headline="Ask", waits="approval", ready="")
    line = store.jobs(Query(waits="hold")).lines[0]
    assert (line.id, line.stage, line.headline, line.waits, line.ready) == (
        "a", "check", "Do it", "hold", AT,
    )  # fmt: skip
    assert listed(store, stage="check") == ["b", "a"]
    assert listed(store, stage="check", waits="approval") == ["b"]
    assert listed(store, stage="check", text="LEFT", limit=1) == ["b"]
    assert listed(store, stage="prove") == []
    assert listed(store, stage="\0") == []
    assert listed(store) == ["c", "b", "a"]


def test_an_outlook_of_an_old_revision_is_not_kept(store: JobStore) -> None:
    store.add(job(), mark(), {})
    store.note_outlook("a", 1, stage="check", headline="old", waits="", ready="")
    store.note_outlook("a", 1, stage="check", headline="new", waits="", ready="")
    assert store.jobs(Query()).lines[0].headline == "new"
    store.commit(noted(job(), "x"), 1, mark(), {})
    assert store.jobs(Query()).lines[0].headline == ""
    store.note_outlook("a", 1, stage="check", headline="stale", waits="", ready="")
    assert store.jobs(Query()).lines[0].headline == ""
    assert listed(store, stage="check") == []
    assert len(store.changes("a")) == 2  # an outlook is no change


@pytest.mark.parametrize("stage", ["", "check"])
def test_pages_join_without_a_gap(store: JobStore, stage: str) -> None:
    ids = [f"j{n}" for n in range(7)]
    for job_id in ids:
        store.add(job(job_id), mark(), {})
        store.note_outlook(job_id, 1, stage="check", headline="", waits="", ready="")
    found: list[str] = []
    after = ""
    for size in (3, 3, 1):
        page = store.jobs(Query(limit=3, after=after, stage=stage))
        assert len(page.lines) == size
        found += [line.id for line in page.lines]
        after = page.next
    assert found == ids[::-1]
    assert after == ""


def test_a_change_between_two_pages_makes_no_job_come_twice(store: JobStore) -> None:
    for n in range(6):
        store.add(job(f"j{n}"), mark(), {})
    first = store.jobs(Query(limit=3))
    for changed in ("j3", "j1"):  # the last of the page, and one of the next
        store.commit(noted(job(changed), "x"), 1, mark(), {})
    second = store.jobs(Query(limit=3, after=first.next))
    assert [line.id for line in first.lines] == ["j5", "j4", "j3"]
    assert [line.id for line in second.lines] == ["j2", "j0"]


@pytest.mark.parametrize("after", ["x", "-1", "1e3", "٣", "9" * 19, "1 "])
def test_a_place_that_is_none_is_refused(store: JobStore, after: str) -> None:
    with pytest.raises(InputError, match="no such place in the list"):
        store.jobs(Query(after=after))


@pytest.mark.parametrize("limit", [0, 201, -1])
def test_a_page_has_1_to_200_jobs(store: JobStore, limit: int) -> None:
    with pytest.raises(InputError, match="from 1 to 200"):
        store.jobs(Query(limit=limit))


# --- contents


def test_the_same_content_is_kept_once(place: Place) -> None:
    store = place.open()
    data = b"\x00\xff" * 10
    digest = store.keep(Content(data=data, media="image/png"))
    assert digest == hashlib.sha256(data).hexdigest()
    assert store.keep(Content(data=data, media="text/csv")) == digest
    assert store.content(digest) == Content(data=data, media="image/png")
    if place.kind != "memory":
        assert place.run("SELECT count(*) FROM content")[0][0] == 1


@pytest.mark.parametrize("size", [0, 1, 7, 8, 9, 16, 50])
def test_a_content_comes_back_whole(
    store: JobStore, size: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(contents, "PART", 8)
    data = bytes(range(size))
    digest = store.keep(Content(data=data, media="text/csv"))
    assert store.content(digest).data == data


def test_a_content_kept_by_many_at_once_is_there_once(place: Place) -> None:
    stores = [place.open() for _ in range(6)]
    content = Content(data=b"x" * 100_000, media="text/csv")
    found = at_once([lambda s=s: s.keep(content) for s in stores])  # type: ignore[misc]
    assert len(set(found)) == 1
    assert stores[0].content(found[0]) == content


@pytest.mark.parametrize("sha256", ["", "00", "\0"])
def test_an_unknown_content_is_told(store: JobStore, sha256: str) -> None:
    with pytest.raises(UnknownIdError, match="There is no content"):
        store.content(sha256)


# --- the next day


def test_everything_is_there_after_opening_again(lasting: Place) -> None:
    store = lasting.open()
    store.add(full_job(), mark("k", what="start"), {"job": "full"})
    digest = store.keep(Content(data=b"rec", media="text/csv"))
    store.note_outlook("full", 1, stage="prove", headline="h", waits="proof", ready="")
    before = (store.load("full"), store.changes("full"), store.jobs(Query()))
    store.close()
    again = lasting.open()
    assert (again.load("full"), again.changes("full"), again.jobs(Query())) == before
    assert again.content(digest) == Content(data=b"rec", media="text/csv")
    with pytest.raises(ChangedError):
        again.add(job(fresh_name()), mark("k"), {})


def test_many_may_open_a_new_place_at_once(lasting: Place) -> None:
    found = at_once([lasting.open] * 5)
    assert [f for f in found if isinstance(f, Exception)] == []
    found[0].add(job(), mark(), {})
    assert found[4].load("a").job == job()


def test_closing_twice_does_no_harm(store: JobStore) -> None:
    store.close()
    store.close()


# --- behind the store's back

TABLES = ["entry", "begun", "note", "approval", "recording", "change", "content", "content_part"]


@pytest.mark.parametrize("table", [*TABLES, "job"])
def test_the_database_itself_refuses_to_forget(lasting: Place, table: str) -> None:
    store = lasting.open()
    store.add(full_job(), mark(), {})
    store.keep(Content(data=b"rec", media="text/csv"))
    column = {"content": "media", "content_part": "sha256", "change": "what"}.get(table, "id")
    acts = [f"DELETE FROM {table}"]
    if table != "job":  # whose revision goes up
        acts.append(f"UPDATE {table} SET {column} = 'other'")
    if lasting.kind == "server":
        acts.append(f"TRUNCATE {table} CASCADE")
    before = lasting.run(f"SELECT * FROM {table}")
    assert before
    for sql in acts:
        with pytest.raises(Exception, match="never changed or deleted"):
            lasting.run(sql)
    assert lasting.run(f"SELECT * FROM {table}") == before


def test_a_damaged_content_is_not_handed_out(lasting: Place) -> None:
    store = lasting.open()
    digest = store.keep(Content(data=b"rec", media="text/csv"))
    lasting.run(
        "DROP TRIGGER content_part_no_update"
        + (" ON content_part" if lasting.kind == "server" else "")
    )
    value = "X'00'" if lasting.kind == "file" else r"'\x00'"
    lasting.run(f"UPDATE content_part SET data = {value}")
    with pytest.raises(StoreError, match="damaged; restore a copy"):
        store.content(digest)
