"""An error as a page tells it: by the field's own question, and at the field that it names."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass

from sagtrace.app.desk import Desk
from sagtrace.errors import DomainError, SagtraceError, UnitError
from sagtrace.report.words import sentence
from sagtrace.vehicle.identity import IDENTITY
from sagtrace.web.words import _

__all__ = ["question_of", "Told", "told"]

_WORDS = re.compile(r"[a-z]+,? (?!=)")  # a sentence begins so; `fuse.look`, `at = 3` do not


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What a page says of an error."""

    text: str
    field: str = ""  # of the form, such as `values.height-start`; empty: it names none


def told(err: Exception, desk: Desk, job: str = "") -> Told:
    """Return how a page tells an error; `job` is the id of the job that it came from."""
    if isinstance(err, DomainError | UnitError):
        for name, field, question in _questions(err.name, desk, job):
            if name == err.name:
                return Told(text=_at_field(err, question), field=field)
    text = str(err)
    return Told(text=text[0].upper() + text[1:] if _WORDS.match(text) else text)


def question_of(field: str, desk: Desk, job: str, check: str) -> str:
    """Return what a field of a form asks for; empty if it is none of a check or vehicle."""
    name = field.partition(".")[2] or field
    asked = _questions(f"{check}, {name}", desk, job) if check else _questions(name, desk, job)
    return next((question for _, known, question in asked if known == field), "")


def _questions(name: str, desk: Desk, job: str) -> Iterator[tuple[str, str, str]]:
    """Give names that errors use, each with the form's field and its question."""
    check, _, _ = name.partition(", ")
    if job:
        with suppress(SagtraceError):
            system = desk.workshop.system(desk.open(job).job.layout)
            if check in system.checks and (measure := system.checks[check].measure):
                for slot in measure.inputs:
                    yield f"{check}, {slot.name}", f"values.{slot.name}", _asked(slot.ask)
    for field, asked in IDENTITY.items():
        yield asked, field.replace("-", "_"), _asked(asked)
    for layout in desk.workshop.knowledge.layouts:
        for fact in layout.facts:
            yield fact.id, f"vehicle.{fact.id}", _asked(fact.name)
            yield fact.name, f"vehicle.{fact.id}", _asked(fact.name)


def _asked(question: str) -> str:
    return sentence(question).rstrip(".")


def _at_field(err: DomainError | UnitError, question: str) -> str:
    if isinstance(err, DomainError):
        value = f"{err.value:g} {err.unit}".rstrip()
        said = _(
            "%(question)s: %(value)s must be %(rule)s.",
            question=question, value=value, rule=err.rule,
        )  # fmt: skip
    else:
        said = _(
            "%(question)s: %(typed)s cannot be read; expected %(expected)s.",
            question=question, typed=repr(err.text), expected=err.expected,
        )  # fmt: skip
    return f"{said} {err.hint}".rstrip()
