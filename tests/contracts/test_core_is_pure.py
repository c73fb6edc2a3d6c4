"""The core opens no file, prints nothing, reads no clock and draws no random number.

Imports are watched by import-linter; this reads the calls that no import shows.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

import sagtrace
from check import CORE

SOURCES = Path(sagtrace.__file__).parent
PURE = ("errors.py", *CORE)
BUILT_IN = {"__import__", "breakpoint", "compile", "eval", "exec", "input", "open", "print"}
CLOCK = {f"{kind}.{name}" for kind in ("datetime", "date") for name in ("now", "today", "utcnow")}
NUMPY_FILES = {"fromfile", "genfromtxt", "loadtxt", "memmap", "savetxt", "tofile"}


def files() -> Iterator[Path]:
    for name in PURE:
        path = SOURCES / name
        yield from [path] if path.is_file() else sorted(path.rglob("*.py"))


def impure(source: str) -> Iterator[str]:
    """Yield line and name of everything in the source that touches the outside."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Name) and node.id in BUILT_IN:
            yield f"{node.lineno}: {node.id}"
        elif isinstance(node, ast.Attribute):
            of_numpy = isinstance(node.value, ast.Name) and node.value.id in ("np", "numpy")
            files_of_numpy = node.attr in NUMPY_FILES or node.attr.startswith(("load", "save"))
            if ".".join(ast.unparse(node).split(".")[-2:]) in CLOCK or (
                of_numpy and (node.attr == "random" or files_of_numpy or node.attr == "print")
            ):
                yield f"{node.lineno}: {node.attr}"
        elif isinstance(node, ast.Import | ast.ImportFrom):
            names = [alias.name for alias in node.names] + [getattr(node, "module", "") or ""]
            for name in names:
                if name.split(".")[0] in ("importlib", "datetime") or "random" in name:
                    yield f"{node.lineno}: import {name}"


def test_the_core_is_read() -> None:
    assert len(list(files())) > 50


@pytest.mark.parametrize("file", list(files()), ids=lambda f: str(f.relative_to(SOURCES)))
def test_touches_nothing_outside(file: Path) -> None:
    assert list(impure(file.read_text())) == []


@pytest.mark.parametrize(
    "line",
    [
        "open('a')",
        "print(1)",
        "x = print",
        "datetime.now()",
        "datetime.date.today()",
        "datetime.datetime.utcnow()",
        "np.random.default_rng()",
        "np.loadtxt('a')",
        "np.load('a')",
        "numpy.genfromtxt('a')",
        "np.save('a', x)",
        "from numpy.random import default_rng",
        "import importlib",
        "from datetime import datetime",
    ],
)
def test_the_reader_notices(line: str) -> None:
    assert list(impure(line))


def test_the_reader_lets_the_rest_pass() -> None:
    assert (
        list(
            impure(
                "import numpy as np\nopened = np.sum(x)\nplan.loading(3)\nblue.print_\noutlook.now"
            )
        )
        == []
    )
