"""Results to stdout, talk to stderr."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Any, Literal

from rich.console import Console
from rich.table import Table
from rich.text import Text

from sagtrace.app.plain import plain

__all__ = ["now", "print_json", "say", "show_table", "talk"]


def now() -> str:
    """Return the time as RFC 3339, to the second."""
    return datetime.now(UTC).isoformat(timespec="seconds")


def print_json(value: Any) -> None:
    """Print a result for a program."""
    print(json.dumps(plain(value), ensure_ascii=False, indent=2))


def say(text: str = "") -> None:
    """Print a line of a result; nothing in it is taken as markup."""
    _print(Console(highlight=False), text)


def talk(text: str) -> None:
    """Print a line about the work, not a result."""
    _print(Console(stderr=True, highlight=False), text)


def _print(console: Console, text: str) -> None:
    # Into a file or a pipe a line stays whole, so that a command in it can be copied.
    console.print(Text(text), soft_wrap=not console.is_terminal)


def show_table(columns: Sequence[str], rows: Sequence[Sequence[str]], title: str = "") -> None:
    """Print a table; columns whose title starts with > are set to the right."""
    table = Table(title=title or None, title_justify="left", box=None, pad_edge=False)
    for column in columns:
        side: Literal["left", "right"] = "right" if column.startswith(">") else "left"
        table.add_column(Text(column.lstrip(">")), justify=side, overflow="fold")
    for row in rows:
        table.add_row(*(Text(cell) for cell in row))
    Console(highlight=False).print(table)
