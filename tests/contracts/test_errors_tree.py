"""The tree drawn at the top of errors.py is the tree of the classes, and errors travel."""

from __future__ import annotations

import inspect
import pickle
import re

import pytest

from sagtrace import errors
from sagtrace.errors import (
    ChangedError,
    ContradictionError,
    DocumentError,
    DomainError,
    EvidenceError,
    InputError,
    MissingPartError,
    SagtraceError,
    StoreError,
    UnitError,
    UnknownIdError,
)

LINE = re.compile(r"^( *)([A-Z]\w+Error)\b(?: \((\w+)\))?", re.MULTILINE)


def drawn() -> dict[str, tuple[str, ...]]:
    """Return the drawn bases of every drawn class: the one above it, then those in brackets."""
    bases: dict[str, tuple[str, ...]] = {}
    above: list[str] = []
    for indent, name, also in LINE.findall(inspect.cleandoc(errors.__doc__ or "")):
        depth = len(indent) // 2
        assert len(indent) == 2 * depth <= 2 * len(above)
        del above[depth:]
        bases[name] = (above[-1] if above else "Exception", *([also] if also else []))
        above.append(name)
    return bases


def test_the_drawing_is_the_tree() -> None:
    classes = [c for _, c in inspect.getmembers(errors, inspect.isclass)]
    own = {c.__name__: tuple(b.__name__ for b in c.__bases__) for c in classes}
    own = {name: bases for name, bases in own.items() if name in errors.__all__}
    assert drawn() == own
    assert len(own) == len(errors.__all__)


def test_the_drawing_explains_every_class() -> None:
    for line in inspect.cleandoc(errors.__doc__ or "").splitlines():
        if LINE.match(line) and not line.startswith("SagtraceError"):
            assert re.search(r" {2,}\S.{10,}$", line), line


ONE_OF_EACH: list[SagtraceError] = [
    SagtraceError("a text"),
    InputError("a text"),
    DomainError("p", -7.5, "Pa", "above zero", "A gauge reading?"),
    UnitError("supply", "12 bar", "a voltage", "A hint."),
    UnknownIdError("check", "soup", ["soap", "fuse"], "A hint."),
    DocumentError("job.yaml", 12, "entries[3].check", "there is no check 'soup'"),
    DocumentError("job.yaml", None, "", "it is empty"),
    EvidenceError("a text"),
    ContradictionError("a text"),
    StoreError("a text"),
    ChangedError("a text"),
    MissingPartError("a text"),
    StoreError("a text"),
    ChangedError("a text"),
]


def test_there_is_one_of_each() -> None:
    assert {type(e).__name__ for e in ONE_OF_EACH} == set(errors.__all__)


@pytest.mark.parametrize("error", ONE_OF_EACH, ids=lambda e: type(e).__name__)
def test_an_error_survives_pickling(error: SagtraceError) -> None:
    again = pickle.loads(pickle.dumps(error))
    assert type(again) is type(error)
    assert str(again) == str(error)
    assert vars(again) == vars(error)


@pytest.mark.parametrize("error", ONE_OF_EACH, ids=lambda e: type(e).__name__)
def test_an_error_can_be_caught_by_what_it_is(error: SagtraceError) -> None:
    assert isinstance(error, SagtraceError)
    assert isinstance(error, ValueError) == isinstance(error, InputError)
    assert str(error)
