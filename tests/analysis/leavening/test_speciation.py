"""Invariants of the charge balance, whatever the mixture."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.errors import TrialDataError
from analysis.leavening.speciation import Mixtures, solve

amounts = st.floats(0.0, 0.3)


@st.composite
def acid_mixtures(draw):
    acids = {name: np.array([draw(amounts)]) for name in ("citric", "lactic", "phosphoric")}
    soda = draw(st.floats(1e-4, 0.3))
    return acids, soda, draw(st.floats(0.0, 100.0))


def with_soda(acids, soda, celsius):
    return Mixtures(
        acids=acids,
        carbon=np.array([soda]),
        fixed_charge=np.array([soda]),
        fixed_strength=np.array([soda]),
        celsius=np.array([celsius]),
    )


@given(acid_mixtures(), st.sampled_from(["closed", "headspace", "open", "stripped"]))
def test_charge_and_carbon_are_conserved(parts, case):
    acids, soda, celsius = parts
    found = solve(with_soda(acids, soda, celsius), case=case, headspace_l=0.5)
    assert abs(found.charge_left[0]) < 1e-9
    assert found.carbon_dissolved[0] + found.carbon_gas[0] == pytest.approx(soda, abs=1e-9)


@given(acid_mixtures())
def test_headspace_gas_obeys_the_gas_law(parts):
    acids, soda, celsius = parts
    found = solve(with_soda(acids, soda, celsius), case="headspace", headspace_l=0.5)
    moles = found.co2_atm[0] * 101_325 * 0.5e-3 / (8.314462618 * (celsius + 273.15))
    assert found.carbon_gas[0] == pytest.approx(moles, rel=1e-6, abs=1e-9)


@given(acid_mixtures(), st.floats(0.001, 0.1))
def test_below_ph_7_more_soda_never_lowers_the_ph(parts, more):
    acids, soda, celsius = parts
    before = solve(with_soda(acids, soda, celsius))
    if before.ph[0] < 7.0 and before.ionic_strength[0] < 0.5:
        after = solve(with_soda(acids, soda + more, celsius))
        assert after.ph[0] > before.ph[0] - 1e-3


def test_many_mixtures_give_what_each_gives_alone():
    generator = np.random.default_rng(4)
    citric, soda, celsius = (
        generator.uniform(0, 0.2, 50),
        generator.uniform(0.01, 0.2, 50),
        generator.uniform(0, 90, 50),
    )
    together = solve(with_soda_arrays(citric, soda, celsius)).ph
    alone = [solve(with_soda({"citric": citric[i : i + 1]}, soda[i], celsius[i])).ph[0] for i in range(50)]
    assert together == pytest.approx(alone, abs=1e-9)


def with_soda_arrays(citric, soda, celsius):
    return Mixtures(acids={"citric": citric}, carbon=soda, fixed_charge=soda, fixed_strength=soda, celsius=celsius)


@pytest.mark.parametrize(
    ("acids", "soda", "celsius", "says"),
    [
        ({"citirc": np.array([0.1])}, 0.1, 25.0, "No acid is called"),
        ({"citric": np.array([-0.1])}, 0.1, 25.0, "negative"),
        ({"citric": np.array([np.nan])}, 0.1, 25.0, "not a number"),
        ({"citric": np.array([0.1])}, 0.1, 140.0, "temperature"),
    ],
)
def test_impossible_input_is_refused_in_words(acids, soda, celsius, says):
    with pytest.raises(TrialDataError, match=says) as refused:
        solve(with_soda(acids, soda, celsius))
    assert refused.value.try_this


@pytest.mark.parametrize("co2_atm", [0.0, 1e-4, 1.0, 8.0])
@pytest.mark.parametrize("strong_ions", [-0.1, 0.0, 0.1])
def test_an_open_mixture_is_solved_from_strong_acid_to_strong_base(strong_ions, co2_atm):
    """The search begins where bicarbonate meets the ions, which strong acid does not have."""
    mixtures = Mixtures(
        acids={},
        carbon=np.array([0.01]),
        fixed_charge=np.array([strong_ions]),
        fixed_strength=np.array([abs(strong_ions)]),
        celsius=np.array([25.0]),
    )
    found = solve(mixtures, case="open", co2_atm=co2_atm)
    assert abs(found.charge_left[0]) < 1e-9
    assert found.co2_atm[0] == pytest.approx(co2_atm, abs=1e-12)
    if co2_atm == 0.0:
        assert found.ph[0] == pytest.approx(solve(mixtures, case="stripped").ph[0], abs=1e-9)


def test_mixtures_are_told_apart_by_row():
    mixtures = with_soda({"citric": np.array([0.05])}, 0.1, 25.0)
    pair = Mixtures(
        acids={"citric": np.array([0.0, 0.05])},
        carbon=np.array([0.2, 0.1]),
        fixed_charge=np.array([0.2, 0.1]),
        fixed_strength=np.array([0.2, 0.1]),
        celsius=np.array([60.0, 25.0]),
    )
    second = pair.only(np.array([False, True]))
    assert len(second) == 1
    assert solve(second).ph[0] == solve(mixtures).ph[0]
    assert len(solve(pair.only(slice(0, 0))).ph) == 0
