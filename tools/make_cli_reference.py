"""Writes docs/cli.md from the command line itself: every command, its help, example, exit codes.

`--check` writes nothing and says whether the page is what would be written now.
"""

from __future__ import annotations

import contextlib
import io
import os
import re
import sys
from collections.abc import Iterator
from pathlib import Path
from unittest.mock import patch

from typer.main import get_command

from generated import write_or_check
from sagtrace.cli import main as cli

PAGE = Path(__file__).resolve().parents[1] / "docs" / "cli.md"
COLUMNS = "80"  # of the help texts, whatever the window they are made in

INTRO = """\
# Command line

Generated from the program by `make evidence`; do not edit.

A job is one YAML file with its recordings beside it. Every command that is given a job reads it
whole, checks it whole, and writes it whole or not at all. Results go to the standard output, talk
and errors to the standard error; `--json` prints the result for another program.
"""

EXITS = """\
## Exit codes

| code | meaning |
|---|---|
"""


def help_of(*command: str) -> str:
    """Return what a command says with --help, at a fixed width."""
    said = io.StringIO()
    with patch.dict(os.environ, COLUMNS=COLUMNS), contextlib.redirect_stdout(said):
        code = cli.main([*command, "--help"])
    if code != 0:
        raise RuntimeError(f"sagtrace {' '.join(command)} --help ended with {code}")
    return "\n".join(line.rstrip() for line in said.getvalue().strip("\n").splitlines())


def examples(text: str) -> list[str]:
    """Return the commands of an example's text, one a line."""
    return text.removeprefix("Example: ").split("; ")


def exit_codes() -> Iterator[tuple[str, str]]:
    """Yield code and meaning as the docstring of the command states them."""
    said = re.search(r"Exit codes: (.*?)\. ", " ".join((cli.__doc__ or "").split()))
    if said is None:
        raise RuntimeError("sagtrace.cli.main states no exit codes")
    for part in said[1].split("; "):
        code, _, meaning = part.partition(" ")
        yield code, meaning


def page() -> str:
    """Return the whole page."""
    commands = getattr(get_command(cli.app), "commands")  # noqa: B009  because typer hides it
    parts = [INTRO, "| command | what it does |\n|---|---|"]
    parts += [f"| [`{name}`](#{name}) | {command.help} |" for name, command in commands.items()]
    parts += ["", EXITS + "\n".join(f"| {code} | {text} |" for code, text in exit_codes())]
    parts += ["", "An unexpected error is a defect; it shows where it happened and ends with 1."]
    for name, command in commands.items():
        shown = "\n".join(examples(command.epilog))
        parts += ["", f"## {name}", "", f"```sh\n{shown}\n```", ""]
        parts += [f"```text\n{without_epilog(help_of(name))}\n```"]
    return "\n".join(parts) + "\n"


def without_epilog(text: str) -> str:
    """Return a help text without its example, which stands above it unwrapped."""
    return text.partition("\n  Example: ")[0].rstrip()


def main() -> int:
    return write_or_check(PAGE, page, __doc__)


if __name__ == "__main__":
    sys.exit(main())
