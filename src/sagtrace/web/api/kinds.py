"""What the `type` of a problem leads to."""

from __future__ import annotations

from fastapi import APIRouter

from sagtrace.errors import UnknownIdError
from sagtrace.web.api.answers import Answer
from sagtrace.web.asking import Looked
from sagtrace.web.problems import KINDS

__all__ = ["router"]

router = APIRouter(tags=["problems"])


class KindAnswer(Answer):
    """A kind of problem."""

    kind: str
    status: int
    title: str
    what: str


@router.get("/problems")
def list_kinds(look: Looked) -> list[KindAnswer]:
    """List the kinds of problems."""
    return [KindAnswer(kind=k, status=s, title=t, what=w) for k, (s, t, w) in KINDS.items()]


@router.get("/problems/{kind}")
def read_kind(look: Looked, kind: str) -> KindAnswer:
    """Return what a kind of problem means."""
    if kind not in KINDS:
        raise UnknownIdError("kind of problem", kind, KINDS)
    status, title, what = KINDS[kind]
    return KindAnswer(kind=kind, status=status, title=title, what=what)
