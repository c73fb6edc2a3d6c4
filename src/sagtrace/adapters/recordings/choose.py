"""Which column gets which role: named, said by a person, remembered, or guessed, in that order.

A column that is named like a role must have a unit that fits. Limits: a role has one column.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from difflib import get_close_matches

from sagtrace.adapters.recordings.columns import Column
from sagtrace.adapters.recordings.raw import Raw
from sagtrace.errors import InputError, UnknownIdError
from sagtrace.signals.claims import Guess, settle, split_role
from sagtrace.signals.imported import Assignment
from sagtrace.signals.roles import Seen, guess_roles
from sagtrace.signals.trace import ROLES
from sagtrace.units import KINDS, scale_of

__all__ = ["Choice", "choose", "LEFT_OUT", "Remembered", "TIME"]

TIME, LEFT_OUT = "time", "-"
SAID, REMEMBERED = "said by a person", "remembered"
LIKE_A_ROLE = 0.8  # [-] chosen: a name with a dot that is so near to a role is a slip of the pen
SHOWN = 40  # [characters] chosen: how much of a wrong text an error repeats

Remembered = Mapping[tuple[str, str], str]  # column name and unit -> role with its unit


@dataclass(slots=True, kw_only=True)
class Choice:
    """The roles of a file's columns, by the place of the column."""

    roles: dict[int, Guess] = field(default_factory=dict)
    guesses: tuple[tuple[Guess, ...], ...] = ()
    open: frozenset[int] = frozenset()
    left_out: frozenset[int] = frozenset()


def choose(
    raw: Raw,
    line: int,
    columns: Sequence[Column],
    assignment: Assignment,
    remembered: Remembered,
) -> Choice:
    """Return what every column is.

    Raises InputError for an assignment that names no column or no role, and DocumentError for a
    header that says a role and a unit that does not fit.
    """
    said = _said(columns, assignment)
    choice = Choice(left_out=frozenset(i for i, text in said.items() if text.strip() == LEFT_OUT))
    for i, text in said.items():
        if i not in choice.left_out:
            _take(choice, columns, i, _guess(*split_role(text), SAID))
    if said and not assignment.guess:
        choice.guesses = tuple(() for _ in columns)
        return choice
    for column in columns:
        if column.index not in said and (named := _as_named(raw, line, column)) is not None:
            _take_once(raw, line, choice, columns, column.index, named)
    if not assignment.guess:
        choice.guesses = tuple(() for _ in columns)
        return choice
    for column in columns:
        free = column.index not in choice.roles and column.index not in said
        role = remembered.get((column.name, column.unit), "") if free else ""
        if role and (known := _remembered(role)) is not None:
            taken = known.role != TIME and known.role in _taken(choice)
            if not taken:
                choice.roles[column.index] = known
    _add_guesses(choice, columns, said)
    return choice


def _said(columns: Sequence[Column], assignment: Assignment) -> dict[int, str]:
    names: dict[str, int] = {}
    for column in columns:
        names.setdefault(column.name, column.index)
        names.setdefault(f"{column.name} [{column.unit}]", column.index)
    said = {}
    for name, text in assignment.roles.items():
        if name not in names:
            raise UnknownIdError("column", name, [column.name for column in columns])
        said[names[name]] = text
    return said


def _guess(role: str, unit: str, reason: str) -> Guess:
    return Guess(role=role, unit=unit, confidence=1.0, reason=reason)


def _taken(choice: Choice) -> list[str]:
    return [guess.role for guess in choice.roles.values()]


def _take(choice: Choice, columns: Sequence[Column], i: int, guess: Guess) -> None:
    for j, other in choice.roles.items():
        if other.role == guess.role != TIME:
            raise InputError(
                f"{columns[j].name!r} and {columns[i].name!r} cannot both be {guess.role}; "
                "say it of one of them."
            )
    choice.roles[i] = guess


def _take_once(
    raw: Raw, line: int, choice: Choice, columns: Sequence[Column], i: int, guess: Guess
) -> None:
    if guess.role in _taken(choice) and guess.role != TIME:
        if any(g.role == guess.role and g.reason == SAID for g in choice.roles.values()):
            return
        raise raw.error("stands twice in the header row; expected it once", line, guess.role)
    choice.roles[i] = guess


def _as_named(raw: Raw, line: int, column: Column) -> Guess | None:
    """Return the role that a column's name is, or None if it is none."""
    role = column.name.split(" (")[0] if column.name.endswith(" (2)") else column.name
    if role not in ROLES:
        if "." in role and get_close_matches(role, list(ROLES), n=1, cutoff=LIKE_A_ROLE):
            unknown = UnknownIdError("channel", role[:SHOWN], list(ROLES))
            raise raw.error(str(unknown), line, "header")
        return None
    kind, unit = ROLES[role], column.unit
    if kind == "count":
        if unit and not (role == "engine" and scale_of(unit, "frequency")):
            problem = f"{_short(unit)} is no unit of a command; expected [-], and 0 or 1 below"
            raise raw.error(problem, line, role)
        return _guess(role, unit, "")
    shown = KINDS[kind].shown_unit
    if not unit:
        problem = f"no unit; expected one in brackets, for example {role} [{shown}]"
        raise raw.error(problem, line, role)
    if scale_of(unit, kind) is None:
        what = f"expected a unit of {KINDS[kind].dimension}, for example [{shown}]"
        raise raw.error(f"{_short(unit)} is no unit that fits; {what}", line, role)
    return _guess(role, unit, "")


def _short(text: str) -> str:
    return repr(text if len(text) <= SHOWN else text[:SHOWN] + "…")


def _remembered(text: str) -> Guess | None:
    try:
        return _guess(*split_role(text), REMEMBERED)
    except InputError:  # of a list that somebody edited, or that an older program wrote
        return None


def _add_guesses(choice: Choice, columns: Sequence[Column], said: Mapping[int, str]) -> None:
    usable = [
        c
        for c in columns
        if c.index not in said and c.index not in choice.roles and c.holds in ("number", "switch")
    ]
    # Those that have a role speak too: a command follows the current, whoever named it.
    also = [c for c in columns if c.index in choice.roles and c.holds in ("number", "switch")]
    seen = [Seen(named=c.named, unit=c.unit, values=c.values) for c in (*usable, *also)]
    found = guess_roles(seen)[: len(usable)]
    sure, open_ = settle(found, _taken(choice))
    guesses: list[tuple[Guess, ...]] = [() for _ in columns]
    for column, options in zip(usable, found, strict=True):
        guesses[column.index] = options
    choice.guesses = tuple(guesses)
    choice.roles |= {usable[i].index: guess for i, guess in sure.items()}
    choice.open = frozenset(usable[i].index for i in open_)
