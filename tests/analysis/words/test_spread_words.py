"""Do the sentences about scatter along a curve agree with each other and with the test?"""

from types import SimpleNamespace

import pytest

from analysis.words.dose_spread import say_spread
from analysis.words.numbers import half_width, say_dose, say_dose_interval

ABOUT = SimpleNamespace(response=SimpleNamespace(name="rise", unit="mm"))
ASKED = SimpleNamespace(confidence=0.95)


def said(kind, p):
    part = SimpleNamespace(
        kind=kind, weights=None, exponent=1.2, sds={"1": 1.0, "4": 2.0}, p=p, df=3, statistic=10.08 if p < 0.05 else 2.0
    )
    return " ".join(say_spread(part, ABOUT, ASKED))


def test_equal_scatter_in_doubt_is_not_called_enough():
    text = said("equal", 0.018)
    assert "equal scatter is in doubt (likelihood ratio 10.08 on 3 df, p = 0.018)" in text
    assert "do not ask for more" not in text


@pytest.mark.parametrize(
    ("kind", "p", "says"), [("equal", 0.4, "is not ruled out"), ("power", 0.001, "Equal scatter would not do")]
)
def test_the_test_goes_with_the_choice(kind, p, says):
    assert says in said(kind, p)


def test_ends_that_differ_by_rounding_are_no_interval():
    low, high = 3.85, 3.85 * (1 + 1e-15)
    assert half_width(low, high) is None
    assert say_dose(3.85, low, high) == "3.85"
    assert say_dose_interval(low, high, 0.95) == ""
    assert half_width(-0.5, 0.5) == 0.5
