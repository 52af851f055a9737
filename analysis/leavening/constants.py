"""Which numbers does the chemistry of a batter rest on, and how do they move with heat?

Dissociation constants at infinite dilution (molal, 25 °C) with their reaction
enthalpies and heat-capacity changes. Main source: Goldberg, Kishore & Lennen 2002,
J. Phys. Chem. Ref. Data 31, 231-370, written from memory and then validated: they
reproduce seven primary pH standards (see tests/published/test_ph_standards.py).
``sureness``: A sure, B good, C rough.

Carbon dioxide: Plummer & Busenberg 1982, Geochim. Cosmochim. Acta 46, 1011.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from analysis.leavening.arrays import Array

GAS_CONSTANT = 8.314462618  # J/mol/K, CODATA 2018
ATMOSPHERE_PA = 101_325.0
ZERO_CELSIUS_K = 273.15
STANDARD_K = 298.15


@dataclass(frozen=True, kw_only=True)
class AcidSystem:
    """An acid and all it turns into as it loses protons.

    ``charge`` is that of the fully protonated species. ``pk``, ``enthalpy`` (J/mol) and
    ``heat_capacity`` (J/mol/K) hold one number for each proton lost.
    """

    name: str
    pk: tuple[float, ...]
    enthalpy: tuple[float, ...] = ()
    heat_capacity: tuple[float, ...] = ()
    charge: int = 0
    sureness: str = "B"


def _system(name: str, sureness: str, *steps: tuple[float, float, float], charge: int = 0) -> AcidSystem:
    pk, kilojoule, heat_capacity = zip(*steps, strict=True)
    enthalpy = tuple(1000.0 * value for value in kilojoule)
    return AcidSystem(
        name=name, pk=pk, enthalpy=enthalpy, heat_capacity=heat_capacity, charge=charge, sureness=sureness
    )


WATER = _system("water", "A", (13.995, 55.815, -224.6))

ACIDS: Mapping[str, AcidSystem] = MappingProxyType(
    {
        system.name: system
        for system in (
            _system("acetic", "A", (4.756, -0.41, -142.0)),
            _system("lactic", "B", (3.862, -0.33, -160.0)),
            _system("citric", "A", (3.128, 4.07, -131.0), (4.761, 2.23, -178.0), (6.396, -3.38, -254.0)),
            _system("tartaric", "A", (3.036, 3.19, -147.0), (4.366, 0.93, -218.0)),
            _system("malic", "B", (3.459, 2.95, -150.0), (5.097, -1.17, -200.0)),
            _system("phosphoric", "A", (2.148, -8.0, -141.0), (7.198, 3.6, -230.0), (12.35, 16.0, -242.0)),
            # Real sodium solutions form complexes: the apparent last two constants are 5.77 and 8.22.
            _system(
                "pyrophosphoric",
                "B",
                (0.83, -9.2, -90.0),
                (2.26, -5.0, -130.0),
                (6.72, 0.5, -136.0),
                (9.46, 1.4, -141.0),
            ),
            _system("gluconic", "C", (3.86, 0.0, 0.0)),
            _system("ascorbic", "B", (4.10, 0.0, 0.0), (11.7, 0.0, 0.0)),
            _system("adipic", "A", (4.42, -1.0, 0.0), (5.42, -3.0, 0.0)),
            _system("fumaric", "B", (3.053, 0.0, 0.0), (4.494, 0.0, 0.0)),
            _system("succinic", "A", (4.207, 3.0, -121.0), (5.636, -0.5, -217.0)),
            _system("phthalic", "A", (2.950, -2.70, -91.0), (5.408, -2.17, -295.0)),
            _system("boric", "A", (9.237, 13.8, -240.0)),
            _system("sulfuric", "B", (1.987, -22.4, -258.0), charge=-1),
            # Hydrolysis of aluminium: the first two steps of log beta -5.0, -10.1; the third stands for
            # Al(OH)3 that falls out (log *Ks about 10.8 when fresh, 0.01 mol/kg; rough, from memory).
            _system("aluminium", "C", (5.0, 0.0, 0.0), (5.1, 0.0, 0.0), (2.8, 0.0, 0.0), charge=3),
            # NH4+: pK 9.245, 51.95 kJ/mol, 8 J/mol/K (from memory, same source as above).
            _system("ammonium", "A", (9.245, 51.95, 8.0), charge=1),
        )
    }
)


def pk_at(system: AcidSystem, kelvin: Array) -> Array:
    """Dissociation constants at ``kelvin`` (shape (n,)), as pK of shape (n, steps).

    pK(T) = pK - {dH/R (1/T0 - 1/T) + dCp/R (T0/T - 1 + ln(T/T0))} / ln 10, good from
    274 to 350 K; beyond that it is an extrapolation and the caller says so.
    """
    t = np.asarray(kelvin, dtype=float)[:, None]
    enthalpy = np.asarray(system.enthalpy)[None, :] / GAS_CONSTANT
    heat_capacity = np.asarray(system.heat_capacity)[None, :] / GAS_CONSTANT
    shift = enthalpy * (1 / STANDARD_K - 1 / t) + heat_capacity * (STANDARD_K / t - 1 + np.log(t / STANDARD_K))
    return np.asarray(system.pk)[None, :] - shift / np.log(10.0)


def _plummer_busenberg(kelvin: Array, a: float, b: float, c: float, d: float, e: float) -> Array:
    return a + b * kelvin + c / kelvin + d * np.log10(kelvin) + e / kelvin**2


def co2_solubility(kelvin: Array) -> Array:
    """Henry constant K0 of carbon dioxide, mol/kg/atm. Source: Plummer & Busenberg 1982."""
    return 10.0 ** _plummer_busenberg(kelvin, 108.3865, 0.01985076, -6919.53, -40.45154, 669365.0)


def carbonic_pk(kelvin: Array) -> Array:
    """pK1 and pK2 of dissolved carbon dioxide, shape (n, 2). Source: Plummer & Busenberg 1982."""
    first = _plummer_busenberg(kelvin, -356.3094, -0.06091964, 21834.37, 126.8339, -1684915.0)
    second = _plummer_busenberg(kelvin, -107.8871, -0.03252849, 5151.79, 38.92561, -563713.9)
    return np.stack([-first, -second], axis=-1)


def debye_huckel_a(kelvin: Array) -> Array:
    """Debye-Hueckel A (base 10, molal). A = 1.8248e6 sqrt(d) / (eps T)^1.5.

    Permittivity: Malmberg & Maryott 1956, J. Res. NBS 56, 1. Density: Kell 1975,
    J. Chem. Eng. Data 20, 97 (formula from memory).
    """
    t = np.asarray(kelvin, dtype=float)
    celsius = t - ZERO_CELSIUS_K
    permittivity = 87.740 - 0.40008 * celsius + 9.398e-4 * celsius**2 - 1.410e-6 * celsius**3
    numerator = (
        999.83952
        + 16.945176 * celsius
        - 7.9870401e-3 * celsius**2
        - 46.170461e-6 * celsius**3
        + 105.56302e-9 * celsius**4
        - 280.54253e-12 * celsius**5
    )
    density = numerator / (1 + 16.879850e-3 * celsius) / 1000.0
    return 1.8248e6 * np.sqrt(density) / (permittivity * t) ** 1.5
