"""What every store asks of what it keeps and of what it looks for."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import fields, is_dataclass

from sagtrace.app.kept import Mark, Query
from sagtrace.errors import InputError
from sagtrace.vehicle.job import Job

__all__ = ["is_text", "page_start", "refuse_unkeepable", "sought_in", "words_of"]

# What may be kept must come out as a job file, which holds 8 MB: a text may take six times its
# room there, where every second character of it ends a line.
MOST = 1_000_000  # [bytes] chosen: fifty times the longest honest job
_AROUND = 20  # [bytes] chosen: for the name and the quotes of a text
_MOST_SHOWN = 200  # jobs on a page of the list
_LONGEST_PLACE = 18  # digits, because a database's numbers have 64 bits


def sought_in(text: str) -> str:
    """Return a text as it is searched: the same letters in either case and however composed."""
    return unicodedata.normalize("NFKC", unicodedata.normalize("NFKC", text).casefold())


def words_of(job: Job) -> str:
    """Return what a job is found by."""
    named = (job.identity.get(name, "") for name in ("registration", "reference"))
    return "\n".join((job.title, job.complaint, job.id, *named))


def is_text(text: str) -> bool:
    """Return whether a database can hold the text: no NUL and no half of a character."""
    return "\0" not in text and not any("\ud800" <= letter <= "\udfff" for letter in text)


def refuse_unkeepable(job: Job, mark: Mark, result: Mapping[str, str]) -> None:
    """Raise InputError for what a database cannot hold as it is."""
    if (size := sum(len(text.encode("utf-8", "replace")) + _AROUND for text in _texts(job))) > MOST:
        raise InputError(
            f"the job would hold {size / 1e6:.2f} MB of text; up to {MOST / 1e6:.0f} MB is kept, "
            "so that it can still go out as a file. Nothing was kept; start another job."
        )
    for text in _texts((job, mark, result)):
        if not is_text(text):
            shown = text.encode("unicode_escape").decode("ascii")[:60]
            raise InputError(
                f"the text {shown!r} holds a character that is none (NUL or half of one); nothing "
                "was kept. Type it again."
            )


def page_start(query: Query) -> int | None:
    """Return the place that a page of the list begins below; raise InputError for a wrong query."""
    if not 1 <= query.limit <= _MOST_SHOWN:
        raise InputError(f"limit = {query.limit}: must be from 1 to {_MOST_SHOWN}.")
    if not query.after:
        return None
    after = query.after
    if not (after.isascii() and after.isdecimal() and len(after) <= _LONGEST_PLACE):
        raise InputError(f"after = {after!r}: no such place in the list; begin anew.")
    return int(after)


def _texts(value: object) -> Iterable[str]:
    if isinstance(value, str):
        yield value
    elif is_dataclass(value) and not isinstance(value, type):
        for field in fields(value):
            yield from _texts(getattr(value, field.name))
    elif isinstance(value, Mapping):
        for pair in value.items():
            yield from _texts(pair)
    elif isinstance(value, tuple):
        for item in value:
            yield from _texts(item)
