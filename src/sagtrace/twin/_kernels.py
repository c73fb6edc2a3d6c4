"""The compiled pieces, made when they are first needed and not on import.

Pieces know each other only by address, so they can be compiled at the same time in processes of
their own; each leaves its code on disk for the next to load.
"""

from __future__ import annotations

import gc
from collections.abc import Callable
from concurrent.futures import BrokenExecutor, ProcessPoolExecutor
from dataclasses import dataclass
from functools import cache, partial
from multiprocessing import cpu_count, get_all_start_methods, get_context
from typing import Any, TypeAlias

import numba

from sagtrace.twin._compiled import by_address, can_keep, entrance, is_kept
from sagtrace.twin.body import heights
from sagtrace.twin.controller import decide
from sagtrace.twin.loop import run
from sagtrace.twin.plant import rates
from sagtrace.twin.rosenbrock import attempt, dense, jacobian
from sagtrace.twin.sampling import sample

__all__ = ["all_kept", "compile_apart", "compiled_run", "LINE", "NUMBER", "PIECES", "pointers"]

Signature: TypeAlias = numba.core.typing.Signature
WORKERS = 2  # chosen: two processes share the pieces about evenly

NOTHING, NUMBER, WHOLE = numba.types.void, numba.types.float64, numba.types.int64
LINE, TABLE = NUMBER[::1], NUMBER[:, ::1]
TABLES = NUMBER[:, :, ::1]


def _pointer(signature: Signature) -> Any:
    return numba.types.FunctionType(signature)


HEIGHTS = NOTHING(NUMBER, LINE, TABLE, TABLE, LINE, NUMBER, LINE, TABLE)
RATES = NOTHING(
    _pointer(HEIGHTS), NUMBER, LINE, LINE, TABLE, TABLE, LINE, LINE, LINE, LINE, LINE, TABLE
)
DECIDE = NUMBER(
    NUMBER, LINE, LINE, TABLE, TABLE, LINE, LINE, LINE, NUMBER, NUMBER, NUMBER, WHOLE, LINE
)
JACOBIAN = NOTHING(
    _pointer(RATES), _pointer(HEIGHTS), NUMBER, LINE, LINE, LINE, LINE, TABLE, TABLE, LINE, LINE,
    LINE, TABLE, LINE, TABLE, TABLE,
)  # fmt: skip
ATTEMPT = NUMBER(
    _pointer(RATES), _pointer(HEIGHTS), NUMBER, NUMBER, LINE, LINE, TABLE, LINE, LINE, NUMBER, LINE,
    TABLE, TABLE, LINE, LINE, LINE, TABLE, LINE, TABLE, TABLE, TABLE,
)  # fmt: skip
DENSE = NOTHING(NUMBER, LINE, LINE, TABLE, WHOLE, WHOLE, LINE)
SAMPLE = NOTHING(
    TABLE, WHOLE, WHOLE, NUMBER, NUMBER, NUMBER, WHOLE, WHOLE, LINE, LINE, LINE, LINE, LINE, LINE,
    LINE, LINE, LINE, TABLE,
)  # fmt: skip
POINTERS = (RATES, DECIDE, JACOBIAN, ATTEMPT, DENSE, HEIGHTS, SAMPLE)
RUN = WHOLE(
    *map(_pointer, POINTERS), LINE, TABLE, TABLE, TABLES, TABLES, TABLE, TABLE, TABLE, TABLE, TABLE,
    LINE, LINE, LINE, LINE, WHOLE, NUMBER, NUMBER, TABLE, TABLE, LINE, TABLE,
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Piece:
    """A function with the types that it is compiled for."""

    function: Any
    signature: Signature


# In the order of `run`'s arguments.
PIECES = tuple(
    Piece(function, signature)
    for function, signature in zip(
        (rates, decide, jacobian, attempt, dense, heights, sample), POINTERS, strict=True
    )
)
WHOLE_RUN = Piece(run, RUN)
LONGEST_FIRST = (0, -1, 1, 3, 6, 5, 2, 4)  # measured: places in all pieces, `run` being the last


@cache
def pointers() -> tuple[Any, ...]:
    """Return the pieces that `loop.run` calls, compiled or loaded, in the order of `PIECES`."""
    return tuple(by_address(piece.function, piece.signature) for piece in PIECES)


@cache
def compiled_run() -> Callable[..., int]:
    """Return `loop.run` with its pieces in place."""
    return partial(entrance(run, RUN), *pointers())


def all_kept() -> bool:
    """Return whether every piece is loaded, or lies ready on disk."""
    if compiled_run.cache_info().currsize:
        return True
    pieces = all(is_kept(piece.function, piece.signature, "address") for piece in PIECES)
    return pieces and is_kept(run, RUN, "entrance")


def compile_apart() -> None:
    """Compile the pieces in two processes at once; what fails there is left for later, here."""
    if "fork" not in get_all_start_methods() or cpu_count() < WORKERS or not can_keep(run):
        return
    try:
        # They only live to compile, so looking for garbage on the way is a seventh of their time.
        with ProcessPoolExecutor(
            WORKERS, mp_context=get_context("fork"), initializer=gc.disable
        ) as pool:
            list(pool.map(_compile, LONGEST_FIRST))
    except (OSError, BrokenExecutor):
        return


def _compile(place: int) -> None:
    piece = (*PIECES, WHOLE_RUN)[place]
    if piece is WHOLE_RUN:
        entrance(piece.function, piece.signature)
    else:
        by_address(piece.function, piece.signature)
