"""A job: one visit of one vehicle, as it is kept. Entries are never changed, only superseded."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

from sagtrace.errors import InputError, UnknownIdError
from sagtrace.vehicle.identity import IDENTITY

__all__ = [
    "Approval",
    "Begun",
    "Entry",
    "FORMAT",
    "Job",
    "NOT_DONE",
    "Note",
    "only_grown",
    "Recording",
    "RECORDS",
    "Taped",
    "Told",
    "Work",
]

# What a job holds records of, in lists that only grow.
RECORDS = ("told", "entries", "proofs", "begun", "notes", "recordings", "approvals", "works")
NOT_DONE = "not-done"  # the outcome of any check that could not be done

FORMAT = 1  # raised when a job file of an older program would be misread


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One answer to one check: an outcome from its list, or the numbers that it asks for.

    Its outcome is NOT_DONE if the check could not be done; its note says why. That is no evidence,
    and keeps the check from being asked for again. An entry never changes. A correction is a new
    entry that names the old one in `supersedes`, so that the job keeps both. `values` are kept as
    the person typed them.
    """

    id: str
    check: str
    outcome: str = ""
    values: Mapping[str, str] = field(default_factory=dict)
    at: str = ""  # RFC 3339
    by: str = ""
    instrument: str = ""
    note: str = ""
    supersedes: str = ""
    withdrawn: bool = False  # supersedes without putting anything in its place
    ends: str = ""  # the begun check that this answers


@dataclass(frozen=True, slots=True, kw_only=True)
class Taped:
    """A height taped at one wheel arch while a recording ran, as a person typed it."""

    time: str  # on the recording's own clock
    corner: str
    height: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Recording:
    """A recording that belongs to the job: the file as it came and what its columns mean.

    `roles` maps a column's name to its role and unit; it is empty if the header says them all.
    """

    id: str
    file: str
    sha256: str
    at: str = ""
    note: str = ""
    roles: Mapping[str, str] = field(default_factory=dict)
    rate: str = ""  # of the samples, for a file without a time
    tapes: tuple[Taped, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Begun:
    """A check that was begun and has to wait, such as a hold over night.

    `values` are what could be read at the beginning; the rest comes with the entry that names this
    in its `ends`. One that will not be finished is given up by another that `drops` it.
    """

    id: str
    check: str = ""
    values: Mapping[str, str] = field(default_factory=dict)
    at: str = ""  # RFC 3339
    ready: str = ""  # RFC 3339, from when on it can be read
    by: str = ""
    note: str = ""
    drops: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Note:
    """Something that somebody saw, in words or as a picture; it moves no probability."""

    id: str
    text: str = ""
    photo: str = ""  # name of the picture's file
    sha256: str = ""  # of the picture
    check: str = ""  # what it was seen at
    at: str = ""  # RFC 3339
    by: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """Something that was told of the vehicle: a value of its manual, or what names it.

    It never changes, as an entry does not. A correction names the old one in `supersedes`; one
    with an empty text takes it back.
    """

    id: str
    name: str  # a fact of the layout, or one of `vehicle.identity.IDENTITY`
    text: str = ""  # as typed
    at: str = ""  # RFC 3339
    by: str = ""
    supersedes: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Approval:
    """What the customer was offered and said. The last answer to a repair counts for it."""

    id: str
    repairs: tuple[str, ...] = ()
    offered: str = ""  # the price as it was told, with its spread
    price: float = 0.0  # the same as worked out when it was offered, with tax, in `currency`
    currency: str = ""  # empty: the price was not worked out
    answer: Literal["asked", "approved", "declined"] = "asked"
    how: str = ""  # in person, by telephone, in writing
    who: str = ""  # who said it
    at: str = ""  # RFC 3339
    by: str = ""  # who asked


@dataclass(frozen=True, slots=True, kw_only=True)
class Work:
    """Repairs that were done together, and how much the job held when they were.

    What was entered before them speaks of the vehicle as it was, what came after of what it is now.
    """

    id: str
    repairs: tuple[str, ...]
    at: str = ""  # RFC 3339
    by: str = ""
    entries: int = 0  # so many were there before the work
    proofs: int = 0
    recordings: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """One visit of one vehicle."""

    format: int = FORMAT
    id: str
    title: str
    layout: str
    invented: bool = False  # a demonstration, marked as such on every page and paper
    practice: int = 0  # seed of what is hidden in an invented vehicle; 0: there is a real one
    opened: str = ""  # RFC 3339
    complaint: str = ""  # in the customer's words
    told: tuple[Told, ...] = ()  # of the vehicle, oldest first
    access: tuple[str, ...] = ()  # access states that hold now
    entries: tuple[Entry, ...] = ()
    begun: tuple[Begun, ...] = ()
    notes: tuple[Note, ...] = ()
    recordings: tuple[Recording, ...] = ()
    approvals: tuple[Approval, ...] = ()
    works: tuple[Work, ...] = ()  # what was repaired, in the order in which it was done
    proofs: tuple[Entry, ...] = ()  # answers to the proof tests, made after the repair

    def __post_init__(self) -> None:
        if self.format != FORMAT:
            raise InputError(
                f"format = {self.format}: this program reads job format {FORMAT}."
                + (" A newer program wrote this job." if self.format > FORMAT else "")
            )
        seen: set[str] = set()
        for entry in (*self.entries, *self.proofs):
            if entry.id in seen:
                raise InputError(f"two entries have the id {entry.id!r}; each needs its own.")
            if entry.supersedes and entry.supersedes not in seen:
                raise UnknownIdError("earlier entry", entry.supersedes, seen)
            seen.add(entry.id)
        self._check_told()
        _refuse_wrong_counts(self)

    def _check_told(self) -> None:
        names: dict[str, str] = {}
        for told in self.told:
            if told.id in names:
                raise InputError(f"two values told have the id {told.id!r}; each needs its own.")
            if told.supersedes and names.get(told.supersedes) != told.name:
                earlier = [id_ for id_, name in names.items() if name == told.name]
                raise UnknownIdError(f"earlier {told.name}", told.supersedes, earlier)
            names[told.id] = told.name

    def told_last(self) -> Mapping[str, Told]:
        """Return what was told last by its name, also what only takes one back."""
        return {told.name: told for told in self.told}

    @property
    def vehicle(self) -> Mapping[str, str]:
        """The facts of the layout that somebody knows of this vehicle, as typed."""
        last = self.told_last().values()
        return {told.name: told.text for told in last if told.text and told.name not in IDENTITY}

    @property
    def identity(self) -> Mapping[str, str]:
        """What names the vehicle and the visit, as typed."""
        last = self.told_last()
        return {name: last[name].text for name in IDENTITY if name in last and last[name].text}

    def tell(self, values: Mapping[str, str], at: str = "", by: str = "") -> Job:
        """Return the job in which these texts hold; only what differs becomes a new record."""
        job = self
        for name, text in values.items():
            before = job.told_last().get(name)
            if text.strip() == (before.text if before else ""):
                continue
            new = Told(
                id=job.next_id("v"), name=name, text=text.strip(), at=at, by=by,
                supersedes=before.id if before else "",
            )  # fmt: skip
            job = replace(job, told=(*job.told, new))
        return job

    @property
    def repaired(self) -> tuple[str, ...]:
        """Every repair that was done, once."""
        return tuple(dict.fromkeys(r for work in self.works for r in work.repairs))

    @property
    def repaired_at(self) -> str:
        """When the last of them was done, RFC 3339."""
        return self.works[-1].at if self.works else ""

    @property
    def repaired_by(self) -> str:
        """Who did the last of them."""
        return self.works[-1].by if self.works else ""

    @property
    def proofs_from(self) -> int:
        """Proofs before this place were made before the last repair."""
        return self.works[-1].proofs if self.works else 0

    def times(self) -> Mapping[str, int]:
        """Return after how many works each entry and proof was made, by its id.

        A correction speaks of the time of what it corrects.
        """
        found: dict[str, int] = {}
        for kind in ("entries", "proofs"):
            for place, entry in enumerate(getattr(self, kind)):
                time = sum(place >= getattr(work, kind) for work in self.works)
                found[entry.id] = found.get(entry.supersedes, time)
        return found

    def recorded_after(self, recording: str) -> int:
        """Return after how many works a recording was attached."""
        place = [r.id for r in self.recordings].index(recording)
        return sum(place >= work.recordings for work in self.works)

    def before(self, work: int) -> Job:
        """Return the job as it was when this work was to be done, later corrections included."""
        times = self.times()
        return replace(
            self,
            works=self.works[:work],
            entries=tuple(e for e in self.entries if times[e.id] <= work),
            proofs=tuple(p for p in self.proofs if times[p.id] <= work),
            recordings=self.recordings[: self.works[work].recordings],
        )

    def unrecorded(self) -> Job:
        """Return the job without its recordings."""
        works = tuple(replace(work, recordings=0) for work in self.works)
        return replace(self, recordings=(), works=works)

    def current(self) -> tuple[Entry, ...]:
        """Entries that count: not superseded, not withdrawn, and the last answer to each check.

        An answer from before a repair and one from after it do not replace each other.
        """
        replaced = {entry.supersedes for entry in self.entries if entry.supersedes}
        times = self.times()
        last: dict[tuple[str, int], Entry] = {}
        for entry in self.entries:
            if entry.id in replaced or entry.withdrawn:
                continue
            key = entry.check, times[entry.id]
            last.pop(key, None)
            last[key] = entry
        return tuple(last.values())

    def valid_proofs(self) -> tuple[Entry, ...]:
        """Return the proof answers that count: made after the last repair, and not superseded.

        Older ones prove nothing about the repair, and neither does a correction of an older one.
        """
        replaced = {proof.supersedes for proof in self.proofs if proof.supersedes}
        old = {proof.id for proof in self.proofs[: self.proofs_from]}
        counting = []
        for proof in self.proofs[self.proofs_from :]:
            if proof.supersedes in old:
                old.add(proof.id)
            elif proof.id not in replaced and not proof.withdrawn:
                counting.append(proof)
        return tuple(counting)

    def left_out_proofs(self) -> dict[str, str]:
        """Return why each proof answer that does not count does not, by its id."""
        later = {proof.supersedes: proof for proof in self.proofs if proof.supersedes}
        counts = {proof.check: proof.id for proof in self.valid_proofs()}
        valid = {proof.id for proof in self.valid_proofs()}
        why = {}
        for proof in self.proofs:
            if counts.get(proof.check) == proof.id:
                continue
            if proof.withdrawn:
                why[proof.id] = "a withdrawal"
            elif proof.id in later:
                by = later[proof.id]
                note = f": {by.note}" if by.note else ""
                why[proof.id] = f"{'withdrawn' if by.withdrawn else 'corrected'} by {by.id}{note}"
            else:
                old = proof.id not in valid
                why[proof.id] = "made before the last repair" if old else "answered again later"
        return why

    def waiting(self) -> tuple[Begun, ...]:
        """Return the checks that were begun and neither answered nor given up."""
        ended = {entry.ends for entry in (*self.entries, *self.proofs)}
        ended |= {begun.drops for begun in self.begun}
        return tuple(b for b in self.begun if not b.drops and b.id not in ended)

    def next_id(self, kind: Literal["e", "b", "n", "a", "v", "w"] = "e") -> str:
        """Return an id that no entry, begun check, note, approval, value told or work has yet."""
        taken = {entry.id for entry in (*self.entries, *self.proofs)}
        taken |= {begun.id for begun in self.begun}
        taken |= {note.id for note in self.notes}
        taken |= {approval.id for approval in self.approvals}
        taken |= {told.id for told in self.told}
        taken |= {work.id for work in self.works}
        return next(name for n in range(1, len(taken) + 2) if (name := f"{kind}{n}") not in taken)


def _refuse_wrong_counts(job: Job) -> None:
    """Raise InputError if a work says that more was there before it than is there, or than was."""
    for kind in ("entries", "proofs", "recordings"):
        least, most = 0, len(getattr(job, kind))
        for work in job.works:
            if not least <= (count := getattr(work, kind)) <= most:
                raise InputError(
                    f"works {work.id}, {kind} = {count}: must be from {least} to {most}, the "
                    f"number of {kind} that were there before it."
                )
            least = count


def only_grown(old: Job, new: Job) -> None:
    """Raise InputError unless the new job keeps every record of the old one as it was.

    What a person once entered is never changed or lost; a correction is a further entry.
    """
    for kind in RECORDS:
        before, after = getattr(old, kind), getattr(new, kind)
        if after[: len(before)] != before:
            raise InputError(
                f"{kind} of job {old.id}: what was entered is never changed or taken out. "
                "Enter a correction instead."
            )
