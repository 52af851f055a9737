"""Does the account agree with what every baker knows?

Facts of the trade, common practice, no source, unless a source stands beside them.
"""

import numpy as np
import pytest

from analysis.leavening.balance import balance
from analysis.leavening.curve import cabbage_colour, titration_curve
from analysis.leavening.ingredients import CUP_ML, TEASPOON_ML
from analysis.leavening.names import weighed
from analysis.leavening.release import RELEASE, cold_curve, stages


def mix(*parts):
    """Amounts from (value, unit, name), unit g, tsp or cup."""
    found = []
    for value, unit, name in parts:
        millilitres = {"tsp": TEASPOON_ML, "cup": CUP_ML}.get(unit)
        found += weighed(name, grams=value) if millilitres is None else weighed(name, millilitres=value * millilitres)
    return found


LIQUIDS = ["water", "milk", "apple juice", "orange juice", "lemon juice"]  # by rising acidity


def test_soda_gives_gas_with_acid_liquids_the_more_acid_the_more_and_none_in_water():
    gas = [balance(mix((5, "g", "baking soda"), (100, "g", liquid))).gas for liquid in LIQUIDS]
    available = [each.available_ml for each in gas]
    assert available == sorted(available)
    assert available[0] == 0
    free = [each.free_cold_ml for each in gas]
    assert free == sorted(free)
    assert free[0] == 0
    assert free[-1] > 500


def test_soda_in_plain_water_lands_between_8_and_9():
    found = balance(mix((1, "tsp", "baking soda"), (1, "cup", "water")))
    assert 8.0 <= found.mixed_closed.value <= 9.0


def test_soda_in_vinegar_runs_from_sour_to_neutral():
    curve = titration_curve(mix((100, "g", "vinegar")), most_g=8)
    ph = [point.ph_baked for point in curve.points]
    assert ph[0] < 3.5
    assert ph == sorted(ph)
    at_neutral = np.interp(curve.neutral_g, [p.soda_g for p in curve.points], ph)
    assert 6.0 < at_neutral < 8.5


def test_the_right_ratio_gives_most_gas_for_each_gram_of_leavener():
    def per_gram(soda):
        tartar = 10 - soda
        return balance(
            mix((soda, "g", "baking soda"), (tartar, "g", "cream of tartar"), (200, "g", "water"))
        ).gas.available_mmol

    doses = np.linspace(1, 9, 81)
    best = doses[np.argmax([per_gram(soda) for soda in doses])]
    assert best == pytest.approx(10 / 3.24, abs=0.1)  # 1 part soda to 2.24 parts cream of tartar by mass


def test_powder_gases_in_plain_water_with_little_change_of_ph():
    found = balance(mix((5, "g", "baking powder"), (100, "g", "water")))
    assert found.gas.free_cold_ml > 10  # after 100 g of water has dissolved its fill
    assert 5.5 < found.mixed_open.value < 8.0
    assert found.soda_left_g == pytest.approx(0, abs=1e-9)


def test_starch_gives_no_gas_and_changes_nothing():
    plain = balance(mix((2, "g", "baking soda"), (100, "g", "buttermilk")))
    starched = balance(mix((2, "g", "baking soda"), (100, "g", "buttermilk"), (20, "g", "starch")))
    assert starched.gas == plain.gas
    assert starched.mixed_open == plain.mixed_open


def test_heat_releases_more():
    found = balance(mix((5, "g", "baking powder"), (100, "g", "water")))
    assert found.gas.free_baked_ml > found.gas.free_cold_ml


def test_scaling_all_amounts_scales_the_gas():
    once = balance(mix((2, "g", "baking soda"), (150, "g", "buttermilk")))
    twice = balance(mix((4, "g", "baking soda"), (300, "g", "buttermilk")))
    assert twice.gas.available_mmol == pytest.approx(2 * once.gas.available_mmol)
    assert twice.gas.free_cold_ml == pytest.approx(2 * once.gas.free_cold_ml, rel=1e-6)
    assert twice.mixed_open.value == pytest.approx(once.mixed_open.value, abs=1e-6)


def test_equivalence_and_ph_7_are_different_doses():
    found = balance(mix((2, "g", "baking soda"), (245, "g", "buttermilk"))).neutral_soda
    assert found.by_ph_g < found.by_equivalence_g


def test_soda_for_a_ph_gives_that_ph():
    target = balance(mix((245, "g", "buttermilk")), target_ph=7.2).neutral_soda
    again = balance(mix((target.by_ph_g, "g", "baking soda"), (245, "g", "buttermilk")))
    assert again.baked.value == pytest.approx(7.2, abs=0.01)


def test_an_alum_waits_for_the_oven_and_a_tartrate_does_not():
    assert cold_curve("sodium aluminium sulfate", np.array([2.0, 12.0])).max() == 0
    fast = cold_curve("at once", np.array([2.0]))[0]
    assert fast == pytest.approx(RELEASE["at once"].mixing, abs=0.02)


@pytest.mark.parametrize("key", [key for key, release in RELEASE.items() if release.cold > 0])
def test_release_curves_meet_their_stages(key):
    release = RELEASE[key]
    minutes = np.linspace(0, 12, 49)
    curve = cold_curve(key, minutes)
    assert np.all(np.diff(curve) >= -1e-12)
    assert curve[-1] == pytest.approx(release.cold, abs=1e-6)
    assert curve[8] == pytest.approx(release.mixing, abs=0.02)
    assert release.mixing + release.bench + release.oven == pytest.approx(1)


def test_single_and_double_acting():
    assert stages([("at once", 1.0)]).acting == "single"
    assert stages([("monocalcium phosphate", 1.0), ("sodium aluminium sulfate", 1.5)]).acting == "double"


@pytest.mark.parametrize(
    ("ph", "colour"), [(2, "red"), (4, "purple"), (6, "violet"), (8, "blue"), (10, "blue-green"), (12, "green")]
)
def test_colours_of_red_cabbage(ph, colour):
    # Textbook colours of anthocyanin: pH 2 red, 4 purple, 6 violet, 8 blue, 10 blue-green, 12 green.
    assert cabbage_colour(ph) == colour
