"""What a person types, to SI, and SI back to what a person reads.

Assumes one quantity a text, in a unit from the fixed table below; the text is cut up by our own
regular expressions and never handed to an expression parser, so nothing in it can be evaluated.
Gauge and absolute pressure are different kinds; going from one to the other takes the barometer.
Limits: a single dot is always a decimal point; `1,234` alone has two readings and is refused.
Spread (JCGM 100:2008, 4.3.7): a reading is uniform over its last digit, std = resolution/sqrt(12);
a typed `± a` is (chosen) the half-width of a uniform bound, std = a/sqrt(3). `format_quantity`
prints one standard deviation after its ±: typed back in, it would be read as a bound.
"""

from __future__ import annotations

from sagtrace.units.reader import METRIC, Own, Reader, as_read
from sagtrace.units.table import (
    IMPERIAL,
    KINDS,
    QuantityKind,
    Scale,
    convert,
    format_quantity,
    from_si,
    scale_of,
    to_si,
    units_of,
)
from sagtrace.units.typed import Quantity, parse_quantity

__all__ = [
    "as_read",
    "convert",
    "format_quantity",
    "from_si",
    "IMPERIAL",
    "KINDS",
    "METRIC",
    "Own",
    "parse_quantity",
    "Quantity",
    "QuantityKind",
    "Reader",
    "Scale",
    "scale_of",
    "to_si",
    "units_of",
]
