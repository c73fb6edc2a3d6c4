"""Every expected value says where it comes from."""

from __future__ import annotations

import ast
from collections.abc import Iterator, Mapping
from pathlib import Path

import pytest

TESTS = Path(__file__).parents[1]
# It holds what every kernel must do with a wrong argument, and no expected value.
LAWS_ONLY = {"test_input_checks.py"}
SOURCED = ("published", "from_memory", "common_practice", "arithmetic")
KNOWN = {*SOURCED, "regression", "slow", "parametrize", "filterwarnings"}

Constants = Mapping[str, ast.expr]


def marks(tree: ast.Module) -> Iterator[tuple[int, str, ast.expr | None]]:
    """Yield line, name and first argument of every `pytest.mark.NAME`, called or not."""
    called = {id(node.func): node for node in ast.walk(tree) if isinstance(node, ast.Call)}
    for node in ast.walk(tree):
        if isinstance(node, ast.Attribute) and ast.unparse(node.value) == "pytest.mark":
            call = called.get(id(node))
            yield node.lineno, node.attr, call.args[0] if call and call.args else None


def constants(tree: ast.Module) -> Constants:
    return {
        target.id: node.value
        for node in tree.body
        if isinstance(node, ast.Assign)
        for target in node.targets
        if isinstance(target, ast.Name)
    }


def text_of(node: ast.expr | None, known: Constants) -> str | None:
    """Return the text that a mark's argument stands for, or None if it is no text."""
    if isinstance(node, ast.Constant):
        return node.value if isinstance(node.value, str) else None
    if isinstance(node, ast.Name) and node.id in known:
        return text_of(known[node.id], known)
    if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Add):
        parts = [text_of(node.left, known), text_of(node.right, known)]
        return None if None in parts else "".join(part or "" for part in parts)
    if isinstance(node, ast.JoinedStr):
        pieces = [text_of(part, known) for part in node.values]
        return None if None in pieces else "".join(piece or "" for piece in pieces)
    if isinstance(node, ast.FormattedValue):
        # Inside a loop the value is not known here, but the text around it is.
        return text_of(node.value, known) or "…"
    return None


def unsourced(source: str) -> list[str]:
    """Return line and name of the marks that name no source."""
    tree = ast.parse(source)
    known = constants(tree)
    return [
        f"{line}: {name}"
        for line, name, argument in marks(tree)
        if name in SOURCED and len((text_of(argument, known) or "").strip(" …")) < 5
    ]


FILES = sorted(TESTS.rglob("test_*.py"))
each_file = pytest.mark.parametrize("file", FILES, ids=lambda f: str(f.relative_to(TESTS)))


@each_file
def test_every_mark_names_its_source(file: Path) -> None:
    assert unsourced(file.read_text()) == []


@each_file
def test_every_mark_is_known(file: Path) -> None:
    used = {name for _, name, _ in marks(ast.parse(file.read_text()))}
    assert used <= KNOWN | {"skipif", "usefixtures", "xfail"}


@pytest.mark.parametrize(
    "file", sorted((TESTS / "physics").glob("test_*.py")), ids=lambda f: str(f.name)
)
def test_physics_is_checked_against_something_outside(file: Path) -> None:
    used = {name for _, name, _ in marks(ast.parse(file.read_text()))}
    assert bool(used & set(SOURCED)) == (file.name not in LAWS_ONLY)


def test_nobody_skips_or_expects_a_failure_in_silence() -> None:
    """A reason must be given; the best reason is none."""
    wrong = [
        f"{file.relative_to(TESTS)}:{line}"
        for file in FILES
        for line, name, _ in marks(ast.parse(file.read_text()))
        if name in ("skip", "xfail")
    ]
    assert wrong == []


def test_the_reader_notices_a_mark_without_a_source() -> None:
    source = """
BOOK = "Somebody, A Book (2002)"
@pytest.mark.published
def a(): ...
@pytest.mark.published("")
def b(): ...
@pytest.mark.arithmetic(f"{BOOK}, table 3")
def c(): ...
@pytest.mark.from_memory(BOOK + ", table 4")
def d(): ...
@pytest.mark.common_practice(UNKNOWN)
def e(): ...
"""
    assert unsourced(source) == ["3: published", "5: published", "11: common_practice"]
