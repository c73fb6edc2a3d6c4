"""How far long work is: a bar on a terminal, lines elsewhere, nothing if nobody asked."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TypeAlias

from rich.console import Console
from rich.progress import Progress

from sagtrace.cli.output import talk

__all__ = ["Part", "told"]

Part: TypeAlias = Callable[[str], Callable[[float], None]]

STEPS = 10  # [-] chosen: lines for each part of the work where there is no terminal


@contextmanager
def told(wanted: bool) -> Iterator[Part]:
    """Yield what starts a part of the work by its name and returns who hears its share done."""
    console = Console(stderr=True)
    if not wanted:
        yield lambda _: lambda _: None
    elif console.is_terminal:
        with Progress(console=console) as bars:

            def bar(name: str) -> Callable[[float], None]:
                task = bars.add_task(name, total=1.0)
                return lambda share: bars.update(task, completed=share)

            yield bar
    else:
        yield _lines


def _lines(name: str) -> Callable[[float], None]:
    said = [0]

    def hear(share: float) -> None:
        step = int(STEPS * share)
        if step > said[0]:
            said[0] = step
            talk(f"{name}: {100 * step // STEPS} %")

    return hear
