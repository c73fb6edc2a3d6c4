"""Guess what the columns of a recording are: from their names, their units and their values.

Assumes that commands have two values, and that a pump's current follows its command. A guess has a
confidence and reasons; it is a proposal. At `SURE` and without a rival it is used unless a person
says otherwise; below `POSSIBLE` it is not even proposed.
Limits: the confidences are judged, not counted over a fleet; a column that lies in name, unit and
range at once is believed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sagtrace.signals.claims import POSSIBLE, Guess
from sagtrace.signals.naming import Named
from sagtrace.signals.trace import PLACES, ROLES
from sagtrace.units import scale_of

__all__ = ["ENGINE_RUNS", "guess_roles", "Seen", "two_valued"]

Array = NDArray[np.float64]

SHOWN = 3  # proposals a column

# Chosen, like all below: how far each kind of evidence carries a guess.
NAMED, BY_UNIT, BARE_THING = 0.97, 0.92, 0.85
NO_WORDS, NO_THING = 0.5, 0.6
NO_PLACE, STRANGER, ASKED_FOR = 0.5, 0.6, 0.3
UNIT_BY_VALUES, UNIT_AMBIGUOUS = 0.9, 0.6
MOSTLY = 0.8  # [-] share of samples that must be plausible
IMPLAUSIBLE = 0.2
SWITCHED = 0.95  # [-] share of samples on the two levels of a command
FOLLOWS, IGNORES = 0.6, 0.15  # [-] correlation of a command with the current
ENGINE_RUNS = 5.0  # [1/s] chosen: 300 a minute; a starter turns slower, an engine faster

# What a role's values usually are [SI] (chosen: wide).
_USUAL: Mapping[str, tuple[float, float]] = {
    "height": (-0.4, 1.2),
    "target": (-0.4, 1.2),
    "pump.current": (-1.0, 80.0),
    "pump.voltage": (-1.0, 32.0),
    "supply": (4.0, 32.0),
    "pump.temperature": (233.0, 473.0),
    "ambient": (223.0, 333.0),
    "pressure.reservoir": (-2e4, 2.5e6),
    "pressure.gallery": (-2e4, 2.5e6),
    "speed": (-1.0, 90.0),
    "engine": (0.0, 150.0),  # [1/s]
}
# What the largest of a role's values reaches [SI] (chosen); a smaller one is in another unit.
_REACHED: Mapping[str, float] = {"height": 0.01, "target": 0.01, "pump.current": 0.5}
# Units that people leave out, the most usual first.
_UNSAID: Mapping[str, tuple[str, ...]] = {
    "length": ("mm", "cm", "m", "in"),
    "voltage": ("V", "mV"),
    "current": ("A", "mA"),
    "temperature": ("°C", "°F", "K"),
    "pressure_gauge": ("bar", "kPa", "psi", "Pa"),
    "speed": ("km/h", "mph", "m/s"),
    "frequency": ("1/min",),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """A column before it has a role: its name, its unit and some of its numbers."""

    named: Named
    unit: str  # "" if the file has none
    values: Array  # a sample, rows of all columns in step; NaN if missing or no number


@dataclass(frozen=True, slots=True, kw_only=True)
class _Rule:
    """What names a role: one thing, one quantity, and things that may stand beside them."""

    role: str
    thing: str
    quantity: str
    beside: tuple[str, ...] = ()
    placed: bool = False


_RULES = (
    _Rule(role="height", thing="", quantity="height", beside=("vehicle",), placed=True),
    _Rule(role="target", thing="target", quantity="height", beside=("vehicle",), placed=True),
    _Rule(role="valve", thing="valve", quantity="command", placed=True),
    _Rule(role="valve.reservoir", thing="reservoir", quantity="command", beside=("valve",)),
    _Rule(role="pump.command", thing="pump", quantity="command", beside=("engine",)),
    _Rule(role="pump.current", thing="pump", quantity="current", beside=("engine",)),
    _Rule(role="pump.voltage", thing="pump", quantity="voltage", beside=("engine", "supply")),
    _Rule(role="pump.temperature", thing="pump", quantity="temperature", beside=("engine",)),
    _Rule(role="vent.command", thing="vent", quantity="command", beside=("valve", "pump")),
    _Rule(role="supply", thing="supply", quantity="voltage", beside=("vehicle",)),
    _Rule(role="pressure.reservoir", thing="reservoir", quantity="pressure", beside=("pump",)),
    _Rule(role="pressure.gallery", thing="gallery", quantity="pressure", beside=("valve",)),
    _Rule(role="ambient", thing="ambient", quantity="temperature", beside=("vehicle",)),
    _Rule(role="engine", thing="engine", quantity="revolutions", beside=("vehicle",)),
    _Rule(role="door", thing="door", quantity="command", beside=("engine", "vehicle")),
    _Rule(role="speed", thing="vehicle", quantity="speed"),
)


def guess_roles(columns: Sequence[Seen]) -> tuple[tuple[Guess, ...], ...]:
    """Return the proposals for every column, best first."""
    named = [column.named for column in columns]
    first = [
        [g for rule in _RULES if (g := _by_rule(rule, column, name)) is not None]
        for column, name in zip(columns, named, strict=True)
    ]
    _by_values(columns, named, first)
    _by_correlation(columns, named, first)
    return tuple(
        tuple(
            sorted(
                (g for g in found if g.confidence >= POSSIBLE),
                key=lambda g: (-g.confidence, g.role),
            )[:SHOWN]
        )
        for found in first
    )


def _by_rule(rule: _Rule, column: Seen, named: Named) -> Guess | None:
    """Return what a rule makes of a column, or None if it says nothing."""
    kind = "frequency" if rule.role == "engine" else ROLES.get(rule.role) or _placed_kind(rule)
    command = kind == "count"
    if named.other or (rule.thing and rule.thing not in named.things):
        return None
    quantity = rule.quantity in named.quantities or (
        rule.role == "engine" and "speed" in named.quantities
    )
    if not rule.thing and not quantity:
        return None
    switched = two_valued(column.values)
    if rule.role == "engine" and not column.unit and (switched or not quantity):
        kind, command = "count", True
    measured = named.quantities - {"command", rule.quantity, "speed", "revolutions"}
    if command and (not switched or column.unit or measured):
        return None
    unit, carries, why = _unit(rule.role, kind, column)
    if unit is None:
        return None
    score, reason = _named_score(rule, named, quantity, bool(column.unit), command)
    role, place = _at_place(rule, named)
    score *= carries * place
    strangers = named.things - {rule.thing, "target", *rule.beside}
    if strangers:
        score *= STRANGER ** len(strangers)
        reason += f", though it also names {' and '.join(sorted(strangers))}"
    if "target" in named.things and rule.thing != "target":
        score *= ASKED_FOR
    if place < 1.0:
        reason += "; no place is named"
    return Guess(role=role, unit=unit, confidence=round(score, 3), reason=f"{reason}{why}")


def _placed_kind(rule: _Rule) -> str:
    return ROLES[f"{rule.role}.{PLACES[0]}"]


def _named_score(
    rule: _Rule, named: Named, quantity: bool, unit: bool, command: bool
) -> tuple[float, str]:
    if quantity:
        return NAMED, "its name says so"
    if command:
        return BARE_THING, f"names {rule.thing} and has two values"
    if unit:
        return BY_UNIT, f"names {rule.thing} in such a unit"
    return NO_THING, f"names {rule.thing} and no quantity"


def _at_place(rule: _Rule, named: Named) -> tuple[str, float]:
    if not rule.placed:
        return rule.role, 1.0
    if named.place:
        return f"{rule.role}.{named.place}", 1.0
    return f"{rule.role}.rear", NO_PLACE


def _unit(role: str, kind: str, column: Seen) -> tuple[str | None, float, str]:
    """Return the unit to read a column in, how far that carries, and words for it."""
    if kind == "count":
        return "", 1.0, ""
    if column.unit:
        if scale_of(column.unit, kind) is None:
            return None, 0.0, ""
        if _plausible(role, kind, column.unit, column.values):
            return column.unit, 1.0, ""
        return column.unit, IMPLAUSIBLE, f"; its values are no usual ones in {column.unit}"
    usual = [u for u in _UNSAID[kind] if _plausible(role, kind, u, column.values)]
    fits = [u for u in usual if _large_enough(role, kind, u, column.values)] or usual
    if not fits:
        return None, 0.0, ""
    carries = UNIT_BY_VALUES if len(fits) == 1 else UNIT_AMBIGUOUS
    others = f", or {' or '.join(fits[1:])}" if fits[1:] else ""
    return fits[0], carries, f"; no unit, {fits[0]} by its values{others}"


def _plausible(role: str, kind: str, unit: str, values: Array) -> bool:
    seen = values[np.isfinite(values)]
    line = scale_of(unit, kind)
    if seen.size == 0 or line is None:
        return True
    low, high = _USUAL[_what(role)]
    si = line.scale * seen + line.offset
    return bool(np.mean((si >= low) & (si <= high)) >= MOSTLY)


def _large_enough(role: str, kind: str, unit: str, values: Array) -> bool:
    """Say whether values reach what such a quantity reaches at some time."""
    line = scale_of(unit, kind)
    peak = float(np.nanmax(np.abs(values), initial=0.0))
    return line is None or line.scale * peak >= _REACHED.get(_what(role), 0.0)


def _what(role: str) -> str:
    what, _, place = role.partition(".")
    return what if place in PLACES else role


def two_valued(values: Array) -> bool:
    """Say whether a column has one or two values, the lower of which is nothing.

    A few wrong samples do not count.
    """
    levels, counts = np.unique(values[np.isfinite(values)], return_counts=True)
    off = int(counts[levels == 0.0].sum())
    above = counts[levels != 0.0]
    if levels.size == 0 or (off == 0 and levels[np.argmax(counts)] != 1.0):
        return False
    return bool(off + above.max(initial=0) >= SWITCHED * counts.sum())


def _by_values(columns: Sequence[Seen], named: Sequence[Named], found: list[list[Guess]]) -> None:
    """Add what units and values alone propose."""
    for column, name, guesses in zip(columns, named, found, strict=True):
        if guesses or name.other or name.things:
            continue
        volts = scale_of(column.unit, "voltage") if column.unit else None
        if volts is not None and _plausible("supply", "voltage", column.unit, column.values):
            score = NO_THING if "voltage" in name.quantities else NO_WORDS
            reason = "a voltage as a battery has it; the name does not say whose"
            guesses.append(Guess(role="supply", unit=column.unit, confidence=score, reason=reason))
        speed = scale_of(column.unit, "speed") if column.unit else None
        if speed is not None and "speed" in name.quantities:
            guesses.append(
                Guess(
                    role="speed", unit=column.unit, confidence=BARE_THING, reason="its name says so"
                )
            )
        turns = scale_of(column.unit, "frequency") if column.unit else None
        if turns is not None and "revolutions" in name.quantities:
            reason = "revolutions; the name does not say of what"
            guesses.append(
                Guess(role="engine", unit=column.unit, confidence=NO_THING, reason=reason)
            )


def _by_correlation(
    columns: Sequence[Seen], named: Sequence[Named], found: list[list[Guess]]
) -> None:
    """Let the pump's current speak for or against its command."""
    current = _best(found, "pump.current")
    if current is None:
        return
    amps = columns[current].values
    for column, name, guesses in zip(columns, named, found, strict=True):
        if column.unit or name.other or not two_valued(column.values):
            continue
        r = _correlation(column.values, amps)
        if r is None:
            continue
        for i, guess in enumerate(guesses):
            if guess.role == "pump.command":
                guesses[i] = _spoken(guess, r)
        if not guesses and not name.things and r >= FOLLOWS:
            score = NO_THING + (0.15 if "command" in name.quantities else 0.0)
            reason = f"has two values and the pump's current follows it (r = {r:.2f})"
            guesses.append(Guess(role="pump.command", unit="", confidence=score, reason=reason))


def _spoken(guess: Guess, r: float) -> Guess:
    if r >= FOLLOWS:
        text = f"{guess.reason}; the pump's current follows it (r = {r:.2f})"
        return replace(
            guess, confidence=round(1.0 - 0.5 * (1.0 - guess.confidence), 3), reason=text
        )
    if r < IGNORES:
        text = f"{guess.reason}; the pump's current does not follow it (r = {r:.2f})"
        return replace(guess, confidence=round(0.7 * guess.confidence, 3), reason=text)
    return guess


def _best(found: Sequence[Sequence[Guess]], role: str) -> int | None:
    claims = [(g.confidence, -i) for i, gs in enumerate(found) for g in gs if g.role == role]
    return -max(claims)[1] if claims else None


def _correlation(a: Array, b: Array) -> float | None:
    """Return the correlation of two columns where both are known; None if one never changes."""
    both = np.isfinite(a) & np.isfinite(b)
    x, y = a[both], b[both]
    if x.size < 10 or np.ptp(x) == 0.0 or np.ptp(y) == 0.0:
        return None
    return float(np.corrcoef(x, y)[0, 1])
