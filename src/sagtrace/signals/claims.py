"""Which column has which role: what a person says, and what follows from proposals.

A role is written as in a header, with its unit in square brackets. Limits: a role has one column.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from sagtrace.errors import InputError
from sagtrace.signals.trace import PLACES, ROLES
from sagtrace.units import KINDS, scale_of

__all__ = ["Guess", "POSSIBLE", "settle", "split_role", "SURE"]

SURE = 0.8  # [-] chosen: used without asking
POSSIBLE = 0.35  # [-] chosen: below it a proposal would be noise
RIVAL = 0.1  # [-] chosen: two claims closer than this are for a person to decide


@dataclass(frozen=True, slots=True, kw_only=True)
class Guess:
    """A role that a column may have."""

    role: str
    unit: str  # in which its numbers are then read; "" for a command
    confidence: float  # [-]
    reason: str


def split_role(text: str) -> tuple[str, str]:
    """Return role and unit of a text such as "height.rear [mm]".

    Raises InputError for a role that there is not, or a unit that does not fit it.
    """
    role, bracket, rest = text.strip().partition("[")
    role, unit = role.strip(), rest.strip().removesuffix("]").strip() if bracket else ""
    if role == "time":
        kind = "time"
    elif role in ROLES:
        kind = ROLES[role]
    else:
        known = [r for r in ROLES if "." not in r or r.partition(".")[0] in ("pump", "pressure")]
        hint = f"{', '.join(known)}, and height, target or valve with a place ({', '.join(PLACES)})"
        raise InputError(f"{text!r}: there is no role {role!r}. Known: time, {hint}.")
    unit = "" if unit in ("-", "–", "1") else unit
    if kind not in ("time", "count") and not unit:
        shown = KINDS[kind].shown_unit
        raise InputError(f"{text!r}: add the unit, for example {role} [{shown}].")
    if unit and scale_of(unit, "frequency" if role == "engine" else kind) is None:
        what = KINDS[kind].dimension
        raise InputError(f"{text!r}: {unit!r} is no unit that fits; expected a unit of {what}.")
    return role, unit


def settle(
    guesses: Sequence[Sequence[Guess]], taken: Sequence[str]
) -> tuple[dict[int, Guess], frozenset[int]]:
    """Return the columns whose role is sure, and those of which a person must say it.

    `taken` holds the roles that are assigned already. A column is left to a person only if no
    other column is sure to have what it may be.
    """
    sure: dict[int, Guess] = {}
    claims: dict[str, list[tuple[float, int, Guess]]] = {}
    for i, options in enumerate(guesses):
        if options:
            best = options[0]
            claims.setdefault(best.role, []).append((best.confidence, i, best))
    open_: set[int] = set()
    for role, claim in claims.items():
        if role in taken:
            continue
        claim.sort(key=lambda c: (-c[0], c[1]))
        score, i, best = claim[0]
        rival = claim[1][0] if len(claim) > 1 else 0.0
        if score >= SURE and score - rival >= RIVAL:
            sure[i] = best
        else:
            open_ |= {j for other, j, _ in claim if score - other < RIVAL}
    return sure, frozenset(open_)
