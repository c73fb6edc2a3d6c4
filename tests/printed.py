"""Compares a result with a number as it is printed: to half of its last digit."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest

ROUNDING = 1 + 1e-9  # a value exactly between two printed ones may go either way


def printed(text: str) -> Any:
    """Return an approx that accepts whatever would be printed as `text`.

    >>> bool(0.30004 == printed("0.300")), bool(0.3006 == printed("0.300"))
    (True, False)
    """
    exponent = Decimal(text).as_tuple().exponent
    assert isinstance(exponent, int)
    return pytest.approx(float(text), rel=0, abs=0.5 * 10.0**exponent * ROUNDING)
