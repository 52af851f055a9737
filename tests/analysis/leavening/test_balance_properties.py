"""Invariants of the whole account, whatever is mixed."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.leavening.balance import balance, nine_in_ten
from analysis.leavening.names import weighed

POWDERS = ("baking powder", "alum baking powder", "tartrate baking powder")
ACIDS = ("cream of tartar", "citric acid", "monosodium phosphate", "sodium aluminium sulfate", "glucono-delta-lactone")
LIQUIDS = ("water", "milk", "buttermilk", "lemon juice")
few = settings(max_examples=25, deadline=None)


@st.composite
def formulas(draw):
    """(grams, name) of soda, perhaps a powder, a dry acid, and a liquid."""
    return [
        (draw(st.floats(0.1, 5.0)), "baking soda"),
        (draw(st.just(0.0) | st.floats(0.01, 8.0)), draw(st.sampled_from(POWDERS))),
        (draw(st.just(0.0) | st.floats(0.01, 6.0)), draw(st.sampled_from(ACIDS))),
        (draw(st.floats(150.0, 400.0)), draw(st.sampled_from(LIQUIDS))),
    ]


def account(parts, times=1.0, **asked):
    return balance([a for grams, name in parts for a in weighed(name, grams=times * grams)], draws=0, **asked)


@few
@given(formulas())
def test_soda_and_acid_are_used_or_left_never_lost(parts):
    found = account(parts)
    soda, left = found.soda_g / 84.006 * 1000, found.soda_left_g / 84.006 * 1000
    assert found.gas.available_mmol + left == pytest.approx(soda, rel=1e-9)
    assert found.acid_meq - found.acid_left_meq == pytest.approx(found.gas.available_mmol, rel=1e-9)
    assert min(left, found.acid_left_meq) == 0


@few
@given(formulas(), st.floats(0.0, 60.0), st.floats(60.0, 101.325))
def test_no_more_gas_is_free_than_there_is_carbon(parts, celsius, kilopascal):
    found = account(parts, celsius=celsius, kilopascal=kilopascal)
    held_ml = found.soda_g / 84.006 * 8.314462618 * (celsius + 273.15) / kilopascal * 1000
    assert 0 <= found.gas.free_cold_ml <= held_ml * (1 + 1e-9)
    assert found.gas.free_baked_ml >= 0


@few
@given(formulas(), st.floats(0.2, 20.0))
def test_scaling_all_amounts_scales_the_account_and_keeps_the_ph(parts, times):
    once, more = account(parts), account(parts, times)
    assert more.gas.available_ml == pytest.approx(times * once.gas.available_ml)
    assert more.gas.free_cold_ml == pytest.approx(times * once.gas.free_cold_ml, rel=1e-6, abs=1e-6)
    assert more.soda_left_g == pytest.approx(times * once.soda_left_g, rel=1e-9, abs=1e-9)
    assert more.sodium_mg == pytest.approx(times * once.sodium_mg)
    assert more.aluminium_mg == pytest.approx(times * once.aluminium_mg)
    assert more.baked.value == pytest.approx(once.baked.value, abs=1e-6)


@few
@given(formulas(), st.floats(0.05, 3.0))
def test_below_ph_7_more_soda_never_lowers_the_ph_of_the_batter(parts, more):
    before = account(parts)
    after = account([(more, "baking soda"), *parts])
    if before.mixed_closed.value < 7 and after.ionic_strength < 0.5:
        assert after.mixed_closed.value > before.mixed_closed.value - 1e-3
    assert after.soda_left_g >= before.soda_left_g - 1e-12
    assert after.gas.available_mmol >= before.gas.available_mmol - 1e-12


@few
@given(formulas(), st.integers(1, 24))
def test_portions_share_out_sodium_and_aluminium(parts, portions):
    whole, shared = account(parts), account(parts, portions=portions)
    assert shared.sodium_mg * portions == pytest.approx(whole.sodium_mg)
    assert shared.aluminium_mg * portions == pytest.approx(whole.aluminium_mg)
    assert shared.gas == whole.gas


@pytest.mark.parametrize("celsius", [4.0, 25.0])
def test_rounding_frees_no_gas(celsius):
    """What does not bubble gives 0 mL, not a ten-billionth."""
    found = balance([*weighed("baking soda", grams=5), *weighed("water", grams=100)], celsius=celsius)
    assert found.gas.free_cold_ml == 0.0


@given(st.lists(st.floats(-1e3, 1e3), min_size=1, max_size=30))
def test_nine_in_ten_lie_between_the_quantiles_as_numpy_takes_them(drawn):
    assert nine_in_ten(np.array(drawn)) == pytest.approx(tuple(np.quantile(drawn, [0.05, 0.95])), abs=1e-9)
