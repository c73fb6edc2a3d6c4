"""Reads the datasheets of all physics kernels, so that they cannot rot."""

from __future__ import annotations

import inspect
import pkgutil
import re
from collections.abc import Callable, Iterator
from importlib import import_module
from typing import Any

import pytest

import sagtrace.physics

Kernel = Callable[..., Any]

HEADING = re.compile(r"^(\w[\w ]*)\n-{3,}$", re.MULTILINE)
ENTRY = re.compile(r"^(\w+(?:, \w+)*) : .+$", re.MULTILINE)
UNIT = re.compile(r"\[[^\[\]]+\]$")
REQUIRED = {"Parameters", "Returns", "Raises", "Notes", "Sources", "Examples"}


def public_modules() -> Iterator[str]:
    for info in pkgutil.iter_modules(sagtrace.physics.__path__):
        if not info.name.startswith("_"):
            yield f"sagtrace.physics.{info.name}"


def public_functions() -> Iterator[Kernel]:
    seen = set()
    for name in public_modules():
        module = import_module(name)
        for item in (getattr(module, public) for public in module.__all__):
            if inspect.isfunction(item) and item not in seen:
                seen.add(item)
                yield item


def sections(doc: str) -> dict[str, str]:
    """Return the text of each section; the text before the first one is ''."""
    parts = HEADING.split(inspect.cleandoc(doc))
    return {"": parts[0]} | dict(zip(parts[1::2], parts[2::2], strict=True))


def entries(section: str) -> dict[str, str]:
    """Return the description of each name; names that share one are split."""
    parts = ENTRY.split(section.strip())
    pairs = zip(parts[1::2], parts[2::2], strict=True)
    return {name: text.strip() for names, text in pairs for name in names.split(", ")}


FUNCTIONS = list(public_functions())
each_function = pytest.mark.parametrize("kernel", FUNCTIONS, ids=lambda kernel: kernel.__name__)


def test_there_is_something_to_read() -> None:
    assert len(FUNCTIONS) > 50


@each_function
def test_datasheet_has_all_sections(kernel: Kernel) -> None:
    doc = sections(kernel.__doc__ or "")
    assert set(doc) >= REQUIRED
    assert doc[""].strip()
    assert all(doc[name].strip() for name in REQUIRED)
    assert ">>> " in doc["Examples"]


@each_function
def test_parameters_are_those_of_the_signature(kernel: Kernel) -> None:
    parameters = entries(sections(kernel.__doc__ or "")["Parameters"])
    assert list(parameters) == list(inspect.signature(kernel).parameters)


@each_function
def test_every_number_has_a_unit(kernel: Kernel) -> None:
    doc = sections(kernel.__doc__ or "")
    given, returned = entries(doc["Parameters"]), entries(doc["Returns"])
    assert returned
    assert not [name for name, text in (given | returned).items() if not UNIT.search(text)]


@each_function
def test_signature_is_fully_typed(kernel: Kernel) -> None:
    signature = inspect.signature(kernel)
    annotations = [parameter.annotation for parameter in signature.parameters.values()]
    assert inspect.Signature.empty not in [*annotations, signature.return_annotation]


@pytest.mark.parametrize("name", list(public_modules()))
def test_module_says_its_job_and_sorts_its_names(name: str) -> None:
    module = import_module(name)
    assert module.__doc__
    assert list(module.__all__) == sorted(module.__all__, key=str.lower)
    defined = {
        key
        for key, item in vars(module).items()
        if inspect.isroutine(item) and item.__module__ == name and not key.startswith("_")
    }
    assert defined <= set(module.__all__)


def test_the_reader_notices_a_missing_unit() -> None:
    text = "volume, area : array_like\n    Size [m]\ntime : array_like\n    Duration"
    found = entries(text)
    assert list(found) == ["volume", "area", "time"]
    assert [name for name, line in found.items() if not UNIT.search(line)] == ["time"]
