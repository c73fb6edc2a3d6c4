"""A job as it is kept: with its revision, and with who changed it when and how."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from sagtrace.vehicle.job import Job

__all__ = ["Change", "Content", "JobLine", "JobLines", "Kept", "Mark", "Query", "Waits"]

Waits = Literal["", "hold", "approval", "proof"]  # what has to happen before anybody can go on


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """Who changes a job, when, and with which request.

    `key` is the sender's own name for the request: the same key is carried out once. `request`
    stands for the content of it, so that a key used again for something else is noticed.
    """

    what: str  # in a word or two, such as "answer soap.fold-normal@left"
    at: str  # RFC 3339
    by: str = ""
    key: str = ""
    request: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One change of a job as it is kept. `result` is what its sender was told."""

    job: str
    revision: int  # that it led to
    mark: Mark
    result: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """A job with the number of its last change, from 1 on."""

    job: Job
    revision: int
    changed_at: str  # RFC 3339
    changed_by: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Content:
    """A recording or picture as it came."""

    data: bytes
    media: str  # an IANA media type


@dataclass(frozen=True, slots=True, kw_only=True)
class Query:
    """Which jobs to list: newest change first.

    `text` is looked for in title, complaint, id, registration and the customer's reference,
    whatever the case; `after` is the `next` of the page before.
    """

    text: str = ""
    stage: str = ""  # "check", "repair", "prove", "proved"; empty for all
    waits: Waits = ""
    limit: int = 50  # 1 to 200
    after: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class JobLine:
    """A job in the list. `stage` and `headline` are empty until somebody worked them out."""

    id: str
    title: str
    complaint: str
    layout: str
    invented: bool
    revision: int
    opened: str
    changed_at: str
    changed_by: str
    stage: str = ""
    headline: str = ""  # the next thing to do
    waits: Waits = ""
    ready: str = ""  # RFC 3339, when what it waits for can be read


@dataclass(frozen=True, slots=True, kw_only=True)
class JobLines:
    """One page of the list; `next` is empty on the last."""

    lines: tuple[JobLine, ...]
    next: str = ""
