"""Do soda mixtures land where an independent geochemistry engine puts them?

pH and dissolved carbon computed once with the USGS engine PHREEQC (through a Python
wrapper) and a database of our constants, Davies activities, log gamma = 0.1 I for neutral
species, 25 °C, per kg of water. Tolerance 0.005: its Debye-Hueckel A is 0.509, ours 0.511.
``tests/published/recompute_mixtures.py`` does it again when that wrapper is installed.
"""

import numpy as np
import pytest

from analysis.leavening.speciation import Mixtures, solve

SODA, AIR = 84.006, 10**-3.38


def mixture(acids=None, *, carbon=0.0, ions=0.0, celsius=25.0):
    """``ions``: sodium and potassium, mol/kg."""
    return Mixtures(
        acids={name: np.array([total]) for name, total in (acids or {}).items()},
        carbon=np.array([carbon]),
        fixed_charge=np.array([ions]),
        fixed_strength=np.array([ions]),
        celsius=np.array([celsius]),
    )


def with_soda_g(acids, *, ions=0.0):
    """1.00 g of soda in 100 g of water with acids in mol/kg."""
    soda = 10 / SODA
    return mixture(acids, carbon=soda, ions=soda + ions)


# number: (mixture, pH closed, pH at 1 atm, carbon dissolved at 1 atm, pH stripped)
MIXTURES = {
    1: (mixture(carbon=0.1, ions=0.1), 8.120, 6.713, 0.1332, None),
    2: (mixture(carbon=0.1, ions=0.2), 11.387, None, None, None),
    3: (mixture({"acetic": 0.1}, carbon=0.1, ions=0.1), 5.437, 5.656, 0.0420, 8.764),
    4: (mixture({"citric": 0.1 / 3}, carbon=0.1, ions=0.1), 5.641, 5.885, 0.0482, 9.076),
    5: (mixture({"tartaric": 0.1}, carbon=0.1, ions=0.2), 5.080, 5.317, 0.0361, 8.413),
    6: (mixture({"phosphoric": 0.1}, carbon=0.1, ions=0.2), 6.503, 6.513, 0.0985, 9.222),
    7: (mixture({"pyrophosphoric": 0.05}, carbon=0.1, ions=0.2), 6.436, 6.484, 0.0944, 10.54),
    8: (mixture({"lactic": 0.1}, carbon=0.1, ions=0.1), 4.991, 5.223, 0.0365, 8.32),
    9: (mixture({"acetic": 0.05}, carbon=0.1, ions=0.1), 6.256, 6.419, 0.0841, None),
    10: (mixture({"acetic": 0.1}, carbon=0.05, ions=0.05), 4.645, None, None, 4.666),
    11: (mixture({"malic": 0.05}, carbon=0.1, ions=0.1), 5.310, None, None, 8.657),
    12: (mixture({"acetic": 0.1}), 2.881, None, None, None),
    13: (mixture({"citric": 0.1}), 2.083, None, None, None),
    14: (mixture({"tartaric": 0.1}), 2.038, None, None, None),
    15: (mixture({"lactic": 0.1}), 2.439, None, None, None),
    16: (with_soda_g({"citric": 7.62 / 192.123}), 5.629, 5.921, 0.0494, None),
    17: (with_soda_g({"tartaric": 22.4 / 188.176}, ions=22.4 / 188.176), 5.074, 5.353, 0.0360, None),
    18: (with_soda_g({"tartaric": 15.0 / 188.176}, ions=15.0 / 188.176), 5.901, 6.287, 0.0716, None),
    19: (with_soda_g({"acetic": 7.15 / 60.052}), 5.430, 5.689, 0.0427, None),
    20: (with_soda_g({"pyrophosphoric": 13.9 / 221.936}, ions=2 * 13.9 / 221.936), 6.405, 6.536, 0.1019, 9.499),
    21: (with_soda_g({"phosphoric": 14.3 / 119.976}, ions=14.3 / 119.976), 6.495, 6.564, 0.1069, 9.144),
    22: (with_soda_g({"lactic": 10.7 / 90.078}), 4.992, 5.270, 0.0368, None),
}


@pytest.mark.parametrize("number", MIXTURES)
def test_closed(number):
    mixed, closed, *_ = MIXTURES[number]
    assert solve(mixed).ph[0] == pytest.approx(closed, abs=0.005)


@pytest.mark.parametrize("number", [n for n, row in MIXTURES.items() if row[2] is not None])
def test_bubbling_at_one_atmosphere(number):
    mixed, _, bubbling, dissolved, _ = MIXTURES[number]
    found = solve(mixed, case="open")
    assert found.ph[0] == pytest.approx(bubbling, abs=0.005)
    assert found.carbon_dissolved[0] == pytest.approx(dissolved, abs=5e-4)


@pytest.mark.parametrize("number", [n for n, row in MIXTURES.items() if row[4] is not None])
def test_stripped_of_all_carbon_dioxide(number):
    mixed, *_, stripped = MIXTURES[number]
    assert solve(mixed, case="stripped").ph[0] == pytest.approx(stripped, abs=0.01)


def test_in_air():
    assert solve(MIXTURES[1][0], case="open", co2_atm=AIR).ph[0] == pytest.approx(9.750, abs=0.01)
    assert solve(MIXTURES[9][0], case="open", co2_atm=AIR).ph[0] == pytest.approx(9.553, abs=0.01)


# (mixture, litres of headspace per kg): pH, atm, mol of gas
HEADSPACE = {
    (3, 1.00): (5.611, 1.219, 0.04981),
    (3, 0.25): (5.495, 2.018, 0.02062),
    (4, 1.00): (5.851, 1.138, None),
    (4, 0.25): (5.713, 1.875, None),
    (5, 1.00): (5.258, 1.309, None),
    (5, 0.25): (5.140, 2.228, None),
    (6, 1.00): (6.679, 0.586, None),
    (6, 0.25): (6.562, 0.856, None),
}


@pytest.mark.parametrize(("number", "litres"), HEADSPACE)
def test_a_closed_jar_with_headspace(number, litres):
    ph, pressure, gas = HEADSPACE[number, litres]
    found = solve(MIXTURES[number][0], case="headspace", headspace_l=litres)
    assert found.ph[0] == pytest.approx(ph, abs=0.005)
    assert found.co2_atm[0] == pytest.approx(pressure, rel=0.01)
    if gas is not None:
        assert found.carbon_gas[0] == pytest.approx(gas, rel=0.01)


@pytest.mark.parametrize(("number", "gas_mol"), [(3, 0.05796), (4, 0.05183), (5, 0.06392), (6, 0.00145)])
def test_gas_that_leaves_at_one_atmosphere(number, gas_mol):
    assert solve(MIXTURES[number][0], case="open").carbon_gas[0] == pytest.approx(gas_mol, rel=0.01, abs=1e-4)


def test_soda_alone_is_a_little_alkaline():
    # ½ (pK1 + pK2) without activities; a supplier's text gives 8.3 for fresh 0.1 mol/L soda.
    assert solve(MIXTURES[1][0], activity="ideal").ph[0] == pytest.approx(8.340, abs=0.005)
    assert solve(MIXTURES[1][0]).ph[0] == pytest.approx(8.3, abs=0.25)


# Computed with the engine by recompute_mixtures.py: pH closed, pH at 1 atm; two acids, partly used, 80 °C.
UNTABLED = {
    "citric and lactic": ({"citric": 0.03, "lactic": 0.05}, 0.08, 0.08, 4.326, 4.346),
    "tartaric and phosphoric": ({"tartaric": 0.04, "phosphoric": 0.06}, 0.09, 0.15, 5.306, 5.828),
    "acetic and malic, soda in excess": ({"acetic": 0.05, "malic": 0.02}, 0.12, 0.12, 5.823, 6.598),
}


@pytest.mark.parametrize("name", UNTABLED)
def test_hot_mixtures_of_two_acids(name):
    acids, carbon, ions, closed, bubbling = UNTABLED[name]
    mixed = mixture(acids, carbon=carbon, ions=ions, celsius=80.0)
    assert solve(mixed).ph[0] == pytest.approx(closed, abs=0.02)
    assert solve(mixed, case="open").ph[0] == pytest.approx(bubbling, abs=0.02)
