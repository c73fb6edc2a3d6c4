"""Fits of recordings, worked out once: a fit takes seconds and the same one is asked for often.

A kept fit is a JSON file in the user's cache folder, named by the digest of what went in. It can be
thrown away at any time; one that cannot be read is worked out again.
"""

from __future__ import annotations

import contextlib
import json
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np

from sagtrace.errors import EvidenceError
from sagtrace.twin.identify.result import Curve, Fit, Fitted

__all__ = ["kept_fit"]

REFUSED = "refused"


def kept_fit(folder: Path, key: str, work_out: Callable[[], Fit]) -> Fit:
    """Return the fit of this key, kept or worked out and then kept.

    Raises EvidenceError with the reason where there can be none; that is kept too.
    """
    place = folder / f"fit-{key}.json"
    try:
        known = json.loads(place.read_text(encoding="utf-8"))
        if REFUSED not in known:
            return _read(known)
    except (OSError, ValueError, KeyError, TypeError):
        known = {}
    if REFUSED in known:
        raise EvidenceError(known[REFUSED])
    try:
        fit = work_out()
    except EvidenceError as err:
        _keep(place, {REFUSED: str(err)})
        raise
    _keep(place, asdict(fit))
    return fit


def _keep(place: Path, content: dict[str, Any]) -> None:
    # A full or read-only disk costs time later and nothing else.
    with contextlib.suppress(OSError):
        place.parent.mkdir(parents=True, exist_ok=True)
        rest = place.with_suffix(".new")
        rest.write_text(json.dumps(content, default=_plain), encoding="utf-8")
        rest.replace(place)


def _plain(value: object) -> object:
    if isinstance(value, np.ndarray | np.generic):
        return value.tolist()
    raise TypeError(f"{type(value)} is no part of a fit")


def _read(known: dict[str, Any]) -> Fit:
    def fitted(of: dict[str, Any]) -> Fitted:
        return Fitted(**of)

    return Fit(
        leaks={name: fitted(of) for name, of in known["leaks"].items()},
        pump=None if known["pump"] is None else fitted(known["pump"]),
        others={name: fitted(of) for name, of in known["others"].items()},
        curves={
            role: Curve(**{name: np.array(column, dtype=float) for name, column in of.items()})
            for role, of in known["curves"].items()
        },
        misfit=known["misfit"],
        settled=known["settled"],
        runs=known["runs"],
        notes=tuple(known["notes"]),
        wanted=known["wanted"],
    )
