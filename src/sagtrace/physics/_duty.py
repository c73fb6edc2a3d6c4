"""What share of the time a pump runs, and what share it may.

Assumes that the pump only makes up for a leak; driving, loading and switching
modes come on top and have to be added by whoever knows them.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from sagtrace.physics._checks import Array, above_zero, flat, not_below_zero

__all__ = ["allowed_duty", "duty", "duty_minutes_per_day", "full_credit_time"]

MINUTES_PER_DAY = 1440.0  # [min/d] exact


def duty(leak: ArrayLike, delivery: ArrayLike) -> Array:
    """Return the share of the time that a pump runs to make up for a leak.

    Parameters
    ----------
    leak : array_like, shape S
        Leak, zero or above [mol/s]
    delivery : array_like, shape S
        What the pump delivers against the actual pressure, above zero [mol/s]

    Returns
    -------
    duty : ndarray, shape S
        Leak over delivery; above one the pump cannot keep up [-]

    Raises
    ------
    DomainError
        The leak is negative or the delivery is not above zero.

    Notes
    -----
    Any unit will do if both have the same. A slow leak alone does not overheat
    a healthy pump: work this out before blaming the leak. NaN in gives NaN out.

    Sources
    -------
    Balance of gas in the steady state.

    Examples
    --------
    >>> print(f"{duty(500.0, 20000.0):.3f}")
    0.025

    """
    q = not_below_zero("leak", leak, "mol/s", "Gas that comes in needs no pump.")
    hint = "A pump that delivers nothing has no duty: it runs until it is stopped."
    return flat(q / above_zero("delivery", delivery, "mol/s", hint))


def duty_minutes_per_day(duty: ArrayLike) -> Array:
    """Return the minutes a day that a pump runs, at most all 1440.

    Parameters
    ----------
    duty : array_like, shape S
        Share of the time, zero or above [-]

    Returns
    -------
    minutes : ndarray, shape S
        Run time for each day [min/d]

    Raises
    ------
    DomainError
        The duty is negative.

    Notes
    -----
    A controller that sleeps with the ignition off runs less. NaN in gives NaN out.

    Sources
    -------
    1440 minutes a day.

    Examples
    --------
    >>> print(f"{duty_minutes_per_day(0.025):.0f} min")
    36 min

    """
    return flat(np.minimum(not_below_zero("duty", duty, ""), 1.0) * MINUTES_PER_DAY)


def allowed_duty(run_credit: ArrayLike, cooling_time: ArrayLike) -> Array:
    """Return the share of the time that a controller's thermal model lets the pump run.

    credit / (credit + cooling), if credit is earned only while the pump rests.

    Parameters
    ----------
    run_credit : array_like, shape S
        Run time earned by each rest, above zero [s]
    cooling_time : array_like, shape S
        Length of that rest, above zero [s]

    Returns
    -------
    duty : ndarray, shape S
        Steady share of the time [-]

    Raises
    ------
    DomainError
        An argument is not above zero.

    Notes
    -----
    If the run counts as rest too, it is credit / cooling instead: 4.17 % in
    place of 4.0 % in the example. NaN in gives NaN out.

    Sources
    -------
    A car maker's training booklet of the 2000s: 15 s for each 6 min, at most
    120 s (read in an excerpt).

    Examples
    --------
    >>> print(f"{allowed_duty(15.0, 360.0):.1%}")
    4.0%

    """
    credit = above_zero("run_credit", run_credit, "s")
    return flat(credit / (credit + above_zero("cooling_time", cooling_time, "s")))


def full_credit_time(max_run: ArrayLike, run_credit: ArrayLike, cooling_time: ArrayLike) -> Array:
    """Return how long a pump at its thermal limit rests before a full run is allowed.

    Parameters
    ----------
    max_run : array_like, shape S
        Longest run allowed, above zero [s]
    run_credit : array_like, shape S
        Run time earned by each rest, above zero [s]
    cooling_time : array_like, shape S
        Length of that rest, above zero [s]

    Returns
    -------
    duration : ndarray, shape S
        Rest that earns the longest run [s]

    Raises
    ------
    DomainError
        An argument is not above zero.

    Notes
    -----
    A pump that refuses to run may only be resting. NaN in gives NaN out.

    Sources
    -------
    A car maker's training booklet of the 2000s (read in an excerpt).

    Examples
    --------
    >>> print(f"{full_credit_time(120.0, 15.0, 360.0) / 60:.0f} min")
    48 min

    """
    run, credit = above_zero("max_run", max_run, "s"), above_zero("run_credit", run_credit, "s")
    return flat(run / credit * above_zero("cooling_time", cooling_time, "s"))
