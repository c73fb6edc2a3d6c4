"""The one place that hands a function to the compiler, with a type that mypy can follow.

Compiled code is kept on disk beside the source, so that only the first run on a machine pays.
Division follows IEEE 754 (infinity, not an exception) and the order of sums is kept, so that a
run gives the same bits every time on one machine. What only compiled code calls gets no entrance
for Python, because that entrance takes as long to compile as the function.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import ParamSpec, TypeAlias, TypeVar, cast

import numba
import numpy as np
from numpy.typing import NDArray

__all__ = ["compile_for", "compiled", "Decide", "entrance", "pointer", "Rates"]

Array: TypeAlias = NDArray[np.float64]
Rates: TypeAlias = Callable[
    [float, Array, Array, Array, Array, Array, Array, Array, Array, Array], None
]
Decide: TypeAlias = Callable[
    [float, Array, Array, Array, Array, Array, Array, Array, float, float, float, int, Array],
    float,
]

P = ParamSpec("P")
R = TypeVar("R")


def compiled(function: Callable[P, R]) -> Callable[P, R]:
    """Return the function for other compiled code to call."""
    make = numba.njit(
        cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True
    )
    return cast("Callable[P, R]", make(function))


def entrance(function: Callable[P, R]) -> Callable[P, R]:
    """Return the function for Python to call, compiled on its first call."""
    make = numba.njit(cache=True, error_model="numpy", no_cfunc_wrapper=True, nogil=True)
    return cast("Callable[P, R]", make(function))


def pointer(function: Callable[P, R], signature: str) -> Callable[P, R]:
    """Return the function compiled now, by itself, for compiled code to call by its address.

    Its callers do not compile it again into themselves, which halves the wait on a new machine.
    """
    return cast("Callable[P, R]", numba.cfunc(signature, cache=True, error_model="numpy")(function))


def compile_for(function: Callable[P, R], addresses: list[str], signature: str) -> None:
    """Compile for arguments that are functions by address, then arguments of these types."""
    pointers = [numba.types.FunctionType(_signature(text)) for text in addresses]
    rest, _ = numba.core.sigutils.normalize_signature(f"({signature},)")
    cast("numba.core.registry.CPUDispatcher", function).compile((*pointers, *rest))


def _signature(text: str) -> numba.core.typing.Signature:
    arguments, result = numba.core.sigutils.normalize_signature(text)
    return result(*arguments)
