"""Records as data that JSON can carry."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import fields, is_dataclass
from typing import Any

import numpy as np

__all__ = ["plain"]


def plain(value: Any) -> Any:
    """Return records as data that JSON can carry."""
    if is_dataclass(value) and not isinstance(value, type):
        return {f.name: plain(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, frozenset | set):
        return sorted(plain(item) for item in value)
    if isinstance(value, Sequence) and not isinstance(value, str | bytes):
        return [plain(item) for item in value]
    if isinstance(value, np.ndarray | np.generic):
        return plain(value.tolist())
    if isinstance(value, float) and not math.isfinite(value):
        return None  # because JSON has no word for it
    return value
