"""What became of every column: its role and why, or why it was not used."""

from __future__ import annotations

from collections.abc import Mapping

from sagtrace.adapters.recordings.account import Account
from sagtrace.adapters.recordings.choose import TIME, Choice
from sagtrace.adapters.recordings.columns import Column
from sagtrace.adapters.recordings.times import Times
from sagtrace.signals.imported import SAID_NO, ColumnInfo

__all__ = ["column_info"]


def column_info(
    column: Column, choice: Choice, times: Times, missing: Mapping[str, int], account: Account
) -> ColumnInfo:
    """Return what became of a column, and note it if it was not used."""
    i, name = column.index, column.name
    guess = choice.roles.get(i)
    guesses = choice.guesses[i] if choice.guesses else ()
    for base in times.bases:
        if column in base.time:
            told = f"no unit, {base.unit} by its steps" if i in times.guessed else ""
            exact = name == TIME and not told
            reason = "" if exact else told or "tells the time"
            if told:
                text = f"{name} has no unit and was read in {base.unit}, which its steps fit."
                account.add("time-unit", "repaired", 1, text, column=name)
            return ColumnInfo(
                name=name,
                unit=column.unit,
                role=TIME,
                role_unit=base.unit,
                confidence=1.0,
                reason=guess.reason if guess else reason,
            )
    if guess is not None and guess.role in missing:
        return ColumnInfo(
            name=name,
            unit=column.unit,
            role=guess.role,
            role_unit=guess.unit,
            confidence=guess.confidence,
            reason=guess.reason,
            guesses=guesses,
            missing=missing[guess.role],
        )
    why = _why_ignored(column, choice, times)
    account.add("column-ignored", "ignored", 1, f"{name!r} was not used: {why}.", column=name)
    return ColumnInfo(
        name=name,
        unit=column.unit,
        reason=why,
        guesses=guesses,
        confidence=guesses[0].confidence if guesses else 0.0,
        unsettled=i in choice.open,
    )


def _why_ignored(column: Column, choice: Choice, times: Times) -> str:
    if column.index in choice.left_out:
        return SAID_NO
    if column in times.others:
        return "it tells the time once more"
    if column in times.lost:
        return "its time goes with no other in the file"
    if column.holds == "nothing":
        return "it is empty"
    if column.holds == "text":
        return "it holds text"
    if column.index in choice.open:
        return "it is not clear what it is"
    options = choice.guesses[column.index] if choice.guesses else ()
    if options and options[0].role in [g.role for g in choice.roles.values()]:
        return f"{options[0].role} is taken from another column"
    return "neither its name nor its values say what it is"
