"""How much room does the gas take, and what does height above the sea change?"""

from __future__ import annotations

import math

from analysis.errors import TrialDataError
from analysis.leavening.constants import ATMOSPHERE_PA, GAS_CONSTANT, ZERO_CELSIUS_K
from analysis.leavening.substances import CO2_MOLAR_MASS, SODA_MOLAR_MASS

STANDARD_KPA = ATMOSPHERE_PA / 1000.0
FOOT_M = 0.3048


def gas_ml(millimoles: float, *, celsius: float, kilopascal: float = STANDARD_KPA) -> float:
    """Volume in mL of an ideal gas, V = n R T / p."""
    return millimoles * GAS_CONSTANT * (celsius + ZERO_CELSIUS_K) / kilopascal


def co2_g_from_soda(soda_g: float, *, acid: bool) -> float:
    """g of carbon dioxide from soda: all of it with acid, half with heat alone.

    NaHCO3 + H+ = Na+ + H2O + CO2; 2 NaHCO3 = Na2CO3 + H2O + CO2.
    """
    return soda_g * CO2_MOLAR_MASS / SODA_MOLAR_MASS * (1.0 if acid else 0.5)


def pressure_kpa(altitude_m: float) -> float:
    """Standard atmosphere at a height of -500 to 9,000 m.

    p = 101.325 (1 - 2.25577e-5 h)^5.25588. Source: ISO 2533, International Standard Atmosphere.
    Raises TrialDataError outside that range.
    """
    if not -500 <= altitude_m <= 9000:
        raise TrialDataError(
            f"{altitude_m:g} m is no height anyone bakes at.",
            where="altitude",
            try_this="give metres above the sea, -500 to 9000",
        )
    return STANDARD_KPA * (1 - 2.25577e-5 * altitude_m) ** 5.25588


def gas_expansion(altitude_m: float) -> float:
    """How many times its sea-level volume the same gas fills."""
    return STANDARD_KPA / pressure_kpa(altitude_m)


def boiling_point_c(kilopascal: float) -> float:
    """Temperature at which water boils. Antoine equation, log10(mmHg) = 8.07131 - 1730.63/(t + 233.426)
    (1 to 100 °C; constants from memory)."""
    mmhg = kilopascal * 760.0 / STANDARD_KPA
    return 1730.63 / (8.07131 - math.log10(mmhg)) - 233.426


def decomposition_per_min(celsius: float) -> float:
    """First-order rate at which dry soda gives up its gas, 1/min: A exp(-Ea/RT).

    Ea 105.8 kJ/mol, A 6.7e12 /min, 87 to 177 °C. Source: Wu & Shih 1993, Thermochim. Acta
    223, 177. Other studies differ: no model of an oven.
    """
    return 6.7e12 * math.exp(-105_800.0 / (GAS_CONSTANT * (celsius + ZERO_CELSIUS_K)))
