"""Constants of the physics kernels, SI.

Each says whether it is exact (by definition), a convention (agreed, not
measured), measured, or chosen (by this project, with the reason). A value read
in a source names it; one remembered from a source says "from memory".
"""

from __future__ import annotations

from typing import Final

__all__ = [
    "COPPER_RHO20",
    "COPPER_TEMPCO20",
    "G_N",
    "GAMMA_AIR",
    "M_AIR",
    "P0_ISO6358",
    "P_ATM",
    "R_AIR",
    "R_GAS",
    "RHO_ANR",
    "T0_ISO6358",
    "T_20C",
    "T_ICE",
    "WATER_AIR_MASS_RATIO",
]

# Exact
R_GAS: Final = 8.31446261815324  # [J/(mol K)] exact since 2019: N_A * k (BIPM SI Brochure, 9th ed.)
G_N: Final = 9.80665  # [m/s^2] exact: standard gravity (3rd CGPM, 1901)
T_ICE: Final = 273.15  # [K] exact: 0 degrees Celsius
T_20C: Final = 293.15  # [K] exact: 20 degrees Celsius

# Conventions
P_ATM: Final = 101_325.0  # [Pa] standard atmosphere (10th CGPM, 1954); not today's barometer
GAMMA_AIR: Final = 1.4  # [-] diatomic perfect gas, 7/5 by equipartition; real air 1.402 at 20 C
RHO_ANR: Final = 1.185  # [kg/m^3] ISO 6358 and ISO 8778, from memory: 20 C, 100 kPa, 65 % RH.
# Humid air at that state weighs 1.182 (CoolProp); the standards' 1.185 is kept because every
# sonic conductance C in a data sheet was computed with it.
T0_ISO6358: Final = 293.15  # [K] reference temperature of ISO 6358, from memory
P0_ISO6358: Final = 100_000.0  # [Pa] reference pressure of ISO 6358, from memory
COPPER_RHO20: Final = 1.7241e-8  # [ohm m] annealed copper at 20 C, IEC 60028, from memory
COPPER_TEMPCO20: Final = 0.00393  # [1/K] annealed copper at 20 C, IEC 60028, from memory. The
# temperature table that goes with IEC 60228 uses 0.004 instead.

# Measured
R_AIR: Final = 287.05  # [J/(kg K)] dry air; 8.31446 / 0.0289652 to the digits given
M_AIR: Final = 0.0289652  # [kg/mol] dry air
WATER_AIR_MASS_RATIO: Final = 0.621945  # [-] molar mass of water over that of dry air
# (ASHRAE Handbook, Fundamentals, psychrometrics chapter, from memory)
