"""Every run weighs what its settings say, by the neutralising values of the trade."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.errors import PlanError
from analysis.leavening.neutralising import NEUTRALISING, Neutralising
from analysis.leavening.weights import Line, WeighedFactor, run_weights

LOAF = (
    Line(ingredient="wheat flour", bakers_percent=100, flour=True),
    Line(ingredient="water", bakers_percent=78),
    Line(ingredient="butter", bakers_percent=20),
    Line(ingredient="baking soda", bakers_percent=1.5),
)
SODA = WeighedFactor(name="soda", kind="amount", unit="% flour", ingredient="baking soda")
ACID = WeighedFactor(
    name="acid source",
    kind="category",
    levels=("lemon juice", "yogurt", "cream of tartar"),
    neutralises="baking soda",
)


def grams(weights):
    return {weight.ingredient: weight.grams for weight in weights}


def of(ingredient, weights):
    return next(weight for weight in weights if weight.ingredient == ingredient)


@pytest.mark.parametrize(
    ("acid", "value"),
    [
        # Stoichiometry, 100 n 84.006 / M.
        ("cream of tartar", 44.6),
        ("tartaric acid", 111.9),
        ("citric acid", 131.2),
        ("citric acid monohydrate", 119.9),
        ("lactic acid", 93.3),
        ("acetic acid", 139.9),
        # Titration tables: Miller, Food Chemistry: A Laboratory Manual, 2nd ed., Table 2.1, and two others.
        ("SAPP", 72.0),
        ("monocalcium phosphate", 80.0),
        ("sodium aluminium phosphate", 100.0),
        ("dicalcium phosphate", 33.0),
        ("GDL", 45.0),
    ],
)
def test_neutralising_values_are_those_of_the_trade(acid, value):
    row = NEUTRALISING[acid.casefold()]
    assert row.soda_g == pytest.approx(value, abs=0.1)
    assert row.source


def test_a_cup_of_buttermilk_neutralises_a_little_less_than_half_a_teaspoon_of_soda():
    # 245 g at 0.8 % lactic: 1.83 g soda (84.006 / 90.078 of 1.96 g lactic acid).
    assert 245 * NEUTRALISING["buttermilk"].soda_g / 100 == pytest.approx(1.83, abs=0.01)
    assert pytest.approx(1.83, abs=0.01) == 1.96 * 84.006 / 90.078


def test_two_percent_soda_wants_2_78_percent_acid_pyrophosphate():
    # Leavening review: equivalence value 100 / 72 = 1.389.
    factor = WeighedFactor(name="acid", kind="category", levels=("SAPP", "GDL"), neutralises="baking soda")
    weights = run_weights(LOAF, (SODA, factor), {"soda": 2.0, "acid": "SAPP"}, 1000)
    assert of("SAPP", weights).grams == 27.8
    assert of("SAPP", weights).bakers_percent == pytest.approx(2.78, abs=0.01)


def test_a_tablespoon_of_vinegar_neutralises_a_quarter_teaspoon_of_soda():
    # 15 g of 5 % vinegar: 1.05 g soda.
    assert 15 * NEUTRALISING["vinegar"].soda_g / 100 == pytest.approx(1.05, abs=0.01)


def test_the_acid_follows_the_dose_of_each_run_and_only_one_is_weighed():
    weights = run_weights(LOAF, (ACID, SODA), {"soda": 2.5, "acid source": "cream of tartar"}, 300)
    assert grams(weights) == {
        "wheat flour": 300.0,
        "water": 234.0,
        "butter": 60.0,
        "baking soda": 7.5,
        "cream of tartar": 16.8,  # 7.5 g x 188.176 / 84.006
    }
    assert of("cream of tartar", weights).note == "neutralises 7.50 g soda (computed)"
    assert of("baking soda", weights).note == ""


@given(st.floats(0.1, 5), st.sampled_from(ACID.levels), st.floats(50, 5000))
def test_an_acid_that_follows_the_soda_leaves_none(soda, acid, flour):
    weights = run_weights(LOAF, (SODA, ACID), {"soda": soda, "acid source": acid}, flour)
    taken = of(acid, weights).bakers_percent * NEUTRALISING[acid].soda_g / 100
    assert taken == pytest.approx(soda)
    assert of("baking soda", weights).note == ""


def test_a_fixed_acid_leaves_soda_over_at_high_doses_and_says_so():
    fixed = WeighedFactor(name="acid source", kind="category", levels=ACID.levels, neutralises=1.5)
    high = run_weights(LOAF, (SODA, fixed), {"soda": 2.5, "acid source": "yogurt"}, 300)
    assert of("baking soda", high).note == "3.00 g stays unneutralised"
    low = run_weights(LOAF, (SODA, fixed), {"soda": 0.5, "acid source": "yogurt"}, 300)
    assert of("baking soda", low).note == "the acids could neutralise 3.00 g more"
    assert of("yogurt", high).grams == of("yogurt", low).grams


def test_water_of_a_liquid_acid_is_taken_off_the_water():
    factor = WeighedFactor(
        name="acid source",
        kind="category",
        levels=("lemon juice", "cream of tartar"),
        neutralises=1.5,
        water_back="water",
    )
    dry = run_weights(LOAF, (factor,), {"acid source": "cream of tartar"}, 300)
    wet = run_weights(LOAF, (factor,), {"acid source": "lemon juice"}, 300)
    assert of("water", dry).grams == 234.0
    taken = of("lemon juice", wet).bakers_percent * 3 * 0.91
    assert of("water", wet).grams == pytest.approx(234.0 - taken, abs=0.06)


def test_amounts_and_replaces():
    sugar = WeighedFactor(
        name="fibre", kind="category", levels=("none", "bran"), amounts={"none": 0, "bran": 8}, replaces="wheat flour"
    )
    assert grams(run_weights(LOAF, (sugar,), {"fibre": "bran"}, 500))["wheat flour"] == 460.0
    assert grams(run_weights(LOAF, (sugar,), {"fibre": "none"}, 500))["wheat flour"] == 500.0


def test_one_fat_takes_the_place_of_another():
    fat = WeighedFactor(
        name="fat", kind="category", levels=("butter", "oil"), lines={"oil": "rapeseed oil"}, replaces="butter"
    )
    with_oil = grams(run_weights(LOAF, (fat,), {"fat": "oil"}, 200))
    assert with_oil["rapeseed oil"] == 40.0
    assert "butter" not in with_oil
    assert grams(run_weights(LOAF, (fat,), {"fat": "butter"}, 200))["butter"] == 40.0


def test_a_dose_in_grams_and_a_dose_of_nothing():
    salt = WeighedFactor(name="salt", kind="amount", unit="g", ingredient="salt")
    weights = run_weights(LOAF, (salt,), {"salt": 5.0}, 250)
    assert of("salt", weights).grams == 5.0
    assert of("salt", weights).bakers_percent == 2.0
    zero = run_weights(LOAF, (SODA, ACID), {"soda": 0.0, "acid source": "yogurt"}, 300)
    assert (of("baking soda", zero).text, of("yogurt", zero).text) == ("0", "0")


def test_weights_are_rounded_to_what_a_scale_shows():
    weights = run_weights(LOAF, (SODA,), {"soda": 1.16667}, 300)
    assert of("baking soda", weights).text == "3.50"
    assert of("water", weights).text == "234.0"


def test_settings_that_are_not_weighed_change_no_weight():
    oven = WeighedFactor(name="oven", kind="amount", unit="°C")
    assert run_weights(LOAF, (oven,), {"oven": 200.0}, 300) == run_weights(LOAF, (), {}, 300)
    assert not oven.is_weighed


def test_a_kitchens_own_strength_takes_the_place_of_the_table():
    own = {
        "lemon juice": Neutralising(name="lemon juice", soda_g=5.0, water_share=0.9, source="", sureness="tabulated")
    }
    weights = run_weights(LOAF, (SODA, ACID), {"soda": 1.0, "acid source": "lemon juice"}, 100, {**NEUTRALISING, **own})
    assert of("lemon juice", weights).grams == 20.0


@pytest.mark.parametrize(
    ("factor", "setting", "match"),
    [
        (
            WeighedFactor(name="acid", kind="category", levels=("sumac",), neutralises="baking soda"),
            "sumac",
            "not known",
        ),
        (WeighedFactor(name="acid", kind="category", levels=("yogurt",), neutralises="lye"), "yogurt", "does not hold"),
        (WeighedFactor(name="x", kind="amount", unit="min", ingredient="butter"), 5.0, "not a weight"),
        (WeighedFactor(name="x", kind="amount", unit="% flour", ingredient="oil", replaces="butter"), 25.0, "fall to"),
        (WeighedFactor(name="x", kind="amount", unit="% flour", ingredient="oil", replaces="lard"), 5.0, "no line"),
        (WeighedFactor(name="x", kind="category", levels=("a", "b"), amounts={"a": 1}), "b", "No amount"),
        (WeighedFactor(name="x", kind="category", levels=("a", "b"), lines={"a": "lard"}), "a", "no line"),
        (WeighedFactor(name="x", kind="category", levels=("a", "b"), replaces="lard"), "a", "no line"),
    ],
)
def test_what_cannot_be_weighed_is_an_error_with_a_way_out(factor, setting, match):
    with pytest.raises(PlanError, match=match) as caught:
        run_weights(LOAF, (factor,), {factor.name: setting}, 100)
    assert caught.value.try_this
    assert factor.name in caught.value.where
