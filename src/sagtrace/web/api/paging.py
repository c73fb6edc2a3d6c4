"""Long lists in pages: `limit` says how many, `after` is the `next` of the page before."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Annotated, TypeVar

from fastapi import Query

from sagtrace.errors import InputError

__all__ = ["After", "cut", "Limit"]

T = TypeVar("T")

Limit = Annotated[int, Query(ge=1, le=200, description="How many at most")]
After = Annotated[
    str, Query(max_length=200, description="The `next` of the page before; empty: from the start")
]


def cut(
    items: Sequence[T], name: Callable[[T], str], limit: int, after: str
) -> tuple[Sequence[T], str]:
    """Return one page of the items and its `next`, which is empty on the last page.

    >>> cut("abcd", str, 2, ""), cut("abcd", str, 2, "b")
    (('ab', 'b'), ('cd', ''))
    """
    start = 0
    if after:
        names = [name(item) for item in items]
        if after not in names:
            raise InputError(f"after = {after!r}: no such place in the list; begin anew.")
        start = names.index(after) + 1
    page = items[start : start + limit]
    return page, name(page[-1]) if start + limit < len(items) else ""
