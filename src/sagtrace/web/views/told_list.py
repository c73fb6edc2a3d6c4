"""What was told of a vehicle: what names it, and every value with who told it when."""

from __future__ import annotations

from dataclasses import dataclass

from sagtrace.report.history import told_name, told_standing
from sagtrace.report.words import sentence
from sagtrace.vehicle.identity import IDENTITY
from sagtrace.vehicle.job import Job
from sagtrace.vehicle.layouts import Layout
from sagtrace.web.views.moments import Moment, moment
from sagtrace.web.views.people import Person

__all__ = ["identity_fields", "IdentityField", "told_rows", "ToldRow"]


@dataclass(frozen=True, slots=True, kw_only=True)
class IdentityField:
    """Something that names the vehicle or the visit, to be typed."""

    name: str  # of the field
    ask: str
    unit: str
    other: str  # the unit that may be typed as well
    value: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ToldRow:
    """One value told."""

    id: str
    name: str
    text: str  # empty: it takes one back
    why_not: str  # why it does not count
    at: Moment
    by: str


def identity_fields(job: Job | None, person: Person) -> tuple[IdentityField, ...]:
    """Return what names a vehicle, with what was told; a new job has no hand-over yet."""
    told = job.identity if job else {}
    unit, other = ("mi", "km") if person.imperial else ("km", "mi")
    return tuple(
        IdentityField(
            name=name.replace("-", "_"), ask=sentence(ask).rstrip("."),
            unit=unit if name.startswith("odometer") else "",
            other=other if name.startswith("odometer") else "", value=told.get(name, ""),
        )
        for name, ask in IDENTITY.items()
        if job or name != "odometer-out"
    )  # fmt: skip


def told_rows(job: Job, layout: Layout, now: str) -> tuple[ToldRow, ...]:
    """Return everything that was told, newest first."""
    return tuple(
        ToldRow(
            id=told.id, name=told_name(told.name, layout.facts), text=told.text,
            why_not=told_standing(job, told), at=moment(told.at, now), by=told.by,
        )
        for told in reversed(job.told)
    )  # fmt: skip
