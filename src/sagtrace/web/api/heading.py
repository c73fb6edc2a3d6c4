"""The workshop's own heading, which its papers carry."""

from __future__ import annotations

import hashlib

from fastapi import APIRouter
from pydantic import Field

from sagtrace.report.heading import Heading
from sagtrace.web.api.answers import Answer
from sagtrace.web.asking import Ask, Looked, Sent
from sagtrace.web.bodies import HeadingBody

__all__ = ["keep_heading", "router"]

router = APIRouter(tags=["papers"])


class HeadingAnswer(Answer):
    """The heading; an empty one prints nothing."""

    name: str = Field(description="Of the workshop")
    lines: list[str] = Field(description="Below the name, such as address and telephone")

    @classmethod
    def of(cls, heading: Heading) -> HeadingAnswer:
        """Return the answer for a heading."""
        return cls(name=heading.name, lines=list(heading.lines))


@router.get("/heading")
def read_heading(look: Looked) -> HeadingAnswer:
    """Return the workshop's own heading."""
    heading = look.desk.workshop.heading()
    look.tag(f'"{hashlib.sha256(repr(heading).encode()).hexdigest()[:16]}"')
    return HeadingAnswer.of(heading)


@router.post("/heading")
def change_heading(ask: Sent, body: HeadingBody) -> HeadingAnswer:
    """Keep the workshop's own heading in place of the one before, for all papers from now on."""
    return HeadingAnswer.of(keep_heading(ask, body))


def keep_heading(ask: Ask, body: HeadingBody) -> Heading:
    """Keep the heading that a request says; empty lines at its end are no lines."""
    lines = [line.strip() for line in body.lines.strip().splitlines()]
    heading = Heading(name=body.name.strip(), lines=tuple(lines))
    ask.desk.workshop.keep_heading(heading)
    return heading
