"""How much air: density, and flow told as a volume at reference conditions.

Assumes a perfect gas, which is within 0.8 % for air from -10 to 40 degrees
Celsius up to 11 bar and 1.2 % up to 17 bar. SI and absolute.

A flow in "litres a minute" means nothing until its reference temperature and
pressure are told: 0 against 25 degrees Celsius differ by 9 %. So a volume flow
is made only together with a named `ReferenceConditions`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from numpy.typing import ArrayLike

from sagtrace.physics._checks import (
    Array,
    above_zero,
    between,
    finite,
    flat,
    kelvin,
    pascal,
)
from sagtrace.physics.constants import M_AIR, R_AIR, R_GAS, RHO_ANR

__all__ = [
    "anr_flow_from_mass_flow",
    "ANR_ISO8778",
    "ANR_OLD",
    "density_ideal",
    "ISO_15C_1ATM",
    "mass_flow_from_anr_flow",
    "mass_from_molar",
    "molar_flow_to_pv",
    "molar_flow_to_standard",
    "molar_from_mass",
    "NORMAL_0C_1ATM",
    "pv_to_molar_flow",
    "REF_20C_1ATM",
    "REF_25C_1ATM",
    "ReferenceConditions",
    "standard_to_molar_flow",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class ReferenceConditions:
    """The state at which a volume of gas is told.

    The humidity is a label: a mole of humid air takes the same room as a mole
    of dry air, so it does not enter the conversion from mol/s.
    """

    name: str
    pressure: float  # absolute [Pa]
    temperature: float  # [K]
    relative_humidity: float  # 0 to 1 [-]
    source: str

    def __post_init__(self) -> None:
        pascal("pressure", self.pressure)
        kelvin("temperature", self.temperature)
        between("relative_humidity", self.relative_humidity, 0.0, 1.0, "")


NORMAL_0C_1ATM: Final = ReferenceConditions(
    name="0 °C, 101.325 kPa, dry",
    pressure=101_325.0,
    temperature=273.15,
    relative_humidity=0.0,
    source="DIN 1343",
)
ISO_15C_1ATM: Final = ReferenceConditions(
    name="15 °C, 101.325 kPa, dry",
    pressure=101_325.0,
    temperature=288.15,
    relative_humidity=0.0,
    source="ISO 2533 and ISO 13443, from memory",
)
REF_20C_1ATM: Final = ReferenceConditions(
    name="20 °C, 101.325 kPa, dry",
    pressure=101_325.0,
    temperature=293.15,
    relative_humidity=0.0,
    source="common usage, no standard named",
)
ANR_ISO8778: Final = ReferenceConditions(
    name="ANR: 20 °C, 100 kPa, 65 % RH",
    pressure=100_000.0,
    temperature=293.15,
    relative_humidity=0.65,
    source="ISO 8778:2003, values from memory",
)
ANR_OLD: Final = ReferenceConditions(
    name="ANR in older usage: 20 °C, 101.3 kPa, 65 % RH",
    pressure=101_300.0,
    temperature=293.15,
    relative_humidity=0.65,
    source="older Japanese usage",
)
REF_25C_1ATM: Final = ReferenceConditions(
    name="25 °C, 101.325 kPa, dry",
    pressure=101_325.0,
    temperature=298.15,
    relative_humidity=0.0,
    source="common usage, no standard named",
)


def density_ideal(pressure: ArrayLike, temp: ArrayLike, *, r_gas: ArrayLike = R_AIR) -> Array:
    """Return the density of a perfect gas: rho = p / (R T).

    Parameters
    ----------
    pressure : array_like, shape S
        Absolute pressure, above zero [Pa]
    temp : array_like, shape S
        Temperature, above zero [K]
    r_gas : array_like, shape S
        Specific gas constant, above zero [J/(kg K)]

    Returns
    -------
    density : ndarray, shape S
        Density [kg/m^3]

    Raises
    ------
    DomainError
        An argument is not above zero.

    Notes
    -----
    Dry air; at 20 C and 65 % RH air is 0.6 % lighter. NaN in gives NaN out.

    Sources
    -------
    Perfect gas law.

    Examples
    --------
    >>> print(f"{density_ideal(101325, 273.15):.3f} kg/m^3")
    1.292 kg/m^3

    """
    p, t = pascal("pressure", pressure), kelvin("temp", temp)
    return flat(p / (above_zero("r_gas", r_gas, "J/(kg K)") * t))


def molar_flow_to_standard(molar_flow: ArrayLike, reference: ReferenceConditions) -> Array:
    """Return a flow as volume at reference conditions: q = n R T_ref / p_ref.

    Parameters
    ----------
    molar_flow : array_like, shape S
        Flow, either sign [mol/s]
    reference : ReferenceConditions
        The state at which the volume is told [Pa, K]

    Returns
    -------
    flow : ndarray, shape S
        Volume flow at the reference conditions [m^3/s]

    Raises
    ------
    DomainError
        The flow is infinite.

    Notes
    -----
    For ANR this is the volume of as many moles; a data sheet that divides a
    mass flow by 1.185 kg/m^3 is 0.3 % apart, see anr_flow_from_mass_flow.
    NaN in gives NaN out.

    Sources
    -------
    Perfect gas law; the source of the reference is in `reference.source`.

    Examples
    --------
    >>> flow = molar_flow_to_standard(7.4358389e-7, NORMAL_0C_1ATM)
    >>> print(f"{60e6 * flow:.4f} cm^3/min")
    1.0000 cm^3/min

    """
    flow = finite("molar_flow", molar_flow, "mol/s")
    return flat(flow * R_GAS * reference.temperature / reference.pressure)


def standard_to_molar_flow(volume_flow: ArrayLike, reference: ReferenceConditions) -> Array:
    """Return a volume flow told at reference conditions in mol/s.

    Parameters
    ----------
    volume_flow : array_like, shape S
        Volume flow at the reference conditions, either sign [m^3/s]
    reference : ReferenceConditions
        The state at which the volume is told [Pa, K]

    Returns
    -------
    flow : ndarray, shape S
        Flow [mol/s]

    Raises
    ------
    DomainError
        The flow is infinite.

    Notes
    -----
    The exact inverse of molar_flow_to_standard. NaN in gives NaN out.

    Sources
    -------
    Perfect gas law; the source of the reference is in `reference.source`.

    Examples
    --------
    >>> print(f"{standard_to_molar_flow(1e-6, NORMAL_0C_1ATM):.3e} mol/s")
    4.462e-05 mol/s

    """
    flow = finite("volume_flow", volume_flow, "m^3/s")
    return flat(flow * reference.pressure / (R_GAS * reference.temperature))


def molar_flow_to_pv(molar_flow: ArrayLike, temp: ArrayLike) -> Array:
    """Return a flow in the leak tester's unit: Q = n R T.

    Parameters
    ----------
    molar_flow : array_like, shape S
        Flow, either sign [mol/s]
    temp : array_like, shape S
        Temperature of the gas, above zero [K]

    Returns
    -------
    flow : ndarray, shape S
        Pressure times volume a second [Pa m^3/s]

    Raises
    ------
    DomainError
        The temperature is not above zero or the flow is infinite.

    Notes
    -----
    1 Pa m^3/s is 10 mbar L/s. NaN in gives NaN out.

    Sources
    -------
    Perfect gas law.

    Examples
    --------
    >>> print(f"{molar_flow_to_pv(5.6982752e-6, 293.15):.5f} Pa m^3/s")
    0.01389 Pa m^3/s

    """
    return flat(finite("molar_flow", molar_flow, "mol/s") * R_GAS * kelvin("temp", temp))


def pv_to_molar_flow(pv_flow: ArrayLike, temp: ArrayLike) -> Array:
    """Return a leak told in Pa m^3/s in mol/s: n = Q / (R T).

    Parameters
    ----------
    pv_flow : array_like, shape S
        Pressure times volume a second, either sign [Pa m^3/s]
    temp : array_like, shape S
        Temperature of the gas, above zero [K]

    Returns
    -------
    flow : ndarray, shape S
        Flow [mol/s]

    Raises
    ------
    DomainError
        The temperature is not above zero or the flow is infinite.

    Notes
    -----
    The exact inverse of molar_flow_to_pv. NaN in gives NaN out.

    Sources
    -------
    Perfect gas law.

    Examples
    --------
    >>> print(f"{pv_to_molar_flow(1.3888889e-2, 293.15):.4e} mol/s")
    5.6983e-06 mol/s

    """
    return flat(finite("pv_flow", pv_flow, "Pa m^3/s") / (R_GAS * kelvin("temp", temp)))


def mass_from_molar(molar: ArrayLike, *, molar_mass: ArrayLike = M_AIR) -> Array:
    """Return mass (or mass flow) from amount (or molar flow).

    Parameters
    ----------
    molar : array_like, shape S
        Amount or molar flow, either sign [mol or mol/s]
    molar_mass : array_like, shape S
        Molar mass, above zero [kg/mol]

    Returns
    -------
    mass : ndarray, shape S
        Mass or mass flow [kg or kg/s]

    Raises
    ------
    DomainError
        The molar mass is not above zero or the amount is infinite.

    Notes
    -----
    NaN in gives NaN out.

    Sources
    -------
    Definition of molar mass.

    Examples
    --------
    >>> print(f"{mass_from_molar(1.0):.5f} kg")
    0.02897 kg

    """
    return flat(finite("molar", molar, "mol") * above_zero("molar_mass", molar_mass, "kg/mol"))


def molar_from_mass(mass: ArrayLike, *, molar_mass: ArrayLike = M_AIR) -> Array:
    """Return amount (or molar flow) from mass (or mass flow).

    Parameters
    ----------
    mass : array_like, shape S
        Mass or mass flow, either sign [kg or kg/s]
    molar_mass : array_like, shape S
        Molar mass, above zero [kg/mol]

    Returns
    -------
    molar : ndarray, shape S
        Amount or molar flow [mol or mol/s]

    Raises
    ------
    DomainError
        The molar mass is not above zero or the mass is infinite.

    Notes
    -----
    The exact inverse of mass_from_molar. NaN in gives NaN out.

    Sources
    -------
    Definition of molar mass.

    Examples
    --------
    >>> print(f"{molar_from_mass(1.0):.3f} mol")
    34.524 mol

    """
    return flat(finite("mass", mass, "kg") / above_zero("molar_mass", molar_mass, "kg/mol"))


def anr_flow_from_mass_flow(mass_flow: ArrayLike) -> Array:
    """Return a mass flow as a pneumatics data sheet tells it: q = qm / rho0.

    Parameters
    ----------
    mass_flow : array_like, shape S
        Mass flow, either sign [kg/s]

    Returns
    -------
    flow : ndarray, shape S
        Volume flow, ANR [m^3/s]

    Raises
    ------
    DomainError
        The flow is infinite.

    Notes
    -----
    rho0 = 1.185 kg/m^3 is a convention, not the density of air at 20 C, 100 kPa
    and 65 % RH (1.182). NaN in gives NaN out.

    Sources
    -------
    ISO 6358 and ISO 8778, rho0 from memory.

    Examples
    --------
    >>> print(f"{60e3 * anr_flow_from_mass_flow(8.295e-3):.1f} L/min (ANR)")
    420.0 L/min (ANR)

    """
    return flat(finite("mass_flow", mass_flow, "kg/s") / RHO_ANR)


def mass_flow_from_anr_flow(volume_flow: ArrayLike) -> Array:
    """Return the mass flow that a pneumatics data sheet tells as a volume: qm = q rho0.

    Parameters
    ----------
    volume_flow : array_like, shape S
        Volume flow, ANR, either sign [m^3/s]

    Returns
    -------
    flow : ndarray, shape S
        Mass flow [kg/s]

    Raises
    ------
    DomainError
        The flow is infinite.

    Notes
    -----
    The exact inverse of anr_flow_from_mass_flow. NaN in gives NaN out.

    Sources
    -------
    ISO 6358 and ISO 8778, rho0 from memory.

    Examples
    --------
    >>> print(f"{1e3 * mass_flow_from_anr_flow(7e-3):.3f} g/s")
    8.295 g/s

    """
    return flat(finite("volume_flow", volume_flow, "m^3/s") * RHO_ANR)
