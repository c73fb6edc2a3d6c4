"""The command `sagtrace`.

Exit codes: 0 done; 2 the command line was wrong; 3 an input cannot be right; 4 a file
cannot be right or cannot be read or written; 5 an optional part is not installed. An
unexpected error is a defect and shows where it happened.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence

import typer

from sagtrace.bootstrap import compile_aloud
from sagtrace.cli import (
    add,
    approve,
    attach,
    demo,
    know,
    new,
    next_check,
    options_command,
    paper,
    proofs,
    prove,
    recording,
    repaired,
    schema,
    serve,
    show,
    simulate,
    verdict,
    withdraw,
)
from sagtrace.cli.output import talk
from sagtrace.errors import DocumentError, MissingPartError, SagtraceError, StoreError

__all__ = ["app", "EXIT_FILE", "EXIT_INPUT", "EXIT_PART", "main"]

EXIT_INPUT, EXIT_FILE, EXIT_PART = 3, 4, 5

app = typer.Typer(
    name="sagtrace",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    help="Find out why a vehicle on air suspension rides low, price the repair and prove it.",
    epilog="Start with: sagtrace new job.yaml; then: sagtrace next job.yaml",
)

for name, module in (
    ("new", new),
    ("next", next_check),
    ("add", add),
    ("withdraw", withdraw),
    ("recording", recording),
    ("attach", attach),
    ("show", show),
    ("verdict", verdict),
    ("options", options_command),
    ("approve", approve),
    ("repaired", repaired),
    ("proofs", proofs),
    ("prove", prove),
    ("paper", paper),
    ("simulate", simulate),
    ("know", know),
    ("schema", schema),
    ("serve", serve),
    ("demo", demo),
):
    app.command(name, epilog=module.EXAMPLE)(module.run)


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command line and return the exit code."""
    compile_aloud(talk)
    try:
        app(args=list(argv) if argv is not None else None, prog_name="sagtrace")
    except SystemExit as end:
        return end.code if isinstance(end.code, int) else 1
    except BrokenPipeError:  # the reader of our output has gone, as `head` does
        sys.stderr.close()
        return 0
    except SagtraceError as err:
        talk(f"sagtrace: {err}")
        if isinstance(err, DocumentError | StoreError):
            return EXIT_FILE
        return EXIT_PART if isinstance(err, MissingPartError) else EXIT_INPUT
    return 0


if __name__ == "__main__":
    sys.exit(main())
