"""Does a caution come when it is due, and only then?

Facts of the trade are common practice, no source, unless a source stands beside them.
"""

import pytest

from analysis.errors import TrialDataError
from analysis.leavening.balance import balance
from analysis.leavening.names import weighed
from analysis.leavening.substances import SUBSTANCES
from analysis.words.leavening import balance_headline, balance_text, neutral_text, say_caution


def account(*parts):
    return balance([a for grams, name in parts for a in weighed(name, grams=grams)])


def keys(found):
    return {caution.key for caution in found.cautions}


@pytest.mark.parametrize("powder", ["baking powder", "alum baking powder", "tartrate baking powder"])
@pytest.mark.parametrize("liquid", ["water", "milk"])
def test_a_balanced_powder_is_not_called_soapy_or_sour(powder, liquid):
    found = account((10, powder), (240, liquid))
    assert not keys(found) & {"soda left", "alkaline crumb", "sour crumb", "acid left"}
    # Finished muffins lie between 6.5 and 7.9; the model's range must reach into that.
    assert found.baked.low < 7.9
    assert found.baked.high > 6.5


def test_a_dry_cookie_dough_with_a_balanced_powder_stays_near_a_cookie():
    # Crackers reach 8.5 and cookies 8.0 (bakery handbooks, from memory); the range must reach into that.
    found = account((1.5, "baking powder"), (1, "salt"), (5, "milk"), (8, "water"))
    assert found.baked.value < 9
    assert found.baked.low < 8.0


def test_soda_without_its_acid_is_soapy():
    found = account((5, "baking soda"), (240, "milk"))
    assert {"soda left", "alkaline crumb"} <= keys(found)


def test_too_much_acid_is_sour():
    assert {"acid left", "sour crumb"} <= keys(account((2, "baking soda"), (100, "lemon juice")))


def test_a_high_ph_without_soda_left_defers_to_the_meter():
    found = account((10, "baking powder"), (240, "milk"))
    said = [say_caution(each) for each in found.cautions if each.key == "high without soda left"]
    assert len(said) == 1
    assert "believe a measured crumb, not this figure" in said[0]
    assert "pH 6.6 to 7.6" in said[0]


@pytest.mark.parametrize("acid", ["acid pyrophosphate 28", "sodium aluminium phosphate"])
def test_phosphates_that_use_up_the_soda_defer_to_measured_crumbs(acid):
    """The water model ends above pH 8 where crumbs are measured near 7.2: it says so and stays as it is."""
    soda = 3.0
    found = account((soda, "baking soda"), (100 * soda / SUBSTANCES[acid].neutralising_value, acid), (150, "water"))
    assert found.soda_left_g == pytest.approx(0, abs=1e-9)
    assert found.baked.value > 8
    assert {"high without soda left"} == keys(found) & {"high without soda left", "alkaline crumb", "soda left"}
    assert "in the model" in balance_text(found)
    said = neutral_text(found)
    assert "far apart" in said
    assert "Begin with the first and measure the crumb." in said


def test_doses_that_all_but_agree_need_no_preference():
    said = neutral_text(account((100, "lemon juice"), (50, "water")))
    assert "The two differ" in said
    assert "far apart" not in said


def test_a_little_alum_too_much_is_no_strong_acid():
    # Aluminium hydrolyses as the pH rises: solutions of alum lie between 3 and 4.
    found = account((5, "sodium aluminium sulfate"), (5, "baking soda"), (100, "water"))
    assert 4.0 < found.baked.value < 6.0
    alone = account((5, "potassium alum"), (100, "water"))
    assert 2.5 < alone.baked.value < 4.0


def test_plain_water_is_left_alone():
    found = account((100, "water"))
    assert balance_headline(found) == "Nothing here gives gas."
    assert found.neutral_soda.by_ph_g == 0
    assert keys(found) == {"no leavener", "aqueous model"}


def test_what_falls_out_is_not_said_to_be_strong():
    weak = account((1, "alum baking powder"), (240, "water"))
    assert "solids" in keys(weak)
    assert "stretched" not in keys(weak)
    assert "stretched" in keys(account((10, "baking soda"), (100, "buttermilk")))


def test_the_dry_mix_keeps_until_it_is_wetted():
    with pytest.raises(TrialDataError, match="no water"):
        account((10, "baking powder"))
