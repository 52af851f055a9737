"""Is a value measured here taken alike, whichever way it came in?"""

import pytest

from analysis.leavening.ingredients import measured
from tracker.errors import InputError
from tracker.workflow.leavening import own_value, read_amounts


def test_a_typed_value_is_the_one_a_kitchen_keeps():
    name, typed = own_value("Our Buttermilk: acidity=9.2 pH=4.4 water=0.88")
    kept = measured("Our Buttermilk", typed.neutralising_value.typical, 0.88, 4.4)
    assert name == "our buttermilk"
    assert typed.acidity.typical == pytest.approx(9.2)
    assert (typed.name, typed.ph, typed.buffer, typed.water, typed.source, typed.sureness) == (
        kept.name,
        kept.ph,
        kept.buffer,
        kept.water,
        kept.source,
        kept.sureness,
    )


def test_a_typed_density_lets_it_be_spooned():
    (amount,) = read_amounts(["100 ml our whey"], dict([own_value("our whey: acidity=5 ph=4.6 density=1.03")]))
    assert amount.grams == pytest.approx(103)
    with pytest.raises(InputError, match="impossible"):
        own_value("our whey: acidity=5 ph=4.6 water=nan")
