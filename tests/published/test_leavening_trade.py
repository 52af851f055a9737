"""Do yields, neutralising values, kitchen rules and altitude come out as published?

Sources stand beside each check. '[C]' marks a figure computed from stated inputs.
"""

import pytest

from analysis.leavening.altitude import at_altitude
from analysis.leavening.batter import Amount
from analysis.leavening.gas import boiling_point_c, co2_g_from_soda, decomposition_per_min, gas_ml, pressure_kpa
from analysis.leavening.ingredients import INGREDIENTS
from analysis.leavening.powder import check_powder, compose_powder
from analysis.leavening.substances import CO2_MOLAR_MASS, SODA_MOLAR_MASS, SUBSTANCES


def amount(grams, name):
    return Amount(what=INGREDIENTS.get(name) or SUBSTANCES[name], grams=grams)


def test_gas_from_soda():
    # Stoichiometry, IUPAC masses; a college textbook also states twice as much with acid as without.
    assert co2_g_from_soda(1.0, acid=True) == pytest.approx(0.52388, abs=1e-4)
    assert co2_g_from_soda(1.0, acid=False) == pytest.approx(0.26194, abs=1e-4)
    residue = 1.0 - co2_g_from_soda(1.0, acid=False) - 18.015 / (2 * SODA_MOLAR_MASS)
    assert residue == pytest.approx(0.63083, abs=1e-4)  # Na2CO3


@pytest.mark.parametrize(
    ("celsius", "millilitres"),
    [(0, 266.8), (20, 286.4), (25, 291.2), (40, 305.9), (60, 325.4), (80, 345.0), (100, 364.5)],
)
def test_volume_of_gas_from_a_gram_of_soda(celsius, millilitres):
    # Ideal gas law at 101.325 kPa [C].
    assert gas_ml(1000 / SODA_MOLAR_MASS, celsius=celsius) == pytest.approx(millilitres, abs=0.3)


def test_volume_from_heat_alone():
    assert gas_ml(500 / SODA_MOLAR_MASS, celsius=100) == pytest.approx(182.2, abs=0.3)  # [C]


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("cream of tartar", 44.6),
        ("tartaric acid", 111.9),
        ("citric acid", 131.2),
        ("citric acid monohydrate", 119.9),
        ("fumaric acid", 144.7),
        ("adipic acid", 115.0),
        ("lactic acid", 93.3),
        ("acetic acid", 139.9),
        ("sodium aluminium sulfate", 104.1),
        ("malic acid", 125.3),
        ("succinic acid", 142.3),
        ("monosodium phosphate", 70.0),
        ("potassium alum", 53.1),
        ("ammonium alum", 106.3),
    ],
)
def test_computed_neutralising_values(name, value):
    # Stoichiometry 100 n 84.006 / M; trade tables agree within a few units.
    assert SUBSTANCES[name].neutralising_value == pytest.approx(value, abs=0.1)
    assert SUBSTANCES[name].nv_kind == "computed"


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("acid pyrophosphate 28", 72),
        ("monocalcium phosphate", 80),
        ("coated monocalcium phosphate", 83),
        ("sodium aluminium phosphate", 100),
        ("dicalcium phosphate", 33),
        ("glucono-delta-lactone", 45),
    ],
)
def test_tabulated_neutralising_values(name, value):
    # Miller, Food Chemistry: A Laboratory Manual, 2nd ed., Table 2.1, and two supplier tables.
    assert SUBSTANCES[name].neutralising_value == value
    assert SUBSTANCES[name].nv_kind == "tabulated"


def test_acid_pyrophosphate_for_two_grams_of_soda():
    assert 100 * 2 / SUBSTANCES["acid pyrophosphate 40"].neutralising_value == pytest.approx(2.78, abs=0.01)  # review


@pytest.mark.parametrize(("target", "soda"), [(12, 22.91), (10, 19.09), (14, 26.72), (8, 15.27)])
def test_soda_in_a_powder_for_its_gas(target, soda):
    # Stoichiometry [C]; 12 % is the minimum of the US rule, 10 % of the Canadian one.
    powder = compose_powder({"cream of tartar": 1.0}, available_co2=target)
    assert powder.parts[0].percent == pytest.approx(soda, abs=0.02)
    assert powder.available_co2 == pytest.approx(target, abs=1e-9)
    assert powder.meets["USA"] == (target >= 12)


@pytest.mark.parametrize(("tartar", "soda", "starch", "available"), [(2, 1, 1, 11.69), (8, 4, 3, 12.47)])
def test_old_tartrate_powders(tartar, soda, starch, available):
    # US Dept. of Agriculture chemist, c. 1900 (2:1:1) and a household chemistry text of 1908 (8:4:3); audit [C].
    powder = check_powder([amount(soda, "baking soda"), amount(tartar, "cream of tartar"), amount(starch, "starch")])
    assert powder.available_co2 == pytest.approx(available, abs=0.02)
    assert powder.soda_left > 0
    assert powder.total_co2 == pytest.approx(100 * soda / (tartar + soda + starch) * CO2_MOLAR_MASS / SODA_MOLAR_MASS)


def test_old_alum_powder():
    # Anhydrous ammonium alum 15 : soda 18 : starch to 100; the text says 7.5 to 8 % available, audit 8.35 [C].
    powder = check_powder([amount(18, "baking soda"), amount(15, "ammonium alum"), amount(67, "starch")])
    assert powder.total_co2 == pytest.approx(9.43, abs=0.01)
    assert powder.available_co2 == pytest.approx(8.35, abs=0.02)


def test_half_of_the_home_made_powder_leaves_soda():
    # ¼ tsp soda (1.15 g) with ½ tsp cream of tartar (1.5 g), a usual kitchen rule; audit [C].
    powder = check_powder([amount(1.15, "baking soda"), amount(1.5, "cream of tartar")])
    assert powder.soda_left / 100 * 2.65 == pytest.approx(0.48, abs=0.01)


@pytest.mark.parametrize(
    ("grams", "name", "soda", "tolerance"),
    [
        (245, "buttermilk", 1.83, 0.01),  # a cup at 0.8 % lactic [C]
        (15, "vinegar", 1.05, 0.01),  # a tablespoon of 5 % [C]
        (15, "lemon juice", 0.94, 0.03),  # a tablespoon at 48 g citric/L [C]
    ],
)
def test_soda_that_kitchen_acids_neutralise(grams, name, soda, tolerance):
    assert INGREDIENTS[name].neutralising_value.typical * grams / 100 == pytest.approx(soda, abs=tolerance)


@pytest.mark.parametrize(("feet", "expansion"), [(3000, 1.116), (5000, 1.202), (7000, 1.296), (10000, 1.454)])
def test_gas_expands_with_height(feet, expansion):
    # ISO 2533 International Standard Atmosphere.
    assert at_altitude(feet * 0.3048).expansion == pytest.approx(expansion, abs=0.002)


def test_height_of_five_thousand_feet():
    place = at_altitude(5000 * 0.3048)
    assert place.pressure_kpa == pytest.approx(84.31, abs=0.02)
    assert place.boils_c == pytest.approx(94.9, abs=0.1)  # [C]


@pytest.mark.parametrize(("feet", "keep"), [(3000, 0.896), (5000, 0.832), (7000, 0.772)])
def test_extension_cut_agrees_with_the_gas_law(feet, keep):
    # University of Wyoming Extension cuts powder by 1/8, 1/8 to 1/4, 1/4 of a teaspoon per teaspoon.
    place = at_altitude(feet * 0.3048)
    assert place.keep_share == pytest.approx(keep, abs=0.001)
    low, high = place.extension_cut
    assert low - 0.05 <= 1 - place.keep_share <= high + 0.05


def test_water_boils_at_100_at_the_sea():
    assert boiling_point_c(101.325) == pytest.approx(100.0, abs=0.05)
    assert pressure_kpa(0) == pytest.approx(101.325)


def test_dry_soda_decomposes():
    # Wu & Shih 1993: first order, 105.8 kJ/mol; half-life 66.8 min at 100 °C.
    assert decomposition_per_min(100) == pytest.approx(0.0104, rel=0.01)


def test_sodium_in_a_teaspoon_of_soda():
    # Stoichiometry; food composition tables print 1,259 mg for 4.6 g.
    assert 4.6 * SUBSTANCES["baking soda"].sodium_share == pytest.approx(1.259, abs=0.001)


def test_aluminium():
    # Stoichiometry [C]: 11.15 % and 8.52 %.
    assert SUBSTANCES["sodium aluminium sulfate"].aluminium_share == pytest.approx(0.1115, abs=1e-4)
    assert SUBSTANCES["sodium aluminium phosphate"].aluminium_share == pytest.approx(0.0852, abs=1e-4)


def test_potassium_for_sodium_bicarbonate():
    # Equal gas; a trade sheet says 19 % more.
    from analysis.leavening.swap import swap_soda

    swap = swap_soda(amount(1.0, "baking soda"), SUBSTANCES["potassium bicarbonate"])
    assert swap.into[0].grams == pytest.approx(1.192, abs=0.001)
    assert swap.co2_mmol == pytest.approx(0, abs=1e-9)
