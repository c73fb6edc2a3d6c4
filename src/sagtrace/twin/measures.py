"""Units in which the data of the virtual vehicle is written, to SI.

Those that people use on a vehicle come from `sagtrace.units`. Those of a physicist (a stiffness, a
heat conductance, a sonic conductance) stand here, because nobody types them. A unit that measures
something else than the number is refused.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from sagtrace.errors import UnitError
from sagtrace.units import convert

__all__ = ["COMPOUND", "in_si"]

# SI unit -> the units in which such a number may be written, and how much of it each one is.
# dm³/(s·bar) is the unit of ISO 6358's sonic conductance in data sheets.
COMPOUND: Mapping[str, Mapping[str, float]] = MappingProxyType(
    {
        "m³/(s·Pa)": {"dm³/(s·bar)": 1e-8, "m³/(s·Pa)": 1.0},
        "N": {"N": 1.0, "kN": 1e3},
        "N/m": {"N/mm": 1e3, "N/m": 1.0},
        "N/m²": {"N/mm²": 1e6, "N/m²": 1.0},
        "N·m": {"N·m": 1.0},
        "W/K": {"W/K": 1.0},
        "K/W": {"K/W": 1.0},
        "J/K": {"J/K": 1.0},
        "V·s/rad": {"V·s/rad": 1.0},
        "A·s": {"A·h": 3600.0, "A·s": 1.0},
    }
)


def in_si(value: float, unit: str, si: str) -> float:
    """Return a value in `unit`, a number's SI unit being `si`.

    Raises
    ------
    UnitError
        The unit is not known, or measures something else.

    Examples
    --------
    >>> print(f"{in_si(0.25, 'dm³/(s·bar)', 'm³/(s·Pa)'):.1e} {in_si(110.0, 'cm²', 'm²'):.3f}")
    2.5e-09 0.011

    """
    if si not in COMPOUND:
        return convert(value, unit, si)
    if unit not in COMPOUND[si]:
        raise UnitError("unit", unit, " or ".join(COMPOUND[si]))
    return COMPOUND[si][unit] * value
