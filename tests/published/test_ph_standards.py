"""Does the charge balance land on the primary pH standards?

Published pH(S): Bates 1962, J. Res. NBS 66A, 179; Staples & Bates 1969, J. Res. NBS
73A, 37 (citrate 3.776, carbonate 10.012 at 25 °C); Hamer, Pinching & Acree 1946, J. Res.
NBS RP1690 (phthalate equation); IUPAC 2002, Pure Appl. Chem. 74, 2169. The temperature
table is the usual handbook one, written from memory and consistent with those.
"""

import numpy as np
import pytest

from analysis.leavening.speciation import Mixtures, solve

# name: (acid systems mol/kg, carbon mol/kg, fixed positive charge mol/kg)
BUFFERS = {
    "tartrate": ({"tartaric": 0.0341}, 0.0, 0.0341),
    "citrate": ({"citric": 0.05}, 0.0, 0.05),
    "phthalate": ({"phthalic": 0.05}, 0.0, 0.05),
    "phosphate 1:1": ({"phosphoric": 0.05}, 0.0, 0.075),
    "phosphate 1:3.5": ({"phosphoric": 0.008695 + 0.03043}, 0.0, 0.008695 + 2 * 0.03043),
    "borax": ({"boric": 0.04}, 0.0, 0.02),
    "carbonate": ({}, 0.05, 0.075),
}
AT_25 = {
    "tartrate": 3.557,
    "citrate": 3.776,
    "phthalate": 4.005,
    "phosphate 1:1": 6.865,
    "phosphate 1:3.5": 7.413,
    "borax": 9.180,
    "carbonate": 10.012,
}
BY_TEMPERATURE = {
    "citrate": {0: 3.863, 10: 3.820, 20: 3.788, 30: 3.766, 40: 3.753, 50: 3.749},
    "phthalate": {0: 4.003, 10: 3.998, 20: 4.002, 30: 4.015, 40: 4.035, 50: 4.060, 60: 4.091},
    "phosphate 1:1": {0: 6.984, 10: 6.923, 20: 6.881, 30: 6.853, 40: 6.838, 50: 6.833, 60: 6.836},
    "phosphate 1:3.5": {0: 7.534, 10: 7.472, 20: 7.429, 30: 7.400, 40: 7.380, 50: 7.367},
    "borax": {0: 9.464, 10: 9.332, 20: 9.225, 30: 9.139, 40: 9.068, 50: 9.011, 60: 8.962},
    "carbonate": {0: 10.317, 10: 10.179, 20: 10.062, 30: 9.966, 40: 9.889, 50: 9.828},
}


def buffer(name: str, celsius: float = 25.0) -> Mixtures:
    acids, carbon, charge = BUFFERS[name]
    return Mixtures(
        acids={acid: np.array([total]) for acid, total in acids.items()},
        carbon=np.array([carbon]),
        fixed_charge=np.array([charge]),
        fixed_strength=np.array([charge]),
        celsius=np.array([celsius]),
    )


@pytest.mark.parametrize("activity", ["davies", "bates-guggenheim"])
@pytest.mark.parametrize("name", BUFFERS)
def test_the_standards_at_25_degrees(name, activity):
    assert solve(buffer(name), activity=activity).ph[0] == pytest.approx(AT_25[name], abs=0.02)


@pytest.mark.parametrize(("name", "celsius"), [(n, t) for n, row in BY_TEMPERATURE.items() for t in row])
def test_the_standards_from_0_to_60_degrees(name, celsius):
    found = solve(buffer(name, celsius), activity="bates-guggenheim").ph[0]
    assert found == pytest.approx(BY_TEMPERATURE[name][celsius], abs=0.03)


@pytest.mark.parametrize("celsius", [5.0, 25.0, 45.0])
def test_the_phthalate_equation(celsius):
    kelvin = celsius + 273.15
    published = 1336.08 / kelvin - 5.2678 + 0.016069 * kelvin  # RP1690
    assert solve(buffer("phthalate", celsius)).ph[0] == pytest.approx(published, abs=0.02)


def test_without_activities_the_standards_are_missed():
    """A negative test: the ideal variant must be wrong, or the check above could not fail."""
    ideal = {name: solve(buffer(name), activity="ideal").ph[0] for name in BUFFERS}
    assert ideal["phosphate 1:1"] == pytest.approx(7.198, abs=0.002)
    assert all(abs(ideal[name] - AT_25[name]) > 0.05 for name in BUFFERS)
