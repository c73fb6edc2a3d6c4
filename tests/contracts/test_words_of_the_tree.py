"""No file of the tree names where a package or a person's folder lives."""

from __future__ import annotations

import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]

# In pieces, because this file is part of the tree.
NEEDLES = [
    "".join(pieces).encode()
    for pieces in (
        ("pypi", ".org"),
        ("python", "hosted"),
        ("registry", ".npmjs"),
        ("deb", ".debian", ".org"),
        ("/", "root", "/"),
    )
]


def tree() -> Iterator[Path]:
    """Yield every file that is tracked, or new and not ignored."""
    command = ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"]
    try:
        listed = subprocess.run(command, cwd=ROOT, capture_output=True, check=True).stdout
    except (OSError, subprocess.CalledProcessError):
        yield from _walked()
        return
    for name in listed.decode().split("\0"):
        if name and (ROOT / name).is_file():
            yield ROOT / name


def _walked() -> Iterator[Path]:
    """Yield the files of a copy without its history, as far as they are not made by tools."""
    lines = (ROOT / ".gitignore").read_text().split()
    ignored = [line.rstrip("/") for line in lines]
    for path in sorted(ROOT.rglob("*")):
        parts = path.relative_to(ROOT).parts
        if path.is_file() and not any(Path(part).match(i) for part in parts for i in ignored):
            yield path


# The pins of packages are made by a tool and checked by hash.
FILES = [f for f in tree() if not (f.parent == ROOT / "requirements" and f.suffix == ".txt")]


def found(data: bytes) -> list[bytes]:
    return [needle for needle in NEEDLES if needle in data.lower()]


def test_the_tree_is_read() -> None:
    assert ROOT / "README.md" in FILES
    assert Path(__file__) in FILES
    assert len(FILES) > 100


@pytest.mark.parametrize("file", FILES, ids=lambda f: str(f.relative_to(ROOT)))
def test_names_no_address(file: Path) -> None:
    assert found(file.read_bytes()) == []


@pytest.mark.parametrize("needle", NEEDLES)
def test_the_reader_notices(needle: bytes) -> None:
    assert found(b"see https://" + needle.upper() + b"simple") == [needle]
