"""sagtrace serve: the workbench in the browser of this machine."""

from __future__ import annotations

from typing import Annotated

import typer

from sagtrace.cli.output import talk
from sagtrace.web.serving import serve

EXAMPLE = "Example: sagtrace serve --port 8040"


def run(
    port: Annotated[int, typer.Option(min=0, max=65535, help="0 takes a free one.")] = 8040,
    store: Annotated[
        str,
        typer.Option(
            envvar="SAGTRACE_STORE",
            help="Where jobs are kept: the path of a file, postgresql://user@host/database, or "
            "memory to try things out; jobs.db in your data folder if not given. A password "
            "belongs into SAGTRACE_STORE or a password file of PostgreSQL, because others can read "
            "command lines.",
        ),
    ] = "",
) -> None:
    """Open the workbench on this machine; stop it with Ctrl+C."""
    serve(port, store, talk)
