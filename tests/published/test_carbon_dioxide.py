"""Are the constants of dissolved carbon dioxide those that were published?"""

import numpy as np
import pytest

from analysis.leavening.constants import carbonic_pk, co2_solubility

# Plummer & Busenberg 1982: mol/kg/atm, pK1, pK2 evaluated from the published coefficients.
PLUMMER_BUSENBERG = {
    0: (0.07791, 6.579, 10.629),
    10: (0.05378, 6.463, 10.488),
    20: (0.03919, 6.382, 10.376),
    25: (0.03405, 6.352, 10.329),
    30: (0.02989, 6.328, 10.288),
    40: (0.02372, 6.297, 10.222),
    50: (0.01946, 6.286, 10.174),
    60: (0.01644, 6.290, 10.144),
    80: (0.01263, 6.338, 10.126),
}


@pytest.mark.parametrize("celsius", PLUMMER_BUSENBERG)
def test_constants_of_carbon_dioxide(celsius):
    kelvin = np.array([celsius + 273.15])
    solubility, pk1, pk2 = PLUMMER_BUSENBERG[celsius]
    assert co2_solubility(kelvin)[0] == pytest.approx(solubility, abs=5e-5)
    assert carbonic_pk(kelvin)[0] == pytest.approx([pk1, pk2], abs=1e-3)


@pytest.mark.parametrize("celsius", [0, 10, 25, 40, 60])
def test_solubility_agrees_with_a_second_source(celsius):
    # Carroll, Slupsky & Mather 1991, J. Phys. Chem. Ref. Data 20, 1201: ln(H/MPa), mole fraction.
    kelvin = celsius + 273.15
    henry_mpa = np.exp(-6.8346 + 1.2817e4 / kelvin - 3.7668e6 / kelvin**2 + 2.997e8 / kelvin**3)
    mole_fraction = 0.101325 / henry_mpa
    per_kg = mole_fraction / (1 - mole_fraction) / 0.018015
    assert co2_solubility(np.array([kelvin]))[0] == pytest.approx(
        per_kg, rel=0.031
    )  # the sources part by 3.04 % at 60 °C
