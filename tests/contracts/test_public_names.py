"""Every module of the core says what is public in it, and nobody reaches past that."""

from __future__ import annotations

import ast
import importlib
import inspect
import pkgutil
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

import pytest

import sagtrace
from check import CORE

SOURCES = Path(sagtrace.__file__).parent
NAMED = ("errors", *CORE, "app")


def modules() -> Iterator[str]:
    """Yield the modules of the core; a package itself holds nothing."""
    for info in pkgutil.walk_packages(sagtrace.__path__, "sagtrace."):
        if info.name.split(".")[1] in NAMED and not info.ispkg:
            yield info.name


MODULES = list(modules())
each_module = pytest.mark.parametrize("name", MODULES)


def is_private(name: str) -> bool:
    return name.rpartition(".")[2].startswith("_")


def defined_in(module: ModuleType) -> set[str]:
    """Return the public functions and classes that the module itself defines."""
    return {
        name
        for name, item in vars(module).items()
        if (inspect.isroutine(item) or inspect.isclass(item))
        and item.__module__ == module.__name__
        and not name.startswith("_")
    }


def test_every_part_of_the_core_is_read() -> None:
    assert {name.split(".")[1] for name in MODULES} == set(NAMED)
    assert len(MODULES) > 50


@each_module
def test_says_its_job(name: str) -> None:
    assert len((importlib.import_module(name).__doc__ or "").strip()) > 20


@each_module
def test_public_names_exist_and_are_sorted(name: str) -> None:
    module = importlib.import_module(name)
    names = list(module.__all__)
    assert names == sorted(names, key=str.lower)
    assert len(set(names)) == len(names)
    assert [n for n in names if not hasattr(module, n)] == []
    assert [n for n in names if n.startswith("_")] == []


@each_module
def test_what_is_public_is_listed(name: str) -> None:
    module = importlib.import_module(name)
    assert defined_in(module) <= set(module.__all__)


@each_module
def test_what_is_listed_is_at_home_here(name: str) -> None:
    """A name is defined here, or comes from a private module of the same package."""
    module = importlib.import_module(name)
    package = name.rpartition(".")[0]
    for public in module.__all__:
        item = getattr(module, public)
        if inspect.isroutine(item) or inspect.isclass(item):
            home = item.__module__
            assert home == name or (home.startswith(f"{package}.") and is_private(home)), public


@each_module
def test_public_things_are_explained(name: str) -> None:
    module = importlib.import_module(name)
    things = [getattr(module, n) for n in module.__all__]
    things = [t for t in things if inspect.isroutine(t) or inspect.isclass(t)]
    assert [t.__name__ for t in things if not (t.__doc__ or "").strip()] == []


def imports() -> Iterator[tuple[str, str, str]]:
    """Yield importing file, module and name of every import inside the package."""
    for file in sorted(SOURCES.rglob("*.py")):
        for node in ast.walk(ast.parse(file.read_text())):
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("sagtrace"):
                for alias in node.names:
                    yield str(file.relative_to(SOURCES)), str(node.module), alias.name


def test_nobody_imports_what_is_not_public() -> None:
    every_module = {info.name for info in pkgutil.walk_packages(sagtrace.__path__, "sagtrace.")}
    wrong = []
    for file, module, name in imports():
        listed = getattr(importlib.import_module(module), "__all__", None)
        if listed is not None and name not in listed and f"{module}.{name}" not in every_module:
            wrong.append(f"{file}: {module}.{name}")
    assert wrong == []


def test_private_modules_are_used_by_their_own_package_only() -> None:
    wrong = [
        f"{file}: {module}"
        for file, module, _ in imports()
        if is_private(module)
        and not f"sagtrace.{file.replace('/', '.')}".startswith(module.rpartition(".")[0] + ".")
    ]
    assert wrong == []


def test_the_reader_notices_what_is_not_listed() -> None:
    module = ModuleType("sagtrace.invented")
    exec("def seen(): ...\ndef _hidden(): ...\nclass Thing: ...\nLIMIT = 3", vars(module))
    assert defined_in(module) == {"seen", "Thing"}
