"""Jobs of every kind for the tests of the stores."""

from __future__ import annotations

import itertools
from dataclasses import replace

from hypothesis import strategies as st

from sagtrace.app.kept import Mark
from sagtrace.vehicle.job import Approval, Begun, Entry, Job, Note, Recording, Taped, Told, Work

AT = "2026-11-24T08:05:00+00:00"
_NUMBERS = itertools.count(1)


def job(job_id: str = "a", title: str = "Left rear is low", complaint: str = "") -> Job:
    return Job(id=job_id, title=title, layout="rear-pair", complaint=complaint, opened=AT)


def mark(key: str = "", by: str = "technician 1", at: str = AT, what: str = "note") -> Mark:
    return Mark(what=what, at=at, by=by, key=key, request=f"digest of {key}")


def noted(old: Job, text: str) -> Job:
    return replace(old, notes=(*old.notes, Note(id=old.next_id("n"), text=text, at=AT)))


def fresh_name() -> str:
    return f"job-{next(_NUMBERS)}"


texts = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=12)
names = texts.filter(bool)
maps = st.dictionaries(names, texts, max_size=3)
lists = st.lists(texts, max_size=3).map(tuple)


@st.composite
def entry_lists(draw: st.DrawFn) -> tuple[Entry, ...]:
    made: list[Entry] = []
    for entry_id in draw(st.lists(names, max_size=4, unique=True)):
        earlier = st.sampled_from(["", *(e.id for e in made)])
        made.append(
            draw(
                st.builds(
                    Entry, id=st.just(entry_id), check=texts, outcome=texts, values=maps, at=texts,
                    by=texts, instrument=texts, note=texts, supersedes=earlier,
                    withdrawn=st.booleans(), ends=texts,
                )
            )
        )  # fmt: skip
    return tuple(made)


@st.composite
def told_lists(draw: st.DrawFn) -> tuple[Told, ...]:
    made: list[Told] = []
    for told_id in draw(st.lists(names, max_size=4, unique=True)):
        before = draw(st.sampled_from([None, *made]))
        name = before.name if before else draw(names)
        made.append(
            Told(
                id=told_id, name=name, text=draw(texts), at=draw(texts), by=draw(texts),
                supersedes=before.id if before else "",
            )
        )  # fmt: skip
    return tuple(made)


@st.composite
def works(draw: st.DrawFn, entries: int, proofs: int) -> tuple[Work, ...]:
    made: list[Work] = []
    for number in range(draw(st.integers(0, 2))):
        least = made[-1] if made else Work(id="", repairs=())
        made.append(
            Work(
                id=f"w{number}", repairs=draw(lists), at=draw(texts), by=draw(texts),
                entries=draw(st.integers(least.entries, entries)),
                proofs=draw(st.integers(least.proofs, proofs)),
            )
        )  # fmt: skip
    return tuple(made)


@st.composite
def jobs(draw: st.DrawFn) -> Job:
    entries = draw(entry_lists())
    taken = {e.id for e in entries}
    proofs = tuple(e for e in draw(entry_lists()) if e.id not in taken)
    known = taken | {e.id for e in proofs}
    proofs = tuple(e if e.supersedes in known else replace(e, supersedes="") for e in proofs)
    taped = st.builds(Taped, time=texts, corner=texts, height=texts)
    recordings = st.builds(
        Recording, id=texts, file=texts, sha256=texts, at=texts, note=texts, roles=maps,
        rate=texts, tapes=st.lists(taped, max_size=2).map(tuple),
    )  # fmt: skip
    begun = st.builds(
        Begun, id=texts, check=texts, values=maps, at=texts, ready=texts, by=texts, note=texts,
        drops=texts,
    )  # fmt: skip
    notes = st.builds(
        Note, id=texts, text=texts, photo=texts, sha256=texts, check=texts, at=texts, by=texts
    )
    approvals = st.builds(
        Approval, id=texts, repairs=lists, offered=texts,
        price=st.floats(0.0, 1e6), currency=texts,
        answer=st.sampled_from(["asked", "approved", "declined"]), how=texts, who=texts, at=texts,
        by=texts,
    )  # fmt: skip
    return Job(
        id=fresh_name(), title=draw(texts), layout=draw(texts), invented=draw(st.booleans()),
        practice=draw(st.integers(0, 999_999_999)),
        opened=draw(texts), complaint=draw(texts), told=draw(told_lists()), access=draw(lists),
        entries=entries, begun=draw(st.lists(begun, max_size=2).map(tuple)),
        notes=draw(st.lists(notes, max_size=2).map(tuple)),
        recordings=draw(st.lists(recordings, max_size=2).map(tuple)),
        approvals=draw(st.lists(approvals, max_size=2).map(tuple)), proofs=proofs,
        works=draw(works(len(entries), len(proofs))),
    )  # fmt: skip


def full_job(job_id: str = "full") -> Job:
    """Return a job in which no field is as it would be anyway."""
    entry = Entry(
        id="e1", check="hold.short@left", outcome="o", values={"time": "3 min", "a": "Ω 5 µm"},
        at=AT, by="t", instrument="tape", note="n", ends="b1",
    )  # fmt: skip
    later = replace(entry, id="e2", supersedes="e1", withdrawn=True)
    begun = Begun(
        id="b1", check="c", values={"height-start": "403 mm"}, at=AT, ready=AT, by="t", note="n"
    )
    recording = Recording(
        id="r1", file="night.csv", sha256="00", at=AT, note="n", roles={"H": "height.rear [mm]"},
        rate="10 Hz", tapes=(Taped(time="12 min", corner="left", height="385 mm"),),
    )  # fmt: skip
    told = Told(id="v1", name="z", text="1 bar", at=AT, by="t")
    again = replace(told, id="v2", text="", supersedes="v1")
    return Job(
        id=job_id, title="Größe 頭", layout="rear-pair", invented=True, practice=3, opened=AT,
        complaint='"Low."', told=(told, again, replace(told, id="v3", name="odometer")),
        access=("wheel-off",),
        entries=(entry, later), begun=(begun, replace(begun, id="b2", drops="b1")),
        notes=(Note(id="n1", text="seen", photo="a.jpg", sha256="11", check="c", at=AT, by="t"),),
        recordings=(recording,),
        approvals=(
            Approval(
                id="a1", repairs=("spring@left",), offered="4 ± 1", price=4.25, currency="EUR",
                answer="approved", how="told", who="customer", at=AT, by="t",
            ),
        ),
        works=(
            Work(
                id="w1", repairs=("spring@left",), at=AT, by="t", entries=1, proofs=1, recordings=1
            ),
        ),
        proofs=(replace(entry, id="e3"),),
    )  # fmt: skip
