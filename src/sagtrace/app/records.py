"""What the records of a job from elsewhere must keep to: what this program itself would write."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator

from sagtrace.app.moments import EXPECTED, read_moment
from sagtrace.errors import DocumentError
from sagtrace.vehicle.job import Entry, Job

__all__ = ["check_records", "is_good_id"]

_ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,79}")  # what an address can hold as it is
_MOST_SEED = 999_999_999
_SHOWN = 40  # [characters] of a wrong text that an error repeats


def is_good_id(text: str) -> bool:
    """Return whether a job or a record can be called this here."""
    return _ID.fullmatch(text) is not None


def check_records(job: Job) -> None:
    """Raise DocumentError, which names the field, for records that cannot be right together."""
    if not 0 <= job.practice <= _MOST_SEED:
        raise _wrong("practice", f"{job.practice}; expected 0 to {_MOST_SEED}")
    for field, moment in _moments(job):
        if read_moment(moment) is None:
            raise _wrong(field, f"{moment[:_SHOWN]!r} is no moment; expected {EXPECTED}")
    kinds: Iterable[tuple[str, Iterable[str]]] = (
        ("told", (t.id for t in job.told)),
        ("entries", (e.id for e in (*job.entries, *job.proofs))),
        ("begun", (b.id for b in job.begun)),
        ("notes", (n.id for n in job.notes)),
        ("approvals", (a.id for a in job.approvals)),
        ("recordings", (r.id for r in job.recordings)),
        ("works", (w.id for w in job.works)),
    )
    for kind, ids in kinds:
        _check_ids(kind, ids)
    for approval in job.approvals:
        if approval.price < 0.0:
            raise _wrong(f"approvals {approval.id} price", f"{approval.price}; expected 0 or more")
    _check_once(job)
    _check_begun(job)
    _check_corrections((*job.entries, *job.proofs))


def _check_ids(kind: str, ids: Iterable[str]) -> None:
    seen: set[str] = set()
    for one in ids:
        if not is_good_id(one):
            shown = f"{one[:_SHOWN]!r}{' …' if len(one) > _SHOWN else ''}"
            allowed = "1 to 80 letters, digits, points, dashes and underscores, a letter or digit"
            raise _wrong(f"{kind} id", f"{shown} is no id; expected {allowed} first")
        if one in seen:
            raise _wrong(f"{kind} {one}", f"two have the id {one!r}; each needs its own")
        seen.add(one)


def _check_once(job: Job) -> None:
    """Refuse a recording that is there twice, because it would count twice."""
    seen: dict[str, str] = {}
    for recording in job.recordings:
        if recording.sha256 in seen:
            problem = f"it is the same recording as {seen[recording.sha256]}, and counts once"
            raise _wrong(f"recordings {recording.id}", f"{problem}; take one out")
        seen[recording.sha256] = recording.id


def _check_begun(job: Job) -> None:
    """Refuse what was begun without a check, and an end of what never waited."""
    waiting: dict[str, str] = {}
    for begun in job.begun:
        field = f"begun {begun.id}"
        if begun.drops:
            _end(waiting, f"{field} drops", begun.drops, "")
        elif begun.check:
            waiting[begun.id] = begun.check
        else:
            raise _wrong(f"{field} check", "it names no check; say which one was begun")
    for entry in (*job.entries, *job.proofs):
        if entry.ends:
            _end(waiting, f"entries {entry.id} ends", entry.ends, entry.check)


def _end(waiting: dict[str, str], field: str, begun: str, check: str) -> None:
    if begun not in waiting:
        raise _wrong(field, f"no begun check {begun[:_SHOWN]!r} waits; each ends once")
    if check and waiting[begun] != check:
        raise _wrong(field, f"{begun} is a begun {waiting[begun]}, which {check} cannot end")
    del waiting[begun]


def _check_corrections(entries: Iterable[Entry]) -> None:
    checks: dict[str, str] = {}
    for entry in entries:
        checks[entry.id] = entry.check
        before = checks.get(entry.supersedes, entry.check)
        if before != entry.check:
            problem = f"{entry.supersedes} answers {before}, which {entry.check} cannot correct"
            raise _wrong(f"entries {entry.id} supersedes", problem)


def _moments(job: Job) -> Iterator[tuple[str, str]]:
    named: Iterable[tuple[str, str]] = (
        ("opened", job.opened),
        *((f"told {t.id[:_SHOWN]}", t.at) for t in job.told),
        *((f"works {w.id[:_SHOWN]}", w.at) for w in job.works),
        *((f"entries {e.id[:_SHOWN]}", e.at) for e in (*job.entries, *job.proofs)),
        *((f"begun {b.id[:_SHOWN]}", moment) for b in job.begun for moment in (b.at, b.ready)),
        *((f"notes {n.id[:_SHOWN]}", n.at) for n in job.notes),
        *((f"approvals {a.id[:_SHOWN]}", a.at) for a in job.approvals),
        *((f"recordings {r.id[:_SHOWN]}", r.at) for r in job.recordings),
    )
    return ((field, moment) for field, moment in named if moment)


def _wrong(field: str, problem: str) -> DocumentError:
    return DocumentError("job.yaml", None, field, problem)
