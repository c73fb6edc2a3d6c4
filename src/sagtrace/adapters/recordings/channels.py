"""A column of numbers becomes a channel in SI, and what cannot be is taken out and counted.

Assumes a command is nothing (0) or one other value. Limits: a value is impossible only outside the
wide range of its quantity.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sagtrace.adapters.recordings.account import Account, counted
from sagtrace.adapters.recordings.filled import Rows
from sagtrace.adapters.recordings.raw import Raw
from sagtrace.signals.claims import Guess
from sagtrace.signals.roles import ENGINE_RUNS
from sagtrace.signals.trace import ROLES
from sagtrace.units import KINDS, scale_of

__all__ = ["to_si"]

Array = NDArray[np.float64]

MOSTLY = 0.5  # [-] chosen: if more cannot be, the unit or the role is wrong
FEW_LEVELS = 1000  # [samples] chosen: where the second value of a command is looked for first


def to_si(raw: Raw, account: Account, name: str, guess: Guess, values: Array, rows: Rows) -> Array:
    """Return a column in SI. Raises DocumentError if most of it cannot be."""
    kind = ROLES[guess.role]
    if kind == "count":
        if guess.unit:  # the engine's speed
            return _engine(account, name, guess, values)
        return _command(raw, account, name, guess.role, values, rows)
    line = scale_of(guess.unit, kind)
    if line is None:
        raise raw.error(f"{guess.unit!r} is no unit of {guess.role}", field=name)
    values = values * line.scale
    if line.offset:
        values += line.offset
    low, high = KINDS[kind].low, KINDS[kind].high
    if low <= values.min(initial=high) and values.max(initial=low) <= high:  # no NaN among them
        return values
    unit = KINDS[kind].si_unit
    wrong = (values < low) | (values > high)
    _refuse(
        raw, account, name, values, wrong, rows, "beyond", f"outside {low:g} to {high:g} {unit}"
    )
    return values


def _refuse(
    raw: Raw,
    account: Account,
    name: str,
    values: Array,
    wrong: NDArray[np.bool_],
    rows: Rows,
    code: str,
    rule: str,
) -> None:
    count = int(np.count_nonzero(wrong))
    if not count:
        return
    row = int(np.argmax(wrong))
    line, example = rows.line(row), f"{values[row]:.6g}"
    if count > MOSTLY * np.count_nonzero(np.isfinite(values)):
        raise raw.error(
            f"{example} is outside what can be, and so is most of it: {rule}. Is the unit right?",
            line,
            name,
        )
    where = f" in line {line}" if line else ""
    text = f"{name}: {counted(count, 'value')} {rule}, for example {example}{where}; "
    text += f"{'it counts' if count == 1 else 'they count'} as missing."
    account.add(code, "refused", count, text, column=name, line=line, example=example)
    values[wrong] = np.nan


def _engine(account: Account, name: str, guess: Guess, values: Array) -> Array:
    line = scale_of(guess.unit, "frequency")
    scale = line.scale if line else 1.0
    on = np.where(np.isnan(values), np.nan, (scale * values > ENGINE_RUNS).astype(np.float64))
    text = f"{name}: the engine counts as running above {60 * ENGINE_RUNS:.0f} 1/min."
    account.add("engine-speed", "repaired", int(np.count_nonzero(~np.isnan(on))), text, column=name)
    return on


def _command(raw: Raw, account: Account, name: str, role: str, values: Array, rows: Rows) -> Array:
    wrong = ~np.isnan(values) & (values != 0.0) & (values != 1.0)
    if not wrong.any():
        return values
    values = values.copy()
    level = float(values[np.argmax(wrong)])
    if not np.any(values == 1.0) and bool(np.all(values[wrong] == level)):
        text = f"{name}: {level:g} was read as on (1), {counted(int(wrong.sum()), 'time')}."
        account.add("on-level", "repaired", int(wrong.sum()), text, column=name)
        values[wrong] = 1.0
        return values
    _refuse(raw, account, name, values, wrong, rows, "no-switch", "neither 0 (off) nor 1 (on)")
    return values
