"""Cells of text become numbers, switches or times of day, whole columns at a time.

Assumes one column has one way of writing numbers; a group of three digits after a comma or a point
is a thousand only in a column whose other cells say so. Limits: no numbers in words, no fractions.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import polars as pl
from numpy.typing import NDArray

from sagtrace.signals.naming import Words

__all__ = [
    "as_clock",
    "as_numbers",
    "as_switches",
    "BLANK",
    "clock_order",
    "Decimal",
    "decimal_of",
    "Order",
    "Parsed",
]

Array = NDArray[np.float64]
Decimal = Literal[".", ",", ""]
Order = Literal["ymd", "dmy", "mdy", ""]

_POINT_GROUPS = r"^[+-]?\d{1,3}(?:,\d{3})+(?:\.\d+)?$"
_COMMA_GROUPS = r"^[+-]?\d{1,3}(?:\.\d{3})+(?:,\d+)?$"
_BLANK_GROUPS = r"^[+-]?\d{1,3}(?:[ '’\x{a0}\x{202f}]\d{3})+(?:[.,]\d+)?$"
_LEADING_ZERO = r"^[+-]?0\d*[.,]"
_CLOCK = (
    r"^(?:(?P<a>\d{1,4})[-./](?P<b>\d{1,2})[-./](?P<c>\d{1,4})[T ]*)?"
    r"(?:(?P<h>\d{1,3}):(?P<m>\d{1,2})(?::(?P<s>\d{1,2}))?(?:[.,:](?P<f>\d{1,9}))?)?"
    r"\s*(?P<half>[aApP])?(?:\.?[mM]\.?)?(?:Z|[+-]\d\d:?\d\d)?$"
)
BLANK = ' "\t\r\xa0'  # characters that stand around a cell and mean nothing
_DAY = 86400.0  # [s] exact


@dataclass(frozen=True, slots=True)
class Parsed:
    """A column as numbers, and which cells held something that was none."""

    values: Array  # NaN where missing or no number
    wrong: NDArray[np.bool_]
    texts: int = 0  # switches given in words


def _float(cells: pl.Series) -> pl.Series:
    return cells.cast(pl.Float64, strict=False)


def _numpy(numbers: pl.Series) -> Array:
    whole = numbers.fill_null(float("nan")) if numbers.null_count() else numbers
    return whole.to_numpy()


def decimal_of(cells: pl.Series) -> Decimal:
    """Return the decimal sign that a column's cells prove, "" if they prove none."""
    text = cells.drop_nulls().str.strip_chars()
    text = text.filter(text.str.contains(r"^[+-]?[\d.,' ’\x{a0}\x{202f}]+(?:[eE][+-]?\d+)?$"))
    if text.is_empty():
        return ""
    last_comma = text.str.contains(r"\.\d*,\d+$") | text.str.contains(r"^[+-]?\d*,\d+$")
    last_point = text.str.contains(r",[\d,]*\.\d+$") | text.str.contains(r"^[+-]?\d*\.\d+$")
    zero = text.str.contains(_LEADING_ZERO)
    blank = text.str.contains(r"\d[ '’\x{a0}\x{202f}]\d")
    either = text.str.contains(r"^[+-]?\d{1,3}[.,]\d{3}$") & ~zero & ~blank
    many = text.str.contains(r"^[+-]?\d{1,3}(?:,\d{3}){2,}$")
    dots = text.str.contains(r"^[+-]?\d{1,3}(?:\.\d{3}){2,}$")
    comma = int((last_comma & ~either).sum()) + int(dots.sum())
    point = int((last_point & ~either).sum()) + int(many.sum())
    if comma == point == 0:
        return ""
    return "," if comma > point else "."


def as_numbers(cells: pl.Series, decimal: Decimal, words: Words) -> Parsed:
    """Return the numbers of a column of text."""
    text = cells.str.strip_chars(BLANK)
    direct = _float(text)
    if decimal == ",":  # because 1.234 is a thousand and more there
        grouped = text.str.contains(_COMMA_GROUPS).fill_null(value=False)
        direct = direct.set(grouped, None) if bool(grouped.any()) else direct
    values = _numpy(direct).copy()
    rest = (direct.is_null() & text.is_not_null() & (text != "")).fill_null(value=False)
    wrong = np.isinf(values)
    values[wrong] = np.nan
    if bool(rest.any()):
        at = rest.to_numpy()
        odd = text.filter(rest)
        read = _numpy(_float(_plain(odd, decimal)))
        known = odd.str.to_lowercase().is_in(list(words.missing)).to_numpy()
        read = np.where(np.isinf(read), np.nan, read)
        values[at] = read
        wrong[at] = np.isnan(read) & ~known
    return Parsed(values, wrong)


def _plain(cells: pl.Series, decimal: Decimal) -> pl.Series:
    """Return numbers as a computer writes them; what is no number stays none."""
    text = cells.str.replace("−", "-", literal=True)
    blank = text.str.contains(_BLANK_GROUPS)
    text = text.to_frame("x").select(
        pl.when(blank).then(pl.col("x").str.replace_all(r"[ '’\x{a0}\x{202f}]", "")).otherwise("x")
    )["x"]
    x = pl.col("x")
    without_points = x.str.replace_all(".", "", literal=True).str.replace(",", ".", literal=True)
    without_commas = x.str.replace_all(",", "", literal=True)
    both = x.str.contains(",", literal=True) & x.str.contains(".", literal=True)
    point_groups, comma_groups = x.str.contains(_POINT_GROUPS), x.str.contains(_COMMA_GROUPS)
    single = x.str.contains(r"^[+-]?\d*,\d+(?:[eE][+-]?\d+)?$")
    this, that = (both & point_groups, without_commas), (comma_groups, without_points)
    if decimal != ",":
        this, that = (both & comma_groups, without_points), (point_groups, without_commas)
    rule = pl.when(this[0]).then(this[1]).when(that[0]).then(that[1])
    plain = rule.when(single).then(x.str.replace(",", ".", literal=True)).otherwise(x)
    return text.to_frame("x").select(plain)["x"]


def as_switches(cells: pl.Series, words: Words) -> Parsed:
    """Return 1 for on and 0 for off, from words or digits."""
    text = cells.str.strip_chars(BLANK).str.to_lowercase()
    table = dict.fromkeys(words.off, 0.0) | dict.fromkeys(words.on, 1.0)
    said = text.replace_strict(table, default=None, return_dtype=pl.Float64)
    values = _numpy(said.fill_null(_float(text))).copy()
    missing = text.is_null() | text.is_in(list(words.missing))
    wrong = (np.isnan(values) | np.isinf(values)) & ~missing.fill_null(value=True).to_numpy()
    values[wrong] = np.nan
    return Parsed(values, wrong, int(said.is_not_null().sum()))


def as_clock(cells: pl.Series, *, minutes: bool, order: Order) -> Parsed:
    """Return times of day and dates as seconds.

    With a date, seconds count from an arbitrary day. Two numbers are hours and minutes, or with
    `minutes` or a fraction behind them minutes and seconds.
    """
    text = cells.str.strip_chars(BLANK)
    parts = text.str.extract_groups(_CLOCK).struct.unnest()
    a, b, c, h, m, s, f = (parts[name].cast(pl.Float64, strict=False) for name in "abchmsf")
    days = _days(_numpy(a), _numpy(b), _numpy(c), order) if order else np.zeros(text.len())
    digits = parts["f"].str.len_chars().cast(pl.Float64)
    fraction = np.nan_to_num(_numpy(f) / np.power(10.0, _numpy(digits)))
    hours, mins, secs = _numpy(h), _numpy(m), _numpy(s)
    short = np.isnan(secs) & (parts["f"].is_not_null().to_numpy() | minutes)
    hours, mins, secs = (
        np.where(short, 0.0, hours),
        np.where(short, hours, mins),
        np.where(short, mins, np.nan_to_num(secs)),
    )
    half = parts["half"].str.to_lowercase()
    pm, am = (half == "p").fill_null(value=False), (half == "a").fill_null(value=False)
    hours = np.where(pm.to_numpy() & (hours < 12.0), hours + 12.0, hours)
    hours = np.where(am.to_numpy() & (hours == 12.0), 0.0, hours)
    of_day = 3600.0 * hours + 60.0 * mins + secs + fraction
    only_date = np.isnan(of_day) & (parts["h"].is_null() & a.is_not_null()).to_numpy()
    values = np.where(only_date, 0.0, of_day) + _DAY * days
    wrong = np.isnan(values) & (text.is_not_null() & (text != "")).fill_null(value=False).to_numpy()
    return Parsed(values, wrong)


def clock_order(cells: pl.Series) -> tuple[Order, bool]:
    """Return the order of day, month and year in a column, "" without dates; and am or pm."""
    parts = cells.str.strip_chars(BLANK).str.extract_groups(_CLOCK).struct.unnest()
    halves = bool(parts["half"].is_not_null().any())
    dates = parts.select("a", "b", "c").cast(pl.Float64, strict=False).drop_nulls()
    if dates.is_empty():
        return "", halves
    a, b, c = (dates[name].to_numpy() for name in "abc")
    if a.max() > 31.0:
        return "ymd", halves
    if a.max() > 12.0 or bool(cells.drop_nulls().str.contains(r"^\s*\d+\.\d+\.").any()):
        return "dmy", halves
    if b.max() > 12.0:
        return "mdy", halves
    # Days that follow each other lie closer together in the right order.
    orders: tuple[Order, ...] = ("dmy", "mdy")
    day_first, month_first = (float(np.ptp(_days(a, b, c, order))) for order in orders)
    return ("mdy" if month_first < day_first else "dmy"), halves


def _days(a: Array, b: Array, c: Array, order: Order) -> Array:
    if order == "ymd":
        return _day_number(a, b, c)
    year = np.where(c < 100.0, c + 2000.0, c)
    return _day_number(year, b, a) if order == "dmy" else _day_number(year, a, b)


def _day_number(year: Array, month: Array, day: Array) -> Array:
    """Return days of the Gregorian calendar, counted from an arbitrary one."""
    # The year begins in March, so that the leap day is its last.
    y = np.where(month > 2.0, year, year - 1.0)
    m = np.where(month > 2.0, month - 3.0, month + 9.0)
    count = 365.0 * y + np.floor(y / 4.0) - np.floor(y / 100.0) + np.floor(y / 400.0)
    bad = (month < 1.0) | (month > 12.0) | (day < 1.0) | (day > 31.0)
    return np.where(bad, np.nan, count + np.floor((153.0 * m + 2.0) / 5.0) + day)
