"""The one place that hands a function to the compiler, with a type that mypy can follow.

The plant is compiled in a few pieces that know each other only by address, so that none is compiled
twice and each can be made in a process of its own. Pieces are kept on disk, where the source lies
or else in the user's cache folder, so that only the first run on a machine pays; where neither can
be written, every run pays. What only compiled code calls is compiled into the piece that calls it
and kept nowhere by itself.

A kept piece is used only if everything that went into it is the same: the compiler's own stamp
covers its source file, and a fingerprint of every function and constant that it reaches covers the
others, as after an upgrade. Division follows IEEE 754 (infinity, not an exception) and the order of
sums is kept, so that a run gives the same bits every time on one machine.
"""

from __future__ import annotations

import hashlib
import pickle
import types
from collections.abc import Callable
from typing import Any, Literal, ParamSpec, TypeAlias, TypeVar, cast

import numba
import numpy as np
from numba.core.caching import FunctionCache
from numba.core.ccallback import CFunc
from numpy.typing import NDArray

__all__ = [
    "Attempt",
    "by_address",
    "can_keep",
    "compiled",
    "Decide",
    "Dense",
    "entrance",
    "fingerprint",
    "Heights",
    "is_kept",
    "Jacobian",
    "Rates",
    "Sample",
]

Array: TypeAlias = NDArray[np.float64]
Heights: TypeAlias = Callable[[float, Array, Array, Array, Array, float, Array, Array], None]
Rates: TypeAlias = Callable[
    [Heights, float, Array, Array, Array, Array, Array, Array, Array, Array, Array, Array], None
]
Decide: TypeAlias = Callable[
    [float, Array, Array, Array, Array, Array, Array, Array, float, float, float, int, Array],
    float,
]
Jacobian: TypeAlias = Callable[
    [Rates, Heights, float, Array, Array, Array, Array, Array, Array, Array, Array, Array, Array,
     Array, Array, Array], None
]  # fmt: skip
Attempt: TypeAlias = Callable[
    [Rates, Heights, float, float, Array, Array, Array, Array, Array, float, Array, Array, Array,
    Array, Array, Array, Array, Array, Array, Array, Array], float
]  # fmt: skip
Dense: TypeAlias = Callable[[float, Array, Array, Array, int, int, Array], None]
Sample: TypeAlias = Callable[
    [Array, int, int, float, float, float, int, int, Array, Array, Array, Array, Array, Array,
     Array, Array, Array, Array], None
]  # fmt: skip

P = ParamSpec("P")
R = TypeVar("R")
Way: TypeAlias = Literal["address", "entrance"]
Signature: TypeAlias = numba.core.typing.Signature

OPTIONS = {"error_model": "numpy"}
UNUSABLE = (OSError, EOFError, pickle.PickleError)  # a full disk, a torn file


def compiled(function: Callable[P, R]) -> Callable[P, R]:
    """Return the function for other compiled code to call."""
    make = numba.njit(**OPTIONS, no_cpython_wrapper=True, no_cfunc_wrapper=True)
    return cast("Callable[P, R]", make(function))


def by_address(function: Callable[P, R], signature: Signature) -> Callable[P, R]:
    """Return the function compiled now, for compiled code to call by its address."""
    made: Any = CFunc(function, (signature.args, signature.return_type), locals={}, options=OPTIONS)
    if cache := _cache(function, "address"):
        made._cache = cache
    made.compile()
    return cast("Callable[P, R]", made)


def entrance(function: Callable[P, R], signature: Signature) -> Callable[P, R]:
    """Return the function compiled now for these types, for Python to call."""
    made: Any = numba.njit(**OPTIONS, no_cfunc_wrapper=True, nogil=True)(function)
    if cache := _cache(function, "entrance"):
        made._cache = cache
    made.compile(signature)
    made.disable_compile()
    return cast("Callable[P, R]", made)


def is_kept(function: Callable[..., object], signature: Signature, way: Way) -> bool:
    """Return whether a piece that is called this way lies on disk, from exactly this source."""
    cache = _cache(function, way)
    return cache is not None and cache.holds(signature)


def can_keep(function: Callable[..., object]) -> bool:
    """Return whether there is a folder where its code could be kept."""
    return _cache(function, "entrance") is not None


def fingerprint(function: Callable[..., object]) -> str:
    """Return a digest of a function, of all that it calls here and of the constants it reads."""
    digest = hashlib.sha256()
    seen: dict[types.FunctionType, int] = {}

    def take(name: str, value: object) -> None:
        digest.update(name.encode())
        inner = getattr(value, "py_func", value)
        if isinstance(inner, types.FunctionType):
            new = inner not in seen
            digest.update(f"function {seen.setdefault(inner, len(seen))}".encode())
            if new:
                take_code(inner.__code__, inner.__globals__)
        elif isinstance(value, np.ndarray):
            digest.update(repr((value.dtype.str, value.shape)).encode() + value.tobytes())
        elif isinstance(value, (bool, int, float, str, tuple)):
            digest.update(repr(value).encode())

    def take_code(code: types.CodeType, known: dict[str, Any]) -> None:
        digest.update(code.co_code)
        constants = [c for c in code.co_consts if not isinstance(c, types.CodeType)]
        digest.update(repr(constants).encode())
        for name in code.co_names:
            take(name, known.get(name))

    take("", function)
    return digest.hexdigest()


class _Cache(FunctionCache):  # type: ignore[misc]
    """The compiler's cache, for one exact state of the package; a full disk is no error."""

    def __init__(self, function: Callable[..., object], way: Way) -> None:
        super().__init__(function)
        self.mark = f"{way} {fingerprint(function)}"

    def _index_key(self, sig: Signature, codegen: object) -> tuple[object, ...]:
        return (*super()._index_key(sig, codegen), self.mark)

    def holds(self, sig: Signature) -> bool:
        target = numba.core.registry.cpu_target.target_context
        try:
            # Only the index: what is loaded and dropped again takes its names from the process.
            return self._index_key(sig, target.codegen()) in self._cache_file._load_index()
        except UNUSABLE:
            return False

    def load_overload(self, sig: Signature, target_context: object) -> object:
        try:
            return super().load_overload(sig, target_context)
        except UNUSABLE:
            return None

    def save_overload(self, sig: Signature, data: object) -> None:
        try:
            super().save_overload(sig, data)
        except UNUSABLE:
            self.disable()


def _cache(function: Callable[..., object], way: Way) -> _Cache | None:
    try:
        return _Cache(function, way)
    except RuntimeError:  # no folder to write to, neither the package's nor the user's
        return None
