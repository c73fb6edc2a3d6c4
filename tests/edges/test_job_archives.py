"""Jobs go out as one file and come in again; what cannot be right is refused whole."""

from __future__ import annotations

import hashlib
import stat
import warnings
import zipfile
from collections.abc import Mapping
from dataclasses import replace
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings

from sagtrace.adapters.archives import JobArchives
from sagtrace.adapters.jobs import JobFile, job_document
from sagtrace.app.desk import Desk
from sagtrace.app.kept import Content, Query
from sagtrace.bootstrap import open_desk, seed_demo
from sagtrace.cli.main import main
from sagtrace.errors import DocumentError, InputError, SagtraceError, UnknownIdError
from sagtrace.vehicle.job import Approval, Begun, Entry, Job, Note, Recording, Told, Work
from some_jobs import jobs, mark
from workbench import fresh_desk

AT = "2026-11-24T09:00:00+00:00"
JPEG = b"\xff\xd8\xff\xe0" + bytes(40)  # ISO/IEC 10918-1: a JPEG begins with SOI, FF D8
OTHER_JPEG = JPEG + b"2"
PACKER = JobArchives()
WORK = Work(id="w1", repairs=("relay.replace",))
HOLD = Begun(id="b1", check="hold.short@left")
LOAD = Entry(id="e1", check="story.load", outcome="usual")
SOAP = Entry(id="e2", check="soap.fold-normal@left", outcome="none")
OFFER = Approval(id="a1")


def digest(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def archive(files: Mapping[str, bytes], method: int = zipfile.ZIP_DEFLATED) -> bytes:
    out = BytesIO()
    with zipfile.ZipFile(out, "w", method) as found:
        for name, data in files.items():
            found.writestr(name, data)
    return out.getvalue()


def members(data: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(BytesIO(data)) as found:
        assert found.testzip() is None
        return {name: found.read(name) for name in found.namelist()}


def with_pictures(desk: Desk) -> Desk:
    """Let the demonstration have two pictures of one name, a note, an offer and a hold."""
    for number, data in enumerate((JPEG, OTHER_JPEG, JPEG)):
        note = Note(id="", text=f"seen {number}", photo="image.jpg")
        desk.note("demo", note, Content(data=data, media="image/jpeg"), mark())
    repair = desk.workshop.system("rear-pair")
    approval = Approval(id="", repairs=(next(iter(repair.repairs)),), offered="400 ± 20")
    desk.approve("demo", approval, mark())
    desk.begin("demo", Begun(id="", check="hold.short@right"), mark())
    return desk


@pytest.fixture
def desk() -> Desk:
    return fresh_desk()


@pytest.fixture
def packed() -> bytes:
    desk = with_pictures(fresh_desk())
    return desk.export(desk.open("demo"))


# --- out


def test_the_archive_holds_the_job_file_and_all_that_belongs_to_it(packed: bytes) -> None:
    found = members(packed)
    assert list(found) == ["job.yaml", "recording.csv", "image.jpg", "picture-1.jpg"]
    assert found["image.jpg"] == JPEG
    assert found["picture-1.jpg"] == OTHER_JPEG


def test_the_same_job_gives_the_same_bytes(packed: bytes) -> None:
    desk = with_pictures(fresh_desk())
    assert desk.export(desk.open("demo")) == packed


def test_the_commands_read_the_unpacked_archive(
    packed: bytes, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with zipfile.ZipFile(BytesIO(packed)) as found:
        found.extractall(tmp_path)
    file = tmp_path / "job.yaml"
    before = file.read_bytes()
    assert main(["verdict", str(file), "--json"]) == 0
    assert '"probability"' in capsys.readouterr().out
    add = ["add", str(file), "story.load", "--outcome", "usual", "--at", AT]
    assert main(add) == 0, capsys.readouterr().err
    job = JobFile(file).load()
    assert file.read_bytes() != before
    assert len(job.notes) == 3
    assert len(job.approvals) == len(job.begun) == 1
    assert job.entries[-1].check == "story.load"


@given(made=jobs())
@settings(deadline=None, max_examples=10)
def test_any_job_packed_and_unpacked_is_the_same(made: Job) -> None:
    """But for the names of its files, which must be such that a disk takes them."""
    data = {digest(n.encode()): n.encode() for n in ("a", "b", "c", "d")}
    digests = iter(data)
    made = replace(
        made,
        recordings=tuple(replace(r, sha256=next(digests)) for r in made.recordings),
        notes=tuple(replace(n, sha256=next(digests)) for n in made.notes),
    )
    packed = PACKER.pack(made, lambda sha256: Content(data=data[sha256], media=""))
    found, files = PACKER.unpack(packed)
    kept = {r.sha256 for r in made.recordings} | {n.sha256 for n in made.notes}
    assert files == {sha256: data[sha256] for sha256 in kept}
    renamed = replace(
        found,
        recordings=tuple(
            replace(r, file=old.file)
            for r, old in zip(found.recordings, made.recordings, strict=True)
        ),
        notes=tuple(
            replace(n, photo=old.photo) for n, old in zip(found.notes, made.notes, strict=True)
        ),
    )
    assert renamed == made
    assert PACKER.pack(found, lambda sha256: Content(data=data[sha256], media="")) == packed


@pytest.mark.parametrize(
    "name",
    ["../a.csv", "/a.csv", "a\\b.csv", "", ".", "x/../../a.csv", "job.yaml", "JOB.YAML", "a\nb.csv",
     "c:a.csv", "x" * 201, "a//b.csv", "a/"],
)  # fmt: skip
def test_a_name_that_no_disk_should_take_is_replaced(name: str) -> None:
    data = b"a"
    recording = Recording(id="r1", file=name, sha256=digest(data))
    job = Job(id="a", title="a", layout="rear-pair", recordings=(recording,))
    packed = PACKER.pack(job, lambda _: Content(data=data, media=""))
    (_, found) = members(packed)
    assert found.startswith("recording-1")
    assert "/" not in found
    assert "\\" not in found
    assert PACKER.unpack(packed)[0].recordings[0].file == found


# --- in


def test_a_job_comes_in_as_it_went_out(packed: bytes) -> None:
    here = open_desk("memory")
    done = here.import_(packed, mark("k", by="two", at=AT, what="import"))
    assert done.result == {"job": "demo"}
    kept = here.open("demo")
    assert (kept.revision, kept.changed_by, kept.changed_at) == (1, "two", AT)
    there = with_pictures(fresh_desk()).open("demo").job
    assert replace(kept.job, notes=()) == replace(there, notes=())
    assert [(n.text, n.sha256) for n in kept.job.notes] == [(n.text, n.sha256) for n in there.notes]
    picture = here.content(kept, digest(OTHER_JPEG))
    assert picture == Content(data=OTHER_JPEG, media="image/jpeg")
    assert here.export(kept) == packed


def test_a_job_whose_id_is_taken_gets_another_and_says_so(desk: Desk, packed: bytes) -> None:
    before = desk.open("demo")
    done = desk.import_(packed, mark("k"))
    new = done.kept.job.id
    assert new != "demo"
    assert done.result["job"] == new
    assert done.result["was"] == "demo"
    assert done.result["note"] == f"there is a job 'demo' already; here it is {new}."
    assert desk.open("demo") == before
    again = desk.import_(packed, mark("k"))
    assert again.again
    assert again.kept.job.id == new
    assert len(desk.jobs(Query()).lines) == 2


def test_a_bare_job_file_comes_in() -> None:
    job = Job(id="a/b", title="a", layout="rear-pair", complaint="Low.")
    desk = open_desk("memory")
    done = desk.import_(b"\xef\xbb\xbf" + job_document(job, "job.yaml"), mark())
    assert replace(done.kept.job, id="a/b") == job
    assert "cannot be part of an address" in done.result["note"]


def test_a_folder_packed_by_hand_comes_in(packed: bytes) -> None:
    inside = {f"my job/{name}": data for name, data in members(packed).items()}
    inside["my job/"] = b""
    inside["my job/other.yaml"] = b"a: 1"
    inside["my job/deeper/job.yaml"] = b"a: 1"
    done = open_desk("memory").import_(archive(inside), mark())
    assert done.kept.job.id == "demo"
    assert len(done.kept.job.recordings) == 1


def test_a_job_file_of_another_name_comes_in() -> None:
    job = Job(id="a", title="a", layout="rear-pair")
    data = archive({"night.yml": job_document(job, "")})
    assert open_desk("memory").import_(data, mark()).kept.job == job


def changed(packed: bytes, **files: bytes | None) -> bytes:
    """Return the archive with files put in or, if None, left out; `_` stands for a point."""
    inside: dict[str, Any] = {**members(packed)}
    inside |= {name.replace("_", "."): data for name, data in files.items()}
    return archive({name: data for name, data in inside.items() if data is not None})


def refused(data: bytes, said: str, kind: type[SagtraceError] = DocumentError) -> None:
    desk = open_desk("memory")
    with pytest.raises(kind, match=said):
        desk.import_(data, mark())
    assert desk.jobs(Query()).lines == ()


def test_what_is_missing_or_changed_is_refused(packed: bytes) -> None:
    refused(changed(packed, recording_csv=None), "names the file recording.csv, which is not in it")
    refused(changed(packed, recording_csv=b"other"), "recording.csv: the file is not the one")
    refused(changed(packed, image_jpg=OTHER_JPEG), "image.jpg: the file is not the one")
    refused(changed(packed, job_yaml=None), "no job file; name it job.yaml")
    refused(members(packed)["job.yaml"], "recording.csv; send a ZIP archive of its whole folder")


def test_two_job_files_are_refused() -> None:
    refused(archive({"a.yaml": b"", "b.yaml": b""}), "2 YAML files; which one is the job")


@pytest.mark.parametrize("data", [b"", b"PK", b"PK\x03\x04" + b"\0" * 40, b"\xff\xfe", b"a: ["])
def test_what_is_no_archive_is_refused(data: bytes) -> None:
    refused(data, ".")


def test_a_damaged_archive_is_refused(packed: bytes) -> None:
    for cut in range(1, len(packed), len(packed) // 40):
        refused(packed[:cut], ".", SagtraceError)
    for at in range(50, len(packed), len(packed) // 40):
        wrong = packed[:at] + bytes([packed[at] ^ 0x55]) + packed[at + 1 :]
        refused(wrong, ".", SagtraceError)


@pytest.mark.parametrize("name", ["../job.yaml", "/job.yaml", "a/../../job.yaml", "..\\job.yaml"])
def test_a_path_that_leads_out_is_refused(packed: bytes, name: str) -> None:
    inside = {**members(packed), name: b"x"}
    refused(archive(inside), "leads out of its folder; nothing was read")


@pytest.mark.parametrize("name", ["../a.csv", "/etc/passwd", "job.yaml"])
def test_a_job_that_names_a_file_elsewhere_is_refused(packed: bytes, name: str) -> None:
    inside = members(packed)
    inside["job.yaml"] = inside["job.yaml"].replace(b"recording.csv", name.encode())
    refused(archive(inside), "does not lie beside the job file")


def test_a_link_is_refused(packed: bytes) -> None:
    out = BytesIO(packed)
    link = zipfile.ZipInfo("link.csv")
    link.external_attr = (stat.S_IFLNK | 0o777) << 16
    with zipfile.ZipFile(out, "a") as found:
        found.writestr(link, "/etc/passwd")
    refused(out.getvalue(), "leads out of its folder")


def test_a_name_that_is_there_twice_is_refused(packed: bytes) -> None:
    out = BytesIO(packed)
    with warnings.catch_warnings(), zipfile.ZipFile(out, "a") as found:
        warnings.simplefilter("ignore")
        found.writestr("recording.csv", "other")
    refused(out.getvalue(), "is in it twice")


def bomb(packed: bytes, method: int) -> bytes:
    data = bytes(60_000_000)
    inside = members(packed)
    old = digest(inside["recording.csv"]).encode()
    inside["job.yaml"] = inside["job.yaml"].replace(old, digest(data).encode())
    return archive({**inside, "recording.csv": data}, method)


@pytest.mark.parametrize("method", [zipfile.ZIP_DEFLATED, zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA])
def test_a_bomb_is_refused(packed: bytes, method: int) -> None:
    refused(bomb(packed, method), "unpack to far more than a job's recordings")


def test_a_large_job_file_is_refused(packed: bytes) -> None:
    refused(changed(packed, job_yaml=b"#" * 8_000_001), "at most 8000000 are read")
    refused(b"#" * 8_000_001, "at most 8000000 are read")


def test_too_many_files_are_refused() -> None:
    refused(archive({f"{n}": b"" for n in range(10_001)}), "it holds 10001 files")


def test_a_file_that_says_to_be_smaller_than_it_is_is_refused(packed: bytes) -> None:
    data = bomb(packed, zipfile.ZIP_DEFLATED)
    lie = data.replace((60_000_000).to_bytes(4, "little"), (1000).to_bytes(4, "little"))
    assert lie != data
    refused(lie, ".")


def test_an_archive_with_a_password_is_refused(packed: bytes) -> None:
    data = bytearray(archive(members(packed)))
    # APPNOTE.TXT of the ZIP format, 4.4.4: bit 0 of the general purpose flag means encrypted.
    for begin, at in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        start = data.find(begin)
        while start >= 0:
            data[start + at] |= 1
            start = data.find(begin, start + 4)
    refused(bytes(data), "password")


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"layout": "no-such"}, "no-such"),
        ({"entries": (Entry(id="e1", check="no.such", outcome="x"),)}, r"no\.such"),
        ({"entries": (Entry(id="e1", check="story.load", outcome="x"),)}, "story.load"),
        ({"proofs": (Entry(id="e1", check="no.such", outcome="x"),)}, r"no\.such"),
        ({"told": (Told(id="v1", name="spring-area", text="12 V"),)}, "area of one spring"),
        ({"access": ("no-such",)}, "no-such"),
        ({"works": (Work(id="w1", repairs=("no.such",)),)}, r"no\.such"),
        ({"approvals": (Approval(id="a1", repairs=("no.such",)),)}, r"no\.such"),
        ({"begun": (Begun(id="b1", check="no.such"),)}, r"no\.such"),
        ({"notes": (Note(id="n1", check="no.such"),)}, r"no\.such"),
        ({"notes": (Note(id="n1", at="yesterday"),)}, "'yesterday' is no moment"),
        ({"opened": "2026-13-01"}, "is no moment"),
        ({"opened": "0001-01-01T00:00:00Z"}, "opened: '0001-01-01T00:00:00Z' is no moment"),
        ({"opened": "9999-12-31T23:59:59-12:00"}, "is no moment"),
        ({"works": (replace(WORK, at="2026-11-24"),)}, "works w1: '2026-11-24' is no moment"),
        ({"practice": -1}, "practice: -1; expected 0 to 999999999"),
        ({"practice": 10**9}, "practice: 1000000000; expected"),
        ({"begun": (Begun(id="b1"),)}, "begun b1 check: it names no check"),
        ({"begun": (HOLD, HOLD)}, "begun b1: two have the id 'b1'"),
        ({"begun": (HOLD, Begun(id="b2", drops="b9"))}, "begun b2 drops: no begun check 'b9'"),
        ({"begun": (HOLD, *(Begun(id=f"b{n}", drops="b1") for n in (2, 3)))}, "begun b3 drops"),
        ({"entries": (replace(LOAD, ends="b1"),)}, "entries e1 ends: no begun check 'b1'"),
        ({"entries": (replace(LOAD, ends="b1"),), "begun": (HOLD,)}, "which story.load cannot end"),
        ({"entries": (LOAD, replace(SOAP, supersedes="e1"))}, "e1 answers story.load"),
        ({"notes": (Note(id="n1", text="a"), Note(id="n1", text="b"))}, "notes n1: two have"),
        ({"notes": (Note(id="", text="a"),)}, "notes id: '' is no id"),
        ({"notes": (Note(id="a/b", text="a"),)}, "notes id: 'a/b' is no id"),
        ({"entries": (replace(LOAD, id="e" * 100_000),)}, "entries id: 'e{40}' … is no id"),
        ({"approvals": (OFFER, OFFER)}, "approvals a1: two have"),
    ],
)
def test_what_cannot_be_worked_with_here_is_refused(change: dict[str, Any], said: str) -> None:
    job = replace(Job(id="a", title="a", layout="rear-pair", complaint="Low."), **change)
    refused(job_document(job, "job.yaml"), said, SagtraceError)


def one_file(data: bytes, **of: Any) -> bytes:
    job = Job(id="a", title="a", layout="rear-pair", **of)
    return archive({"job.yaml": job_document(job, "job.yaml"), "file": data})


def test_a_picture_that_is_none_is_refused() -> None:
    data = b"<svg onload='alert(1)'/>"
    note = Note(id="n1", photo="file", sha256=digest(data))
    refused(one_file(data, notes=(note,)), "file is no picture", InputError)
    data = JPEG + bytes(12_000_000)
    note = Note(id="n1", photo="file", sha256=digest(data))
    refused(one_file(data, notes=(note,)), "up to 12 MB", InputError)


def test_a_recording_that_is_none_is_refused() -> None:
    data = b"\x00\x01\x02"
    recording = Recording(id="r1", file="file", sha256=digest(data))
    refused(one_file(data, recordings=(recording,)), "file")


def test_the_same_recording_is_not_taken_in_twice(packed: bytes) -> None:
    job, _ = PACKER.unpack(packed)
    (first,) = job.recordings
    for second, said in (
        (replace(first, id="r9"), "recordings r9: it is the same recording as r1"),
        (replace(first, sha256=digest(JPEG), file="image.jpg"), "recordings r1: two have the id"),
    ):
        twice = replace(job, recordings=(first, second))
        refused(changed(packed, job_yaml=job_document(twice, "job.yaml")), said)


@pytest.mark.parametrize("rate", ["-10 Hz", "0 Hz", "10 mm", "soon", "nan Hz"])
def test_a_rate_is_looked_at_even_where_the_file_has_a_time(packed: bytes, rate: str) -> None:
    job, _ = PACKER.unpack(packed)
    wrong = replace(job, recordings=tuple(replace(r, rate=rate) for r in job.recordings))
    refused(changed(packed, job_yaml=job_document(wrong, "job.yaml")), "rate", SagtraceError)


def test_a_proved_job_goes_out_and_comes_in(desk: Desk) -> None:
    """With everything that a job can hold, and a proof of each time."""
    with_pictures(desk)
    system = desk.workshop.system("rear-pair")
    proof = replace(SOAP, id="")
    desk.repaired("demo", [next(iter(system.repairs))], mark(), without_approval="agreed")
    desk.prove("demo", proof, mark())
    desk.repaired("demo", [list(system.repairs)[1]], mark(), without_approval="agreed")
    desk.prove("demo", proof, mark())
    before = desk.open("demo")
    assert (len(before.job.proofs), before.job.proofs_from) == (2, 1)
    here = open_desk("memory")
    packed = desk.export(before)
    kept = here.import_(packed, mark()).kept
    assert (kept.job.proofs, kept.job.proofs_from) == (before.job.proofs, 1)
    assert kept.job.begun == before.job.begun
    assert kept.job.approvals == before.job.approvals
    assert here.export(kept) == packed


@pytest.mark.parametrize("text", ["a\n", "\u200b", "\x85", '"', "\\", "\t", "\U0001f600", "\n a"])
def test_whatever_is_kept_fits_in_a_job_file(text: str) -> None:
    """A job file holds 8 MB and a store keeps 1 MB: a text may take eight times its room."""
    note = Note(id="n1", text=text * 3000)
    job = Job(id="a", title="a", layout="rear-pair", notes=(note,))
    assert len(job_document(job, "job.yaml")) < 8 * len(note.text.encode())


def test_the_shortest_texts_fit_too() -> None:
    notes = tuple(Note(id=f"n{n}", text="a", check="c", at="t", by="b") for n in range(200))
    job = Job(id="a", title="a", layout="rear-pair", notes=notes)
    assert len(job_document(job, "job.yaml")) < 8 * 20 * 5 * len(notes)


def test_more_than_can_go_out_is_not_kept() -> None:
    desk = open_desk("memory")
    desk.start(Job(id="a", title="a", layout="rear-pair"), mark())
    desk.note("a", Note(id="", text="a" * 900_000), None, mark())
    kept = desk.open("a")
    with pytest.raises(InputError, match=r"1\.02 MB of text; up to 1 MB is kept"):
        desk.note("a", Note(id="", text="b" * 120_000), None, mark())
    assert desk.open("a") == kept
    job = replace(kept.job, notes=(replace(kept.job.notes[0], text="b" * 1_100_000),))
    with pytest.raises(InputError, match="up to 1 MB is kept"):
        desk.store.add(replace(job, id="b"), mark(), {})


def test_a_job_file_may_be_longer_than_other_documents() -> None:
    data = b"# " + b"x" * 2_500_000 + b"\nformat: 1\nid: a\ntitle: a\nlayout: rear-pair\n"
    assert open_desk("memory").import_(data, mark()).kept.job.id == "a"


def test_a_refused_picture_is_not_kept(desk: Desk) -> None:
    data = JPEG + b"refused"
    picture = Content(data=data, media="image/jpeg")
    for job, check in (("no-such", ""), ("demo", "no.such")):
        with pytest.raises(UnknownIdError):
            desk.note(job, Note(id="", check=check), picture, mark())
    with pytest.raises(UnknownIdError):
        desk.store.content(digest(data))


# --- the demonstration


def test_the_demonstration_is_put_in_once_and_marked() -> None:
    desk = open_desk("memory")
    with pytest.raises(UnknownIdError):
        desk.open("demo")
    assert seed_demo(desk, AT)
    assert not seed_demo(desk, AT)
    kept = desk.open("demo")
    assert kept.job.invented
    assert kept.revision == 1
    (recording,) = kept.job.recordings
    assert desk.content(kept, recording.sha256).data
    assert desk.changes("demo")[0].mark.what == "demonstration"


def test_a_changed_demonstration_is_left_alone(desk: Desk) -> None:
    desk.note("demo", Note(id="", text="mine"), None, mark())
    assert not seed_demo(desk, AT)
    assert desk.open("demo").revision == 2
