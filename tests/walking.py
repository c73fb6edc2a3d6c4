"""Walks a record of the knowledge to its last text and number, without knowing its fields."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass
from typing import Any

__all__ = ["leaves", "records", "texts"]

Path = tuple[str, ...]


def leaves(value: Any, path: Path = ()) -> Iterator[tuple[Path, Any]]:
    """Yield everything that holds nothing else, names of mappings included, with its path.

    >>> list(leaves({"a": ("b", 1.0)}))
    [(('name of a',), 'a'), (('a', '0'), 'b'), (('a', '1'), 1.0)]
    """
    if is_dataclass(value) and not isinstance(value, type):
        for f in fields(value):
            yield from leaves(getattr(value, f.name), (*path, f.name))
    elif isinstance(value, Mapping):
        for key, item in value.items():
            yield (*path, f"name of {key}"), key
            yield from leaves(item, (*path, str(key)))
    elif isinstance(value, tuple | list):
        for i, item in enumerate(value):
            yield from leaves(item, (*path, str(i)))
    else:
        yield path, value


def texts(value: Any) -> Iterator[tuple[Path, str]]:
    """Yield every text."""
    yield from ((path, leaf) for path, leaf in leaves(value) if isinstance(leaf, str))


def records(value: Any) -> Iterator[Any]:
    """Yield every record at any depth, the outer before the inner."""
    if is_dataclass(value) and not isinstance(value, type):
        yield value
        for f in fields(value):
            yield from records(getattr(value, f.name))
    elif isinstance(value, Mapping):
        for item in value.values():
            yield from records(item)
    elif isinstance(value, tuple | list):
        for item in value:
            yield from records(item)
