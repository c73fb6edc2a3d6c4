"""The compiled pieces, made when they are first needed and not on import.

Three pieces know each other only by address, so they can be compiled at the same time in processes
of their own; each leaves its code on disk for the next to load.
"""

from __future__ import annotations

from concurrent.futures import ProcessPoolExecutor
from functools import cache
from multiprocessing import get_all_start_methods, get_context

from sagtrace.twin._compiled import Decide, Rates, compile_for, pointer
from sagtrace.twin.controller import decide
from sagtrace.twin.loop import run
from sagtrace.twin.plant import rates

__all__ = ["compile_apart", "DECIDE", "plant_and_control", "RATES"]

LINE, TABLE, TABLES = "float64[::1]", "float64[:,::1]", "float64[:,:,::1]"
RATES = f"void(float64,{LINE},{LINE},{TABLE},{TABLE},{LINE},{LINE},{LINE},{LINE},{LINE})"
DECIDE = (
    f"float64(float64,{LINE},{LINE},{TABLE},{TABLE},{LINE},{LINE},{LINE},"
    f"float64,float64,float64,int64,{LINE})"
)
RUN = (
    f"{LINE},{TABLE},{TABLE},{TABLES},{TABLES},{TABLE},{TABLE},{TABLE},{TABLE},{TABLE},{LINE},{LINE},{LINE},{LINE},"
    f"int64,float64,float64,{TABLE},{TABLE},{TABLE},{LINE}"
)


@cache
def plant_and_control() -> tuple[Rates, Decide]:
    """Return the plant's right-hand side and the control unit's decision."""
    return pointer(rates, RATES), pointer(decide, DECIDE)


def compile_apart() -> None:
    """Compile the pieces in two processes at once, where the system can fork; else do nothing."""
    if "fork" not in get_all_start_methods():
        return
    with ProcessPoolExecutor(2, mp_context=get_context("fork")) as pool:
        for piece in [pool.submit(_compile, name) for name in ("rates", "run", "decide")]:
            piece.result()


def _compile(piece: str) -> None:
    if piece == "rates":
        pointer(rates, RATES)
    elif piece == "decide":
        pointer(decide, DECIDE)
    else:
        compile_for(run, [RATES, DECIDE], RUN)
