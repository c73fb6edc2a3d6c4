"""The choked state of a perfect gas in a nozzle, shared by flow and blow-down.

Assumes a perfect gas and a flow without friction up to the throat.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from sagtrace.physics._checks import Array, finite, flat, require
from sagtrace.physics.constants import GAMMA_AIR

__all__ = ["checked_gamma", "choked_flow_factor", "critical_pressure_ratio"]


def checked_gamma(gamma: ArrayLike) -> Array:
    """Return the ratio of specific heats as an array, above one."""
    array = finite("gamma", gamma, "")
    require("gamma", array, array <= 1.0, "", "above 1", "Air has 1.4.")
    return array


def critical_pressure_ratio(gamma: ArrayLike = GAMMA_AIR) -> Array:
    """Return the pressure ratio at and below which flow through a nozzle is choked.

    r* = (2/(gamma + 1))^(gamma/(gamma - 1))

    Parameters
    ----------
    gamma : array_like, shape S
        Ratio of specific heats, above one [-]

    Returns
    -------
    ratio : ndarray, shape S
        Downstream over upstream absolute pressure [-]

    Raises
    ------
    DomainError
        gamma is one or below.

    Notes
    -----
    A real valve chokes at a lower ratio b than this ideal nozzle; take b from
    its data sheet. NaN in gives NaN out.

    Sources
    -------
    Any gas dynamics text, isentropic flow of a perfect gas.

    Examples
    --------
    >>> print(f"{critical_pressure_ratio(1.4):.4f}")
    0.5283

    """
    g = checked_gamma(gamma)
    return flat((2.0 / (g + 1.0)) ** (g / (g - 1.0)))


def choked_flow_factor(gamma: ArrayLike = GAMMA_AIR) -> Array:
    """Return psi in the choked mass flow qm = cd A p psi / sqrt(R T).

    psi = sqrt(gamma) (2/(gamma + 1))^((gamma + 1)/(2 (gamma - 1)))

    Parameters
    ----------
    gamma : array_like, shape S
        Ratio of specific heats, above one [-]

    Returns
    -------
    factor : ndarray, shape S
        The choked flow factor [-]

    Raises
    ------
    DomainError
        gamma is one or below.

    Notes
    -----
    NaN in gives NaN out.

    Sources
    -------
    Any gas dynamics text, isentropic flow of a perfect gas.

    Examples
    --------
    >>> print(f"{choked_flow_factor(1.4):.4f}")
    0.6847

    """
    g = checked_gamma(gamma)
    return flat(np.sqrt(g) * (2.0 / (g + 1.0)) ** ((g + 1.0) / (2.0 * (g - 1.0))))
