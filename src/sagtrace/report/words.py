"""Numbers as people read them: never 0 or 100 %, never more digits than there are."""

from __future__ import annotations

import math
from collections.abc import Sequence

__all__ = ["between", "duration", "listed", "money", "odds", "percent", "sentence"]


def percent(p: float) -> str:
    """Return a probability in per cent; nothing is certain, so the ends say so.

    >>> percent(0.934), percent(0.9999), percent(0.0004)
    ('93 %', 'over 99 %', 'under 1 %')
    """
    if p > 0.99:
        return "over 99 %"
    if p < 0.01:
        return "under 1 %"
    return f"{100 * p:.0f} %"


def money(amount: float, currency: str, spread: float | None = None) -> str:
    """Return an amount, with its spread if there is one, to what the spread can carry.

    >>> money(1234.4, "EUR"), money(734.6, "EUR", 58)
    ('1 234 EUR', '735 ± 58 EUR')
    """
    text = f"{amount:,.0f}".replace(",", "\u202f" if amount >= 10_000 else " ")
    return f"{text} ± {spread:.0f} {currency}" if spread else f"{text} {currency}"


def between(low: float, high: float, unit: str) -> str:
    """Return an interval, both ends to the place that its width can carry.

    >>> between(528.3, 1381.2, "mL/min"), between(12.317, 12.483, "V")
    ('530 to 1380 mL/min', '12.32 to 12.48 V')
    """
    width = high - low
    place = 1 - math.floor(math.log10(width)) if width > 0.0 else 3
    ends = [f"{round(end, place) + 0.0:.{max(0, place)}f}".replace("-", "−") for end in (low, high)]
    return f"{ends[0]} to {ends[1]} {unit}"


def duration(seconds: float) -> str:
    """Return a time span in the unit that people would use.

    >>> duration(95), duration(2700), duration(26000)
    ('95 s', '45 min', '7.2 h')
    """
    if seconds < 120:
        return f"{seconds:.0f} s"
    if seconds < 2 * 3600:
        return f"{seconds / 60:.0f} min"
    return f"{seconds / 3600:.1f} h"


def odds(log_odds: float) -> str:
    """Return a move in log-odds as what it does to the odds.

    >>> odds(2.0), odds(-1.0)
    ('odds × 7.4', 'odds ÷ 2.7')
    """
    factor = math.exp(abs(log_odds))
    shown = f"{factor:.1f}" if factor < 10 else f"{factor:.0f}" if factor < 1000 else "over 1000"
    return f"odds {'×' if log_odds > 0 else '÷'} {shown}"


def listed(items: Sequence[str], last: str = "and") -> str:
    """Return the items as one phrase.

    >>> listed(["a", "b", "c"])
    'a, b and c'
    """
    if len(items) < 2:
        return "".join(items)
    return f"{', '.join(items[:-1])} {last} {items[-1]}"


def sentence(text: str) -> str:
    """Return the text with a capital first letter and a full stop.

    >>> sentence("the pump is worn")
    'The pump is worn.'
    """
    text = text.strip()
    if not text:
        return text
    return text[0].upper() + text[1:] + ("" if text[-1] in ".!?" else ".")
